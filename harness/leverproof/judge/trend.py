"""Judgement ``trend``: how a channel goes over a sweep or over readings in a stated order.

A trend needs three points and a declared least step; the worst consecutive change decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from leverproof.cases.model import Ref
from leverproof.judge.decision import Ruling, at_least, within
from leverproof.judge.ending import ended_as
from leverproof.judge.evidence import (
    Evidence,
    WithheldError,
    doubts_of,
    history_of,
    last_seeks,
    reading_of,
    settled,
    value_at,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import ORDER, measured, withheld
from leverproof.judge.sweep import LEAST_POINTS, Gathered, Sample, gather, swept_reading
from leverproof.judge.value import allowed
from leverproof.judge.words import amount, number, unit_of


def trend(evidences: Sequence[Evidence]) -> list[PointFinding]:
    """How a channel changes over the sweep, or over readings in the order given (then point by point)."""
    judgement = evidences[0].judgement
    if judgement.readings:
        return [_over_readings(evidence) for evidence in evidences]
    gathered = gather(evidences, _trend_sample)
    nominal = [e.point.variable for e in evidences if not e.point.off_point]
    return [*_judged(gathered, evidences[0], "over the sweep", _spacing(nominal)), *gathered.idle]


def _over_readings(evidence: Evidence) -> PointFinding:
    judgement = evidence.judgement
    try:
        samples = tuple(
            Sample(str(ref), float(i), settled(evidence, ref, judgement.channel), _doubts(evidence, ref))
            for i, ref in enumerate(judgement.readings)
        )
        return _judged(Gathered(samples, (), ()), evidence, evidence.point.label, 0.0)[0]
    except WithheldError as reason:
        return withheld(evidence.point.label, reason.verdict, reason.note)


def _doubts(evidence: Evidence, ref: Ref) -> tuple[Doubt, ...]:
    return doubts_of(evidence, ref, evidence.judgement.channel)


def _trend_sample(evidence: Evidence) -> Sample:
    judgement = evidence.judgement
    ref = swept_reading(judgement)
    low, high = evidence.maybe("low"), evidence.maybe("high")
    x = evidence.point.variable
    if (low is not None and x < low.value) or (high is not None and x > high.value):
        raise WithheldError("not applicable", "outside the span judged")
    if judgement.while_ending:
        _while_ending(evidence, ref)
    tolerance = None
    if judgement.direction == "constant":
        roughly = value_at(evidence, ref, judgement.channel)
        unit = unit_of(judgement.channel)
        tolerance = allowed(evidence, unit=unit, expected=roughly, channel=judgement.channel).value
    y = settled(evidence, ref, judgement.channel, tolerance=tolerance)
    doubts = doubts_of(evidence, ref, judgement.channel)
    for other in judgement.less:
        if judgement.while_ending:
            _while_ending(evidence, other)
        y -= settled(evidence, other, judgement.channel, tolerance=tolerance)
        doubts = (*doubts, *doubts_of(evidence, other, judgement.channel))
    return Sample(evidence.point.label, x, y, doubts)


def _while_ending(evidence: Evidence, ref: Ref) -> None:
    """Withholds a point whose last seek before the reading ended otherwise."""
    row = reading_of(evidence, ref).row
    seeks = last_seeks(history_of(evidence, ref.run), row).values()
    ending = max(seeks, key=lambda m: m.end).ending if seeks else "no seek"
    if not ended_as(ending, evidence.judgement.while_ending):
        raise WithheldError("not applicable", f"not exercised: the seek before it ended: {ending}")


def _spacing(nominal: Sequence[float]) -> float:
    gaps = [b - a for a, b in pairwise(sorted(nominal)) if b > a]
    return min(gaps, default=0.0)


def _judged(gathered: Gathered, first: Evidence, label: str, spacing: float) -> list[PointFinding]:
    """The trend's own finding, then one for each point lost. A lost point never turns a fail into less."""
    usable = len(gathered.samples)
    if usable == 0 and gathered.idle and not gathered.lost:
        return []
    if usable < LEAST_POINTS:
        note = f"a trend needs {LEAST_POINTS} points, {usable} could be used"
        return [withheld(label, "inconclusive", note), *gathered.lost]
    try:
        own = (
            _constant(gathered, first, label)
            if first.judgement.direction == "constant"
            else _monotone(gathered, first, label, spacing)
        )
    except WithheldError as reason:
        own = withheld(label, reason.verdict, reason.note)
    return [own, *gathered.lost]


def _monotone(gathered: Gathered, first: Evidence, label: str, spacing: float) -> PointFinding:
    """The worst consecutive change. Between points closer than the stated ones (off-points) the least step is
    taken in proportion, because it was stated for the stated spacing."""
    judgement, unit = first.judgement, unit_of(first.judgement.channel)
    direction = judgement.direction
    if direction not in ("rising", "falling", "never_falling", "never_rising"):
        raise WithheldError("error", f"no such direction: {direction!r}")
    least = first.expected("least_step").value
    sign = 1.0 if direction in ("rising", "never_falling") else -1.0
    flat = direction.startswith("never_")
    rulings: list[tuple[Ruling, float, float, tuple[Doubt, ...], str]] = []
    for a, b in pairwise(gathered.samples):
        share = min(1.0, (b.x - a.x) / spacing) if spacing > 0.0 else 1.0
        need = -least if flat else least * share
        change = sign * (b.y - a.y)
        doubts = (*a.doubts, *b.doubts)
        ruling = at_least(change, need, doubts, forgiving=judgement.basis == "physics")
        words = f"{a.label} {amount(a.y, unit)}, {b.label} {amount(b.y, unit)}"
        rulings.append((ruling, sign * change, need, doubts, words))
    ruling, change, need, doubts, words = min(rulings, key=_rank)
    path = ", ".join(number(s.y) for s in gathered.samples)
    return measured(
        label,
        ruling,
        found=change,
        expected=sign * need,
        unit=unit,
        doubts=doubts,
        notes=(f"in order: {path} {unit}" if unit != "1" else f"in order: {path}",),
        found_text=f"least favourable step {amount(change, unit)} ({words})",
        expected_text=f"{direction.replace('_', ' ')}, each step {_step_text(sign, need, unit)}",
    )


def _step_text(sign: float, need: float, unit: str) -> str:
    return f"at {'least' if sign > 0 else 'most'} {amount(sign * need, unit)}"


def _rank(entry: tuple[Ruling, float, float, tuple[Doubt, ...], str]) -> tuple[int, float]:
    ruling = entry[0]
    return ORDER.index(ruling.verdict), -(ruling.excess if ruling.excess is not None else 0.0)


def _constant(gathered: Gathered, first: Evidence, label: str) -> PointFinding:
    judgement, unit = first.judgement, unit_of(first.judgement.channel)
    low = min(gathered.samples, key=lambda s: s.y)
    high = max(gathered.samples, key=lambda s: s.y)
    mean = math.fsum(s.y for s in gathered.samples) / len(gathered.samples)
    tolerance = allowed(first, unit=unit, expected=mean, channel=judgement.channel)
    doubts = (*low.doubts, *high.doubts)
    ruling = within(high.y - low.y, 0.0, tolerance.value, doubts, unit=unit)
    return measured(
        label,
        ruling,
        found=high.y - low.y,
        expected=0.0,
        unit=unit,
        doubts=doubts,
        tolerance=tolerance.text,
        found_text=f"from {amount(low.y, unit)} ({low.label}) to {amount(high.y, unit)} ({high.label})",
        expected_text="constant",
    )
