"""Calibrated and true airspeed: against a known crossover, an independent computation and the limits."""

from __future__ import annotations

import math

import pytest

from leverproof.atmosphere import density_at_feet, speed_of_sound, temperature_at_feet
from leverproof.physics.relations.airspeed import calibrated_airspeed, true_airspeed

KT = 1852.0 / 3600.0


def test_300_kt_meets_mach_0_78_at_the_well_known_height() -> None:
    # the crossover of 300 kt and Mach 0.78 in the standard atmosphere, 29,314 ft (from memory)
    true = true_airspeed(300.0 * KT, 29_314.0)
    assert true / speed_of_sound(temperature_at_feet(29_314.0)) == pytest.approx(0.78, abs=2e-5)


@pytest.mark.parametrize(
    ("knots", "height", "offset"), [(120.0, 0.0, 0.0), (190.0, 15_000.0, 0.0), (250.0, 30_000.0, 15.0)]
)
def test_there_and_back(knots: float, height: float, offset: float) -> None:
    true = true_airspeed(knots * KT, height, offset)
    assert calibrated_airspeed(true, height, offset) == pytest.approx(knots * KT, rel=1e-12)


def test_at_sea_level_on_a_standard_day_both_are_one() -> None:
    assert true_airspeed(200.0 * KT, 0.0) == pytest.approx(200.0 * KT, rel=1e-12)


def test_slow_flight_is_the_square_root_of_density() -> None:
    ratio = float(density_at_feet(0.0) / density_at_feet(10_000.0))
    assert true_airspeed(30.0 * KT, 10_000.0) == pytest.approx(30.0 * KT * math.sqrt(ratio), rel=1e-3)


def test_an_independent_computation_by_series() -> None:
    # impact pressure to the third term of the binomial series: q (1 + M^2/4 + M^4/40), M below 0.5
    height, true = 15_000.0, 220.0 * KT
    sound = float(speed_of_sound(temperature_at_feet(height)))
    density = float(density_at_feet(height))

    def impact(rho: float, a: float, v: float) -> float:
        m = v / a
        return 0.5 * rho * v * v * (1.0 + m * m / 4.0 + m**4 / 40.0)

    target, low, high = impact(density, sound, true), 50.0, 150.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if impact(1.225, 340.294, middle) < target else (low, middle)
    assert calibrated_airspeed(true, height) == pytest.approx(low, rel=1e-5)


def test_hot_air_at_one_height_is_flown_faster_at_one_indicated_speed() -> None:
    assert true_airspeed(180.0 * KT, 8_000.0, 20.0) > true_airspeed(180.0 * KT, 8_000.0)
