"""One run against the run that was accepted: readings, curves and steps.

The steps of a lever program set the two beside one another, each from its own beginning: a response moved in time to
fit would lose the lag that is asked about, and a seek that ends half a second later would move everything after it.
How long a step takes that waits for something (a trim, a seek, a reading) is decided by limits of the harness, which an
eleventh decimal may pass sooner or later; it is told, and what happened meanwhile decides.
A sample may lie as far off as its channel's tolerance from any value that the other takes within its time tolerance,
and that both ways, so that neither a new peak nor a missing one passes.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leverproof.baseline.checked import IDENTICAL, MOVED, WITHIN, Place, RunChecked
from leverproof.baseline.collect import compared, samples_sum, steps_of
from leverproof.baseline.curve import FIDELITY, points
from leverproof.baseline.model import HeldRun, HeldStep, Regression
from leverproof.baseline.tolerances import TIME, unit_of_doubt
from leverproof.channels import CHANNELS
from leverproof.conduct.model import ConductedRun
from leverproof.history import History, Samples
from leverproof.judge.decision import COVERAGE
from leverproof.judge.measures import outside_tube
from leverproof.judge.words import amount
from leverproof.timegrid import TICKS_PER_SECOND

_TINY = 1e-9
_RECTANGULAR = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Tier:
    """What a run is held against besides its numbers: tolerances, and doubts of the accepted run and of this one."""

    tolerances: Mapping[str, Regression]
    before: Mapping[str, float]
    now: Mapping[str, float]

    def doubt(self, channel: str, loss: float = 0.0) -> float:
        """The unit of doubt of a channel: its standard uncertainty, with what keeping few points of it is worth."""
        return math.hypot(unit_of_doubt(channel, self.tolerances[channel], self.before, self.now), loss / _RECTANGULAR)


@dataclass(frozen=True, slots=True)
class _Pair:
    """One channel of both runs over time (s); ``late`` is what may be early or late, ``loss`` how far the accepted
    curve may lie from its samples."""

    channel: str
    tolerance: Regression
    doubt: float
    loss: float
    late: float
    exact: float
    was: tuple[Samples, Samples]
    found: tuple[Samples, Samples]


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A step of both runs, in seconds: where it begins in either, and how long both take."""

    was: float
    found: float
    shared: float


def check_run(held: HeldRun, run: ConductedRun, tier: Tier, *, key: str) -> RunChecked:
    """What the run shows against the accepted one of the same lever program."""
    history = run.history
    if samples_sum(history) == held.samples:
        return RunChecked(key, held.point, IDENTICAL)
    told = [*_endings(held, history), *_channels(held, history, tier)]
    stretches, others, noted = _stretches(held, history, _allowed_late(held, history, tier))
    told += others
    readings = [*_readings(held, history, tier)]
    pairs = list(_pairs(held, history, tier))
    strayed = [place for pair in pairs if (place := _farthest(pair, stretches)) is not None]
    out = [place for place in readings if not place.apart <= place.tolerance]
    off = [place for place in strayed if not place.apart <= place.tolerance]
    told += _unsteady(held, history)
    moved = bool(told or out or off)
    return RunChecked(
        key,
        held.point,
        MOVED if moved else WITHIN,
        first=_first(pairs, stretches) if moved else (),
        readings=tuple(sorted(out, key=_rank)),
        curves=tuple(sorted(off, key=_rank)),
        told=tuple(told),
        # A step that was cut short took no other time.
        noted=tuple(noted) if held.ending == history.ending else (),
        largest=min([*readings, *strayed], key=_rank, default=None),
        compared=len(readings),
        differing=dict(Counter(place.channel for place in readings if place.apart)),
        fresh=new_channels(held, history, tier),
    )


def new_channels(held: HeldRun, history: History, tier: Tier) -> tuple[str, ...]:
    """Channels that the accepted run has not, and that nothing is held of."""
    return tuple(sorted(set(compared(history, tier.tolerances)) - set(held.curves) - set(held.lost)))


def _rank(place: Place) -> tuple[float, str]:
    """The farthest in tolerances first; a state that is another before all."""
    apart = place.apart / place.tolerance if place.tolerance > 0.0 else (math.inf if place.apart else 0.0)
    return (-apart if apart == apart else -math.inf, place.channel)


