"""The level lines of the independent maps, held against the statements and the formula of the page."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from . import independent_maps as maps
from .independent_gas import CP_AIR, FOOT, GAS_CONSTANT, air
from .independent_machine import coefficients, table

PRESSURE, TEMPERATURE, TIP = 60_000.0, 260.0, 310.0


def level(stage: maps.Hill, flow: float, *, tip: float = TIP, ahead: float = TEMPERATURE) -> float:
    """Efficiency at ``flow`` times the design flow."""
    through = flow * stage.design * PRESSURE * tip / TEMPERATURE
    return maps.efficiency(stage, flow=through, temperature=TEMPERATURE, pressure=PRESSURE, tip=tip, ahead=ahead)


def test_the_level_met_is_that_of_the_formula() -> None:
    rng = np.random.default_rng(3)
    for c in coefficients(100, 3):
        stage = maps.hill(c, str(rng.choice(["turbo", "blower"])), float(rng.uniform(1e-3, 1.0)))
        x, tip, ahead = float(rng.uniform(0.0, 3.0)), float(rng.uniform(50.0, 600.0)), float(rng.uniform(200.0, 320.0))
        u = tip * math.sqrt(288.15 / ahead) / (1300.0 * FOOT)
        over = (1.0 + stage.curvature * (1.0 - stage.best) ** 2) / (1.0 + stage.curvature * (x - stage.best) ** 2)
        formula = stage.height * over / (1.0 + c["tip_speed_penalty"] * max(u - 1.0, 0.0))
        assert level(stage, x, tip=tip, ahead=ahead) == pytest.approx(formula, rel=1e-13)


@pytest.mark.parametrize("curvature", [0.2, 1.0])
@pytest.mark.parametrize("best", [0.85, 1.15])
def test_what_the_page_says_of_the_hill(curvature: float, best: float) -> None:
    stage = maps.Hill(0.7, curvature, best, 1.0, 0.01)
    assert level(stage, 1.0) == pytest.approx(0.7, rel=1e-14)
    x = np.linspace(0.0, 4.0, 801)
    e = np.array([level(stage, float(v)) for v in x])
    assert x[np.argmax(e)] == pytest.approx(best)
    assert np.all(e > 0.0)
    assert np.sum(np.diff(np.sign(np.diff(e))) != 0) == 1
    # 30 % off the best flow costs 2 to 8 %
    assert 1.0 - level(stage, best + 0.3) / stage.summit == pytest.approx(0.018 if curvature < 1.0 else 0.083, abs=5e-4)
    assert level(replace(stage, penalty=0.0), 1.3, tip=600.0) > level(stage, 1.3, tip=600.0)


def test_below_the_knee_efficiency_follows_flow_by_the_power_the_page_names() -> None:
    """0.53 at most, where less flow costs efficiency; the corner of the table decides."""
    _, _, curvature = table()["turbo_flow_curvature"]
    _, _, best = table()["turbo_best_flow"]
    stage = maps.Hill(0.7, curvature, best, 1.0, 0.01)
    x = np.geomspace(0.02, 4.0, 400)
    power = np.diff(np.log([level(stage, float(v), tip=200.0) for v in x])) / np.diff(np.log(x))
    assert 0.52 < power.max() < 0.53
    assert power[x[:-1] >= best].max() < 0.0


def test_marching_finds_the_air_of_the_standard_atmosphere() -> None:
    for height in (-5_000.0, 0.0, 20_000.0, 36_000.0, 45_000.0):
        there = air(height, airspeed=0.0, recovery=1.0)
        assert maps.standard_temperature(there.pressure) == pytest.approx(there.temperature, rel=1e-10)


def test_the_design_point_closes() -> None:
    """The wheel at its design speed brings the reference flow from the design air to the pressure asked."""
    for c in coefficients(20, 5):
        delivered, flow = 95_000.0, 1.7
        inlet = maps.standard_temperature(delivered / c["turbo_design_ratio"])
        tip = flow * inlet / (delivered / c["turbo_design_ratio"] * maps.turbo_design(c, flow, delivered))
        square = CP_AIR * inlet * (c["turbo_design_ratio"] ** (2.0 / 7.0) - 1.0)
        assert tip == pytest.approx(math.sqrt(square / (c["turbo_efficiency"] * c["turbo_work"])), rel=1e-12)


def test_the_knee_is_the_tip_mach_number_of_the_page() -> None:
    assert pytest.approx(1.164, abs=5e-4) == maps.KNEE_MACH
    assert pytest.approx(396.24 / math.sqrt(1.4 * GAS_CONSTANT * 288.15)) == maps.KNEE_MACH
