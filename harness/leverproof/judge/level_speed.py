"""Judgement ``level_speed``: how much faster an aeroplane flies level in one reading than in the fastest of others.

On a stand that flies, the settled airspeeds themselves are compared. On one that gives power only, power is turned into
speed by the sheet's aeroplane, in point performance; what is common to both speeds cancels in the difference, and so
does most of the doubt in the aeroplane.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from leverproof.cases.model import Ref
from leverproof.channels import CHANNELS
from leverproof.conduct.airframe import AIRSPEED, aeroplane_data, air_of, rated_speed
from leverproof.history import steadiness
from leverproof.judge.decision import Ruling, at_least, within
from leverproof.judge.difference import Taken, require_exercised, take_point
from leverproof.judge.evidence import (
    Evidence,
    WithheldError,
    doubts_of,
    history_of,
    reading_of,
    reference_doubt,
    scaled,
    settled,
    window_samples,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import measured
from leverproof.judge.value import allowed
from leverproof.judge.words import amount, number, spoken
from leverproof.physics.level_flight.aeroplane import Air
from leverproof.physics.level_flight.knots import NoLevelSpeedError, speeds, spread_of_difference
from leverproof.timegrid import TICKS_PER_SECOND

AIRSPEED_BAND = 1.0
"""kt, largest spread of an airspeed over a reading's window that still counts as steady (assumption: a third of what
a hand flyer reads it to)."""
AIRSPEED_REMAINING = 0.6
"""kt, largest estimated remaining change: a fifth of the 3 kt to which climb speeds are held in 14 CFR Part 60."""
_NUDGE = 0.01


@dataclass(frozen=True, slots=True)
class Pair:
    """Both speeds in kt, the doubts of their difference, and notes for the finding."""

    more: Taken
    less: Taken
    doubts: tuple[Doubt, ...]
    notes: tuple[str, ...]


def level_speed(evidence: Evidence) -> PointFinding:
    """Speed at ``more`` less the fastest of ``less``, in kt, against a least difference or expected and tolerance.

    A least difference is met only by one that exceeds its own doubt: a model whose power does not answer gives
    no difference at all, whatever the least one is."""
    judgement = evidence.judgement
    if judgement.more is None or not judgement.less:
        raise WithheldError("error", "the judgement names no two readings to compare")
    require_exercised(evidence)
    pair = _flown(evidence) if evidence.maybe("flown") is not None else _computed(evidence)
    found = pair.more.value - pair.less.value
    expected = evidence.maybe("expected") or evidence.maybe("at_least")
    if expected is None:
        raise WithheldError("inconclusive", _no_worth(evidence))
    doubts = (*pair.doubts, reference_doubt(expected))
    two_sided = judgement.tolerance is not None
    tolerance = allowed(evidence, unit="kt", expected=expected.value) if two_sided else None
    if tolerance is not None:
        ruling = within(found, expected.value, tolerance.value, doubts, unit="kt")
    else:
        ruling = _clear(found, at_least(found, expected.value, doubts, forgiving=judgement.basis == "physics"))
    return measured(
        evidence.point.label,
        ruling,
        found=found,
        expected=expected.value,
        unit="kt",
        doubts=doubts,
        notes=(pair.more.note, pair.less.note, *pair.notes),
        tolerance=tolerance.text if tolerance is not None else "",
        found_text=(
            f"{amount(found, 'kt')} ({number(pair.more.value)} at {pair.more.ref}, "
            f"{number(pair.less.value)} at {pair.less.ref})"
        ),
        expected_text="" if two_sided else f"at least {amount(expected.value, 'kt')}",
    )


def _clear(found: float, ruling: Ruling) -> Ruling:
    if ruling.verdict not in ("pass", "conditional pass") or found > ruling.w:
        return ruling
    note = f"the difference is not more than its own doubt of {amount(ruling.w, 'kt')}"
    return replace(ruling, verdict="conditional fail", note="; ".join(n for n in (ruling.note, note) if n))


def _no_worth(evidence: Evidence) -> str:
    """Why the plan could not say what a power is worth."""
    worth = evidence.judgement.worth
    if worth is None:
        raise WithheldError("error", "the plan holds no resolved value for 'expected' or 'at_least'")
    return f"what {worth} is worth in speed is not known: the sheet's aeroplane does not hold level at such powers here"


def _flown(evidence: Evidence) -> Pair:
    """Airspeeds as the stand gives them. The channel list has no steadiness band for an airspeed, because it is
    otherwise set and not read, so steadiness is seen to here."""
    judgement = evidence.judgement
    aloft = replace(evidence, judgement=replace(judgement, channel=AIRSPEED))
    refs = [ref for ref in (judgement.more, *judgement.less) if ref is not None]
    taken = []
    for ref in refs:
        _steady(aloft, ref)
        taken.append(take_point(aloft, ref, None))
    more, less = taken[0], max(taken[1:], key=lambda t: t.value)
    return Pair(more, less, (*more.doubts, *less.doubts), ("airspeeds as flown",))


def _steady(evidence: Evidence, ref: Ref) -> None:
    history, reading = history_of(evidence, ref.run), reading_of(evidence, ref)
    if history.noted:
        return
    samples = window_samples(history, reading, AIRSPEED)
    if samples is None:
        raise WithheldError("error", f"the history holds no {spoken(AIRSPEED)} around {ref}")
    step = history.grid.step / TICKS_PER_SECOND
    seen = steadiness(samples, step, band=AIRSPEED_BAND, remaining_limit=AIRSPEED_REMAINING)
    if seen.kind != "steady":
        spread, left = amount(seen.spread, "kt"), amount(seen.remaining, "kt")
        words = f"{seen.kind}: spread {spread}, estimated remaining change {left}"
        raise WithheldError("invalid run", f"{spoken(AIRSPEED)} at {ref} is not steady ({words})")


def _computed(evidence: Evidence) -> Pair:
    """Speeds from brake power by the sheet's aeroplane, with the slope of each carried into its doubts."""
    judgement = evidence.judgement
    try:
        data, doubts = aeroplane_data(evidence.point.resolved.get(judgement.id, {}))
    except KeyError as path:
        raise WithheldError("error", f"the plan does not hold the aeroplane's data: {path}") from path
    refs = [ref for ref in (judgement.more, *judgement.less) if ref is not None]
    powers = [take_point(evidence, ref, None) for ref in refs]
    turns = [settled(evidence, ref, "engine_speed") for ref in refs]
    air = _air(evidence, refs)
    try:
        taken = [_speed(evidence, power, turn, data, air) for power, turn in zip(powers, turns, strict=True)]
    except NoLevelSpeedError as reason:
        raise WithheldError("inconclusive", reason.message) from reason
    slower = max(range(1, len(taken)), key=lambda i: taken[i].value)
    points = [(powers[i].value, turns[i]) for i in (0, slower)]
    widths = spread_of_difference(data, doubts, points[0], points[1], air)
    airframe = tuple(
        Doubt("airframe", None if w is None else w / 2.0, f"{path}, in both speeds") for path, w in widths.items()
    )
    parts = (*taken[0].doubts, *taken[slower].doubts, *airframe)
    return Pair(taken[0], taken[slower], parts, _notes(evidence, refs[0]))