def _endings(held: HeldRun, history: History) -> Iterator[str]:
    if held.ending != history.ending:
        words = f": {history.trouble}" if history.trouble else ""
        yield f"it ended {held.ending}, and now {history.ending}{words}"
    missing = sorted(set(held.readings) - {r.name for r in history.readings})
    more = sorted({r.name for r in history.readings} - set(held.readings))
    for names, what in ((missing, "is no more there"), (more, "was not there before")):
        if names:
            yield f"the reading {', '.join(names)} {what}"


def _channels(held: HeldRun, history: History, tier: Tier) -> Iterator[str]:
    now = set(compared(history, tier.tolerances))
    for name in sorted(set(held.curves) - now):
        yield f"the model gives no {CHANNELS[name].name.replace('_', ' ')} any more"
    for name in sorted(now & set(held.curves)):
        bad = np.flatnonzero(~np.isfinite(history.column(name)))
        first = int(bad[0]) if bad.size else -1
        if first != held.lost.get(name, -1):
            at = amount(first * history.grid.step / TICKS_PER_SECOND, "s") if bad.size else "no time"
            yield f"{name.replace('_', ' ')} is no finite number from {at} on"


def _unsteady(held: HeldRun, history: History) -> Iterator[str]:
    for reading in history.readings:
        before = held.unsteady.get(reading.name, ())
        fresh = sorted(set(reading.unsteady) - set(before))
        if fresh and reading.name in held.readings:
            yield f"{', '.join(fresh).replace('_', ' ')} was steady at {reading.name}, and is not now"


def _readings(held: HeldRun, history: History, tier: Tier) -> Iterator[Place]:
    step = history.grid.step / TICKS_PER_SECOND
    for reading in history.readings:
        for name, was in held.readings.get(reading.name, {}).items():
            if name not in reading.values:
                continue
            found = reading.values[name]
            both = was != was and found != found
            apart = 0.0 if both else abs(found - was)
            held_to = tier.tolerances[name]
            yield Place(
                name, reading.name, reading.row * step, was, found, apart, held_to.value, tier.doubt(name), held_to.unit
            )


def _allowed_late(held: HeldRun, history: History, tier: Tier) -> float:
    """What a step may last longer or shorter: the time tolerance that most channels have, and what is not known of
    either clock."""
    times = [held_to.time for name, held_to in tier.tolerances.items() if name in held.curves]
    return (min(times) if times else 0.0) + _clocks(held, history)


def _clocks(held: HeldRun, history: History) -> float:
    return sum(jitter for jitter in (held.jitter, history.jitter) if math.isfinite(jitter))


def _stretches(held: HeldRun, history: History, late: float) -> tuple[list[_Stretch], list[str], list[str]]:
    """The steps of both runs beside one another, as far as they are the same ones; what differs of them; and which of
    them took another time."""
    old, new = held.step / TICKS_PER_SECOND, history.grid.step / TICKS_PER_SECOND
    before, now = held.steps, steps_of(history)
    out: list[_Stretch] = []
    told: list[str] = []
    noted: list[str] = []
    for was, found in zip(before, now, strict=False):
        if (was.kind, was.name, was.lever) != (found.kind, found.name, found.lever):
            told.append(f"{_step(was)} was followed by other steps: {_step(found)} stands in its place")
            break
        lasted, lasts = (was.end - was.row) * old, (found.end - found.row) * new
        out.append(_Stretch(was.row * old, found.row * new, min(lasted, lasts)))
        if was.ending != found.ending:
            told.append(f"{_step(was)} ended {was.ending or 'nowhere'}, and now {found.ending or 'nowhere'}")
        elif abs(lasts - lasted) > late + _TINY:
            noted.append(f"{_step(was)} takes {amount(lasts, 's')}, and took {amount(lasted, 's')}")
    if len(before) != len(now) and len(out) == min(len(before), len(now)):
        told.append(f"{len(now)} of its steps were flown, and {len(before)} before")
    return out or [_Stretch(0.0, 0.0, min(held.rows * old, history.data.shape[0] * new))], told, noted


def _step(step: HeldStep) -> str:
    return " ".join(part for part in (step.kind, step.name or step.lever) if part)


