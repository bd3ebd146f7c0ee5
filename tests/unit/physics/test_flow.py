"""Nozzle flow: choked and subsonic, smooth enough to step, odd in its direction; ram."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof import atmosphere
from leverproof.physics.relations import flow, gas

WIDTHS = (0.0, 0.002, 0.02, 0.1)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("heat_ratio", [1.33, 1.4])
def test_flow_never_rises_with_back_pressure(width: float, heat_ratio: float) -> None:
    ratio = np.linspace(0.0, 1.1, 4_401)
    psi = np.asarray(flow.flow_function(ratio, heat_ratio=heat_ratio, linear_within=width))
    assert np.all(np.diff(psi) <= 1e-15)
    assert np.all(psi[ratio >= 1.0] == 0.0)
    choked = psi[ratio <= flow.critical_pressure_ratio(heat_ratio)]
    assert np.ptp(choked) < 1e-12 and choked[0] > 0.6


@pytest.mark.parametrize("width", WIDTHS[1:])
def test_the_softened_end_joins_in_value_and_slope_and_stays_steppable(width: float) -> None:
    joint, step = 1.0 - width, 1e-7
    around = np.array([joint - step, joint, joint + step])
    psi = np.asarray(flow.flow_function(around, linear_within=width))
    exact = np.asarray(flow.flow_function(around))
    assert psi[1] == pytest.approx(exact[1], rel=1e-12)
    left, right = np.diff(psi)
    assert left == pytest.approx(right, rel=1e-4)
    near = np.asarray(flow.flow_function(np.linspace(joint, 1.0, 1_000), linear_within=width))
    steepest = np.max(np.abs(np.diff(near))) * 999 / width
    assert steepest < 2.0 * exact[1] / width


def test_the_slope_has_no_corner_where_the_nozzle_chokes() -> None:
    critical = flow.critical_pressure_ratio()
    step = 1e-4
    psi = np.asarray(flow.flow_function(np.array([critical, critical + step])))
    assert abs(psi[1] - psi[0]) / step < 1e-3


def test_softening_changes_nothing_elsewhere() -> None:
    ratio = np.linspace(0.0, 0.979, 500)
    assert np.array_equal(flow.flow_function(ratio), flow.flow_function(ratio, linear_within=0.02))


@pytest.mark.parametrize("width", [-0.01, 0.472, 0.9, float("nan")])
def test_a_width_that_reaches_the_choke_is_refused(width: float) -> None:
    with pytest.raises(ValueError, match="linear_within"):
        flow.flow_function(0.9, linear_within=width)


def test_reversed_pressures_reverse_the_flow() -> None:
    there = flow.orifice_flow(2e-3, 1.0e5, 320.0, 0.7e5, linear_within=0.01)
    back = flow.orifice_flow(2e-3, 0.7e5, 320.0, 1.0e5, linear_within=0.01)
    assert float(there) > 0.0 and float(back) == -float(there)
    assert float(flow.orifice_flow(2e-3, 1.0e5, 320.0, 1.0e5, linear_within=0.01)) == 0.0


def test_choked_flow_depends_on_upstream_alone() -> None:
    down = np.array([0.0, 1.0e4, 5.0e4])
    through = np.asarray(flow.orifice_flow(1e-3, 1.0e5, 300.0, down))
    assert np.ptp(through) < 1e-15
    double = flow.orifice_flow(1e-3, 2.0e5, 300.0, 5.0e4)
    assert float(double) == pytest.approx(2.0 * through[0], rel=1e-12)
    hot = flow.orifice_flow(1e-3, 1.0e5, 1_200.0, 0.0)
    assert float(hot) == pytest.approx(through[0] / 2.0, rel=1e-12)


def test_small_differences_flow_like_a_liquid() -> None:
    density = float(gas.density_of(1.0e5, 300.0))
    liquid = 1e-3 * (2.0 * density * 100.0) ** 0.5
    assert float(flow.orifice_flow(1e-3, 1.0e5, 300.0, 1.0e5 - 100.0)) == pytest.approx(liquid, rel=1e-3)


def test_ram_gives_the_recovered_share_of_the_dynamic_pressure() -> None:
    mach = flow.mach_number(150.0, atmosphere.speed_of_sound(288.15))
    full = float(flow.ram_pressure_ratio(mach, recovery=1.0)) - 1.0
    assert float(flow.ram_pressure_ratio(mach, recovery=0.72)) - 1.0 == pytest.approx(0.72 * full)
    dynamic = 0.5 * atmosphere.SEA_LEVEL_DENSITY * 150.0**2 / 101_325.0
    assert full == pytest.approx(dynamic * (1.0 + float(mach) ** 2 / 4.0), rel=1e-3)
    # Isentropic stagnation: the pressure ratio is the temperature ratio to the power k/(k-1).
    assert full + 1.0 == pytest.approx(float(flow.ram_temperature_ratio(mach)) ** 3.5, rel=1e-12)
    assert float(flow.ram_pressure_ratio(0.0, recovery=0.72)) == 1.0
