"""What one judgement may look at, and how a number is taken from it with its doubt.

Every accessor either returns what was asked or raises :class:`WithheldError` carrying the verdict that says
why there is nothing to judge; nothing here ever turns a missing number into a pass.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from leverproof.cases.model import Judgement, Ref
from leverproof.channels import CHANNELS, LEVERS, SURROUNDINGS
from leverproof.conduct.model import ConductedRun, Expected, Point
from leverproof.history import AFTER, BEFORE, History, Mark, Reading, Samples, Steadiness, steadiness
from leverproof.judge.model import Doubt, SessionFacts
from leverproof.judge.words import amount, spoken, unit_of
from leverproof.timegrid import TICKS_PER_SECOND

Runs = Mapping[tuple[int, str], ConductedRun]
RECTANGULAR = math.sqrt(3.0)
TOLERANCE_SHARE = 5.0
ERRORS = ("crash", "hang", "protocol", "refused")
INPUTS = (*LEVERS, *SURROUNDINGS)


class WithheldError(Exception):
    """No number can be judged: ``verdict`` and ``note`` say why. Never leaves the judging room."""

    def __init__(self, verdict: str, note: str) -> None:
        super().__init__(note)
        self.verdict = verdict
        self.note = note


@dataclass(frozen=True, slots=True)
class Evidence:
    """One judgement at one point: the runs made there by name, what the session shows, and the unit in which
    the plan holds the sweep variable."""

    judgement: Judgement
    point: Point
    runs: Mapping[str, ConductedRun]
    facts: SessionFacts
    swept_unit: str = "1"

    def expected(self, key: str) -> Expected:
        """The resolved value of that key; withheld as an error when the plan holds none."""
        found = self.maybe(key)
        if found is None:
            raise WithheldError("error", f"the plan holds no resolved value for {key!r}")
        return found

    def maybe(self, key: str) -> Expected | None:
        """The resolved value of that key, or None; withheld as not applicable when a prediction was refused and is
        no number."""
        found = self.point.resolved.get(self.judgement.id, {}).get(key)
        if found is not None and self.judgement.basis == "predicted" and math.isnan(found.value):
            raise WithheldError("not applicable", found.source or f"no expected value for {key!r}")
        return found


def early_end(history: History) -> tuple[str, str]:
    """Verdict and words for something that a run did not live to do."""
    words = f": {history.trouble}" if history.trouble else ""
    if history.ending in ERRORS:
        return "error", f"{history.ending}{words}"
    if history.ending in ("interrupted", "not run"):
        return "not run", f"{history.ending}{words}"
    if history.ending == "invalid":
        return "invalid run", history.trouble or "the run ended early"
    return "error", f"the run holds nothing of the kind although it {history.ending}"


def history_of(evidence: Evidence, run: str) -> History:
    """The history of a run; ``not run`` when there is none."""
    conducted = evidence.runs.get(run)
    if conducted is None:
        raise WithheldError("not run", f"the run {run!r} was not made")
    return conducted.history


def reading_of(evidence: Evidence, ref: Ref) -> Reading:
    """A reading; when the run ended before it, the verdict of that ending."""
    history = history_of(evidence, ref.run)
    found = history.reading(ref.reading)
    if found is None:
        verdict, note = early_end(history)
        raise WithheldError(verdict, f"no reading {ref}: {note}")
    return found


def value_at(evidence: Evidence, ref: Ref, channel: str) -> float:
    """A channel at a reading, finite, without asking for steadiness."""
    reading = reading_of(evidence, ref)
    if channel in reading.lost:
        raise WithheldError("invalid run", f"{spoken(channel)} at {ref}: {reading.lost[channel]}")
    if channel not in reading.values:
        raise WithheldError("error", f"the model gives no {spoken(channel)}")
    value = reading.values[channel]
    if not math.isfinite(value):
        raise WithheldError("invalid run", f"{spoken(channel)} is not a finite number at {ref}")
    return value


def settled(evidence: Evidence, ref: Ref, channel: str, *, tolerance: float | None = None) -> float:
    """A channel at a reading that is steady in it. ``tolerance`` is the judgement's own: the estimated
    remaining change must be below a fifth of it (harness choice)."""
    value = value_at(evidence, ref, channel)
    if CHANNELS[channel].states:
        return value
    seen = _unsteadiness(history_of(evidence, ref.run), reading_of(evidence, ref), channel, tolerance)
    if seen is None:
        return value
    unit = unit_of(channel)
    if seen.kind == "oscillating":
        words = f"oscillates with amplitude {amount(seen.amplitude, unit)} and period {amount(seen.period, 's')}"
    elif seen.kind == "missing":
        words = "not a finite number in the window"
    else:
        words = (
            f"not steady: spread {amount(seen.spread, unit)}, estimated remaining change {amount(seen.remaining, unit)}"
        )
    raise WithheldError("invalid run", f"{spoken(channel)} at {ref} {words}")


def _unsteadiness(history: History, reading: Reading, channel: str, tolerance: float | None) -> Steadiness | None:
    """What was seen instead of steadiness. The pilot watched with the narrowest tolerance of the case, so a
    remaining change it objected to is measured again against this judgement's own."""
    told = reading.unsteady.get(channel)
    if told is not None and told.kind != "drifting":
        return told
    samples = window_samples(history, reading, channel)
    if not tolerance or tolerance <= 0.0 or samples is None:
        return told
    division = reading.gauge.get(channel, 0.0)
    if division and np.ptp(samples) <= division * (1.0 + 1e-6):
        return None
    seen = steadiness(
        samples,
        history.grid.step / TICKS_PER_SECOND,
        band=CHANNELS[channel].band + division,
        remaining_limit=tolerance / TOLERANCE_SHARE + division,
    )
    return None if seen.kind == "steady" else seen


