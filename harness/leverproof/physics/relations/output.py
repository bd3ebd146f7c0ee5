"""Mean effective pressure, horsepower formulas and specific consumption.

Elementwise over floats or float64 arrays; Pa, W, rad/s, m3, kg/s.
"""

from __future__ import annotations

import math

from leverproof.physics.relations.gas import Values

POUND_PER_HORSEPOWER_HOUR = 0.45359237 / (550.0 * 0.3048 * 4.4482216152605 * 3_600.0)
"""kg/J in one lb/(hp h): 608.277 g/(kW h)."""
GRAM_PER_KILOWATT_HOUR = 0.001 / (1_000.0 * 3_600.0)
"""kg/J in one g/(kW h)."""


def mean_effective_pressure(power: Values, engine_speed: Values, *, displacement: float) -> Values:
    """Mean effective pressure in Pa of a four-stroke engine of ``displacement`` m3 at a crankshaft speed
    in rad/s.

    mep = 4 pi P / (Vd omega); in the trade's units 792,000 hp / (cu in x rpm) psi. Source: definition.
    """
    return 4.0 * math.pi * power / (displacement * engine_speed)


def power_of_mean_effective_pressure(mean_pressure: Values, engine_speed: Values, *, displacement: float) -> Values:
    """Power in W: the inverse of :func:`mean_effective_pressure`."""
    return mean_pressure * displacement * engine_speed / (4.0 * math.pi)


def plan_power(mean_pressure: Values, *, stroke: float, bore: float, power_strokes: Values, cylinders: int) -> Values:
    """Indicated power in W by P L A N K: mean pressure Pa, stroke m, bore m, power strokes a second per
    cylinder.

    In the trade's units P L A N K / 33,000 with the stroke in *feet*. Source: definition of indicated
    horsepower.
    """
    return mean_pressure * stroke * (math.pi / 4.0 * bore**2) * power_strokes * cylinders


def specific_consumption(fuel_flow: Values, power: Values) -> Values:
    """Brake specific consumption in kg/J of a fuel flow in kg/s and a power in W. Source: definition.

    Divide by :data:`POUND_PER_HORSEPOWER_HOUR` or :data:`GRAM_PER_KILOWATT_HOUR` for the usual units.
    """
    return fuel_flow / power


def mean_piston_speed(engine_speed: Values, *, stroke: float) -> Values:
    """Mean piston speed in m/s at a crankshaft speed in rad/s and a stroke in m: two strokes a turn."""
    return engine_speed * stroke / math.pi
