"""Similarity maps of centrifugal stages: head and efficiency against flow coefficient and tip Mach number.

Elementwise over floats or float64 arrays; kg/s, K, Pa, m/s, m. A stage of another size, speed or inlet air works at the
same efficiency and head coefficient where both numbers are the same (dimensional analysis of turbomachines).
"""

from __future__ import annotations

import numpy as np

from leverproof.physics.relations.gas import AIR_HEAT_RATIO, GAS_CONSTANT, Values

KNEE_TIP_SPEED = 1_300.0 * 0.3048
"""m/s at 288.15 K: above it efficiency falls (NACA Technical Note 794, 1941)."""
STANDARD_TEMPERATURE = 288.15


def flow_coefficient(
    mass_flow: Values,
    temperature: Values,
    pressure: Values,
    tip_speed: Values,
    *,
    diameter: Values = 1.0,
) -> Values:
    """Flow coefficient phi = m R T/(p U D^2) of a stage with impeller diameter D, at the inlet or at the outlet
    according to whose temperature and pressure are given.

    With the default diameter of 1 m, only the ratio of two coefficients of the same wheel has a meaning. Source:
    definition (volume flow over tip speed and diameter squared).
    """
    result: Values = mass_flow * GAS_CONSTANT * temperature / (pressure * tip_speed * np.square(diameter))
    return result


def tip_mach_number(tip_speed: Values, inlet_temperature: Values) -> Values:
    """Tip speed over the speed of sound of the inlet air, U/sqrt(k R T). Source: definition."""
    result: Values = tip_speed / np.sqrt(AIR_HEAT_RATIO * GAS_CONSTANT * np.asarray(inlet_temperature))
    return result


KNEE_TIP_MACH = float(tip_mach_number(KNEE_TIP_SPEED, STANDARD_TEMPERATURE))
"""Tip Mach number of :data:`KNEE_TIP_SPEED`: 1.164."""


def efficiency_over_flow(relative_flow: Values, *, curvature: Values, best: Values = 1.0) -> Values:
    """Efficiency over that of the design point at ``relative_flow`` = flow coefficient over the design point's.

    (1 + c (1 - b)^2)/(1 + c (x - b)^2): exactly 1 at the design point, greatest at x = b, -2 c the curvature there
    (of the efficiency over its greatest), positive for every flow. Source: assumption (that efficiency has one summit
    in flow is common knowledge of centrifugal stages; no measured map is at hand).
    """
    result: Values = (1.0 + curvature * np.square(1.0 - best)) / (1.0 + curvature * np.square(relative_flow - best))
    return result


def efficiency_over_tip_mach(tip_mach: Values, *, penalty: Values) -> Values:
    """Efficiency over that below the knee: 1/(1 + p e), e = M/1.164 - 1 where positive.

    With p under 2, head still rises with speed. Source: NACA Technical Note 794 for the knee (efficiency falls
    above 1,300 ft/s); the shape is an assumption.
    """
    excess = np.maximum(np.asarray(tip_mach) / KNEE_TIP_MACH - 1.0, 0.0)
    result: Values = 1.0 / (1.0 + penalty * excess)
    return result


def stage_efficiency(
    design: Values,
    relative_flow: Values,
    tip_mach: Values,
    *,
    curvature: Values,
    best: Values = 1.0,
    penalty: Values,
) -> Values:
    """Adiabatic efficiency of a stage: ``design`` is that of the design point's flow below the Mach knee.

    Source: product of :func:`efficiency_over_flow` and :func:`efficiency_over_tip_mach`; that the summit keeps its
    flow coefficient at every tip Mach number is an assumption.
    """
    return (
        design
        * efficiency_over_flow(relative_flow, curvature=curvature, best=best)
        * efficiency_over_tip_mach(tip_mach, penalty=penalty)
    )


def stage_head_coefficient(work_coefficient: Values, efficiency: Values) -> Values:
    """Head coefficient q = psi eta, psi the work over tip speed squared.

    With radial vanes and no whirl ahead of the wheel psi is the slip factor at every flow, so the head follows
    the efficiency. Source: Euler's turbine equation, definition of adiabatic efficiency.
    """
    return work_coefficient * efficiency
