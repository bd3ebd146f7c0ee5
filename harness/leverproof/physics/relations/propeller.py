"""Propeller coefficients, their identities and the momentum bound.

Elementwise over floats or float64 arrays; N, N.m, W, m, m/s, kg/m3. ``revolutions`` is n in turns a second of
the propeller itself, behind its reduction gear. Source unless said otherwise: SFTE Reference Handbook
2013, ch. 11.
"""

from __future__ import annotations

import math

import numpy as np

from leverproof.physics.relations.gas import Values


def advance_ratio(true_airspeed: Values, revolutions: Values, *, diameter: float) -> Values:
    """J = V/(n D)."""
    return true_airspeed / (revolutions * diameter)


def thrust_coefficient(thrust: Values, revolutions: Values, *, density: Values, diameter: float) -> Values:
    """CT = T/(rho n^2 D^4)."""
    result: Values = thrust / (density * np.square(revolutions) * diameter**4)
    return result


def torque_coefficient(torque: Values, revolutions: Values, *, density: Values, diameter: float) -> Values:
    """CQ = Q/(rho n^2 D^5)."""
    result: Values = torque / (density * np.square(revolutions) * diameter**5)
    return result


def power_coefficient(power: Values, revolutions: Values, *, density: Values, diameter: float) -> Values:
    """CP = P/(rho n^3 D^5)."""
    result: Values = power / (density * np.power(revolutions, 3.0) * diameter**5)
    return result


def power_coefficient_of_torque(torque_coefficient: Values) -> Values:
    """CP = 2 pi CQ."""
    return 2.0 * math.pi * torque_coefficient


def efficiency(advance: Values, thrust_coefficient: Values, power_coefficient: Values) -> Values:
    """Propulsive efficiency eta = J CT/CP."""
    return advance * thrust_coefficient / power_coefficient


def thrust_of_power(power: Values, true_airspeed: Values, *, efficiency: Values) -> Values:
    """Thrust in N of a shaft power in W at an airspeed above 0: eta P/V; in the trade's units 326 eta
    hp/kt lbf.
    """
    return efficiency * power / true_airspeed


def static_thrust(
    power: Values,
    revolutions: Values,
    *,
    diameter: float,
    thrust_coefficient: Values,
    power_coefficient: Values,
) -> Values:
    """Thrust in N at zero airspeed: (CT/CP) P/(n D)."""
    return thrust_coefficient / power_coefficient * power / (revolutions * diameter)


def induced_speed(thrust: Values, true_airspeed: Values, *, density: Values, diameter: float) -> Values:
    """Speed v in m/s added at the disc, from T = 2 rho A v (V + v), T at least 0; far downstream it is 2 v.

    Source: momentum theory (Rankine-Froude).
    """
    area = math.pi / 4.0 * diameter**2
    half = 0.5 * true_airspeed
    result: Values = np.sqrt(np.square(half) + thrust / (2.0 * density * area)) - half
    return result


def ideal_efficiency(true_airspeed: Values, induced_speed: Values) -> Values:
    """Upper bound of efficiency, V/(V + v). Source: momentum theory (Rankine-Froude)."""
    return true_airspeed / (true_airspeed + induced_speed)
