"""Compressor, turbine and cooler relations: inverses, energy balances, limits."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof.physics.relations import compression, gas


def test_head_coefficient_and_pressure_ratio_are_inverse() -> None:
    from hypothesis import given, settings
    from hypothesis import strategies as st

    @settings(max_examples=100, deadline=None, database=None, derandomize=True)
    @given(st.floats(1.01, 6.0), st.floats(220.0, 400.0), st.floats(100.0, 450.0))
    def there_and_back(ratio: float, inlet: float, tip: float) -> None:
        q = compression.head_coefficient(ratio, inlet, tip)
        assert float(compression.pressure_ratio_of_head(q, inlet, tip)) == pytest.approx(ratio, rel=1e-10)

    there_and_back()


def test_rise_is_the_integral_of_small_compressions() -> None:
    # An independent route: dT/T = ((k-1)/k) dp/p in many equal pressure steps, midpoint rule.
    edges = np.linspace(1.0, 2.5, 20_001)
    steps = gas.AIR_EXPONENT * np.diff(edges) / ((edges[1:] + edges[:-1]) / 2.0)
    hot = 288.15 * float(np.prod((1.0 + steps / 2.0) / (1.0 - steps / 2.0)))
    rise = compression.compression_rise(288.15, 2.5, efficiency=1.0)
    assert float(rise) == pytest.approx(hot - 288.15, rel=1e-7)


def test_work_and_head_meet_in_the_efficiency() -> None:
    inlet, tip, q, efficiency = 268.0, 380.0, 0.6, 0.72
    ratio = compression.pressure_ratio_of_head(q, inlet, tip)
    by_head = compression.compression_rise(inlet, ratio, efficiency=efficiency)
    by_work = compression.work_temperature_rise(q / efficiency, tip)
    assert float(by_head) == pytest.approx(float(by_work), rel=1e-12)
    assert float(compression.adiabatic_efficiency(inlet, inlet + by_work, ratio)) == pytest.approx(efficiency)


def test_no_compression_costs_nothing() -> None:
    assert float(compression.compression_rise(288.15, 1.0, efficiency=0.7)) == 0.0
    assert float(compression.pressure_ratio_of_head(0.6, 288.15, 0.0)) == 1.0
    assert float(compression.expansion_drop(1_100.0, 1.0, efficiency=0.7)) == 0.0
    assert float(compression.jet_speed(1_100.0, 1.0)) == 0.0


def test_gear_losses_come_on_top_and_bearing_losses_come_off() -> None:
    assert compression.compressor_power(2.0, 90.0, mechanical_efficiency=0.9) == pytest.approx(
        2.0 * gas.AIR_HEAT * 90.0 / 0.9
    )
    assert compression.turbine_power(2.0, 90.0, mechanical_efficiency=0.9) == pytest.approx(
        2.0 * gas.EXHAUST_HEAT * 90.0 * 0.9
    )


def test_expanding_undoes_compressing_when_nothing_is_lost() -> None:
    rise = float(compression.compression_rise(288.15, 3.0, efficiency=1.0))
    drop = compression.expansion_drop(288.15 + rise, 3.0, efficiency=1.0, exponent=gas.AIR_EXPONENT)
    assert float(drop) == pytest.approx(rise, rel=1e-12)


def test_jet_speed_carries_the_whole_heat_drop() -> None:
    drop = float(compression.expansion_drop(1_150.0, 2.2, efficiency=1.0))
    assert float(compression.jet_speed(1_150.0, 2.2)) ** 2 / 2.0 == pytest.approx(gas.EXHAUST_HEAT * drop)


@pytest.mark.parametrize("ratio", [1.5, 2.0, 3.0, 5.0, 7.0])
@pytest.mark.parametrize("inlet", [223.15, 273.15, 323.15])
def test_the_blower_coefficient_is_the_slope_at_constant_speed(ratio: float, inlet: float) -> None:
    tip, step = 400.0, 0.01
    q = compression.head_coefficient(ratio, inlet, tip)
    warm, cold = (float(compression.pressure_ratio_of_head(q, inlet + d, tip)) for d in (step, -step))
    slope = -(warm - cold) / (2.0 * step) / ratio
    assert float(compression.fixed_speed_pressure_coefficient(inlet, ratio)) == pytest.approx(slope, rel=1e-6)


def test_a_cooler_lies_between_hot_and_cold() -> None:
    assert compression.cooled_temperature(420.0, 280.0, effectiveness=0.0) == 420.0
    assert compression.cooled_temperature(420.0, 280.0, effectiveness=1.0) == 280.0
    assert compression.cooled_temperature(420.0, 280.0, effectiveness=0.5) == 350.0