def _speed(evidence: Evidence, power: Taken, turns: float, data: dict[str, float], air: Air) -> Taken:
    found = speeds(data, power.value, turns, air)
    beside = speeds(data, power.value, turns * (1.0 - _NUDGE), air)
    by_turns = (float(found.true_airspeed) - float(beside.true_airspeed)) / (_NUDGE * turns)
    equal = evidence.judgement.at_equal
    own = doubts_of(evidence, power.ref, "engine_speed", without=equal.channel if equal is not None else "")
    doubts = (*scaled(power.doubts, float(found.slope)), *scaled(own, by_turns))
    note = f"{power.ref}: {amount(power.value, 'hp')} of each engine" + (f", {power.note}" if power.note else "")
    return Taken(power.ref, float(found.true_airspeed), doubts, note)


def _air(evidence: Evidence, refs: list[Ref]) -> Air:
    """The air of the readings, which must be the same: else the difference is not that of the power."""
    names = ("pressure_altitude", "temperature_offset")
    places = []
    for ref in refs:
        values = reading_of(evidence, ref).values
        places.append(tuple(values.get(n, evidence.point.surroundings.get(n, 0.0)) for n in names))
    if len(set(places)) != 1:
        raise WithheldError("invalid run", "the readings to compare were not taken in the same air")
    return air_of(dict(zip(names, places[0], strict=True)))


def _notes(evidence: Evidence, ref: Ref) -> tuple[str, ...]:
    values = reading_of(evidence, ref).values
    resolved = evidence.point.resolved.get(evidence.judgement.id, {})
    notes = ["speeds computed from brake power with the sheet's aeroplane"]
    if AIRSPEED in values:
        notes.append(f"power was read at {amount(values[AIRSPEED], 'kt')}")
    try:
        _, slope = rated_speed(resolved, evidence.point.surroundings)
    except (NoLevelSpeedError, KeyError):
        return tuple(notes)
    unit = CHANNELS[evidence.judgement.channel].unit
    return (*notes, f"{amount(slope, unit)} of each engine is worth 1 kt at take-off power")
