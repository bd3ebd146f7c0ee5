"""Propeller map: efficiency of a constant-speed propeller from advance ratio and power coefficient.

The power put in goes four ways, all as power coefficients (SFTE Reference Handbook 2013, ch. 11 for the
coefficients themselves)::

    CP = CT J  +  k CT w  +  CP_profile  +  CP_swirl
         useful   induced    blade drag     rotation left in the slipstream

with w the speed added at the disc over n D. Blades are taken at the angle the governor needs: there is no stall
and no compressibility in the map, so it holds for cruising and climbing, not for a standing take-off.
"""

from __future__ import annotations

import math

import numpy as np

from leverproof.errors import LeverproofError
from leverproof.physics.relations.gas import Values

_STEPS = 9
_RESIDUAL = 1e-12


def profile_power(advance: Values, *, solidity: Values, section_drag: Values) -> Values:
    """Power coefficient of blade drag: (pi/8) s cd times the integral of (J^2 + pi^2 x^2)^1.5 over the radius.

    Source: blade-element theory with constant chord and mean drag coefficient, inflow left out; from memory
    (textbook strip theory). The integral is closed.
    """
    tip = np.sqrt(np.square(advance) + math.pi**2)
    integral = (5.0 * np.square(advance) + 2.0 * math.pi**2) * tip / 8.0 + 3.0 * np.power(advance, 4.0) / (
        8.0 * math.pi
    ) * np.arcsinh(math.pi / advance)
    result: Values = math.pi / 8.0 * solidity * section_drag * integral
    return result


def swirl_power(advance: Values, power_coefficient: Values) -> Values:
    """Power coefficient of the rotation left in the slipstream: 4 CP^2 / (pi^3 J).

    It is the least that carries the shaft's angular momentum away: the whole slipstream turning as one at
    Omega_s = 2 Q / (rho V pi R^4), its power half Omega_s Q. Source: conservation of angular momentum, from memory
    (general momentum theory); speed added at the disc left out, which errs on the side of more loss.
    """
    result: Values = 4.0 * np.square(power_coefficient) / (math.pi**3 * advance)
    return result


def thrust_coefficient(
    advance: Values,
    power_coefficient: Values,
    *,
    solidity: Values,
    section_drag: Values,
    induced_factor: Values,
) -> Values:
    """CT for J above 0; 0 where blade drag and swirl take all the power (drag of a windmill is left out).

    Solves (pi/2) w (J + w)(J + k w) = CP - CP_profile - CP_swirl for w, with CT = (pi/2) w (J + w), by Newton from
    above: the cubic rises and is convex, so every step comes closer. Source: momentum theory (Rankine-Froude),
    T = 2 rho A v (V + v). Raises :class:`LeverproofError` if the residual is not below 1e-12 of the power.
    """
    blades = profile_power(advance, solidity=solidity, section_drag=section_drag)
    left = np.maximum(power_coefficient - blades - swirl_power(advance, power_coefficient), 0.0)
    w = np.minimum(2.0 * left / (math.pi * np.square(advance)), np.cbrt(2.0 * left / (math.pi * induced_factor)))
    for _ in range(_STEPS):
        fast, loaded = advance + w, advance + induced_factor * w
        cubic = 0.5 * math.pi * w * fast * loaded - left
        slope = 0.5 * math.pi * (fast * loaded + w * loaded + induced_factor * w * fast)
        w = np.maximum(w - cubic / slope, 0.0)
    residual = np.abs(0.5 * math.pi * w * (advance + w) * (advance + induced_factor * w) - left)
    if not np.all(residual <= _RESIDUAL * np.abs(power_coefficient)):
        raise LeverproofError("the propeller map did not converge", code="not_converged")
    result: Values = 0.5 * math.pi * w * (advance + w)
    return result


def added_speed(advance: Values, thrust_coefficient: Values) -> Values:
    """w = v/(n D), the speed added at the disc, of a thrust coefficient: (pi/2) w (J + w) = CT. Source: momentum
    theory."""
    half = 0.5 * advance
    result: Values = np.sqrt(np.square(half) + 2.0 * thrust_coefficient / math.pi) - half
    return result
