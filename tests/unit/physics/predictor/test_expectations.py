"""Expectations by name: bands, missing data, refusals, self-reference, seeds."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import leverproof.physics as physics
from leverproof.errors import InputError
from leverproof.physics.predictor.bands import band
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.coefficients import COEFFICIENTS
from leverproof.physics.predictor.engine import air_at
from leverproof.physics.predictor.expectations import (
    Conditions,
    air_of,
    demand_of,
    predict,
    predict_expectations,
)
from leverproof.physics.predictor.heights import manifold_pressure_at
from leverproof.physics.predictor.points import (
    GATE_SHUT,
    NO_ROOT,
    OK,
    THROTTLE_STOP,
    TURBO_LIMIT,
    Policy,
    solve_points,
)

SheetOf = Callable[[str], Any]


def _predicted(sheet: Any, **more: Any) -> Any:
    return predict_expectations(sheet, (15_000.0,), samples=300, seed=4, **more)


@pytest.mark.parametrize(
    "arrangement", ["unsupercharged", "geared_one_speed", "geared_two_speed", "turbo_normalised", "two_stage"]
)
def test_every_arrangement_has_expectations_with_ordered_bands(arrangement: str, sheet_of: SheetOf) -> None:
    found = _predicted(sheet_of(arrangement))
    for name, e in found.items():
        assert name == e.name and e.source.startswith("computed by the predictor") and "seed 4" in e.source
        if math.isfinite(e.median):
            assert e.low <= e.median <= e.high, name
    power = found["brake_power@15000ft"]
    assert 0.0 < power.low < power.high
    assert ("turbo_speed@15000ft" in found) == (arrangement in ("turbo_normalised", "two_stage"))
    assert ("split_lever_advantage@15000ft" in found) == (arrangement == "two_stage")


def test_two_speeds_have_heights_in_both_gears(sheet_of: SheetOf) -> None:
    found = _predicted(sheet_of("geared_two_speed"))
    low, high = (found[f"full_throttle_height.takeoff.{gear}_gear"] for gear in ("low", "high"))
    assert high.low > low.high


def test_a_higher_rating_has_a_lower_critical_altitude(sheet_of: SheetOf) -> None:
    # NACA TN 794: more boost gives a lower critical altitude
    found = _predicted(sheet_of("two_stage"))
    assert found["critical_altitude.climb"].median > found["critical_altitude.takeoff"].median + 3_000.0
    causes = found["critical_altitude.takeoff"].causes
    assert sum(causes.values()) == pytest.approx(1.0) and "turbo speed limit" in causes
    assert found["critical_altitude.takeoff"].median > found["full_throttle_height.takeoff"].median


def test_take_off_power_of_the_sheet_conditions_the_samples(sheet_of: SheetOf) -> None:
    sheet = sheet_of("two_stage")
    told, untold = _predicted(sheet), _predicted(sheet.but(takeoff__brake_power=""))
    assert told["power.takeoff"].median == pytest.approx(1950.0, rel=1e-9)
    assert told["power.takeoff"].high - told["power.takeoff"].low < 1e-3
    assert untold["power.takeoff"].high - untold["power.takeoff"].low > 300.0


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("turbo__nozzle_area", "wastegate_opening@15000ft"),
        ("geared_stage__ratio", "full_throttle_height.takeoff"),
        ("turbo__wheel_diameter", "turbo_speed@15000ft"),
        ("intercooler__effectiveness", "carburettor_air_temperature@15000ft"),
    ],
)
def test_a_missing_datum_widens_the_band_and_is_named(path: str, name: str, sheet_of: SheetOf) -> None:
    sheet = sheet_of("two_stage")
    whole = predict(sheet, (15_000.0,), samples=400, seed=4)
    less = predict(sheet.but(**{path: ""}), (15_000.0,), samples=400, seed=4)
    before, after = whole.expectations[name], less.expectations[name]
    assert after.high - after.low > 1.15 * (before.high - before.low)
    assert "band widened" in less.sampled.notes.missing[path.replace("__", ".")]
    assert path.replace("__", ".") not in whole.sampled.notes.missing


def test_turbo_speed_is_refused_without_wheel_and_limit(sheet_of: SheetOf) -> None:
    sheet = sheet_of("turbo_normalised").but(turbo__wheel_diameter="", limits__turbo_speed="")
    found = predict(sheet, (15_000.0,), samples=300, seed=4)
    speed = found.expectations["turbo_speed@15000ft"]
    assert math.isnan(speed.median) and "refused" in speed.words
    assert "refused" in found.sampled.notes.missing["turbo.wheel_diameter"]
    assert math.isfinite(found.expectations["critical_altitude.takeoff"].median)


@pytest.mark.parametrize("path", ["takeoff__manifold_pressure", "takeoff__engine_speed"])
def test_what_no_prior_can_replace_is_refused(path: str, sheet_of: SheetOf) -> None:
    with pytest.raises(InputError, match=path.replace("__", ".")):
        _predicted(sheet_of("two_stage").but(**{path: ""}))


def test_neither_displacement_nor_power_is_refused(sheet_of: SheetOf) -> None:
    sheet = sheet_of("geared_one_speed")
    assert math.isfinite(_predicted(sheet.but(geometry__displacement=""))["power.takeoff"].median)
    with pytest.raises(InputError, match="neither displacement nor take-off power"):
        _predicted(sheet.but(geometry__displacement="", takeoff__brake_power=""))


def test_a_sheet_that_contradicts_itself_is_refused(sheet_of: SheetOf) -> None:
    with pytest.raises(InputError, match="contradicts"):
        _predicted(sheet_of("two_stage").but(takeoff__brake_power="5200 hp"))
    with pytest.raises(InputError, match="below what the intake leaves"):
        _predicted(sheet_of("unsupercharged").but(takeoff__manifold_pressure="31 inHg"))


def test_infeasible_points_are_nan_with_a_reason(sheet_of: SheetOf) -> None:
    sampled = sampled_engine(sheet_of("two_stage"), samples=50, seed=4)
    engine = sampled.engine
    demand = demand_of(sampled, engine.rated_pressure, engine.rated_speed)
    cases = (
        (30_000.0, Policy("throttle", engine.throttle_area), TURBO_LIMIT),
        (15_000.0, Policy("gate", engine.gate_area), THROTTLE_STOP),
        (0.0, Policy("throttle", engine.throttle_area), NO_ROOT),
    )
    for height, policy, expected in cases:
        points = solve_points(engine, air_of(sampled, Conditions(), height), demand, policy)
        assert np.all(points.reason == expected), (policy.kind, points.reason)
        assert np.all(np.isnan(points.state.air_flow)) and np.all(np.isnan(points.throttle_area))
    no_limit = sampled_engine(
        sheet_of("two_stage").but(limits__turbo_speed="90000 rpm", turbo__nozzle_area="40 in2"),
        samples=50,
        seed=4,
    )
    points = solve_points(
        no_limit.engine,
        air_of(no_limit, Conditions(), 24_000.0),
        demand,
        Policy("throttle", engine.throttle_area),
    )
    assert np.all(points.reason == GATE_SHUT)


def test_the_air_an_engine_meets_has_total_pressure_and_temperature() -> None:
    # 340.294 m/s is Mach 1 at sea level: 1.2 T and, at full recovery, 1.2^3.5 p (NACA Report 1135)
    air = air_at(0.0, airspeed=340.294, ram_recovery=1.0, humidity=1.0)
    assert float(air.total_temperature) == pytest.approx(1.2 * 288.15, rel=1e-5)
    assert float(air.total_pressure) == pytest.approx(1.2**3.5 * 101_325.0, rel=1e-5)
    assert float(air.dry) == pytest.approx(1.0 - 1_704.0 / 101_325.0, abs=2e-5)
    assert float(air_at(0.0, airspeed=0.0, ram_recovery=0.7).dry) == 1.0


def test_an_unsupercharged_engine_has_no_boost_policy(sheet_of: SheetOf) -> None:
    sampled = sampled_engine(sheet_of("unsupercharged"), samples=5, seed=4)
    demand = demand_of(sampled, 6e4, sampled.engine.rated_speed)
    with pytest.raises(ValueError, match="exhaust-driven"):
        solve_points(sampled.engine, air_of(sampled, Conditions(), 0.0), demand, Policy("coupled"))


@pytest.mark.parametrize("arrangement", ["unsupercharged", "geared_one_speed"])
def test_an_engine_without_a_gate_is_asked_for_gate_area_0_only(arrangement: str, sheet_of: SheetOf) -> None:
    sampled = sampled_engine(sheet_of(arrangement), samples=5, seed=4)
    engine, air = sampled.engine, air_of(sampled, Conditions(), 0.0)
    demand = demand_of(sampled, 6e4, engine.rated_speed)
    for area in (1e-4, -1e-4, np.nan, np.array([[0.0]] * 4 + [[1e-4]])):
        with pytest.raises(InputError, match="without a waste gate"):
            solve_points(engine, air, demand, Policy("gate", area))
        with pytest.raises(InputError, match="without a waste gate"):
            manifold_pressure_at(engine, air, demand, Policy("gate", area), area=engine.throttle_area)
    for none in (0.0, np.zeros((5, 1))):
        points = solve_points(engine, air, demand, Policy("gate", none))
        assert np.all(points.reason == OK)
        # all exhaust leaves by the stacks
        assert points.state.gas_flow == pytest.approx(engine.exhaust_area * points.state.flow_per_area, rel=1e-9)


def test_data_taken_from_a_model_mark_the_expectation(sheet_of: SheetOf) -> None:
    sheet = sheet_of("two_stage")
    marked = type(sheet)(sheet.texts, from_model=frozenset({"takeoff.brake_power"}))
    assert _predicted(marked)["brake_power@15000ft"].derived_from == ("takeoff.brake_power",)
    assert _predicted(sheet)["brake_power@15000ft"].derived_from == ()


def test_one_seed_gives_one_answer_and_another_seed_nearly_the_same(sheet_of: SheetOf) -> None:
    sheet = sheet_of("two_stage")
    one, again = (predict_expectations(sheet, (15_000.0,), samples=400, seed=9) for _ in range(2))
    assert {k: (e.median, e.low) for k, e in one.items()} == {k: (e.median, e.low) for k, e in again.items()}
    other = predict_expectations(sheet, (15_000.0,), samples=400, seed=10)
    name = "turbo_speed@15000ft"
    assert one[name].median != other[name].median
    assert one[name].median == pytest.approx(other[name].median, rel=0.02)


def test_a_lane_does_not_depend_on_its_neighbours(sheet_of: SheetOf) -> None:
    sampled = sampled_engine(sheet_of("two_stage"), samples=40, seed=4)
    demand = demand_of(sampled, sampled.engine.rated_pressure, sampled.engine.rated_speed)
    heights = np.array([[9_000.0, 13_000.0, 29_000.0]])
    policy = Policy("throttle", sampled.engine.throttle_area)
    whole = solve_points(sampled.engine, air_of(sampled, Conditions(), heights), demand, policy)
    alone = solve_points(sampled.engine, air_of(sampled, Conditions(), heights[:, 1:2]), demand, policy)
    np.testing.assert_array_equal(whole.state.back_pressure[:, [1]], alone.state.back_pressure)


def test_bands_are_weighted_and_refuse_few_samples() -> None:
    values, weights = np.array([[1.0], [2.0], [100.0]]), np.array([[0.5], [0.5], [0.0]])
    assert band(values, weights).median == pytest.approx(1.5)
    # sorted 1, 2, 3 at 0.05, 0.15, 0.6 of the weight: 2 + 0.35/0.45
    mixed = band(np.array([[3.0], [1.0], [2.0]]), np.array([[0.8], [0.1], [0.1]]))
    assert mixed.median == pytest.approx(2.0 + 0.35 / 0.45) and mixed.low == pytest.approx(1.0)
    rare = band(np.array([[np.nan]] * 99 + [[1.0]]), np.full((100, 1), 0.01))
    assert math.isnan(rare.median) and rare.share == pytest.approx(0.01)


def test_every_coefficient_names_its_source_and_the_package_exports_the_predictor() -> None:
    assert all((c.source and c.a < c.b) or c.shape == "normal" for c in COEFFICIENTS.values())
    assert physics.predict_expectations is predict_expectations
    with pytest.raises(AttributeError):
        _ = physics.no_such_name
