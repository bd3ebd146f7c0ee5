"""Judgement ``response``: t10, t90 or the absence of hesitation of a change, timed from the lever movement.

t10 and t90 are the times to 10 % and 90 % of the increment between two stabilised readings (published
practice of flight-simulator objective testing: 14 CFR Part 60, Appendix A, engine tests). Increments, never
raw values: a model stuck at its first value then has no response at all, where a raw score would look good.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from leverproof.cases.model import Ref
from leverproof.history import History, Samples
from leverproof.judge.decision import at_least, beyond, plain
from leverproof.judge.evidence import (
    Evidence,
    WithheldError,
    doubts_of,
    early_end,
    finite,
    history_of,
    reading_of,
    reference_doubt,
    samples_of,
    scaled,
    settled,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import measured, worded, worst
from leverproof.judge.timing import first_crossing, grid_doubt
from leverproof.judge.value import allowed, refuse_wider
from leverproof.judge.words import amount, number, spoken, unit_of
from leverproof.timegrid import TICKS_PER_SECOND

FRACTIONS = {"t10": 0.1, "t90": 0.9}
RESOLVED = 5.0
BACK_STEP = 0.02


@dataclass(frozen=True, slots=True)
class Change:
    """A change of a channel in one run: its ends ``a`` and ``b``, the samples, the row of the lever movement
    and of the second reading, and the doubt of the increment."""

    history: History
    samples: Samples
    a: float
    b: float
    since: int
    last: int
    doubts: tuple[Doubt, ...]


def response(evidence: Evidence) -> PointFinding:
    """The measure asked for against its limits, or against the same measure of another run."""
    judgement = evidence.judgement
    change = change_of(evidence, judgement.run)
    if judgement.measure == "monotone":
        return _monotone(evidence, change)
    if judgement.measure not in FRACTIONS:
        raise WithheldError("error", f"no such measure: {judgement.measure!r}")
    found, doubts = _time(evidence, change, judgement.run)
    if judgement.longer_than:
        return _longer(evidence, found, doubts)
    sides = [upper for key, upper in (("at_most", True), ("at_least", False)) if evidence.maybe(key) is not None]
    decided = worst([_limit(evidence, found, doubts, upper=upper) for upper in sides])
    if decided is None:
        raise WithheldError("error", "the plan holds neither 'at_most' nor 'at_least'")
    return decided


def change_of(evidence: Evidence, run: str) -> Change:
    """The change between the two readings; inconclusive when it is smaller than 5 u."""
    change = any_change_of(evidence, run)
    if not moves(change):
        unit, u = unit_of(evidence.judgement.channel), standard(change.doubts)
        raise WithheldError(
            "inconclusive",
            f"{spoken(evidence.judgement.channel)} changes by {amount(change.b - change.a, unit)}, less than "
            f"{number(RESOLVED)} times its standard doubt of {amount(u, unit)}: nothing to time",
        )
    return change


def standard(doubts: tuple[Doubt, ...]) -> float:
    """Root sum of squares of the parts that were determined."""
    return math.sqrt(sum(d.u * d.u for d in doubts if d.u is not None))


def moves(change: Change) -> bool:
    """Whether a change is at least 5 u (harness choice), so that its course can be told from noise."""
    return change.b != change.a and abs(change.b - change.a) >= RESOLVED * standard(change.doubts)


def any_change_of(evidence: Evidence, run: str) -> Change:
    """The change between the two readings, however small."""
    judgement = evidence.judgement
    if judgement.between is None:
        raise WithheldError("error", "the judgement names no two readings")
    first, second = (Ref(run, name) for name in judgement.between)
    history = history_of(evidence, run)
    a, b = (settled(evidence, ref, judgement.channel) for ref in (first, second))
    mark = history.mark(judgement.since)
    if mark is None:
        verdict, note = early_end(history)
        raise WithheldError(verdict, f"no step {judgement.since!r}: {note}")
    doubts = (*doubts_of(evidence, first, judgement.channel), *doubts_of(evidence, second, judgement.channel))
    last = reading_of(evidence, second).row
    samples = finite(samples_of(history, judgement.channel)[: last + 1], judgement.channel)
    return Change(history, samples, a, b, mark.row, last, doubts)


def time_to(change: Change, fraction: float) -> float | None:
    """Seconds from the lever movement to ``fraction`` of the increment; None when it is never reached."""
    level = change.a + fraction * (change.b - change.a)
    rising = change.b > change.a
    row = first_crossing(change.samples, level, rising=rising, first=change.since)
    if row is None:
        return None
    return (row - change.since) * change.history.grid.step / TICKS_PER_SECOND


def _time(evidence: Evidence, change: Change, run: str) -> tuple[float, tuple[Doubt, ...]]:
    fraction = FRACTIONS[evidence.judgement.measure]
    found = time_to(change, fraction)
    if found is None:
        channel = spoken(evidence.judgement.channel)
        raise WithheldError(
            "fail",
            f"{channel} never goes through {number(100 * fraction)} % of its change",
        )
    return found, (*grid_doubt(evidence, run), *_level_doubt(change, found))


def _level_doubt(change: Change, found: float) -> tuple[Doubt, ...]:
    """What the doubt of the two ends is worth in time: through the slope where the level is crossed."""
    step = change.history.grid.step / TICKS_PER_SECOND
    row = change.since + int(found / step)
    row = min(row, change.samples.size - 2)
    slope = float(change.samples[row + 1] - change.samples[row]) / step
    return scaled(tuple(d for d in change.doubts if d.u), 1.0 / slope) if slope else ()


def _limit(evidence: Evidence, found: float, doubts: tuple[Doubt, ...], *, upper: bool) -> PointFinding:
    bound = evidence.expected("at_most" if upper else "at_least")
    tolerance = allowed(evidence, unit="s", expected=bound.value)
    refuse_wider(evidence, tolerance, unit="s", expected=bound.value)
    parts = (*doubts, reference_doubt(bound))
    return measured(
        evidence.point.label,
        beyond(found, bound.value, tolerance.value, parts, upper=upper),
        found=found,
        expected=bound.value,
        unit="s",
        doubts=parts,
        tolerance=tolerance.text,
        found_text=f"{evidence.judgement.measure} {amount(found, 's')}",
        expected_text=f"{'at most' if upper else 'at least'} {amount(bound.value, 's')}",
    )


def _longer(evidence: Evidence, found: float, doubts: tuple[Doubt, ...]) -> PointFinding:
    judgement = evidence.judgement
    if judgement.least_gap is None:
        raise WithheldError("error", "the judgement states no least gap")
    least = judgement.least_gap.to("s", "least_gap")
    other, more = _time(evidence, change_of(evidence, judgement.longer_than), judgement.longer_than)
    parts = (*doubts, *more)
    return measured(
        evidence.point.label,
        at_least(found - other, least, parts, forgiving=judgement.basis == "physics"),
        found=found - other,
        expected=least,
        unit="s",
        doubts=parts,
        found_text=(
            f"{judgement.measure} {amount(found, 's')} in {judgement.run}, {amount(other, 's')} in "
            f"{judgement.longer_than}"
        ),
        expected_text=f"longer by at least {amount(least, 's')}",
    )


def _monotone(evidence: Evidence, change: Change) -> PointFinding:
    """No back-step of more than 2 % of the increment (harness choice) until 98 % of it is reached; what
    happens after that is overshoot or settling, not hesitation."""
    progress = (change.samples[change.since :] - change.a) / (change.b - change.a)
    arrived = np.flatnonzero(progress >= 1.0 - BACK_STEP)
    rise = progress[: int(arrived[0]) + 1] if arrived.size else progress
    back = np.maximum.accumulate(rise) - rise
    row = int(back.argmax())
    size = float(back[row])
    at = change.history.grid.seconds(change.since + row)
    return worded(
        evidence.point.label,
        plain(size <= BACK_STEP),
        found_text=f"largest back-step {number(100.0 * size)} % of the change, at {amount(at, 's')}",
        expected_text=f"no back-step of more than {number(100.0 * BACK_STEP)} %",
    )
