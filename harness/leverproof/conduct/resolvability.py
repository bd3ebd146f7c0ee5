"""What a case's method can see, said before the run: the least difference that stands out of the doubt."""

from __future__ import annotations

import math
from collections.abc import Iterator

from leverproof.cases.model import Judgement
from leverproof.channels import CHANNELS
from leverproof.conduct.airframe import HAND_READING, rated_speed
from leverproof.conduct.model import PlannedCase
from leverproof.conduct.resolve import judged_unit
from leverproof.physics.level_flight.knots import NoLevelSpeedError


def resolvability(planned: PlannedCase) -> list[dict[str, object]]:
    """For each difference judged: case, judgement, what can be seen (U95, in the judged unit) and the effect
    expected in words; for each level speed two lines, one for a speed flown and read by hand.

    Two steady readings, each free within its channel's steadiness band (rectangular), give a difference known to
    2 sqrt(2) band / (2 sqrt(3)): the rule of combining independent standard uncertainties (JCGM 100:2008)."""
    lines: list[dict[str, object]] = []
    for judgement in planned.judgements:
        if not planned.points:
            continue
        if judgement.what == "difference":
            seen, effect = _band(judgement.channel), _effect(judgement, planned)
            lines.append(_line(planned, judgement, seen, judged_unit(judgement), effect))
        elif judgement.what == "level_speed":
            lines += _level_speed(judgement, planned)
    return lines


def _level_speed(judgement: Judgement, planned: PlannedCase) -> Iterator[dict[str, object]]:
    """In hp of each engine, with the slope at take-off power: what two speeds read by hand can tell apart, and on a
    stand that gives power what two steady readings of power can."""
    point = planned.points[0]
    resolved = point.resolved[judgement.id]
    effect = _effect(judgement, planned)
    try:
        speed, slope = rated_speed(resolved, point.surroundings)
    except (NoLevelSpeedError, KeyError) as reason:
        words = f"{effect}; what level speed can see is not known: {reason}"
        yield _line(planned, judgement, math.nan, "hp", words)
        return
    seen = math.sqrt(2.0) * HAND_READING * slope
    words = (
        f"{effect}; this is by hand: two level speeds of some {speed:.0f} kt, each read to {HAND_READING:g} kt, "
        f"{slope:.1f} hp of each engine a kt"
    )
    yield _line(planned, judgement, seen, "hp", words)
    if "flown" not in resolved:
        words = f"{effect}; this is from brake power, turned into speed by the sheet's aeroplane"
        yield _line(planned, judgement, _band(judgement.channel), "hp", words)


def _band(channel: str) -> float:
    return 2.0 * math.sqrt(2.0) * CHANNELS[channel].band / (2.0 * math.sqrt(3.0))


def _effect(judgement: Judgement, planned: PlannedCase) -> str:
    resolved = planned.points[0].resolved[judgement.id]
    wanted = resolved.get("at_least") or resolved.get("expected")
    return judgement.resolves or (f"at least {wanted.value:g} {judged_unit(judgement)}" if wanted is not None else "")


def _line(planned: PlannedCase, judgement: Judgement, sees: float, unit: str, effect: str) -> dict[str, object]:
    return {
        "case": planned.case.id,
        "judgement": judgement.id,
        "sees": sees,
        "unit": unit,
        "effect": effect,
    }
