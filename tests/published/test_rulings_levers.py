"""Rulings on levers, heights, days and response: what is held, what is left free, and whom a demand is for."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.model import ReferenceCase
from leverproof.physics.predictor.bands import band
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.expectations import Conditions, air_of, demand_of, predict
from leverproof.physics.predictor.heights import manifold_pressure_at
from leverproof.physics.predictor.points import OK, Policy, solve_points, throttle_first
from leverproof.physics.predictor.power import power_of
from leverproof.quantities import convert
from leverproof.reference_data import reference_data
from leverproof.sheet.loader import load_sheet

from .invented import TWO_STAGE, Sheet
from .predicted import sampled_of

INHG = convert(1.0, "inHg", "Pa")
STILL = Conditions(airspeed=0.0)


def case(case_id: str) -> ReferenceCase:
    return next(c for c in load_catalogue().cases if c.id == case_id)


@pytest.mark.parametrize("name", ["corrie-18-early", "corrie-18-late"])
def test_the_throttle_stop_near_12_000_ft_is_that_of_the_climb_rating(name: str) -> None:
    sheet = load_sheet(str(reference_data() / "sheets" / f"{name}.toml"))
    names = ("full_throttle_height.climb", "full_throttle_height.takeoff")
    climb, takeoff = (predict(sheet, (), samples=300, names=names).expectations[n] for n in names)
    assert climb.low < 12_000.0 < climb.high
    assert takeoff.high < 10_000.0
    judged = {j.id: j for j in case("full-throttle-height").judgements}
    assert judged["practice-height"].at is not None
    assert judged["practice-height"].at.sheet == "climb.manifold_pressure"


@pytest.mark.parametrize(
    ("limit", "nozzle", "words"),
    [("60000 rpm", "36 in2", "waste gate shut"), ("20000 rpm", "19 in2", "turbo speed limit")],
)
def test_critical_altitude_is_the_first_of_two_limits_and_names_it(
    limit: str, nozzle: str, words: str
) -> None:
    name = "critical_altitude.climb"
    sheet = Sheet({**TWO_STAGE.texts, "limits.turbo_speed": limit, "turbo.nozzle_area": nozzle})
    found = predict(sheet, (), samples=200, names=(name,)).expectations[name]
    assert found.words == f"set by {words}"
    assert found.causes[words] > 0.9


def test_a_control_that_holds_pressure_keeps_it_when_rpm_is_pulled_back() -> None:
    sampled = sampled_of("normalised")
    air = air_of(sampled, STILL, 3_000.0)
    for share in (1.0, 0.9, 0.85):
        demand = demand_of(sampled, 29.5 * INHG, share * sampled.engine.rated_speed)
        points = throttle_first(sampled.engine, air, demand)
        solved = np.ravel(points.reason == OK)
        assert sampled.weight[solved].sum() > 0.9, f"the pressure is held at {share:g} of rated rpm"


def test_a_hot_day_costs_more_power_with_levers_fixed_than_with_pressure_held() -> None:
    sampled = sampled_of("geared")
    engine, lost = sampled.engine, {}
    demand = demand_of(sampled, 36.0 * INHG, engine.rated_speed)
    powers = {}
    for offset in (0.0, 20.0):
        air = air_of(sampled, Conditions(airspeed=0.0, offset=offset), 12_000.0)
        free = manifold_pressure_at(engine, air, demand, Policy("gate"), area=engine.throttle_area).x
        for name, pressure in (("fixed levers", free), ("held pressure", 30.0 * INHG)):
            asked = demand_of(sampled, pressure, engine.rated_speed)
            points = solve_points(engine, air, asked, Policy("gate"))
            powers[name, offset] = power_of(engine, air, asked, points.state, work=sampled.work).brake
    for name in ("fixed levers", "held pressure"):
        lost[name] = band(1.0 - powers[name, 20.0] / powers[name, 0.0], sampled.weight).median
    print(lost)
    assert 0.02 < lost["held pressure"] < 0.05
    assert lost["fixed levers"] > 1.5 * lost["held pressure"]
    for case_id in ("hot-day-fixed-levers", "shutter-fixed-levers", "shutter-fixed-pressure"):
        assert "fixed" in case_id and case(case_id).judgements


def test_the_derate_is_nothing_below_the_limit_and_at_most_5_hp_a_kelvin_above() -> None:
    sheet = Sheet(
        {**TWO_STAGE.texts, "takeoff.brake_power": "1950 hp", "limits.carburettor_air_temperature": "10 degC"}
    )

    sampled = sampled_engine(sheet, samples=300, seed=3)
    engine = sampled.engine
    assert np.max(engine.derate) <= 5.0 * convert(1.0, "hp", "W") * (1.0 + 1e-12)
    for offset, above in ((-30.0, False), (40.0, True)):
        air = air_of(sampled, Conditions(airspeed=0.0, offset=offset), 8_000.0)
        demand = demand_of(sampled, 38.0 * INHG, engine.rated_speed)
        points = throttle_first(engine, air, demand)
        derate = power_of(engine, air, demand, points.state, work=sampled.work).derate
        hot = points.state.deck_temperature > engine.air_limit
        assert np.all(derate[~hot & np.isfinite(derate)] == 0.0)
        assert np.all(derate[hot] > 0.0)
        assert np.mean(hot) > 0.9 if above else np.mean(hot) < 0.1


def test_two_to_four_seconds_are_asked_of_light_unsupercharged_engines_only() -> None:
    light = case("light-single-response")
    assert light.applies.sheet == {
        "hardware.arrangement": ("unsupercharged",),
        "hardware.service": ("light",),
    }
    assert all(
        j.at_most is None or j.at_most.sheet for j in case("slam-and-chop").judgements if j.measure == "t90"
    )
    assert any(j.longer_than for j in case("turbo-lag").judgements)


def test_coordination_is_compared_with_itself_off_or_with_a_grid() -> None:
    best = {j.id: j for j in case("coordination-best").judgements}
    grid = best["as-good-as-the-best"]
    assert grid.more is not None and grid.more.run == "on"
    assert len({ref.run for ref in grid.less}) >= 3
    off = best["better-than-together"]
    assert off.exercised is not None, (
        "where the levers together drive the turbo no harder there is nothing to win"
    )


def test_only_an_interlock_is_asked_to_refuse_below_its_height() -> None:
    link = {j.id: j for j in case("lever-link").judgements}
    assert link["refused"].applies.sheet == {"hardware.link": ("interlock",)}
    assert link["beyond-limit"].applies.sheet == {"hardware.link": ("mechanical",)}
    by_hand = case("linked-by-hand-low")
    assert "interlock" not in by_hand.applies.sheet["hardware.link"]
    (beyond,) = by_hand.judgements
    assert beyond.what == "limit" and beyond.at_least is not None
    assert beyond.at_least.sheet == "takeoff.manifold_pressure"
