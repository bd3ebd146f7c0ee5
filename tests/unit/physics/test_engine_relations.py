"""Breathing, power laws, corrections, output and propeller relations: trends, inverses, identities."""

from __future__ import annotations

import math

import numpy as np
import pytest

from leverproof.physics.relations import altitude_power, breathing, corrections, output, propeller
from leverproof.quantities import convert


def test_equal_pressures_leave_volumetric_efficiency_alone() -> None:
    for ratio in (5.5, 6.7, 8.5):
        assert float(breathing.clearance_factor(1.0, compression_ratio=ratio)) == pytest.approx(1.0)


def test_back_pressure_costs_charge_and_costs_less_at_high_compression() -> None:
    back = np.array([0.3, 0.5, 0.75, 1.0, 1.25])
    low = np.asarray(breathing.clearance_factor(back, compression_ratio=6.5))
    high = np.asarray(breathing.clearance_factor(back, compression_ratio=8.5))
    assert np.all(np.diff(low) < 0.0) and np.all(np.diff(high) < 0.0)
    assert np.all(np.abs(high - 1.0) <= np.abs(low - 1.0))
    assert low == pytest.approx([1.091, 1.065, 1.033, 1.000, 0.968], abs=6e-4)


def test_charge_fills_the_displacement_every_second_turn() -> None:
    flow = breathing.charge_flow(
        101_325.0, 288.15, 2.0 * math.pi * 40.0, displacement=0.048, volumetric_efficiency=1.0
    )
    assert float(flow) == pytest.approx(1.225 * 0.048 * 20.0, rel=1e-4)


def test_dry_air_loses_nothing_and_damp_air_the_vapour() -> None:
    assert float(breathing.dry_pressure(1.0e5, 0.0, 300.0)) == 1.0e5
    assert float(breathing.humidity_power_ratio(1.0e5, 1.0, 300.0)) < 0.97
    assert float(breathing.pumping_mean_effective_pressure(1.2e5, 1.0e5)) == pytest.approx(-2.0e4)


@pytest.mark.parametrize("share", [altitude_power.GAGG_FARRAR, altitude_power.FLIGHT_MEASURED])
def test_the_altitude_law_and_its_inverse(share: float) -> None:
    sigma = np.linspace(0.25, 1.1, 20)
    power = altitude_power.full_throttle_power_ratio(sigma, friction_share=share)
    assert np.asarray(
        altitude_power.full_throttle_density_ratio(power, friction_share=share)
    ) == pytest.approx(sigma)
    assert float(altitude_power.full_throttle_power_ratio(1.0, friction_share=share)) == pytest.approx(1.0)
    assert np.all(np.asarray(power)[sigma < 1.0] < sigma[sigma < 1.0])


def test_part_throttle_power_meets_both_ends() -> None:
    known = {"sea_level_power": 600.0, "full_throttle_power": 660.0, "full_throttle_density": 0.7}
    assert altitude_power.part_throttle_power(1.0, **known) == pytest.approx(600.0)
    assert altitude_power.part_throttle_power(0.7, **known) == pytest.approx(660.0)
    assert altitude_power.part_throttle_power(0.85, **known) == pytest.approx(630.0)


def test_corrections_leave_the_standard_state_alone() -> None:
    assert float(corrections.temperature_power_ratio(300.0, 300.0)) == 1.0
    assert float(corrections.iso_3046_indicated_ratio(1.0e5, 298.0, 298.0)) == pytest.approx(1.0)
    assert float(corrections.iso_3046_adjustment(1.0, mechanical_efficiency=0.8)) == pytest.approx(1.0)
    state = corrections.J607_PRESSURE, corrections.J607_TEMPERATURE
    assert float(corrections.j607_factor(*state)) == pytest.approx(1.0)


def test_hot_thin_air_is_corrected_upwards() -> None:
    assert float(corrections.temperature_power_ratio(310.0, 290.0)) > 1.0
    assert float(corrections.j1349_factor(8.0e4, 310.0)) > 1.2
    assert float(corrections.j607_factor(8.0e4, 310.0)) > 1.2
    ratio = corrections.iso_3046_indicated_ratio(8.0e4, 310.0, 310.0)
    alpha = corrections.iso_3046_adjustment(ratio, mechanical_efficiency=0.85)
    # Friction does not shrink with the air, so brake power falls more than indicated power.
    assert float(alpha) < float(ratio) < 1.0


