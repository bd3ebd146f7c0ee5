"""Medians against published curves: altitude power, charge temperature, fixed gear, ram."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leverproof.atmosphere import density_at_feet
from leverproof.physics.predictor.bands import band
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.expectations import Conditions, air_of, demand_of, power_available
from leverproof.physics.predictor.heights import manifold_pressure_at
from leverproof.physics.predictor.points import Policy, solve_points
from leverproof.physics.predictor.power import power_of
from leverproof.physics.relations.altitude_power import full_throttle_power_ratio
from leverproof.physics.relations.compression import fixed_speed_pressure_coefficient

SheetOf = Callable[[str], Any]


def test_full_throttle_power_follows_gagg_and_farrar(sheet_of: SheetOf) -> None:
    # Gagg and Farrar, SAE Transactions 29 (1934) 217-223: within 2 % of sea-level power to 20,000 ft
    sheet = sheet_of("unsupercharged")
    sampled = sampled_engine(sheet, samples=400, seed=2)
    heights = np.array([[0.0, 5_000.0, 10_000.0, 15_000.0, 20_000.0]])
    power = power_available(sheet, sampled, heights, conditions=Conditions(airspeed=0.0)).power.brake
    law = full_throttle_power_ratio(density_at_feet(heights) / density_at_feet(0.0))
    ratio = [band(power[:, [i]] / power[:, [0]], sampled.weight).median for i in range(heights.size)]
    print("predicted", np.round(ratio, 4), "law", np.round(law, 4))
    np.testing.assert_allclose(ratio, np.asarray(law)[0], atol=0.02)
    assert ratio[-1] < float(np.asarray(density_at_feet(20_000.0))) / 1.225


@pytest.mark.parametrize(
    ("arrangement", "pressure"), [("unsupercharged", 18.0), ("geared_one_speed", 34.0), ("two_stage", 40.0)]
)
def test_charge_temperature_exponent(arrangement: str, pressure: float, sheet_of: SheetOf) -> None:
    # SFTE Reference Handbook 2013, section 10.3: about 0.5 against carburettor air temperature; 0.4 to 0.6 accepted
    sampled = sampled_engine(sheet_of(arrangement), samples=400, seed=2)
    demand = demand_of(sampled, pressure * 3386.389, 0.9 * sampled.engine.rated_speed)
    found = []
    for offset in (-20.0, 20.0):
        air = air_of(sampled, Conditions(airspeed=0.0, offset=offset), 3_000.0)
        points = solve_points(sampled.engine, air, demand, Policy("gate", sampled.engine.gate_area))
        power = power_of(sampled.engine, air, demand, points.state, work=sampled.work).brake
        found.append((power, points.state.deck_temperature))
    (cold, t1), (warm, t2) = found
    exponent = band(-np.log(warm / cold) / np.log(t2 / t1), sampled.weight)
    print(arrangement, exponent)
    assert exponent.share > 0.95
    assert 0.4 < exponent.median < 0.6


def test_fixed_gear_pressure_falls_on_a_hot_day_by_the_compression_relation(sheet_of: SheetOf) -> None:
    # SFTE Reference Handbook 2013, figure 10.3a, in its analytic form: within 10 %
    sampled = sampled_engine(sheet_of("geared_one_speed"), samples=400, seed=2)
    engine = sampled.engine
    # figure 10.3a is for air compressed alone: no fuel evaporating ahead of the wheel
    engine = replace(engine, c={**engine.c, "evaporated": np.zeros_like(engine.rated_speed)})
    demand = demand_of(sampled, 36.0 * 3386.389, engine.rated_speed)
    held = []
    for offset in (-5.0, 5.0):
        air = air_of(sampled, Conditions(airspeed=0.0, offset=offset), 14_000.0)
        held.append(manifold_pressure_at(engine, air, demand, Policy("gate"), area=engine.throttle_area).x)
    measured = -(held[1] - held[0]) / (0.5 * (held[0] + held[1])) / 10.0
    air = air_of(sampled, Conditions(airspeed=0.0), 14_000.0)
    ratio = 0.5 * (held[0] + held[1]) / air.pressure
    law = fixed_speed_pressure_coefficient(air.temperature, ratio)
    share = band(measured / np.asarray(law), sampled.weight)
    print("coefficient over law", share)
    assert share.median == pytest.approx(1.0, abs=0.10)


def test_ram_raises_the_full_throttle_height_and_the_stage_multiplies_it(sheet_of: SheetOf) -> None:
    sheet = sheet_of("geared_one_speed")
    sampled = sampled_engine(sheet, samples=200, seed=2)
    heights = np.array([[16_000.0]])
    still, fast = (
        power_available(sheet, sampled, heights, conditions=Conditions(airspeed=v)) for v in (0.0, 250.0)
    )
    gain = (fast.manifold_pressure - still.manifold_pressure) / 3386.389
    deck = (fast.points.state.deck_pressure - still.points.state.deck_pressure) / 3386.389
    assert np.all(gain > 1.3 * deck) and np.all(deck > 0.5)