def _pairs(held: HeldRun, history: History, tier: Tier) -> Iterator[_Pair]:
    old, new = held.step / TICKS_PER_SECOND, history.grid.step / TICKS_PER_SECOND
    clocks = _clocks(held, history)
    for name in sorted(held.curves):
        if not history.has(name) or not held.curves[name]:
            continue
        rows, values = points(held.curves[name])
        samples = history.column(name)
        bad = np.flatnonzero(~np.isfinite(samples))
        samples = samples[: int(bad[0])] if bad.size else samples
        if not samples.size:
            continue
        held_to = tier.tolerances[name]
        loss = held.losses.get(name, FIDELITY * held_to.value)
        yield _Pair(
            name,
            held_to,
            tier.doubt(name, loss),
            loss,
            held_to.time + clocks,
            max(old, new) + clocks,
            (_seconds(rows, old), values),
            (_seconds(np.arange(samples.size), new), samples),
        )


def _seconds(rows: NDArray[Any], step: float) -> Samples:
    seconds: Samples = np.multiply(rows, step, dtype=np.float64)
    return seconds


def _farthest(pair: _Pair, stretches: list[_Stretch]) -> Place | None:
    """The sample that lies farthest out of its tube, less what the accepted curve may be off by itself; None where all
    lie where they were."""
    worst: Place | None = None
    for stretch in stretches:
        place = _worst(pair, stretch)
        if place is not None and (worst is None or place.apart > worst.apart):
            worst = place
    return worst


def _worst(pair: _Pair, stretch: _Stretch) -> Place | None:
    old, new = _shifted(pair, stretch)
    seen = _inside(new, stretch.shared)
    if not seen[0].size:
        return None
    near = float(np.abs(seen[1] - np.interp(seen[0], *old)).max())
    if near <= pair.loss + _TINY:
        return None
    best: Place | None = None
    for (times, values), other, back in ((seen, old, False), (_inside(old, stretch.shared), new, True)):
        if not times.size:
            continue
        beyond = outside_tube(times, values, other[0], other[1], early_late=pair.late)
        at = int(beyond.argmax())
        apart = float(beyond[at]) - pair.loss
        if apart > _TINY and (best is None or apart > best.apart):
            was, found = _both(float(values[at]), float(np.interp(times[at], *other)), back=back)
            best = _place(pair, stretch, float(times[at]), was, found, apart)
    return best


def _both(own: float, other: float, *, back: bool) -> tuple[float, float]:
    return (own, other) if back else (other, own)


def _place(pair: _Pair, stretch: _Stretch, after: float, was: float, found: float, apart: float) -> Place:
    at = max(0.0, stretch.found + after)
    return Place(
        pair.channel, amount(at, "s"), at, was, found, apart, pair.tolerance.value, pair.doubt, pair.tolerance.unit
    )


def _shifted(pair: _Pair, stretch: _Stretch) -> tuple[tuple[Samples, Samples], tuple[Samples, Samples]]:
    """Both curves in seconds from the beginning of the step."""
    return (pair.was[0] - stretch.was, pair.was[1]), (pair.found[0] - stretch.found, pair.found[1])


def _inside(curve: tuple[Samples, Samples], shared: float) -> tuple[Samples, Samples]:
    """The part of a curve that belongs to a step both runs have, its ends included."""
    first, last = np.searchsorted(curve[0], (-_TINY, shared + _TINY))
    return curve[0][first:last], curve[1][first:last]


def _first(pairs: list[_Pair], stretches: list[_Stretch]) -> tuple[Place, ...]:
    """What moved first: the channel whose samples lie beyond the doubt (95 %) of both runs at the earliest instant at
    which any does, of several the one with most units of doubt; behind it, in order of time, what does so within half a
    second. In time only a grid step is allowed here: it is asked when something began, not whether it may be late."""
    for stretch in stretches:
        begun = [place for pair in pairs if (place := _begins(pair, stretch)) is not None]
        if begun:
            earliest = min(place.time for place in begun)
            soon = [place for place in begun if place.time <= earliest + TIME + _TINY]
            return tuple(sorted(soon, key=lambda p: (round(p.time, 6), -(p.doubts or math.inf), p.channel)))
    return ()


def _begins(pair: _Pair, stretch: _Stretch) -> Place | None:
    old, new = _shifted(pair, stretch)
    times, values = _inside(new, stretch.shared)
    if not times.size:
        return None
    line = np.interp(times, *old)
    threshold = COVERAGE * pair.doubt
    if float(np.abs(values - line).max()) <= threshold + _TINY:
        return None
    beyond = outside_tube(times, values, old[0], old[1], early_late=pair.exact)
    out = np.flatnonzero(beyond > threshold + _TINY)
    if not out.size:
        return None
    at = int(out[0])
    apart = float(beyond[at])
    return _place(pair, stretch, float(times[at]), float(line[at]), float(values[at]), apart)
