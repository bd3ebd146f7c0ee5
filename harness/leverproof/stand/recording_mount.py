"""A recording on its stand: describes itself as a mounted model does, but has no session."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast

from leverproof.channels import CHANNELS
from leverproof.errors import InputError, UsageError
from leverproof.stand.adapters import find_adapter
from leverproof.stand.port import Capabilities, Hello, Signal, StandFile
from leverproof.stand.recording import Recording
from leverproof.stand.recording_map import RECORDING as RECORDING
from leverproof.timegrid import TICKS_PER_SECOND

_ABLE = Capabilities(lanes=1, reset=False, deterministic=False, settable_surroundings=False, clock="recorded")


class MountedRecording:
    """A recording that was read. ``stand`` has the grid step of the recording."""

    def __init__(self, stand: StandFile, recording: Recording) -> None:
        step = recording.grid.step / TICKS_PER_SECOND
        self.stand = replace(stand, grid_step=f"{step!r} s")
        self.recording = recording
        self.hello = Hello(
            model=recording.title,
            version="",
            inputs=_signals(recording.inputs),
            outputs=_signals(recording.outputs),
            capabilities=_ABLE,
            warnings=recording.warnings,
        )

    @property
    def available_inputs(self) -> tuple[str, ...]:
        """Levers and surroundings that were recorded or stated."""
        return self.recording.inputs

    @property
    def available_outputs(self) -> tuple[str, ...]:
        """Readings that were recorded."""
        return self.recording.outputs

    @property
    def capabilities(self) -> Capabilities:
        """What can be done with a recording: nothing can be set or repeated."""
        return _ABLE

    def facts(self) -> dict[str, Any]:
        """What the record says of the recording: plain tables, lists, text and numbers."""
        held = self.recording
        return {
            "stand": self.stand.title,
            "kind": self.stand.kind,
            "grid_step": self.stand.grid_step,
            "engine": self.stand.engine,
            "engines": list(self.stand.engines),
            "defect": None,
            "model": held.title,
            "version": "",
            "derived_from": "",
            "capabilities": {"clock": _ABLE.clock, "deterministic": False, "settable_surroundings": False},
            "inputs": [_fact(name) for name in held.inputs],
            "outputs": [_fact(name) for name in held.outputs],
            "unmapped_inputs": [],
            "unmapped_outputs": [],
            "warnings": list(held.warnings),
            "recorded": True,
            "jitter": held.jitter,
            "resolution": dict(held.resolution),
            "file": self.stand.target,
            "file_sha256": held.digest,
            "seconds": held.seconds(),
            "stretches": len(held.stretches),
        }

    @property
    def farewell(self) -> str:
        """Nothing can go wrong at the end of a file."""
        return ""

    def close(self) -> None:
        """Nothing is open."""

    def __enter__(self) -> MountedRecording:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def mount_recording(stand: StandFile, *, levers: Mapping[str, float], defect: str | None) -> MountedRecording:
    """The recording of ``stand``, read and laid on its grid; ``levers`` are those of the engine sheet.

    Raises :class:`InputError` for a file that cannot be used and for a lever of the sheet that nobody recorded or
    stated: without it nobody can tell which case was flown."""
    if defect is not None:
        raise UsageError("nothing can be built into a recording", "--defect", "leave it out", "defect")
    opened = cast(Recording, find_adapter(stand.kind, f"{stand.path}: kind")(stand, defect=None))
    missing = [name for name in levers if name not in opened.inputs]
    if missing:
        raise InputError(
            f"the engine of the sheet has a {missing[0]} lever and nothing says where it stood",
            f"{stand.path}: channels.{missing[0]}",
            "map its column, or write constant = '...' there when it was never moved",
            "lever",
        )
    return MountedRecording(stand, opened)


def _signals(names: tuple[str, ...]) -> tuple[Signal, ...]:
    return tuple(Signal(name, CHANNELS[name].unit, CHANNELS[name].states) for name in names)


def _fact(name: str) -> dict[str, Any]:
    ours = CHANNELS[name]
    return {
        "channel": name,
        "name": name,
        "unit": ours.unit,
        "states": list(ours.states),
        "scale": 1.0,
        "offset": 0.0,
    }