def window_samples(history: History, reading: Reading, channel: str) -> Samples | None:
    """The channel from 4 s before to 1 s after a reading, the very samples that the pilot looked at; None when the
    history does not hold all of that."""
    first = reading.row - history.grid.rows(BEFORE)
    end = reading.row + history.grid.rows(AFTER)
    if first < 0 or end > history.data.shape[0] or not history.has(channel):
        return None
    return history.column(channel)[first:end]


def samples_of(history: History, channel: str) -> Samples:
    """A channel over the whole run; an error when the model does not give it."""
    if not history.has(channel):
        raise WithheldError("error", f"the model gives no {spoken(channel)}")
    return history.column(channel)


def doubts_of(evidence: Evidence, ref: Ref, channel: str, *, without: str = "") -> tuple[Doubt, ...]:
    """The parts of doubt in a number taken from a reading, in the channel's unit.

    Jitter: half the spread in the window as a rectangular distribution, u = a / sqrt(3) (JCGM 100:2008,
    4.3.7), and on a model's own clock what that clock brings (:func:`clock_jitter`). Gauge: half its smallest step,
    likewise (ibid., F.2.2.1). Step study: from the session. Seek residual: see :func:`seek_residuals`; ``without``
    names a channel whose residual is accounted for elsewhere.
    """
    if CHANNELS[channel].states:
        return ()
    reading, history = reading_of(evidence, ref), history_of(evidence, ref.run)
    jitter = Doubt("jitter", reading.scatter.get(channel, 0.0) / RECTANGULAR, f"half spread at {ref}")
    residuals = seek_residuals(history, reading, channel, without=without)
    gauge = gauge_of(history, channel)
    placing = reading.placing.get(channel)
    if placing is not None:
        u = placing if math.isfinite(placing) else None
        gauge = (*gauge, Doubt("lever placing", u, f"levers set by hand beside their places at {ref}"))
    if history.noted:
        return (*noted_parts(reading, channel), *gauge, step_study(evidence.facts, channel), *residuals)
    window = slice(max(0, reading.row - history.grid.rows(BEFORE)), reading.row + history.grid.rows(AFTER))
    clock = clock_jitter(history, channel, window)
    return (jitter, *clock, *gauge, step_study(evidence.facts, channel), *residuals)


def clock_jitter(history: History, channel: str, rows: slice) -> tuple[Doubt, ...]:
    """The part of doubt that a model's own clock brings to a number seen in ``rows``: an instant that may be off by
    the jitter, times the steepest that the channel goes there between two grid rows, at most half its spread there, as
    a rectangular distribution. Undetermined where nobody saw the clock; none for a model that moves when told.
    (assumption: the channel goes no steeper between two polls than between two rows)"""
    if history.jitter == 0.0:
        return ()
    if math.isnan(history.jitter):
        return (Doubt("jitter", None, "nobody saw the model's clock"),)
    samples = history.column(channel)[rows] if history.has(channel) else np.zeros(0)
    off = 0.0
    if samples.size > 1:
        steepest = float(np.abs(np.diff(samples)).max()) * TICKS_PER_SECOND / history.grid.step
        off = min(steepest * history.jitter, float(np.ptp(samples)) / 2.0)
    return (Doubt("jitter", off / RECTANGULAR, f"uneven polls and late levers, {amount(history.jitter, 's')}"),)


def noted_parts(reading: Reading, channel: str) -> tuple[Doubt, ...]:
    """What a person's hand and eye add to a number beside its gauge."""
    return tuple(
        Doubt(part, us[channel], f"numbers written down at {reading.name}")
        for part, us in reading.parts.items()
        if channel in us
    )


def own_doubt(reading: Reading, channel: str) -> float:
    """Standard uncertainty of a channel in one reading by itself: its scatter as a half-width, the division of its
    gauge, and what was told of the hand that took it."""
    half_widths = (reading.scatter.get(channel, 0.0), reading.gauge.get(channel, 0.0) / 2.0)
    parts = (us.get(channel, 0.0) for us in reading.parts.values())
    return math.hypot(*(a / RECTANGULAR for a in half_widths), *parts)


def gauge_of(history: History, channel: str) -> tuple[Doubt, ...]:
    """The part of doubt in a number read off a gauge that moves in steps, as every reading of the run says; none where
    the run has no reading, or no gauge."""
    division = max((r.gauge.get(channel, 0.0) for r in history.readings), default=0.0)
    return (Doubt("gauge", division / 2.0 / RECTANGULAR, "half the gauge's smallest step"),) if division else ()


