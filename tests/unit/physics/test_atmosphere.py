"""The standard atmosphere: inverses, continuity, limits."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof import atmosphere
from leverproof.errors import InputError


def test_pressure_and_height_are_inverse_over_the_whole_range() -> None:
    height = np.linspace(-5_000.0, 20_000.0, 1_001)
    back = np.asarray(atmosphere.pressure_altitude(atmosphere.pressure(height)))
    assert np.max(np.abs(back - height)) < 1e-6
    feet = np.linspace(-1_000.0, 65_000.0, 331)
    back = np.asarray(atmosphere.pressure_altitude_in_feet(atmosphere.pressure_at_feet(feet)))
    assert np.max(np.abs(back - feet)) < 1e-6


def test_the_tropopause_joins_smoothly() -> None:
    around = np.array([10_999.999, 11_000.0, 11_000.001])
    assert np.ptp(np.asarray(atmosphere.temperature(around))) < 1e-5
    left, right = np.diff(np.asarray(atmosphere.pressure(around)))
    assert left == pytest.approx(right, rel=1e-5)


def test_pressure_hangs_on_the_weight_of_the_air() -> None:
    # dp/dh = -g rho, taken numerically, in both layers.
    height = np.array([0.0, 3_000.0, 9_000.0, 12_000.0, 18_000.0])
    slope = (
        np.asarray(atmosphere.pressure(height + 1.0)) - np.asarray(atmosphere.pressure(height - 1.0))
    ) / 2.0
    assert slope == pytest.approx(-9.80665 * np.asarray(atmosphere.density(height)), rel=1e-6)


def test_a_hot_day_changes_temperature_and_density_but_not_pressure() -> None:
    assert float(atmosphere.temperature(3_000.0, 20.0)) == pytest.approx(
        float(atmosphere.temperature(3_000.0)) + 20.0
    )
    ratio = float(atmosphere.density(3_000.0, 20.0)) / float(atmosphere.density(3_000.0))
    assert ratio == pytest.approx(268.65 / 288.65, rel=1e-12)
    offsets = np.array([-20.0, 0.0, 20.0])
    assert np.diff(np.asarray(atmosphere.temperature(13_000.0, offsets))) == pytest.approx([20.0, 20.0])


@pytest.mark.parametrize("height", [-5_001.0, 20_001.0, float("nan"), float("inf"), np.array([0.0, 3e4])])
def test_heights_outside_the_two_layers_are_refused(height: object) -> None:
    for function in (atmosphere.temperature, atmosphere.pressure, atmosphere.density):
        with pytest.raises(InputError) as caught:
            function(height)  # type: ignore[arg-type]
        assert caught.value.code == "altitude"


@pytest.mark.parametrize("pressure", [-1.0, 0.0, 5_000.0, 2.0e5, float("nan"), np.array([9e4, 1.0])])
def test_pressures_outside_the_two_layers_are_refused(pressure: object) -> None:
    with pytest.raises(InputError):
        atmosphere.pressure_altitude(pressure)  # type: ignore[arg-type]


def test_water_vapour_meets_the_triple_point_and_grows_with_warmth() -> None:
    # Triple point of water, 611.657 Pa (International Temperature Scale of 1990).
    assert float(atmosphere.saturation_vapour_pressure(273.16)) == pytest.approx(611.657, rel=1e-3)
    over = np.asarray(atmosphere.saturation_vapour_pressure(np.linspace(253.15, 323.15, 200)))
    assert np.all(np.diff(over) > 0.0)
    # Clausius-Clapeyron: d(ln e)/dT = L/(Rv T^2), L = 2.466 MJ/kg at 15 degC, Rv = 461.5 J/(kg K).
    low, high = (float(atmosphere.saturation_vapour_pressure(288.15 + d)) for d in (-0.5, 0.5))
    assert np.log(high / low) == pytest.approx(2.466e6 / (461.5 * 288.15**2), rel=5e-3)
