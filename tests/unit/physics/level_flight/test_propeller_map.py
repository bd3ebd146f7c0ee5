"""The propeller map: its power balance, the momentum bound, and its closed integral."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from leverproof.physics.level_flight.propeller_map import (
    added_speed,
    profile_power,
    swirl_power,
    thrust_coefficient,
)
from leverproof.physics.relations import propeller as relations

BLADES = {"solidity": 0.15, "section_drag": 0.012, "induced_factor": 1.15}


@pytest.mark.parametrize("advance", [0.05, 0.5, 1.3, 1.8, 3.5])
def test_blade_drag_is_the_integral_over_the_radius(advance: float) -> None:
    strips, _ = quad(lambda x: (advance**2 + (math.pi * x) ** 2) ** 1.5, 0.0, 1.0)
    found = profile_power(advance, solidity=0.15, section_drag=0.012)
    assert found == pytest.approx(math.pi / 8.0 * 0.15 * 0.012 * strips, rel=1e-12)


def test_swirl_carries_the_shafts_angular_momentum() -> None:
    """In numbers with dimensions: Omega_s = 2 Q/(rho V pi R^4), power Omega_s Q/2."""
    density, speed, turns, diameter, power = 0.77, 150.0, 22.0, 4.0, 1.5e6
    torque = power / (2.0 * math.pi * turns)
    rotation = 2.0 * torque / (density * speed * math.pi * (diameter / 2.0) ** 4)
    cp = relations.power_coefficient(power, turns, density=density, diameter=diameter)
    advance = relations.advance_ratio(speed, turns, diameter=diameter)
    lost = relations.power_coefficient(0.5 * rotation * torque, turns, density=density, diameter=diameter)
    assert swirl_power(advance, cp) == pytest.approx(lost, rel=1e-12)


@given(
    advance=st.floats(0.2, 4.0),
    power=st.floats(0.005, 1.0),
    solidity=st.floats(0.02, 0.5),
    drag=st.floats(0.004, 0.1),
    factor=st.floats(1.0, 2.0),
)
def test_the_power_goes_somewhere_and_the_momentum_bound_holds(
    advance: float, power: float, solidity: float, drag: float, factor: float
) -> None:
    thrust = thrust_coefficient(advance, power, solidity=solidity, section_drag=drag, induced_factor=factor)
    added = added_speed(advance, thrust)
    spent = profile_power(advance, solidity=solidity, section_drag=drag) + swirl_power(advance, power)
    if thrust == 0.0:
        assert spent >= power * (1.0 - 1e-12)
        return
    assert thrust * (advance + factor * added) + spent == pytest.approx(power, rel=1e-9)
    efficiency = relations.efficiency(advance, thrust, power)
    assert efficiency < relations.ideal_efficiency(advance, added) < 1.0


def test_an_ideal_propeller_comes_to_the_bound() -> None:
    """No blade drag, no excess induced power; the swirl that is left vanishes with the power."""
    thrust = thrust_coefficient(1.5, 1e-4, solidity=0.0, section_drag=0.0, induced_factor=1.0)
    bound = relations.ideal_efficiency(1.5, added_speed(1.5, thrust))
    assert relations.efficiency(1.5, thrust, 1e-4) == pytest.approx(bound, rel=1e-4)


def test_efficiency_peaks_over_power_and_dies_without_it() -> None:
    powers = np.geomspace(0.005, 2.0, 60)
    efficiency = 1.8 * thrust_coefficient(1.8, powers, **BLADES) / powers
    best = int(efficiency.argmax())
    assert 0 < best < powers.size - 1 and 0.85 < efficiency[best] < 0.95
    assert efficiency[0] == 0.0
    assert (np.diff(efficiency[best:]) < 0.0).all()