def step_study(facts: SessionFacts, channel: str) -> Doubt:
    """The part of doubt that the grid step brings; undetermined when the session had no step study."""
    u = None if facts.step_u is None else facts.step_u.get(channel)
    return Doubt("step study", u, "coarse against half grid step" if u is not None else "no step study")


def reference_doubt(expected: Expected) -> Doubt:
    """The part of doubt in the expected value: half its U95; undetermined when nobody has stated it."""
    u = None if expected.doubt is None else expected.doubt / 2.0
    return Doubt("reference reading", u, expected.source)


def scaled(doubts: tuple[Doubt, ...], factor: float) -> tuple[Doubt, ...]:
    """The same parts after multiplying the number by ``factor``."""
    return tuple(Doubt(d.part, None if d.u is None else d.u * abs(factor), d.how) for d in doubts)


def last_seeks(history: History, row: int) -> dict[str, Mark]:
    """The latest seek of each channel that ended before the reading at ``row`` was complete.

    A reading may lie in the last seconds of the seek before it: the lever is at rest there already."""
    found: dict[str, Mark] = {}
    complete = row + history.grid.rows(AFTER)
    for mark in sorted((m for m in history.marks if m.kind == "seek"), key=lambda m: m.end):
        if mark.row < row and mark.end <= complete:
            found[mark.channel] = mark
    return found


def seek_residuals(history: History, reading: Reading, channel: str, *, without: str) -> list[Doubt]:
    """What the residual of each reached seek is worth in ``channel``: |residual| times the mean slope over
    that seek, over sqrt(3). Undetermined when the seek moved its channel too little to show a slope. A
    residual in the judged channel itself is part of what was found; of a target that the program has left nothing
    remains to be off. (assumption: the slope over the seek holds near its end)"""
    parts: list[Doubt] = []
    for sought, mark in last_seeks(history, reading.row).items():
        if mark.ending != "reached" or sought in (channel, without, "") or not math.isfinite(mark.target):
            continue
        if _abandoned(history, mark, reading.row):
            continue
        residual = reading.values.get(sought, math.nan) - mark.target
        if history.noted:
            # a needle that seems to be on the mark may stand half a division beside it
            residual = abs(residual) + reading.gauge.get(sought, 0.0) / 2.0
        if residual == 0.0:
            continue
        measured = _noted_slope if history.noted else _mean_slope
        slope = measured(history, mark, of=channel, over=sought)
        u = None if slope is None else abs(residual * slope) / RECTANGULAR
        parts.append(Doubt("seek residual", u, f"{spoken(sought)} off its target at {reading.name}"))
    return parts


def _abandoned(history: History, mark: Mark, row: int) -> bool:
    """Whether between the end of a seek and ``row`` its lever was moved, or anything else but the levers of later
    seeks: then nobody holds the target any more, and to be off it is what the program wanted. Of numbers written down
    there are no rows to see it in."""
    if history.noted or row <= mark.end or row >= history.data.shape[0]:
        return False
    sought = {later.lever for later in history.marks if later.kind == "seek" and mark.end <= later.row < row}
    if "throttle" in sought:
        sought.add("boost")  # the two may be coupled
    moved = {name for name in INPUTS if history.has(name)} - (sought - {mark.lever})
    return any(history.column(name)[mark.end] != history.column(name)[row] for name in moved)


def _mean_slope(history: History, mark: Mark, *, of: str, over: str) -> float | None:
    last = min(mark.end, history.data.shape[0] - 1)
    if not (history.has(of) and history.has(over)) or last <= mark.row:
        return None
    y, x = history.column(of), history.column(over)
    change = float(x[last] - x[mark.row])
    floor = CHANNELS[over].band if over in CHANNELS else 0.0
    if not abs(change) > floor:
        return None
    slope = float(y[last] - y[mark.row]) / change
    return slope if math.isfinite(slope) else None


def _noted_slope(history: History, mark: Mark, *, of: str, over: str) -> float | None:
    """The slope between the two readings of a run that lie furthest apart in ``over``, where they lie at least three
    divisions apart after one another; the levers in between may have been others. (assumption: good enough to say what
    a part of a division is worth)"""
    both = [r for r in history.readings if of in r.values and over in r.values and of not in r.lost]
    if len(both) < 2:
        return None
    low, high = (pick(both, key=lambda r: r.values[over]) for pick in (min, max))
    apart = high.values[over] - low.values[over]
    least = 3.0 * max(low.gauge.get(over, 0.0), high.gauge.get(over, 0.0), CHANNELS[over].band)
    slope = (high.values[of] - low.values[of]) / apart if apart >= least else math.nan
    return slope if math.isfinite(slope) else None


def finite(samples: Samples, channel: str) -> Samples:
    """The samples, all finite, else ``invalid run``."""
    if not np.isfinite(samples).all():
        raise WithheldError("invalid run", f"{spoken(channel)} is not a finite number in the window")
    return samples
