"""Mounting a stand: find the adapter, open the model, let it say hello, find our channels in it.

Mounting runs the model's code. Reading a stand file does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from leverproof.errors import InputError, LeverproofError, UsageError, nearest
from leverproof.stand.adapters import adapter_defects, find_adapter
from leverproof.stand.engines import engine_links
from leverproof.stand.guard import GuardedSession, guarded_call
from leverproof.stand.mapped import Link, Links, MappedSession
from leverproof.stand.port import Capabilities, ClockSeen, Hello, OpenStand, Session, StandFile
from leverproof.stand.processes import open_processes
from leverproof.stand.trouble import trouble

FREE_RUNNING = "free_running"


class MountedStand:
    """A model on its stand. Made by :func:`mount`; usable in a ``with`` statement, which closes it.

    ``session`` speaks canonical channels and units; after a :class:`StandError` it is dead and :meth:`reopen`
    gives another. ``hello`` is what the model said, in its own names. Of a model with several engines it is the first
    of those under test, until :meth:`turn_to` says otherwise.
    """

    def __init__(self, stand: StandFile, adapter: OpenStand, defect: str | None) -> None:
        self.stand = stand
        self.defect = defect
        self._adapter = adapter
        self._defects = known_defects(stand, adapter)
        if defect is not None and not self.supports(defect):
            raise UsageError(
                f"{stand.title} has no seeded defect {defect!r}",
                stand.path,
                nearest(defect, self._defects),
                "defect",
            )
        self.hello, self._found, self._model = self._open()
        self.engine = stand.engine
        self.links = self._found[self.engine]
        self.session = MappedSession(self._model, self.links)

    def turn_to(self, engine: int) -> None:
        """Puts another engine of the same model under test, from 1; those before it are held from then on. A model
        that cannot forget what it has flown is opened anew, which may raise :class:`StandError`."""
        if engine == self.engine:
            return
        self.engine = engine
        self.links = self._found[engine]
        self.session = MappedSession(self._model, self.links)
        if not self.hello.capabilities.reset:
            self.reopen()

    def _opened(self) -> Session:
        def one() -> Session:
            return self._adapter(self.stand, defect=self.defect)

        return one() if self.stand.processes == 1 else open_processes(one, self.stand.processes)

    def _open(self) -> tuple[Hello, dict[int, Links], Session]:
        opened = guarded_call(self._opened, "being opened")
        session = opened if isinstance(opened, GuardedSession) else GuardedSession(opened)
        try:
            hello = session.hello()
            clock = hello.capabilities.clock
            if clock != self.stand.clock:
                raise InputError(
                    f"the stand file says clock = {self.stand.clock!r}, the model runs {clock!r}",
                    f"{self.stand.path}: clock",
                    f"write clock = {clock!r}",
                    "clock",
                )
            links = engine_links(self.stand, hello)
        except LeverproofError:
            session.close()
            raise
        return hello, links, session

    def reopen(self) -> Session:
        """A fresh session of the same stand; the one before is closed. Raises :class:`StandError` when the
        model does not come up again or then says something else of itself."""
        self.session.close()
        hello, found, session = self._open()
        if _lasting(hello) != _lasting(self.hello):
            session.close()
            raise trouble("the model describes itself otherwise than at its first start", "protocol")
        self.hello, self._found, self._model = hello, found, session
        self.links = found[self.engine]
        self.session = MappedSession(session, self.links)
        return self.session

    @property
    def adapter(self) -> OpenStand:
        """What opens another session of the same kind of stand."""
        return self._adapter

    @property
    def farewell(self) -> str:
        """What was wrong with how the model ended when it was told to close, empty when nothing was."""
        return self.session.farewell

    def supports(self, defect: str) -> bool:
        """Whether the model has this seeded defect."""
        return defect in self._defects

    @property
    def defects(self) -> Mapping[str, Mapping[str, Any]]:
        """The seeded defects the model has, by name: ``size``, ``reason`` and ``fires`` of each."""
        return dict(self._defects)

    @property
    def available_inputs(self) -> tuple[str, ...]:
        """Our names of the levers and surroundings the model takes."""
        return tuple(self.links.inputs)

    @property
    def available_outputs(self) -> tuple[str, ...]:
        """Our names of the readings the model gives."""
        return tuple(self.links.outputs)

    @property
    def capabilities(self) -> Capabilities:
        """What the model said it can do."""
        return self.hello.capabilities

    def clock_seen(self) -> ClockSeen | None:
        """What the clock of a free-running model showed in the run under way; None for any other."""
        seen: ClockSeen | None = self.session.clock_seen() if isinstance(self.session, MappedSession) else None
        return seen

    def states(self, channel: str) -> tuple[str, ...]:
        """The states of a discrete channel that this model has, in our order; empty for any other channel."""
        for signal in (*self.session.hello().inputs, *self.session.hello().outputs):
            if signal.name == channel:
                return signal.states
        return ()

    def facts(self) -> dict[str, Any]:
        """What the record says of the model: plain tables, lists, text and numbers."""
        said = self.hello
        return {
            "stand": self.stand.title,
            "kind": self.stand.kind,
            "grid_step": self.stand.grid_step,
            "engine": self.engine,
            "engines": list(self.stand.engines),
            "processes": self.stand.processes,
            "defect": self.defect,
            "model": said.model,
            "version": said.version,
            "derived_from": said.derived_from,
            "capabilities": asdict(said.capabilities),
            "inputs": [_fact(entry) for entry in self.links.inputs.values()],
            "outputs": [_fact(entry) for entry in self.links.outputs.values()],
            "unmapped_inputs": list(self.links.unmapped_inputs),
            "unmapped_outputs": list(self.links.unmapped_outputs),
            "warnings": [*said.warnings, *self.links.warnings],
        }

    def close(self) -> None:
        """End the model; never raises, may be called twice."""
        self.session.close()

    def __enter__(self) -> MountedStand:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def mount(stand: StandFile, *, defect: str | None, adapters: Mapping[str, OpenStand] | None = None) -> MountedStand:
    """The model of ``stand``, opened and greeted; ``defect`` names a seeded defect to build in.

    ``adapters`` by kind replace the installed ones. Raises :class:`InputError` for a stand that does not fit
    the model, :class:`UsageError` for a defect the model does not have and :class:`StandError` when it does
    not come up. Runs the model's code.
    """
    if adapters is not None and stand.kind in adapters:
        return MountedStand(stand, adapters[stand.kind], defect)
    return MountedStand(stand, find_adapter(stand.kind, f"{stand.path}: kind"), defect)


def known_defects(stand: StandFile, adapter: OpenStand | None = None) -> Mapping[str, Mapping[str, Any]]:
    """The seeded defects of a stand, by name, without mounting it: those of the adapter's own models and
    those the stand file declares."""
    found = adapter or find_adapter(stand.kind, f"{stand.path}: kind")
    return {**adapter_defects(found, stand), **stand.defects}


def _lasting(hello: Hello) -> tuple[object, ...]:
    return hello.model, hello.version, hello.inputs, hello.outputs, hello.capabilities


def _fact(entry: Link) -> dict[str, Any]:
    return {
        "channel": entry.channel,
        "name": entry.signal.name,
        "unit": entry.unit,
        "states": list(entry.signal.states),
        "scale": entry.scale,
        "offset": entry.offset,
    }
