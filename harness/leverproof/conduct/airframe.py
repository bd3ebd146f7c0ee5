"""What a level speed needs of the sheet, resolved before the run so that judging needs no sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from leverproof.cases.model import Judgement
from leverproof.conduct.model import Expected
from leverproof.physics.level_flight.aeroplane import DATA, Air, air_at
from leverproof.physics.level_flight.knots import NoLevelSpeedError, Speeds, speeds, spread_of_difference
from leverproof.sheet.model import Datum, EngineSheet

AIRSPEED = "true_airspeed"
HOLDS = "holds_level_flight"
RATED = ("takeoff.brake_power", "takeoff.engine_speed")
HAND_READING = 3.0
"""kt, U95 of a level speed flown and read by hand: the tolerance on climb speeds of 14 CFR Part 60, table A2A, 1.c,
taken as analogue, because no row is for level speed."""


def flown(outputs: frozenset[str], capabilities: frozenset[str]) -> bool:
    """Whether the stand flies: it gives airspeed as a reading and says that it holds altitude and heading."""
    return AIRSPEED in outputs and HOLDS in capabilities


def lacking(judgement: Judgement, sheet: EngineSheet, *, flies: bool) -> str:
    """The first sheet datum that a level speed needs and the sheet does not give, or ""."""
    needed = () if flies and judgement.worth is None else tuple(DATA)
    rated = RATED if judgement.worth is not None else ()
    return next((path for path in (*needed, *rated) if sheet.number(path) is None), "")


def resolved_level_speed(
    judgement: Judgement, sheet: EngineSheet, surroundings: Mapping[str, float], *, flies: bool
) -> dict[str, Expected]:
    """The aeroplane and its take-off power under keys such as ``airframe:wing_area``, ``flown`` on a stand that flies,
    and what ``worth`` comes to in kt as ``expected`` or ``at_least``; that key is missing where the aeroplane holds
    no level speed there."""
    out = {_key(path): _expected(datum) for path in DATA if (datum := sheet.number(path)) is not None}
    for path in RATED:
        datum = sheet.number(path)
        if datum is not None:
            # It says what can be seen and what power is worth; nothing the model gives is held against it.
            out[_key(path)] = replace(_expected(datum), from_model=False)
    if flies:
        out["flown"] = Expected(1.0)
    if judgement.worth is not None:
        try:
            worth = _worth(out, judgement.worth.difference_in("hp"), air_of(surroundings))
        except NoLevelSpeedError:
            return out
        out["at_least" if judgement.tolerance is None else "expected"] = worth
    return out


def aeroplane_data(resolved: Mapping[str, Expected]) -> tuple[dict[str, float], dict[str, float | None]]:
    """Values and doubts (U95) by datum path; KeyError when the plan does not hold them all."""
    found = {path: resolved[_key(path)] for path in DATA}
    return {path: e.value for path, e in found.items()}, {path: e.doubt for path, e in found.items()}


def air_of(surroundings: Mapping[str, float]) -> Air:
    """The air of a run's surroundings; those a case leaves alone are at 0."""
    return air_at(surroundings.get("pressure_altitude", 0.0), surroundings.get("temperature_offset", 0.0))


def rated_speed(resolved: Mapping[str, Expected], surroundings: Mapping[str, float]) -> tuple[float, float]:
    """Level speed in kt at take-off power and engine speed, and hp of each engine for one kt more there.

    Raises :class:`NoLevelSpeedError`, and KeyError when the plan does not hold the data."""
    data, _ = aeroplane_data(resolved)
    power, turns = (resolved[_key(path)].value for path in RATED)
    found = speeds(data, power, turns, air_of(surroundings))
    return float(found.true_airspeed), 1.0 / float(found.slope)


def _key(path: str) -> str:
    return path.replace(".", ":")


def _expected(datum: Datum) -> Expected:
    return Expected(float(datum.value), datum.doubt, datum.source, datum.from_model)


def _worth(resolved: Mapping[str, Expected], power: float, air: Air) -> Expected:
    """Speed lost when each engine gives so much less than take-off power; doubt from that of the aeroplane's data."""
    data, doubts = aeroplane_data(resolved)
    rated, turns = (resolved[_key(path)].value for path in RATED)
    high, low = (_one(speeds(data, hp, turns, air)) for hp in (rated, rated - power))
    widths = spread_of_difference(data, doubts, (rated, turns), (rated - power, turns), air)
    known = [w for w in widths.values() if w is not None]
    doubt = math.hypot(*known) if len(known) == len(widths) else None
    words = f"{power:g} hp of each engine at take-off power, by the level speed of the sheet's aeroplane"
    model = any(resolved[_key(path)].from_model for path in DATA)
    return Expected(high - low, doubt, words, model)


def _one(found: Speeds) -> float:
    return float(found.true_airspeed)
