"""Seek: move one lever until a channel holds a value, knowing nothing of the model.

Move, let the channel come to rest as far as needed to foresee its end value, correct with the gain just
measured. The end value is what counts, never a crossing on the way. Nothing is ever rewound.

Sizes of probing moves, waiting times and growth of steps are our own choices (assumption); they steer how
long a seek takes, never whether its ending is true.
"""

from __future__ import annotations

import math

from leverproof.channels import CHANNELS
from leverproof.conduct.forecast import Forecast, finer, finest_step, ladder_step
from leverproof.conduct.guard import Guard
from leverproof.conduct.hand import Hand, Steps
from leverproof.conduct.looks import AskRest
from leverproof.conduct.model import PlannedStep
from leverproof.conduct.seekable import SeekEnd, refuse_unseekable
from leverproof.timegrid import TICKS_PER_SECOND

FIRST_PROBE = 0.02
EXPLORING = 0.15
DEAD_TIME = 1.0
FIRST_LOOK = 2.5
LONGEST_LOOK = 4.5
LONGEST_SETTLING = 25.0
HELD_FOR = 2.0
LONGEST_HOLDING = 12.0
AIM = 0.35
REFINEMENTS = 2
LEAST_MOVE = 1e-7
GAUGE_SEEN = 10
FEW = 20
HALF_STEP = 0.505


class _TimeUpError(Exception):
    """The seek's time limit has come."""


def seek(hand: Hand, step: PlannedStep) -> Steps[SeekEnd]:
    """Fly one seek. Endings: ``reached``, ``stop``, ``"<channel> limit"``, ``no response``, ``not monotone``,
    ``not reached``. Raises :class:`RefusedError` for a step that cannot be flown as written."""
    seeker = _Seeker(hand, step)
    try:
        ending = yield from seeker.run()
    except _TimeUpError:
        yield from seeker.see()
        ending = "reached" if seeker.rests_inside() else "not reached"
    return SeekEnd(ending, seeker.note())


