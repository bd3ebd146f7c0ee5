"""What can be seen by hand: the least effect that gauges of a given division resolve, and the division to ask for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from leverproof.cases.model import Judgement
from leverproof.channels import CHANNELS
from leverproof.conduct.airframe import HAND_READING, lacking, rated_speed, resolved_level_speed
from leverproof.conduct.by_hand import POWER, USUAL, by_numbers, noted_channels, unwritten
from leverproof.conduct.matcher_tolerances import HAND
from leverproof.conduct.model import PlannedCase
from leverproof.conduct.plan import tolerance_amount
from leverproof.physics.level_flight.knots import NoLevelSpeedError
from leverproof.quantities import UNITS
from leverproof.sheet.model import EngineSheet

SHARE = 0.5
"""The gauges may take half of what is looked for (assumption): something else needs the rest."""
SEEK_SHARE = 3.0
"""Divisions within which a person finds a value: a third of how near it has to be brought by hand (assumption)."""


@dataclass(frozen=True, slots=True)
class Sight:
    """What one judgement can see by hand. ``sees`` and ``usual`` are the least effect with the division asked for and
    with the usual one, ``effect`` the one asked, None where only a sign is asked or no number can be given; all in
    ``unit``. ``reason`` says why it is not judged from numbers written down."""

    judgement: Judgement
    sees: float | None = None
    usual: float | None = None
    effect: float | None = None
    unit: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class LevelSpeed:
    """What level speed tells of power at one point: speed in kt at take-off power, hp of each engine a kt, and the
    least power, hp of each engine, that two speeds flown and read by hand tell apart. ``reason`` where nothing is
    known."""

    speed: float = math.nan
    slope: float = math.nan
    sees: float = math.nan
    reason: str = ""


def factor(judgement: Judgement) -> float:
    """U95 of what a judgement compares, over the division: 2 (d/2)/sqrt(3) of one reading, sqrt(2) times that of a
    difference of two (JCGM 100:2008, F.2.2.1 and 5.1.2)."""
    one = 1.0 / math.sqrt(3.0)
    return one if judgement.what in ("value", "crossing") else math.sqrt(2.0) * one


HP = UNITS["lbf.ft"].scale * UNITS["rpm"].scale / UNITS["hp"].scale
"""hp of 1 lbf.ft at 1 rpm."""


def sights(planned: PlannedCase, divisions: dict[str, float], *, turns: float) -> tuple[Sight, ...]:
    """One for each judgement of the case, with gauges of the ``divisions`` asked for; ``turns`` is the engine speed in
    rpm at which a division of torque is turned into power."""
    divisions = {**divisions, "brake_power": HP * turns * divisions.get("torque", math.nan)}
    ready = {j.id: j for j in by_numbers(planned)}
    return tuple(
        _sight(ready[j.id], planned, divisions, turns) if j.id in ready else Sight(j, reason=_reason(j, planned))
        for j in planned.case.judgements
    )


def _reason(judgement: Judgement, planned: PlannedCase) -> str:
    refused = planned.inapplicable_judgements.get(judgement.id)
    if refused is None:
        return unwritten(judgement, planned.case)
    if judgement.channel in POWER and refused.missing.endswith("is read"):
        return "no gauge shows power"
    return refused.missing


def _sight(judgement: Judgement, planned: PlannedCase, divisions: dict[str, float], turns: float) -> Sight:
    channel = judgement.channel
    if judgement.what == "level_speed":
        wanted = [planned.points[0].resolved[judgement.id].get(key) for key in ("at_least", "expected")]
        effect = next((e.value for e in wanted if e is not None), None)
        return Sight(judgement, math.sqrt(2.0) * HAND_READING, None, effect or None, "kt")
    if judgement.what not in ("value", "difference", "trend") or judgement.relative_to or CHANNELS[channel].states:
        return Sight(judgement)
    seen, effect = factor(judgement), effect_of(judgement, planned)
    usual = HP * turns * USUAL["torque"] if channel == "brake_power" else USUAL[channel]
    return Sight(judgement, seen * divisions[channel], seen * usual, effect, CHANNELS[channel].unit)


def effect_of(judgement: Judgement, planned: PlannedCase) -> float | None:
    """The effect a judgement looks for: its tolerance, its least difference or its least step; None for a sign."""
    resolved = planned.points[0].resolved[judgement.id]
    amount = tolerance_amount(judgement, resolved)
    if amount is None:
        stated = resolved.get("at_least" if judgement.what == "difference" else "least_step")
        amount = None if stated is None else abs(stated.value)
    return amount or None


def divisions_asked(planned: PlannedCase, *, turns: float) -> dict[str, float]:
    """The division each gauge has to be read to, canonical unit: the usual one, or finer where that does not resolve
    what is judged or does not set what is sought. Rounded down to 1, 2 or 5 times a power of ten. A torque gauge is
    taken at ``turns`` rpm."""
    names = noted_channels(planned)
    names = (*names, "torque", "engine_speed") if "brake_power" in names else names
    asked = {name: USUAL[name] for name in names if name in USUAL}
    for step in (step for program in planned.programs for step in program.steps):
        if step.do == "seek" and step.channel in HAND:
            asked[step.channel] = min(asked[step.channel], HAND[step.channel] / SEEK_SHARE)
    for judgement in by_numbers(planned):
        effect = effect_of(judgement, planned) if judgement.channel in asked and not judgement.relative_to else None
        if effect is not None and judgement.what in ("value", "difference", "trend"):
            asked[judgement.channel] = min(asked[judgement.channel], SHARE * effect / factor(judgement))
    return {name: _round_down(value) for name, value in asked.items()}


def _round_down(value: float) -> float:
    exponent = math.floor(math.log10(value) + 1e-9)
    leading = next(n for n in (5.0, 2.0, 1.0) if n <= value / 10.0**exponent + 1e-9)
    return float(f"{leading}e{exponent}")


def level_speed_sight(planned: PlannedCase, sheet: EngineSheet) -> LevelSpeed:
    """What level speed tells of power in the air of the first point, by the sheet's aeroplane."""
    judgement = replace(planned.case.judgements[0], worth=None)
    missing = lacking(judgement, sheet, flies=False)
    missing = missing or next((p for p in ("takeoff.brake_power",) if sheet.number(p) is None), "")
    if missing:
        return LevelSpeed(reason=f"the sheet does not give {missing}")
    surroundings = planned.points[0].surroundings
    resolved = resolved_level_speed(judgement, sheet, surroundings, flies=False)
    try:
        speed, slope = rated_speed(resolved, surroundings)
    except NoLevelSpeedError as reason:
        return LevelSpeed(reason=reason.message)
    return LevelSpeed(speed, slope, math.sqrt(2.0) * HAND_READING * slope)
