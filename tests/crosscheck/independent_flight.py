"""Fastest level speed by another road: blade drag by quadrature, added speed as a root of the cubic, speed by brentq.

Written from `docs/explanation/level-flight.md` and the sources it names. SI; scalars.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

from .independent_gas import EXACT, FOOT, GAS_CONSTANT, GRAVITY, Slips, ambient_pressure

MOST_MACH, MOST_TIP_MACH, MOST_LIFT = 0.60, 1.0, 1.2


@dataclass(frozen=True, slots=True)
class Craft:
    """An aeroplane of the sheet's tables, SI."""

    wing: float
    parasitic: float
    induced: float
    mass: float
    engines: float
    diameter: float
    reduction: float
    solidity: float
    section_drag: float
    induced_factor: float


@dataclass(frozen=True, slots=True)
class Sky:
    """Density, kg/m3, and speed of sound, m/s."""

    density: float
    sound: float


def sky(altitude: float, offset: float) -> Sky:
    """Dry air at a pressure altitude in ft. Source: U.S. Standard Atmosphere, 1976."""
    temperature = 288.15 - 0.0065 * min(altitude * FOOT, 11_000.0) + offset
    return Sky(
        ambient_pressure(altitude) / (GAS_CONSTANT * temperature), math.sqrt(1.4 * GAS_CONSTANT * temperature)
    )


def lift_coefficient(craft: Craft, speed: float, air: Sky) -> float:
    """Lift is weight."""
    return craft.mass * GRAVITY / (0.5 * air.density * speed**2 * craft.wing)


def drag(craft: Craft, speed: float, air: Sky, slip: Slips = EXACT) -> float:
    """N, of the whole aeroplane."""
    lift = slip.get("weight", 1.0) * lift_coefficient(craft, speed, air)
    coefficient = (
        slip.get("parasitic", 1.0) * craft.parasitic + slip.get("induced", 1.0) * craft.induced * lift**2
    )
    return 0.5 * air.density * speed**2 * craft.wing * coefficient


def propulsive_power(
    craft: Craft, speed: float, power: float, turns: float, air: Sky, slip: Slips = EXACT
) -> float:
    """Useful power of one propeller, W, at ``turns`` of the crankshaft a second.

    Blade drag by strips: each strip of area chord x dr meets V and 2 pi n r together. Swirl: the shaft's momentum
    leaves in a slipstream that turns as one, Omega = 2 Q / (rho V pi R^4), with half Omega Q. The rest is
    T V + K T v, with T = 2 rho A v (V + v).
    """
    n, radius = craft.reduction * turns, 0.5 * craft.diameter
    disc = math.pi * radius**2
    blades = craft.solidity * disc / radius  # chord of all blades together

    def strip(r: float) -> float:
        met = math.hypot(speed, 2.0 * math.pi * n * r)
        return float(0.5 * air.density * craft.section_drag * blades * met**3)

    profile = slip.get("blade drag", 1.0) * quad(strip, 0.0, radius, epsabs=0.0, epsrel=1e-12)[0]
    torque = power / (2.0 * math.pi * n)
    swirl_rate = 2.0 * torque / (air.density * speed * math.pi * radius**4)
    left = power - profile - slip.get("swirl", 1.0) * 0.5 * swirl_rate * torque
    if left <= 0.0:
        return 0.0
    k, rho = slip.get("induced factor", 1.0) * craft.induced_factor, slip.get("momentum", 1.0) * air.density
    cubic = [k, (1.0 + k) * speed, speed**2, -left / (2.0 * rho * disc)]
    added = max(float(r.real) for r in np.roots(cubic) if abs(r.imag) < 1e-9 * (1.0 + abs(r)))
    added = brentq(lambda v: np.polyval(cubic, v), 0.0, 2.0 * added + 1.0, xtol=1e-15, rtol=1e-14)
    return 2.0 * rho * disc * added * (speed + added) * speed


def ceiling(craft: Craft, turns: float, air: Sky) -> float:
    """Highest speed at which the relations hold, m/s: Mach, and Mach of the tip on its helix. 0 or less: none."""
    tip = math.pi * craft.reduction * turns * craft.diameter
    helical = (MOST_TIP_MACH * air.sound) ** 2 - tip**2
    return min(MOST_MACH * air.sound, math.sqrt(helical) if helical > 0.0 else 0.0)


def level_speed(craft: Craft, power: float, turns: float, air: Sky, slip: Slips = EXACT) -> float | None:
    """Fastest level speed in m/s, None where there is none at which the relations hold."""

    def spare(speed: float) -> float:
        useful = craft.engines * propulsive_power(craft, speed, power, turns, air, slip)
        return useful - drag(craft, speed, air, slip) * speed

    top = ceiling(craft, turns, air)
    if top <= 30.0 or spare(top) >= 0.0:
        return None
    high = top
    for low in np.arange(top, 20.0, -4.0)[1:]:
        if spare(float(low)) >= 0.0:
            found = float(brentq(spare, float(low), high, xtol=1e-11, rtol=1e-14))
            return found if lift_coefficient(craft, found, air) <= MOST_LIFT else None
        high = float(low)
    return None