class _Seeker:
    """One seek under way. ``gain`` is the change of the settled channel per lever travel, 0.0 until
    measured."""

    def __init__(self, hand: Hand, step: PlannedStep) -> None:
        refuse_unseekable(hand, step)
        self.hand = hand
        self.lever = step.lever
        self.column = hand.column(step.channel)
        self.channel = step.channel
        self.target = step.value
        self.within = self.asked = step.within
        self.seconds = hand.grid.step / TICKS_PER_SECOND
        self.control_seconds = hand.control * self.seconds
        self.per_second = round(1.0 / self.seconds)
        self.per_step = step.rate * self.control_seconds
        self.deadline = hand.row + hand.grid.rows(step.limit)
        self.guards = [Guard(name, hand.column(name), limit) for name, limit in step.guard.items()]
        self.since = self.watched = hand.row
        self.foreseen: list[Forecast] = []
        self.foreseen_after = (-1, 0)
        self.gain = 0.0
        self.lag = 0.0
        self.finest = math.inf
        self.probe = FIRST_PROBE
        self.probe_direction = 0.0
        self.turned = False
        self.explored = False
        self.begun = hand.value(step.lever)
        self.contradictions = 0
        self.refinements = REFINEMENTS
        self.last_size = 0.0
        self.tripped: Guard | None = None
        self.tripped_direction = 0.0

    def note(self) -> str:
        """Where lever and channel were left, and guards that lag carried past their limit."""
        unit = CHANNELS[self.channel].unit
        last = self.hand.tail(self.column, 1)
        seen = f"{self.channel} {last[0]:.6g} {unit}, " if last else ""
        words = f"{seen}{self.lever} {self.hand.value(self.lever):.4f}"
        return "; ".join([words, *(passed for guard in self.guards if (passed := guard.passed_by()))])

    def run(self) -> Steps[str]:
        """The whole seek; returns the ending."""
        seen = yield from self._settle(self._rested(), math.nan, 0.0)
        while True:
            if abs(self.target - seen.end) <= self.within:
                over = next((guard.name for guard in self.guards if guard.over()), "")
                if over:
                    return f"{over} limit"
                if self._good_enough(seen):
                    if (yield from self._holds()):
                        return "reached"
                    seen = self.foreseen[0]
                self.refinements -= 1
            ending, change = self._next(seen)
            if ending == "wait":
                yield from self._rest(self.control_seconds)
                seen = yield from self._settle(self.since, math.nan, 0.0)
                continue
            if ending:
                return ending
            before, was = self.hand.value(self.lever), seen
            yield from self._move(change)
            travel = self.hand.value(self.lever) - before
            seen = yield from self._settle(self.hand.row, was.end, abs(self.gain * travel))
            self._learn(travel, was, seen)
            if self.contradictions >= 2:
                return "not monotone"

    def _rested(self) -> int:
        """The row since which the levers have been at rest before the seek, not too long ago."""
        most = round((LONGEST_LOOK + DEAD_TIME) / self.seconds)
        return max(self.hand.still_since, self.hand.row - most)

    def _seconds_rested(self) -> float:
        return (self.hand.row - self.since) * self.seconds

    def _latest(self, rows: int) -> list[float]:
        """The last samples at rest, at most ``rows``."""
        return self.hand.tail(self.column, min(rows, self.hand.row - self.since))

    def _rest(self, seconds: float) -> Steps[None]:
        """Hold for some control steps and see what the channel does."""
        hand = self.hand
        left = self.deadline - hand.row
        if left <= 0:
            raise _TimeUpError
        rows = max(1, math.ceil(seconds / self.control_seconds - 1e-9)) * hand.control
        hand.hold(min(rows, left))
        yield from self.see()
        if rows > left:
            raise _TimeUpError

    def see(self) -> Steps[None]:
        """Look, and foresee the end value where the lever has rested; let the guards watch what was flown since the
        last look."""
        rest = self.hand.row - self.since
        ago = self.per_second
        if rest > ago:
            # What was foreseen one second ago need not be worked out again.
            known = self.foreseen[:1] if self.foreseen_after == (self.since, rest - ago) else []
            looks = ((self._third(rest), 0), (self._third(rest - ago), ago))
            ask = AskRest(self.column + len(self.hand.inputs), rest, self.seconds, looks[:1] if known else looks)
            found: list[Forecast] = yield from self.hand.look(ask)  # type: ignore[assignment]
            self.foreseen, self.foreseen_after = found + known, (self.since, rest)
        else:
            yield from self.hand.look()
        rows = self.hand.row - self.watched
        if rows:
            self.watched = self.hand.row
            for guard in self.guards:
                guard.watch(self.hand.latest(rows))

    def _third(self, rows: int) -> int:
        """Samples in a third of what a forecast looks at after ``rows`` at rest, leaving out what a dead time could
        hide."""
        return max(1, int(min(rows * self.seconds - DEAD_TIME, LONGEST_LOOK) / 3.0 / self.seconds))

    def _settle(self, since: int, origin: float, expected: float) -> Steps[Forecast]:
        """Rest until the end value is known well enough for what is to be decided: the next move, and the
        gain from the change since ``origin`` (NaN when nothing was moved), which was ``expected`` to be so
        large. The lever is at rest since the row ``since``."""
        self.since = since
        yield from self._rest(max(1.0, FIRST_LOOK + 1.0 - self._seconds_rested()))
        while True:
            latest, before = self.foreseen
            enough = 0.12 * abs(self.target - latest.end)
            if origin == origin:
                enough = min(enough, 0.25 * max(expected, abs(latest.end - origin)))
            enough = max(enough, 0.15 * self.within)
            doubt = latest.doubt
            if doubt <= enough:
                doubt = max(doubt, abs(latest.end - before.end))
                if doubt <= enough:
                    break
            rested = self._seconds_rested()
            if rested >= LONGEST_SETTLING or (rested >= 9.0 and self._swing(LONGEST_LOOK) <= self.within):
                doubt = max(doubt, self._swing(LONGEST_LOOK) / 2.0)
                break
            yield from self._rest(1.0)
        if latest.lag == latest.lag:
            self.lag = latest.lag
        if self.finest > 0.02 * self.within:
            self.finest = min(self.finest, finest_step(self._latest(3 * self.per_second)))
        self._see_gauge()
        doubt = max(doubt, self.finest / 2.0 if self.finest < math.inf else 0.0)
        for guard in self.guards:
            guard.settle(self.hand, self.hand.value(self.lever), self.seconds, self.hand.row - self.since)
        return Forecast(latest.end, doubt, latest.lag)

    def _see_gauge(self) -> None:
        """Nobody can ask a gauge that moves in steps for less than half of one (JCGM 100:2008, F.2.2.1)."""
        if self.within == self.asked and finer(self.hand.tail(self.column, FEW), self.asked / HALF_STEP):
            return
        step = ladder_step(self.hand.tail(self.column, GAUGE_SEEN * self.per_second))
        if step is not None:
            self.within = max(self.asked, HALF_STEP * step)

    def _swing(self, seconds: float) -> float:
        """Largest less smallest sample of the last seconds at rest."""
        latest = self._latest(round(seconds / self.seconds))
        return max(latest) - min(latest)

    def _good_enough(self, seen: Forecast) -> bool:
        """Whether to wait for the channel here instead of moving the lever once more."""
        off = abs(self.target - seen.end)
        return off <= AIM * self.within or self.refinements <= 0 or off <= 2.0 * seen.doubt

    def _holds(self) -> Steps[bool]:
        """Wait until the channel has been inside for 2 s and is foreseen to stay; False when it will not."""
        rows = round(HELD_FOR / self.seconds)
        waited = 0
        while True:
            latest = self._latest(rows)
            inside = max(latest) - self.target <= self.within and self.target - min(latest) <= self.within
            seen = self.foreseen[0]
            if inside and abs(self.target - seen.end) + seen.doubt <= self.within:
                return True
            settled = self._seconds_rested() >= LONGEST_SETTLING
            if abs(self.target - seen.end) > self.within + seen.doubt or (waited > 4 and settled):
                return False
            yield from self._rest(self._patience(latest, seen))
            waited += 1

    def rests_inside(self) -> bool:
        """Whether the lever has been at rest for 2 s, the channel inside all the while and foreseen to stay, and no
        guard over its limit: enough for a seek without time left for a finer move."""
        rows = round(HELD_FOR / self.seconds)
        if self.hand.row - self.since < rows or self.foreseen_after[0] != self.since:
            return False
        latest = self._latest(rows)
        far = max(max(latest) - self.target, self.target - min(latest), abs(self.target - self.foreseen[0].end))
        return far <= self.within and not any(g.over() for g in self.guards)

    def _patience(self, latest: list[float], seen: Forecast) -> float:
        """Seconds until the channel should have been inside for long enough."""
        off = abs(latest[-1] - self.target)
        if off > self.within:
            if seen.lag != seen.lag:
                return self.control_seconds
            return min(LONGEST_HOLDING, HELD_FOR + seen.lag * math.log(off / self.within))
        low, high = self.target - self.within, self.target + self.within
        outside = next((i for i in range(len(latest) - 1, -1, -1) if not low <= latest[i] <= high), -1)
        return max(self.control_seconds, (outside + 1) * self.seconds)

    def _next(self, seen: Forecast) -> tuple[str, float]:
        """The ending that is due, "wait", or "" and the next lever move."""
        place = self.hand.value(self.lever)
        miss = self.target - seen.end
        if not self.gain:
            return self._next_probe(place, math.copysign(1.0, miss), seen)
        direction = math.copysign(1.0, miss * self.gain)
        if self.tripped is not None and self.tripped_direction == direction:
            return f"{self.tripped.name} limit", 0.0
        room = 1.0 - place if direction > 0 else place
        if room <= 0.0:
            if not self.explored and abs(place - self.begun) < EXPLORING and self._quiet(seen):
                return "", self._away_from_stop(place)
            return self._at_stop(seen), 0.0
        size = abs(miss / self.gain)
        if size > 4.0 * self.last_size:
            size = min(0.85 * size, 0.4)
        for guard in self.guards:
            allowed = guard.room(direction)
            if allowed <= 0.0:
                return f"{guard.name} limit", 0.0
            size = min(size, allowed)
        return "", direction * min(max(size, LEAST_MOVE), room)

    def _next_probe(self, place: float, towards: float, seen: Forecast) -> tuple[str, float]:
        """The next probing move while the lever has shown no effect yet, to each stop in turn."""
        self.probe_direction = self.probe_direction or towards
        for _ in range(2):
            direction = self.probe_direction
            blocked = self.tripped is not None and self.tripped_direction == direction
            room = 1.0 - place if direction > 0 else place
            if room > 0.0 and not blocked:
                return "", direction * min(self.probe, room)
            if self.turned:
                break
            self.turned, self.probe_direction = True, -direction
            self.probe = max(FIRST_PROBE, self.probe / 4.0)
        if self.tripped is not None:
            return f"{self.tripped.name} limit", 0.0
        return ("no response" if self._quiet(seen) else "wait"), 0.0

    def _away_from_stop(self, place: float) -> float:
        """One larger look away from a stop, before it is called the end: a lever may act the other way over the
        first part of its travel (closing a waste gate raises back pressure before the turbo has turned up)."""
        self.explored, self.turned = True, True
        self.gain = 0.0
        self.probe = EXPLORING
        self.probe_direction = 1.0 if place < 0.5 else -1.0
        return self.probe_direction * EXPLORING

    def _quiet(self, seen: Forecast) -> bool:
        """Whether the channel is at rest: not in the middle of a swing that could hide a response."""
        steady = max(CHANNELS[self.channel].band, self.within)
        return self._swing(HELD_FOR) <= steady and seen.doubt <= steady

    def _at_stop(self, seen: Forecast) -> str:
        """The ending of a seek whose lever has no travel left."""
        if not self._quiet(seen) or abs(self.target - seen.end) <= self.within:
            return "wait"
        return "not monotone" if self.contradictions else "stop"

    def _learn(self, travel: float, was: Forecast, seen: Forecast) -> None:
        """Take gain and sign from what the last move did to the settled channel."""
        change = seen.end - was.end
        doubt = was.doubt + seen.doubt
        least = max(0.25 * self.within, 3.0 * doubt, 1e-6 * abs(seen.end))
        if self.gain * travel * change > 0.0 and abs(change) > 1.2 * doubt:
            least = min(least, abs(change) / 2.0)
        if abs(change) <= least:
            if not self.gain:
                self.probe *= 2.0
            elif abs(self.gain * travel) > 3.0 * least:
                self.gain /= 3.0
            return
        found = change / travel
        if not self.gain:
            self.gain = found
        elif found * self.gain < 0.0:
            self.contradictions += 1
        else:
            ratio = min(6.0, max(1.0 / 6.0, found / self.gain))
            self.gain *= ratio

    def _move(self, change: float) -> Steps[None]:
        """Move the lever by ``change`` at no more than its rate; stop early when the channel is foreseen to
        pass the target or a guard its limit."""
        hand = self.hand
        count = max(1, math.ceil(abs(change) / self.per_step - 1e-9))
        origin = hand.value(self.lever)
        previous = hand.tail(self.column, 1)[0]
        side = previous - self.target
        self.last_size = abs(change)
        self.tripped = None
        for guard in self.guards:
            guard.begin_move()
        # Where nothing is guarded the first half of a long move needs no looking at, the last piece none that could
        # stop it, and a move whose effect is not known yet none at all.
        stride = 1 if self.guards else max(1, count // 2) if self.gain else count
        index = 0
        while index < count:
            left = (self.deadline - hand.row) // hand.control
            if left <= 0:
                raise _TimeUpError
            stride = min(stride, left)
            index += stride
            hand.push(self.lever, origin + change * index / count, stride * hand.control)
            if index == count and not self.guards:
                return
            yield from hand.look()
            latest = hand.tail(self.column, 1)[0]
            if stride > 1:
                previous = hand.tail(self.column, 1, hand.control)[0]
            foreseen = latest + (latest - previous) / self.control_seconds * self.lag
            nearer = abs(side) - abs(foreseen - self.target)
            stop = bool(self.gain) and (foreseen - self.target) * side < 0.0
            if self._guards_trip(math.copysign(1.0, change)) or stop:
                self.last_size = abs(hand.value(self.lever) - origin)
                return
            previous, stride = latest, 1
            if nearer > 0.0 and not self.guards:
                # Half of the way that is left, if the channel goes on as it has gone so far.
                stride = max(1, min(count - index, int(0.5 * index * abs(foreseen - self.target) / nearer)))

    def _guards_trip(self, direction: float) -> bool:
        """Whether a guard stops the lever, which has moved since the last look in ``direction``."""
        stop = False
        seen = self.hand.latest(self.hand.row - self.watched)
        self.watched = self.hand.row
        for guard in self.guards:
            near, at_limit = guard.trips(seen, self.control_seconds)
            if guard.falls(direction):
                continue
            stop = stop or near
            if at_limit:
                self.tripped, self.tripped_direction = guard, direction
        return stop
