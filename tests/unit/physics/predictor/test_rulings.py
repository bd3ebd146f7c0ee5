"""The physical rulings: which way each quantity must go, arrangement by arrangement."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leverproof.physics.predictor.bands import band
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.design import Sampled
from leverproof.physics.predictor.engine import Demand, fuel_air_ratio
from leverproof.physics.predictor.expectations import Conditions, air_of, demand_of, power_available
from leverproof.physics.predictor.heights import height_where_full_throttle, manifold_pressure_at
from leverproof.physics.predictor.points import (
    GATE_SHUT,
    OK,
    Policy,
    boost_lever,
    solve_points,
    throttle_first,
)
from leverproof.physics.predictor.power import power_of
from leverproof.physics.predictor.settings import levers_together
from leverproof.quantities import convert

SheetOf = Callable[[str], Any]
STILL = Conditions(airspeed=0.0)
SAMPLES, SEED = 200, 5


def _sampled(sheet: Any) -> Sampled:
    return sampled_engine(sheet, samples=SAMPLES, seed=SEED)


def _demand(sampled: Sampled, pressure: float, share_of_speed: float = 1.0) -> Demand:
    return demand_of(sampled, convert(pressure, "inHg", "Pa"), share_of_speed * sampled.engine.rated_speed)


def _median(values: Array, sampled: Sampled) -> float:
    return band(values, sampled.weight).median


def _climb_gain(sampled: Sampled, pressure: float, low: float, high: float) -> Array:
    """Mean gain of power in per cent per 1,000 ft at constant pressure and rpm."""
    demand = _demand(sampled, pressure, 0.9)
    powers = []
    for height in (low, high):
        air = air_of(sampled, STILL, height)
        points = throttle_first(sampled.engine, air, demand)
        powers.append(power_of(sampled.engine, air, demand, points.state, work=sampled.work).brake)
    gain: Array = 100.0 * ((powers[1] / powers[0]) ** (1_000.0 / (high - low)) - 1.0)
    return gain


@pytest.mark.parametrize("pressure", [21.0, 23.0, 25.0])
def test_constant_pressure_climb_unsupercharged_gains_as_published(pressure: float, sheet_of: SheetOf) -> None:
    # SFTE Reference Handbook 2013, figure 10.2a: 1.2 to 2.0 % per 1,000 ft at 21 to 25 inHg
    sampled = _sampled(sheet_of("unsupercharged"))
    gain = _median(_climb_gain(sampled, pressure, 0.0, 2_500.0), sampled)
    assert 1.2 < gain < 2.0


@pytest.mark.parametrize("pressure", [30.0, 36.0])
def test_constant_pressure_climb_geared_gains_less_than_unsupercharged(pressure: float, sheet_of: SheetOf) -> None:
    # the published chart (SFTE figure 10.3c) shows 0.3 to 0.8; the computation gives up to 0.45 more, see the page
    sampled = _sampled(sheet_of("geared_one_speed"))
    gain = band(_climb_gain(sampled, pressure, 0.0, 7_500.0), sampled.weight)
    light = _sampled(sheet_of("unsupercharged"))
    assert 0.3 < gain.median < 1.25
    assert gain.median < _median(_climb_gain(light, 23.0, 0.0, 2_500.0), light)


def test_constant_pressure_climb_of_a_turbo_without_cooler_falls(sheet_of: SheetOf) -> None:
    sampled = _sampled(sheet_of("turbo_normalised"))
    gain = band(_climb_gain(sampled, 29.5, 2_000.0, 12_000.0), sampled.weight)
    assert gain.high < 0.0


@pytest.mark.parametrize("kind", ["gate", "speed", "deck"])
def test_boost_travel_by_what_the_lever_acts_on(kind: str, sheet_of: SheetOf) -> None:
    sampled = _sampled(sheet_of("two_stage").but(hardware__boost_acts_on=kind))
    heights = np.array([[9_000.0, 11_000.0, 13_000.0, 15_000.0, 17_000.0]])
    first = power_available(sheet_of("two_stage"), sampled, heights)
    state, engine = first.points.state, sampled.engine
    good = np.all(first.points.reason == OK, axis=1) & np.all(first.manifold_pressure > 0.999 * 50 * 3386.389, axis=1)
    assert good.sum() > 0.6 * SAMPLES
    travel = boost_lever(engine, state)[good]
    if kind in ("gate", "speed"):
        assert np.all(np.diff(travel, axis=1) > 0.0)
    else:
        # the deck pressure a full throttle needs hardly moves: it is the throat's plus the throttle's own loss
        assert np.median(np.ptp(travel, axis=1)) < 0.05


def test_waste_gate_closes_to_the_critical_altitude_when_the_gate_limits(sheet_of: SheetOf) -> None:
    sheet = sheet_of("two_stage").but(limits__turbo_speed="60000 rpm", turbo__nozzle_area="36 in2")
    sampled = _sampled(sheet)
    demand = _demand(sampled, 46.0)
    engine = sampled.engine
    start, top = (
        height_where_full_throttle(engine, lambda h: air_of(sampled, STILL, h), demand, Policy("gate", area)).x
        for area in (engine.gate_area, np.zeros_like(engine.gate_area))
    )
    opening = []
    for share in (0.05, 0.3, 0.6, 0.9, 1.0 - 1e-9):
        air = air_of(sampled, STILL, start + share * (top - start))
        points = solve_points(engine, air, demand, Policy("throttle", engine.throttle_area))
        opening.append(points.gate_area / engine.gate_area)
    wide = np.hstack(opening)
    low = np.ravel(top) < 25_000.0
    assert low.sum() > 0.5 * SAMPLES and np.all(np.isfinite(wide[low]))
    assert np.all(np.diff(wide[low], axis=1) < 0.0)
    assert np.max(np.abs(wide[low, -1])) < 1e-6
    above = solve_points(engine, air_of(sampled, STILL, top + 500.0), demand, Policy("throttle", engine.throttle_area))
    assert np.all(above.reason[low] == GATE_SHUT)


def test_waste_gate_reopens_with_height_at_the_turbo_limit(sheet_of: SheetOf) -> None:
    sheet = sheet_of("two_stage")
    sampled = _sampled(sheet)
    found = power_available(sheet, sampled, np.array([[26_000.0, 30_000.0, 34_000.0]]))
    opening = found.points.gate_area / sampled.engine.gate_area
    limit = sampled.engine.turbo_limit * sampled.engine.turbo_radius
    at_limit = np.all(np.abs(found.points.state.tip_speed / limit - 1.0) < 1e-6, axis=1)
    assert at_limit.sum() > 0.8 * SAMPLES
    assert np.median(opening[at_limit, 2] - opening[at_limit, 0]) > 0.0


def _pulled_back(sampled: Sampled, pressure: float, policy: Policy, height: float) -> tuple[Array, Array]:
    """Manifold pressure over the first one after pulling rpm back by a tenth, and the throttle's share of drop."""
    engine, air = sampled.engine, air_of(sampled, STILL, height)
    full = _demand(sampled, pressure)
    start = solve_points(engine, air, full, policy)
    drop = 1.0 - start.state.throat_pressure / start.state.deck_pressure
    slower = replace(full, engine_speed=0.9 * full.engine_speed)
    held = manifold_pressure_at(engine, air, slower, policy, area=start.throttle_area).x
    return held / full.manifold_pressure, drop


