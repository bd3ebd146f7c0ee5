"""A guarded limit during a seek, for example turbo speed."""

from __future__ import annotations

import math

from leverproof.channels import CHANNELS
from leverproof.conduct.forecast import forecast
from leverproof.conduct.hand import Hand
from leverproof.history import Rows

# A settled guard this near its limit (share of the limit) counts as having reached it: assumption.
NEAR = 0.001


class Guard:
    """One guarded channel: its limit, the largest value seen, how it answers the lever."""

    __slots__ = (
        "_before",
        "_foreseen",
        "_gain",
        "_lag",
        "_place",
        "_previous",
        "_settled",
        "column",
        "highest",
        "limit",
        "name",
    )

    def __init__(self, name: str, column: int, limit: float) -> None:
        self.name = name
        self.column = column
        self.limit = limit
        self.highest = -math.inf
        self._gain = 0.0
        self._lag = 0.0
        self._place = math.nan
        self._settled = math.nan
        self._previous = math.nan
        self._before = math.nan
        self._foreseen = math.nan

    def watch(self, reply: Rows) -> float:
        """Keep the largest value; returns the latest."""
        self.highest = max(self.highest, float(reply[:, self.column].max()))
        self._previous = float(reply[-1, self.column])
        return self._previous

    def begin_move(self) -> None:
        """The lever is about to move."""
        self._before = self._foreseen = self._previous

    def trips(self, reply: Rows, seconds: float) -> tuple[bool, bool]:
        """Whether the moving lever must stop here because the channel is at its limit or foreseen to get
        there, and whether it is there already."""
        previous = self._previous
        latest = self.watch(reply)
        if latest <= self._before + 1e-6 * abs(self.limit):
            return False, False
        foreseen = latest + (latest - previous) * self._lag / seconds
        # A slope over a control step is half a step old, and the lever moves on for one more before the next
        # look.
        after_next = foreseen + 1.5 * max(0.0, foreseen - self._foreseen)
        self._foreseen = foreseen
        return max(latest, after_next) >= self.limit, latest >= self.limit

    def settle(self, hand: Hand, place: float, step_seconds: float, rested: int) -> None:
        """Learn from the settled channel how far the lever may go on."""
        rows = min(rested - round(1.0 / step_seconds), round(4.5 / step_seconds))
        trace = hand.tail(self.column, rows)
        seen = forecast(trace, max(1, len(trace) // 3), step_seconds)
        travel = place - self._place
        if travel and abs(seen.end - self._settled) > 3.0 * seen.doubt:
            self._gain = (seen.end - self._settled) / travel
        if seen.lag == seen.lag:
            self._lag = seen.lag
        self._place, self._settled, self._previous = place, seen.end, trace[-1]

    def room(self, direction: float) -> float:
        """Lever travel left in ``direction`` before the settled channel would be at its limit; 0 when it is
        there."""
        rising = self._gain * direction
        if rising <= 0.0:
            return math.inf
        left = self.limit - self._settled
        if left <= NEAR * abs(self.limit):
            return 0.0
        return left / rising * (0.85 if left > 0.02 * abs(self.limit) else 1.0)

    def falls(self, direction: float) -> bool:
        """Whether the settled channel was last seen to fall when the lever went in ``direction``. What it still does
        in a move that way is left over from the move before, by the lag of levers and gauges."""
        return self._gain * direction < 0.0

    def over(self) -> bool:
        """Whether the settled channel is above its limit."""
        return self._settled > self.limit

    def passed_by(self) -> str:
        """Words for a limit that was passed, or ""."""
        unit = CHANNELS[self.name].unit
        foreseen = self._settled - 0.1 * NEAR * abs(self.limit)
        for value, least, what in (
            (self.highest, self.highest, "passed"),
            (self._settled, foreseen, "will settle past"),
        ):
            if least > self.limit:
                return f"{self.name} {what} its limit of {self.limit:g} {unit} by {value - self.limit:.4g} {unit}"
        return ""
