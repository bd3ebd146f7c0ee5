"""A recorded history as a stand: what was flown, in our channels, on a time grid, in stretches without a gap.

A recording is no session: nothing can be asked of it. The matcher finds in it what a case's program asks for.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NoReturn

from leverproof.errors import InputError
from leverproof.stand.port import Array
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid


@dataclass(frozen=True)
class Stretch:
    """A part of a recording without a gap: ``begins`` seconds by the recording's own clock at row 0, ``data`` of shape
    (rows, columns), canonical units. A value the model gave that is no number is NaN."""

    begins: float
    data: Array

    def at(self, row: int, grid: TimeGrid) -> float:
        """Time of a row by the recording's own clock, in seconds."""
        return self.begins + row * grid.step / TICKS_PER_SECOND


@dataclass(frozen=True)
class Recording:
    """A recorded history. ``inputs`` are the levers and surroundings and come first in the columns, ``outputs`` the
    readings. ``resolution`` is the smallest step of each gauge that has one (canonical unit); ``jitter`` how far an
    instant may be from where its row says (s, half-width); ``warnings`` what was mended, with numbers; ``digest`` the
    SHA-256 of the file."""

    title: str
    grid: TimeGrid
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    stretches: tuple[Stretch, ...]
    resolution: dict[str, float] = field(default_factory=dict)
    jitter: float = 0.0
    warnings: tuple[str, ...] = ()
    digest: str = ""

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns of every stretch, inputs first."""
        return self.inputs + self.outputs

    def hello(self) -> NoReturn:
        """Refuses to be mounted as a model: raises :class:`InputError`."""
        raise InputError(
            "this stand is a recording: nothing can be asked of what is over",
            hint="'leverproof run' judges what was flown in it",
            code="recording",
        )

    def close(self) -> None:
        """Nothing is open."""

    def seconds(self) -> float:
        """How long all stretches last together."""
        rows: int = sum(s.data.shape[0] - 1 for s in self.stretches)
        return rows * self.grid.step / TICKS_PER_SECOND
