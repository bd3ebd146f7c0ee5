"""A lamp of which the model tells only whether it is lit now, as a light that is off, blinking or on.

At least two toggles within 3 s are ``blinking``. A lamp that has not toggled for 0.75 s is ``on`` or ``off`` as it
stands; while it blinks for one and a half times the interval between its last two toggles, where that is longer, and
for 3 s at most. Until that can be told, it stays what it was. So ``blinking`` is told at the second toggle, ``on`` and
``off`` 0.75 s late, and a lamp that blinks at 0.7 Hz or faster is never taken for one that is on. (The two toggles in
3 s are the definition; the waiting times are harness choices.)
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.stand.port import Array
from leverproof.timegrid import TICKS_PER_SECOND

LIGHT = "turbo_overspeed_light"
WINDOW = 3 * TICKS_PER_SECOND
REST = 3 * TICKS_PER_SECOND // 4
LONGEST_STEP = TICKS_PER_SECOND // 10
"""Ticks between two looks at most: a lamp at 3 Hz toggles every sixth of a second (harness choice)."""

OFF, BLINKING, ON = (float(CHANNELS[LIGHT].states.index(state)) for state in ("off", "blinking", "on"))


class Lamp:
    """The lamp of one lane, looked at every ``step_ticks``; it remembers from batch to batch."""

    def __init__(self, step_ticks: int) -> None:
        self._step = step_ticks
        self._now = 0
        self._lit: bool | None = None
        self._state = OFF
        self._toggled: tuple[int, ...] = ()

    def see(self, lit: Iterable[float]) -> Array:
        """The state of the light at each look: ``lit`` holds 1 for lit and 0 for dark; where it is no number the answer
        is none either, and nothing is learned."""
        return np.array([self._look(value) for value in lit], dtype=np.float64)

    def _look(self, value: float) -> float:
        self._now += self._step
        if value != value:
            return value
        lit = value >= 0.5
        if self._lit is None:
            self._state = ON if lit else OFF
        elif lit != self._lit:
            self._toggled = (*self._toggled[-1:], self._now)
        self._lit = lit
        if self._toggled:
            self._decide(lit)
        return self._state

    def _decide(self, lit: bool) -> None:
        """The state after a look, from the last two toggles."""
        interval = self._toggled[-1] - self._toggled[0]
        twice = 0 < interval < WINDOW
        rest = min(max(REST, 3 * interval // 2), WINDOW) if twice else REST
        if self._now - self._toggled[-1] >= rest:
            self._state = ON if lit else OFF
        elif twice:
            self._state = BLINKING
