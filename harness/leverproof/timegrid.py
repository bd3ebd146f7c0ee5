"""Time as whole ticks of 1/36,000 s, so that no run ever adds floating-point seconds.

A grid step is a whole number of ticks that divides the control step of 0.5 s; durations are multiples of 0.5 s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from leverproof.errors import InputError
from leverproof.quantities import parse

TICKS_PER_SECOND = 36_000
CONTROL_TICKS = TICKS_PER_SECOND // 2


def ticks(text: object, where: str = "") -> int:
    """A duration such as ``"90 s"`` in ticks; refused when it is not a positive multiple of 0.5 s."""
    quantity = parse(text, where)
    exact = quantity.to("s", where) * TICKS_PER_SECOND
    whole = round(exact) if math.isfinite(exact) else 0
    if abs(exact - whole) > 1e-6 or whole % CONTROL_TICKS or whole <= 0:
        raise InputError(
            f"{text!r} is not a positive multiple of 0.5 s",
            where,
            "decisions fall on a half-second grid: round the duration to it",
            "duration",
        )
    return whole


@dataclass(frozen=True, slots=True)
class TimeGrid:
    """The grid of one run: ``step`` ticks between rows."""

    step: int

    def __post_init__(self) -> None:
        if self.step <= 0 or CONTROL_TICKS % self.step:
            raise InputError(
                f"a grid step of {self.step} ticks does not divide 0.5 s ({CONTROL_TICKS} ticks)",
                hint="use for example '0.05 s' (1,800 ticks) or '0.02 s' (720 ticks)",
                code="grid",
            )

    @classmethod
    def parse(cls, text: object, where: str = "") -> TimeGrid:
        """The grid of a step written as a quantity of time."""
        exact = parse(text, where).to("s", where) * TICKS_PER_SECOND
        if not math.isfinite(exact) or abs(exact - round(exact)) > 1e-6:
            raise InputError(f"{text!r} is not a whole number of 1/36,000 s", where, code="grid")
        try:
            return cls(round(exact))
        except InputError as error:
            raise InputError(error.message, where, error.hint, error.code) from None

    @property
    def rows_per_control(self) -> int:
        """Rows in one control step of 0.5 s."""
        return CONTROL_TICKS // self.step

    def rows(self, duration: int) -> int:
        """Rows in a duration of ``duration`` ticks."""
        return duration // self.step

    def seconds(self, row: int) -> float:
        """Time of a row, computed, never summed."""
        return row * self.step / TICKS_PER_SECOND
