"""Judgement ``difference``: how much higher a channel is in one reading than in the highest of others.

Where readings were taken at slightly different values of a held channel, both are corrected to its exact
target with the slope measured next to each: one inHg of manifold pressure can be worth more than the effect
looked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from leverproof.cases.model import AtEqual, Ref
from leverproof.judge.decision import COVERAGE, Ruling, at_least, within
from leverproof.judge.evidence import (
    RECTANGULAR,
    Evidence,
    WithheldError,
    doubts_of,
    history_of,
    last_seeks,
    own_doubt,
    reading_of,
    reference_doubt,
    settled,
    value_at,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import measured
from leverproof.judge.value import allowed, refuse_wider
from leverproof.judge.words import amount, number, spoken, unit_of
from leverproof.quantities import UNITS, convert

OFF_TARGET = 0.02
CARBURETTOR_AIR = "carburettor_air_temperature"
EXPONENT_DOUBT = 0.1


@dataclass(frozen=True, slots=True)
class Taken:
    """A number taken from a reading, corrected where asked, with its doubts and a note on the correction."""

    ref: Ref
    value: float
    doubts: tuple[Doubt, ...]
    note: str = ""


def difference(evidence: Evidence) -> PointFinding:
    """channel(more) - max(channel(less)), against a least difference or against expected and tolerance."""
    judgement = evidence.judgement
    if judgement.more is None or not judgement.less:
        raise WithheldError("error", "the judgement names no two readings to compare")
    require_exercised(evidence)
    return _two_sided(evidence) if judgement.tolerance is not None else _one_sided(evidence)


def _two_sided(evidence: Evidence) -> PointFinding:
    expected, unit = evidence.expected("expected"), unit_of(evidence.judgement.channel)
    tolerance = allowed(evidence, unit=unit, expected=expected.value, channel=evidence.judgement.channel)
    refuse_wider(evidence, tolerance, unit=unit, expected=expected.value)
    more, less = _pair(evidence, tolerance.value)
    doubts = (*more.doubts, *less.doubts, reference_doubt(expected))
    ruling = within(more.value - less.value, expected.value, tolerance.value, doubts, unit=unit)
    return _finding(evidence, ruling, more, less, expected.value, doubts, "", tolerance.text)


def _one_sided(evidence: Evidence) -> PointFinding:
    judgement, unit = evidence.judgement, unit_of(evidence.judgement.channel)
    more, less = _pair(evidence, None)
    doubts = (*more.doubts, *less.doubts)
    least, reason = _least(evidence, less.ref)
    stated = evidence.maybe("at_least")
    if stated is not None:
        doubts = (*doubts, reference_doubt(stated))
    found = more.value - less.value
    ruling = at_least(found, least, doubts, forgiving=judgement.basis == "physics")
    if judgement.per is not None and ruling.verdict in ("pass", "conditional pass") and found <= ruling.w:
        note = f"the difference is not more than its own doubt of {amount(ruling.w, unit)}"
        ruling = replace(ruling, verdict="conditional fail", note="; ".join(n for n in (ruling.note, note) if n))
    return _finding(evidence, ruling, more, less, least, doubts, reason, "")


def _pair(evidence: Evidence, tolerance: float | None) -> tuple[Taken, Taken]:
    """The reading meant to be more, and the highest of those meant to be less."""
    judgement = evidence.judgement
    if judgement.more is None:
        raise WithheldError("error", "the judgement names no two readings to compare")
    more = take_point(evidence, judgement.more, tolerance)
    less = [take_point(evidence, ref, tolerance) for ref in judgement.less]
    return more, max(less, key=lambda taken: taken.value)


def _finding(
    evidence: Evidence,
    ruling: Ruling,
    more: Taken,
    less: Taken,
    expected: float,
    doubts: tuple[Doubt, ...],
    note: str,
    tolerance: str,
) -> PointFinding:
    unit = unit_of(evidence.judgement.channel)
    found = more.value - less.value
    one_sided = evidence.judgement.tolerance is None
    return measured(
        evidence.point.label,
        ruling,
        found=found,
        expected=expected,
        unit=unit,
        doubts=doubts,
        notes=(note, more.note, less.note),
        tolerance=tolerance,
        found_text=(f"{amount(found, unit)} ({number(more.value)} at {more.ref}, {number(less.value)} at {less.ref})"),
        expected_text=f"at least {amount(expected, unit)}" if one_sided else "",
    )


def require_exercised(evidence: Evidence) -> None:
    """Withholds the point where the condition that brings the effect about was not there."""
    condition = evidence.judgement.exercised
    if condition is None:
        return
    needed = evidence.expected("exercised").value
    higher, lower = (settled(evidence, ref, condition.channel) for ref in (condition.more, condition.less))
    if higher - lower < needed:
        unit = unit_of(condition.channel)
        raise WithheldError(
            "not applicable",
            f"not exercised: {spoken(condition.channel)} is {amount(higher - lower, unit)} higher at "
            f"{condition.more} than at {condition.less}, at least {amount(needed, unit)} asked",
        )


def _least(evidence: Evidence, less: Ref) -> tuple[float, str]:
    """The least difference: the stated one, and where it grows with another difference the larger of the
    two."""
    judgement = evidence.judgement
    stated = evidence.maybe("at_least")
    if judgement.per is None:
        return evidence.expected("at_least").value, ""
    if judgement.more is None:
        raise WithheldError("error", "the judgement names no two readings to compare")
    other = judgement.per.channel
    apart = abs(value_at(evidence, judgement.more, other) - value_at(evidence, less, other))
    rate = _rate(evidence)
    grown = rate * apart
    words = f"at least {number(rate)} for each of {amount(apart, unit_of(other))} of {spoken(other)}"
    if stated is not None and stated.value > grown:
        return stated.value, f"at least {amount(stated.value, unit_of(judgement.channel))}, more than {words}"
    return grown, words


def _rate(evidence: Evidence) -> float:
    """The rate of ``per`` in the judged channel's unit per the other channel's; a bare number is that
    already."""
    judgement = evidence.judgement
    if judgement.per is None:
        raise WithheldError("error", "the judgement states no rate")
    below = unit_of(judgement.per.channel).replace("degC", "K")
    symbol = f"{unit_of(judgement.channel)}/{below}"
    rate = judgement.per.rate
    return rate.value if rate.unit == "1" and symbol not in UNITS else rate.difference_in(symbol, "per.rate")


def take_point(evidence: Evidence, ref: Ref, tolerance: float | None) -> Taken:
    judgement = evidence.judgement
    equal = judgement.at_equal
    if equal is not None:
        _near_target(evidence, ref, equal)
    value = settled(evidence, ref, judgement.channel, tolerance=tolerance)
    if equal is None:
        taken = Taken(ref, value, doubts_of(evidence, ref, judgement.channel))
    else:
        taken = _corrected(evidence, ref, value, equal)
    return _at_one_temperature(evidence, taken) if judgement.one_charge_temperature else taken


def _at_one_temperature(evidence: Evidence, taken: Taken) -> Taken:
    """A power at the carburettor air temperature of the reading meant to be more: P (T / T_more)^n with n = 0.5,
    "usually" so by the SFTE Reference Handbook (2013), section 10.3. That n may lie anywhere from 0.4 to 0.6 is a
    doubt of the result times |ln(T / T_more)| 0.1 / sqrt(3)."""
    judgement = evidence.judgement
    if judgement.more is None or judgement.more == taken.ref:
        return taken
    own, other = (
        convert(settled(evidence, ref, CARBURETTOR_AIR), unit_of(CARBURETTOR_AIR), "K")
        for ref in (taken.ref, judgement.more)
    )
    factor = math.sqrt(own / other)
    doubt = Doubt(
        "correction",
        abs(taken.value * factor * math.log(own / other)) * EXPONENT_DOUBT / RECTANGULAR,
        "exponent of charge temperature between 0.4 and 0.6",
    )
    note = f"{taken.ref} put at the carburettor air temperature of {judgement.more}: times {factor:.4f}"
    doubts = (*(replace(d, u=None if d.u is None else d.u * factor) for d in taken.doubts), doubt)
    return Taken(taken.ref, taken.value * factor, doubts, "; ".join(n for n in (taken.note, note) if n))


def _near_target(evidence: Evidence, ref: Ref, equal: AtEqual) -> None:
    """Withholds the point when the run never got near the value at which it should be compared."""
    target = evidence.expected("at_equal").value
    held = settled(evidence, ref, equal.channel)
    short = target - held
    if abs(short) <= OFF_TARGET * abs(target):
        return
    unit = unit_of(equal.channel)
    seek = last_seeks(history_of(evidence, ref.run), reading_of(evidence, ref).row).get(equal.channel)
    ended = f"; the seek of {seek.lever or 'its lever'} ended: {seek.ending}" if seek is not None else ""
    way = "short of" if short > 0.0 else "above"
    raise WithheldError(
        "not applicable",
        f"not exercised: {spoken(equal.channel)} at {ref} is {amount(abs(short), unit)} {way} "
        f"{amount(target, unit)}{ended}",
    )


def _stopped_by_a_limit(evidence: Evidence, ref: Ref, channel: str) -> str:
    """Words for a seek of ``channel`` that a guarded limit ended before ``ref``: its lever cannot move on to show
    a slope. "" where it ended otherwise."""
    seek = last_seeks(history_of(evidence, ref.run), reading_of(evidence, ref).row).get(channel)
    if seek is None or not seek.ending.endswith(" limit"):
        return ""
    return f"not exercised: the seek of {spoken(channel)} ended before {ref}: {seek.ending}; "


def _corrected(evidence: Evidence, ref: Ref, value: float, equal: AtEqual) -> Taken:
    """The number at the exact target: value + s (target - x), s = (y2 - y1) / (x2 - x1) from the slope
    reading.

    Doubt by propagation (JCGM 100:2008, 5.1.2) of the doubt of both readings by themselves (scatter and gauge) through
    s, and of x through s.
    """
    channel, nearby = evidence.judgement.channel, Ref(ref.run, equal.slope)
    target = evidence.expected("at_equal").value
    here, there = reading_of(evidence, ref), reading_of(evidence, nearby)
    x1, x2 = value_at(evidence, ref, equal.channel), settled(evidence, nearby, equal.channel)
    y2 = settled(evidence, nearby, channel)
    u_x1, u_x2, u_y1, u_y2 = (
        own_doubt(reading, name) for name in (equal.channel, channel) for reading in (here, there)
    )
    apart = x2 - x1
    if abs(apart) <= max(3.0 * math.hypot(u_x1, u_x2), 1e-9 * abs(target)):
        ended = _stopped_by_a_limit(evidence, ref, equal.channel)
        raise WithheldError(
            "not applicable" if ended else "inconclusive",
            f"{ended}"
            f"no slope can be measured: {spoken(equal.channel)} differs by only "
            f"{amount(abs(apart), unit_of(equal.channel))} between {ref} and {nearby}",
        )
    slope = (y2 - value) / apart
    u_slope = math.hypot(u_y1, u_y2, slope * u_x1, slope * u_x2) / abs(apart)
    correction = slope * (target - x1)
    u = math.hypot((target - x1) * u_slope, slope * u_x1)
    unit = unit_of(channel)
    doubts = (
        *doubts_of(evidence, ref, channel, without=equal.channel),
        Doubt("correction", u, f"to {spoken(equal.channel)} {amount(target, unit_of(equal.channel))} at {ref}"),
    )
    note = (
        f"{ref} corrected by {amount(correction, unit)} +- {amount(COVERAGE * u, unit)} to "
        f"{amount(target, unit_of(equal.channel))} ({number(slope)} {unit} per {unit_of(equal.channel)})"
    )
    return Taken(ref, value + correction, doubts, note)