def test_the_full_throttle_correction_adds_its_two_increments() -> None:
    given = {"test_temperature": 310.0, "standard_temperature": 300.0, "test_manifold_pressure": 38.0}
    warm = corrections.full_throttle_correction(1_000.0, **given, standard_manifold_pressure=38.0)
    assert float(warm) == pytest.approx(1_000.0 * (310.0 / 300.0) ** 0.5)
    both = corrections.full_throttle_correction(1_000.0, **given, standard_manifold_pressure=39.0)
    assert float(both) - float(warm) == pytest.approx(1_000.0 / 38.0)


def test_a_blower_gives_more_on_the_cooler_standard_day() -> None:
    # The corrected value is the pressure itself, not the change only.
    assert corrections.corrected_manifold_pressure(40.0, 10.0, coefficient=0.003) == pytest.approx(41.2)
    assert corrections.corrected_manifold_pressure(40.0, 0.0, coefficient=0.003) == 40.0


def test_mean_pressure_and_power_are_inverse_and_follow_the_trade_s_constant() -> None:
    speed, volume = convert(2_640.0, "rpm", "rad/s"), 2_930.0 * 0.0254**3
    pressure = output.mean_effective_pressure(1.5e6, speed, displacement=volume)
    assert float(
        output.power_of_mean_effective_pressure(pressure, speed, displacement=volume)
    ) == pytest.approx(1.5e6)
    trade = 792_000.0 * convert(1.5e6, "W", "hp") / (2_930.0 * 2_640.0)
    assert convert(float(pressure), "Pa", "psi") == pytest.approx(trade, rel=1e-12)


def test_plan_gives_the_power_of_the_same_mean_pressure() -> None:
    bore, stroke = 0.15, 0.16
    speed = 250.0
    volume = math.pi / 4.0 * bore**2 * stroke * 18
    whole = output.power_of_mean_effective_pressure(1.2e6, speed, displacement=volume)
    strokes = speed / (4.0 * math.pi)
    plan = output.plan_power(1.2e6, stroke=stroke, bore=bore, power_strokes=strokes, cylinders=18)
    assert float(plan) == pytest.approx(float(whole), rel=1e-12)
    assert output.mean_piston_speed(2.0 * math.pi, stroke=0.16) == pytest.approx(0.32)


def test_specific_consumption_in_the_trade_s_unit() -> None:
    fuel, power = convert(500.0, "lb/h", "kg/s"), convert(1_000.0, "hp", "W")
    use = output.specific_consumption(fuel, power)
    assert float(use) / output.POUND_PER_HORSEPOWER_HOUR == pytest.approx(0.5, rel=1e-12)


def test_propeller_identities() -> None:
    turns, density, diameter, speed, torque = 20.0, 1.0, 4.0, 120.0, 9_000.0
    power = 2.0 * math.pi * turns * torque
    cq = propeller.torque_coefficient(torque, turns, density=density, diameter=diameter)
    cp = propeller.power_coefficient(power, turns, density=density, diameter=diameter)
    assert float(propeller.power_coefficient_of_torque(cq)) == pytest.approx(float(cp), rel=1e-12)
    thrust = propeller.thrust_of_power(power, speed, efficiency=0.82)
    ct = propeller.thrust_coefficient(thrust, turns, density=density, diameter=diameter)
    j = propeller.advance_ratio(speed, turns, diameter=diameter)
    assert float(propeller.efficiency(j, ct, cp)) == pytest.approx(0.82, rel=1e-12)
    static = propeller.static_thrust(
        power, turns, diameter=diameter, thrust_coefficient=ct, power_coefficient=cp
    )
    assert float(static) == pytest.approx(float(thrust), rel=1e-12)


def test_the_momentum_bound_closes_on_itself() -> None:
    thrust, speed, density, diameter = 12_000.0, 60.0, 1.1, 4.0
    added = float(propeller.induced_speed(thrust, speed, density=density, diameter=diameter))
    area = math.pi / 4.0 * diameter**2
    assert 2.0 * density * area * added * (speed + added) == pytest.approx(thrust, rel=1e-12)
    bound = float(propeller.ideal_efficiency(speed, added))
    # Useful power over the kinetic energy put into the stream, counted far downstream.
    stream = density * area * (speed + added) * ((speed + 2.0 * added) ** 2 - speed**2) / 2.0
    assert bound == pytest.approx(thrust * speed / stream, rel=1e-12)
    assert float(propeller.induced_speed(0.0, speed, density=density, diameter=diameter)) == pytest.approx(
        0.0
    )
