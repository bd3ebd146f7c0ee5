"""Judgements ``crossing`` and ``exponent``: where a channel passes a value, and the power law it follows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from leverproof.cases.model import Ref
from leverproof.channels import CHANNELS
from leverproof.judge.decision import plain, within
from leverproof.judge.evidence import (
    Evidence,
    WithheldError,
    doubts_of,
    history_of,
    last_seeks,
    reading_of,
    reference_doubt,
    scaled,
    settled,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import measured, withheld, worded
from leverproof.judge.sweep import LEAST_POINTS, Gathered, Sample, gather, swept_reading
from leverproof.judge.value import allowed
from leverproof.judge.words import amount, number, spoken, unit_of
from leverproof.quantities import UNITS

LEAST_SPREAD = 0.03
ABSOLUTE_ZERO = UNITS["degC"].offset


def crossing(evidences: Sequence[Evidence]) -> list[PointFinding]:
    """The sweep value at which a channel, or how much of it one reading has more than another, passes a value, by
    linear interpolation between neighbours.

    A value that is passed nowhere, and should be beyond the points flown, is not exercised.

    Doubt of the interpolation: half the second difference at that spacing (harness choice; the error of
    linear interpolation is at most an eighth of it for a smooth curve), turned into the variable by the local
    slope.
    """
    judgement = evidences[0].judgement
    ref = swept_reading(judgement)

    def take(evidence: Evidence) -> Sample:
        at = evidence.expected("at")
        y = settled(evidence, ref, judgement.channel) - at.value
        doubts = (*doubts_of(evidence, ref, judgement.channel), reference_doubt(at))
        for other in judgement.less:
            y -= settled(evidence, other, judgement.channel)
            doubts += doubts_of(evidence, other, judgement.channel)
        return Sample(evidence.point.label, evidence.point.variable, y, doubts)

    gathered = gather(evidences, take)
    return [_crossed(gathered, evidences), *gathered.lost, *gathered.idle]


def _crossed(gathered: Gathered, evidences: Sequence[Evidence]) -> PointFinding:
    samples, label = gathered.samples, "over the sweep"
    first = evidences[0]
    judgement = first.judgement
    unit = first.swept_unit
    if len(samples) < 2:
        return withheld(label, "inconclusive", "fewer than two points could be used")
    spans = [i for i, (a, b) in enumerate(pairwise(samples)) if _passes(a.y, b.y, first=i == 0)]
    expected = first.expected("expected")
    if not spans:
        return _never(samples, first)
    i = spans[0]
    a, b = samples[i], samples[i + 1]
    if a.y == b.y or a.x == b.x:
        return withheld(label, "inconclusive", f"{spoken(judgement.channel)} runs along the value at {a.label}")
    slope = (b.y - a.y) / (b.x - a.x)
    found = a.x - a.y / slope
    nearer = a if abs(a.y) < abs(b.y) else b
    doubts = (
        *scaled(nearer.doubts, 1.0 / slope),
        _interpolation(samples, i, slope),
        reference_doubt(expected),
    )
    tolerance = allowed(first, unit=unit, expected=expected.value, span=samples[-1].x - samples[0].x)
    ruling = within(found, expected.value, tolerance.value, doubts, unit=unit)
    more = (f"passes it {len(spans)} times, the first is judged",) if len(spans) > 1 else ()
    return measured(
        label,
        ruling,
        found=found,
        expected=expected.value,
        unit=unit,
        doubts=doubts,
        tolerance=tolerance.text,
        notes=(f"between {a.label} and {b.label}", *more, _what_stops_it(evidences, b.label)),
    )


def _never(samples: Sequence[Sample], first: Evidence) -> PointFinding:
    """Where the value is passed nowhere in the sweep: a failure only where it should have been. The channel comes
    nearer the value towards one end, and may pass it beyond."""
    judgement, unit, label = first.judgement, first.swept_unit, "over the sweep"
    expected = first.expected("expected")
    near, far = sorted((samples[0], samples[-1]), key=lambda sample: abs(sample.y))
    tolerance = allowed(first, unit=unit, expected=expected.value, span=abs(near.x - far.x))
    inside = math.copysign(1.0, near.x - far.x) * (near.x - expected.value)
    words = f"{spoken(judgement.channel)} does not pass the value up to {near.label}"
    if inside < 0.0:
        beyond = f"{amount(expected.value, unit)}, where it should, lies beyond the points flown"
        return withheld(label, "not applicable", f"not exercised: {words}, and {beyond}")
    if inside < tolerance.value:
        return withheld(label, "inconclusive", f"{words}: beyond, it may still be within {tolerance.text}")
    off = f"from {amount(samples[0].y, unit_of(judgement.channel))} to {number(samples[-1].y)} off it"
    return worded(
        label,
        plain(False),
        found_text=f"{spoken(judgement.channel)} never passes the value ({off})",
        expected_text=amount(expected.value, unit),
    )


def _what_stops_it(evidences: Sequence[Evidence], label: str) -> str:
    """Where the boost lever was moved last: how that ended beyond the crossing, and what the turbo and its gate did
    then, which tells a speed limit from a shut gate."""
    evidence = next(e for e in evidences if e.point.label == label)
    ref = swept_reading(evidence.judgement)
    reading = reading_of(evidence, ref)
    seeks = last_seeks(history_of(evidence, ref.run), reading.row).values()
    seek = max(seeks, key=lambda mark: mark.end, default=None)
    if seek is None or seek.lever != "boost":
        return ""
    shown = [
        f"{spoken(name)} {amount(reading.values[name], unit_of(name))}"
        for name in ("turbo_speed", "wastegate_opening")
        if name in reading.values
    ]
    return f"at {label} the seek of {spoken(seek.channel)} with boost ended: {seek.ending} ({', '.join(shown)})"


def _passes(before: float, after: float, *, first: bool) -> bool:
    """Whether the value is passed, or reached, between neighbours; being on it at the very first point
    counts."""
    if before == 0.0:
        return first
    return after == 0.0 or before * after < 0.0


def _interpolation(samples: Sequence[Sample], i: int, slope: float) -> Doubt:
    width = samples[i + 1].x - samples[i].x
    seconds: list[float] = []
    for j in (i, i + 1):
        if 0 < j < len(samples) - 1:
            a, b, c = samples[j - 1 : j + 2]
            if not a.x < b.x < c.x:
                continue
            divided = ((c.y - b.y) / (c.x - b.x) - (b.y - a.y) / (b.x - a.x)) / (c.x - a.x)
            seconds.append(abs(2.0 * divided) * width * width)
    u = max(seconds) / 2.0 / abs(slope) if seconds else None
    return Doubt("interpolation", u, "half the second difference" if seconds else "only two points")


def exponent(evidences: Sequence[Evidence]) -> list[PointFinding]:
    """The slope of ln(channel) against ln(by) over the sweep, least squares, temperatures in kelvin.

    Its standard doubt is that of a least-squares slope from the residuals, sqrt(sum r^2 / (n - 2) / Sxx)
    (textbook statistics).
    """
    judgement = evidences[0].judgement
    ref = swept_reading(judgement)

    def take(evidence: Evidence) -> Sample:
        x, y = (_absolute(evidence, ref, channel) for channel in (judgement.by, judgement.channel))
        return Sample(evidence.point.label, math.log(x), math.log(y), ())

    gathered = gather(evidences, take)
    return [_fitted(gathered, evidences[0]), *gathered.lost, *gathered.idle]


def _absolute(evidence: Evidence, ref: Ref, channel: str) -> float:
    value = settled(evidence, ref, channel)
    absolute = value + ABSOLUTE_ZERO if CHANNELS[channel].unit == "degC" else value
    if absolute <= 0.0:
        raise WithheldError("invalid run", f"{spoken(channel)} is not positive at {ref}")
    return absolute


def _fitted(gathered: Gathered, first: Evidence) -> PointFinding:
    samples, label = gathered.samples, "over the sweep"
    if len(samples) < LEAST_POINTS:
        return withheld(label, "inconclusive", f"an exponent needs {LEAST_POINTS} points, {len(samples)} usable")
    x, y = np.array([s.x for s in samples]), np.array([s.y for s in samples])
    spread = math.expm1(float(x.max() - x.min()))
    by = first.judgement.by
    if spread < LEAST_SPREAD:
        return withheld(label, "inconclusive", f"{spoken(by)} spreads over only {number(100.0 * spread)} %")
    centred = x - x.mean()
    sxx = float(centred @ centred)
    slope = float(centred @ y) / sxx
    residuals = y - y.mean() - slope * centred
    u = math.sqrt(float(residuals @ residuals) / (len(samples) - 2) / sxx)
    expected = first.expected("expected")
    tolerance = allowed(first, unit="1", expected=expected.value)
    doubts = (Doubt("fit", u, "residuals of the fit"), reference_doubt(expected))
    return measured(
        label,
        within(slope, expected.value, tolerance.value, doubts, unit="1"),
        found=slope,
        expected=expected.value,
        unit="1",
        doubts=doubts,
        tolerance=tolerance.text,
        notes=(f"{spoken(by)} spreads over {number(100.0 * spread)} %",),
    )