def test_rpm_pulled_back_unsupercharged_part_throttle_rises(sheet_of: SheetOf) -> None:
    ratio, _ = _pulled_back(_sampled(sheet_of("unsupercharged")), 18.0, Policy("gate"), 0.0)
    assert np.nanmin(ratio) > 1.01 and np.isfinite(ratio).mean() > 0.95


def test_rpm_pulled_back_geared_rises_at_small_throttle_and_falls_wide_open(sheet_of: SheetOf) -> None:
    sampled = _sampled(sheet_of("geared_one_speed"))
    small, drop = _pulled_back(sampled, 22.0, Policy("gate"), 0.0)
    assert np.nanmin(drop) > 0.45 and np.nanmin(small) > 1.0
    wide, drop = _pulled_back(sampled, 41.0, Policy("gate"), 5_500.0)
    little = np.isfinite(drop) & (drop < 0.15)
    assert little.sum() > 0.2 * SAMPLES and np.nanmax(wide[little]) < 0.97


def test_rpm_pulled_back_at_a_fixed_gate_falls_by_more_than_without_turbo(sheet_of: SheetOf) -> None:
    sampled = _sampled(sheet_of("two_stage"))
    engine, air = sampled.engine, air_of(sampled, STILL, 14_000.0)
    full = _demand(sampled, 46.0)
    start = solve_points(engine, air, full, Policy("throttle", engine.throttle_area))
    slower = replace(full, engine_speed=0.9 * full.engine_speed)
    fixed = manifold_pressure_at(engine, air, slower, Policy("gate", start.gate_area), area=engine.throttle_area).x
    deck = manifold_pressure_at(
        engine, air, slower, Policy("deck", start.state.deck_pressure), area=engine.throttle_area
    ).x
    good = np.isfinite(fixed) & np.isfinite(deck)
    assert good.mean() > 0.9
    assert np.all(fixed[good] < deck[good]) and np.all(deck[good] < np.asarray(full.manifold_pressure)[good])


