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
    single = judgement.what in ("value", "crossing") and not judgement.less
    return one if single else math.sqrt(2.0) * one


HP = UNITS["lbf.ft"].scale * UNITS["rpm"].scale / UNITS["hp"].scale
"""hp of 1 lbf.ft at 1 rpm."""


def rated_turns(sheet: EngineSheet) -> float:
    """Take-off engine speed in rpm."""
    datum = sheet.number("takeoff.engine_speed")
    return math.nan if datum is None else float(datum.value)


def sights(planned: PlannedCase, divisions: dict[str, float], sheet: EngineSheet) -> tuple[Sight, ...]:
    """One for each judgement of the case, with gauges of the ``divisions`` asked for. A division of torque
    is worth most in power at take-off speed."""
    divisions = {**divisions, "brake_power": HP * rated_turns(sheet) * divisions.get("torque", math.nan)}
    ready = {j.id: j for j in by_numbers(planned)}
    return tuple(
        _sight(ready[j.id], planned, divisions, sheet) if j.id in ready else Sight(j, reason=_reason(j, planned))
        for j in planned.case.judgements
    )


def _reason(judgement: Judgement, planned: PlannedCase) -> str:
    refused = planned.inapplicable_judgements.get(judgement.id)
    if refused is None:
        return unwritten(judgement, planned.case)
    if judgement.channel in POWER and refused.missing.endswith("is read"):
        return "no gauge shows power"
    return refused.missing


def typical(channel: str, sheet: EngineSheet) -> float:
    """About what a channel shows, for what a division is worth in a ratio: the sheet's cruise setting, else its
    take-off setting, else three tenths of the channel's normal range (assumption)."""
    found = (sheet.number(f"{section}.{channel}") for section in ("cruise", "takeoff"))
    stated = next((float(datum.value) for datum in found if datum is not None), None)
    return stated if stated is not None else 0.3 * CHANNELS[channel].span


def ratio_effect(judgement: Judgement, planned: PlannedCase) -> float | None:
    """The tolerance of a ratio, where it is stated as a number or as a share of the expected ratio."""
    tolerance, expected = judgement.tolerance, planned.points[0].resolved[judgement.id].get("expected")
    if tolerance is None or tolerance.of != "expected" or expected is None:
        return None
    parts = [] if tolerance.absolute is None else [tolerance.absolute.difference_in("1")]
    parts += [] if tolerance.percent is None else [abs(expected.value) * tolerance.percent / 100.0]
    return max(parts) if parts else None


def _sight(judgement: Judgement, planned: PlannedCase, divisions: dict[str, float], sheet: EngineSheet) -> Sight:
    channel = judgement.channel
    if judgement.what == "level_speed":
        wanted = [planned.points[0].resolved[judgement.id].get(key) for key in ("at_least", "expected")]
        effect = next((e.value for e in wanted if e is not None), None)
        return Sight(judgement, math.sqrt(2.0) * HAND_READING, None, effect or None, "kt")
    if judgement.what not in ("value", "difference", "trend") or CHANNELS[channel].states:
        return Sight(judgement)
    if judgement.relative_to is not None:
        share = math.sqrt(2.0) * factor(judgement) / typical(channel, sheet)
        usual = USUAL.get(channel, math.nan)
        return Sight(judgement, share * divisions[channel], share * usual, ratio_effect(judgement, planned), "1")
    seen, effect = factor(judgement), effect_of(judgement, planned)
    usual = HP * rated_turns(sheet) * USUAL["torque"] if channel == "brake_power" else USUAL[channel]
    return Sight(judgement, seen * divisions[channel], seen * usual, effect, CHANNELS[channel].unit)


def effect_of(judgement: Judgement, planned: PlannedCase) -> float | None:
    """The effect a judgement looks for: its tolerance, its least difference or its least step; None for a sign."""
    resolved = planned.points[0].resolved[judgement.id]
    amount = tolerance_amount(judgement, resolved)
    if amount is None:
        stated = resolved.get("at_least" if judgement.what == "difference" else "least_step")
        amount = None if stated is None else abs(stated.value)
    return amount or None


def divisions_asked(planned: PlannedCase, sheet: EngineSheet) -> dict[str, float]:
    """The division each gauge has to be read to, canonical unit: the usual one, or finer where that does not resolve
    what is judged or does not set what is sought. Rounded down to 1, 2 or 5 times a power of ten. A torque gauge is
    taken at take-off speed."""
    names = noted_channels(planned)
    names = (*names, "torque", "engine_speed") if "brake_power" in names else names
    asked = {name: USUAL[name] for name in names if name in USUAL}
    for step in (step for program in planned.programs for step in program.steps):
        if step.do == "seek" and step.channel in HAND:
            asked[step.channel] = min(asked[step.channel], HAND[step.channel] / SEEK_SHARE)
    for judgement in by_numbers(planned):
        power = judgement.channel == "brake_power"
        gauge, worth = ("torque", HP * rated_turns(sheet)) if power else (judgement.channel, 1.0)
        if gauge not in asked or judgement.what not in ("value", "difference", "trend"):
            continue
        effect = effect_of(judgement, planned)
        if judgement.relative_to is not None:
            share = ratio_effect(judgement, planned)
            effect = None if share is None else share * typical(judgement.channel, sheet) / math.sqrt(2.0)
        if effect is not None:
            asked[gauge] = min(asked[gauge], SHARE * effect / factor(judgement) / worth)
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
