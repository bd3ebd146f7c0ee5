"""The clock of a model that runs by itself: what its stamps show, and what is wrong with them.

All decisions are made on the model's own time. Our own clock serves for two things only: to find a clock that stands
still, and to tell a clock that jumps from a machine that was busy elsewhere.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from typing import NoReturn

from leverproof.stand.port import ClockSeen
from leverproof.stand.trouble import trouble

LONGEST_GAP = 2.0
"""Seconds of its own time between two polls at most, as between two rows of a recording (harness choice)."""
TOO_FAST = 1.25
SLACK = 0.5
"""A clock that has gained more than a quarter on its declared rate, and half a second of ours beside, is too fast: what
a program makes up for after a pause stays below that (harness choices)."""
JUMP = 2.0
"""A clock that went on by more than this many times what its rate explains has jumped (harness choice)."""
SLOWEST = 0.05
"""A clock that goes on by less than a twentieth of real time, or half of a declared rate below that, is as good as
standing still: no run would ever end (harness choice)."""
_SPAN = 0.5
"""Seconds of ours over which the rate is measured."""
_SHORTEST = 0.01
_SAME = 1e-9


class ClockWatch:
    """Watches the stamps of one model. ``declared`` is the rate its hello states, ``patience`` how long, in seconds of
    ours, its clock may take to show that it goes on, ``longest_gap`` in seconds of its own. ``last`` is the latest
    stamp, ``polled_at`` when it came, by our clock."""

    def __init__(
        self, *, declared: float | None, patience: float, longest_gap: float, clock: Callable[[], float]
    ) -> None:
        self._declared, self._patience, self._longest_gap = declared, patience, longest_gap
        self._clock = clock
        self.last = -math.inf
        self.polled_at = 0.0
        self._recent: deque[tuple[float, float]] = deque()
        self._began: tuple[float, float] | None = None
        self._spent = self._gone = 0.0
        self._moved = (0.0, -math.inf)
        self._step = 0.0
        self._gap = self._late = 0.0
        self._polls = 0

    def begin(self, step: float, *, anew: bool) -> None:
        """A run begins, on a grid of ``step`` s. ``anew``: the model was put back, and its clock may begin anew."""
        self._step = step
        if self._began is not None:
            wall, stamp = self._began
            self._spent, self._gone = self._spent + self.polled_at - wall, self._gone + self.last - stamp
        self._recent.clear()
        self._began = None
        self._gap = self._late = 0.0
        self._polls = 0
        if anew:
            self.last = -math.inf
        self._moved = (self._clock(), self.last)

    @property
    def rate(self) -> float | None:
        """Seconds of its time in one of ours: as measured lately, else as declared; None when neither is known."""
        if self._recent:
            (wall, stamp), (now, last) = self._recent[0], self._recent[-1]
            if now - wall >= _SHORTEST and last > stamp:
                return (last - stamp) / (now - wall)
        return self._declared

    def told(self, stamp: float, due: float) -> None:
        """A tell that was due at ``due`` came into force at ``stamp``, both in seconds of the model's time."""
        if stamp < self.last - _SAME:
            self._ran_back(stamp)
        self.arrived(stamp, due)

    def arrived(self, stamp: float, due: float) -> None:
        """Something due at ``due`` came into force at ``stamp``, or had not by then."""
        self._late = max(self._late, stamp - due)

    def polled(self, stamp: float, asked: float) -> bool:
        """Whether a poll, asked for at ``asked`` by our clock, shows a new instant. Raises
        :class:`leverproof.errors.StandError` for a clock that cannot be gone by."""
        now = self._clock()
        if stamp < self.last:
            self._ran_back(stamp)
        if stamp - self._moved[1] >= max(self._step, self._patience * self._slowest()):
            self._moved = (now, stamp)
        elif now - self._moved[0] > self._patience:
            raise trouble(
                f"the model's clock stands still at {stamp:g} s: it went on by {stamp - self._moved[1]:g} s in "
                f"{now - self._moved[0]:.3g} s",
                "hang",
                hint="the clock of a free-running model never stops; the request deadline says how long is waited",
            )
        if stamp == self.last and self._began is not None:
            return False
        if self._recent:
            self._gone_on(stamp - self.last, now - self._recent[-1][0])
        if self._began is None:
            self._began = (asked, stamp)
        self._not_too_fast(now, stamp)
        self.last, self.polled_at = stamp, now
        self._recent.append((now, stamp))
        while len(self._recent) > 2 and now - self._recent[1][0] >= _SPAN:
            self._recent.popleft()
        self._polls += 1
        return True

    def _slowest(self) -> float:
        return SLOWEST if self._declared is None else min(SLOWEST, 0.5 * self._declared)

    def seen(self) -> ClockSeen:
        """What the clock showed in the run under way."""
        jitter = self._late + max(0.0, self._gap - self._step)
        rate = self.rate
        return ClockSeen(jitter, self._gap, self._late, math.nan if rate is None else rate, self._polls)

    def _gone_on(self, gap: float, wall: float) -> None:
        if gap > self._longest_gap:
            words = f"the model's clock went on by {gap:.3g} s between two polls {1000.0 * wall:.3g} ms apart"
            rate = self.rate
            if rate is not None and gap > JUMP * rate * wall + self._step:
                raise trouble(f"{words}: it jumped ahead by {gap - rate * wall:.3g} s", "protocol")
            raise trouble(
                f"{words}; nothing is bridged over more than {self._longest_gap:g} s",
                "hang",
                hint="let the model run slower, or give this machine less to do beside",
            )
        self._gap = max(self._gap, gap)

    def _not_too_fast(self, now: float, stamp: float) -> None:
        if self._declared is None or self._began is None:
            return
        wall, begun = self._began
        # A run alone may be over before it shows; all of them together show it.
        spent, gone = self._spent + now - wall, self._gone + stamp - begun
        expected = self._declared * spent
        if gone > TOO_FAST * expected + SLACK * self._declared:
            raise trouble(
                f"the model's clock went on by {gone:.3g} s in {spent:.3g} s, "
                f"{gone / expected:.2g} times the rate of {self._declared:g} that it declares",
                "protocol",
                hint="stamp every reply with the time the equations have reached, or declare the rate they run at",
            )

    def _ran_back(self, stamp: float) -> NoReturn:
        raise trouble(f"the model's clock ran back from {self.last:g} s to {stamp:g} s", "protocol")