def test_levers_together_cost_power_and_every_gauge_shows_it(sheet_of: SheetOf) -> None:
    sheet = sheet_of("two_stage")
    sampled = _sampled(sheet)
    heights = np.array([[8_000.0, 12_000.0, 16_000.0]])
    air, demand = air_of(sampled, Conditions(), heights), _demand(sampled, 50.0)
    first = power_available(sheet, sampled, heights)
    both = levers_together(sampled.engine, air, demand, work=sampled.work)
    extra = (both.points.state.deck_pressure - first.points.state.deck_pressure) / 3386.389
    exercised = np.isfinite(extra) & (extra > 2.0)
    assert exercised.sum() > 50
    a, b = first.points.state, both.points.state
    for name in ("tip_speed", "deck_temperature", "back_pressure"):
        assert np.all((getattr(b, name) > getattr(a, name))[exercised]), name
    lost = (first.power.brake - both.power.brake) / 745.7
    assert np.all(lost[exercised] > 2.0 * extra[exercised])


def test_a_throttle_sweep_at_constant_pressure_loses_power_at_every_step(sheet_of: SheetOf) -> None:
    sampled = _sampled(sheet_of("two_stage"))
    engine, demand = sampled.engine, _demand(sampled, 46.0)
    air = air_of(sampled, Conditions(), 14_000.0)
    powers = []
    for share in (1.0, 0.8, 0.65, 0.55):
        points = solve_points(engine, air, demand, Policy("throttle", share * engine.throttle_area))
        powers.append(power_of(engine, air, demand, points.state, work=sampled.work).brake)
    steps = np.diff(np.hstack(powers), axis=1)
    solved = np.all(np.isfinite(steps), axis=1)
    assert solved.sum() > 0.9 * SAMPLES and np.all(steps[solved] < 0.0)


@pytest.mark.parametrize("load", [0.3, 0.75, 1.0])
def test_mixtures_are_ordered_in_every_sample(load: float, sheet_of: SheetOf) -> None:
    c = _sampled(sheet_of("two_stage")).engine.c
    lean, rich, full = (fuel_air_ratio(c, name, load=load) for name in ("auto_lean", "auto_rich", "full_rich"))
    assert np.all(lean > 0.05) and np.all(lean <= rich) and np.all(rich < full) and np.all(full <= 0.125)
    with pytest.raises(ValueError, match="cut_off"):
        fuel_air_ratio(c, "cut_off", load=load)


def test_split_lever_parts_sum_to_the_whole(sheet_of: SheetOf) -> None:
    from leverproof.physics.predictor.power import split

    sheet = sheet_of("two_stage").but(limits__carburettor_air_temperature="5 degC")
    sampled = _sampled(sheet)
    heights = np.array([[8_000.0, 14_000.0]])
    demand, air = _demand(sampled, 50.0), air_of(sampled, Conditions(), heights)
    first = power_available(sheet, sampled, heights)
    both = levers_together(sampled.engine, air, demand, work=sampled.work)
    parts = split(sampled.engine, demand, (first.points.state, first.power), (both.points.state, both.power))
    total = parts.charge_temperature + parts.filling + parts.pumping + parts.derate
    solved = np.isfinite(parts.whole)
    assert solved.sum() > 100 and np.all(parts.derate[solved] > 0.0)
    worst = float(np.max(np.abs(total[solved] / parts.whole[solved] - 1.0)))
    print(f"sum of parts over whole, less one: {worst:.1e}")
    assert worst < 1e-9
