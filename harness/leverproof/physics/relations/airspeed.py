"""Calibrated and true airspeed, through impact pressure. Elementwise over floats or float64 arrays; m/s, Pa, K.

An airspeed indicator is a pressure gauge with a scale made for sea level: what it shows is the speed that would give
the same impact pressure in the standard air at sea level. Both ways the flow is compressible and without a shock, so
the relations hold below Mach 1. Source: NACA Report 837 (Aiken, 1946), standard nomenclature for airspeeds, from
memory; standard air of the U.S. Standard Atmosphere, 1976.
"""

from __future__ import annotations

import numpy as np

from leverproof.atmosphere import (
    HEAT_RATIO,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    Values,
    pressure_at_feet,
    speed_of_sound,
    temperature_at_feet,
)

_HALF = (HEAT_RATIO - 1.0) / 2.0
_POWER = HEAT_RATIO / (HEAT_RATIO - 1.0)


def impact_pressure(mach: Values, static_pressure: Values) -> Values:
    """qc = p [(1 + (gamma - 1)/2 M^2)^(gamma/(gamma - 1)) - 1]: total less static pressure, isentropic."""
    result: Values = static_pressure * (np.power(1.0 + _HALF * np.square(mach), _POWER) - 1.0)
    return result


def mach_of_impact_pressure(impact: Values, static_pressure: Values) -> Values:
    """The Mach number that gives an impact pressure: the inverse of :func:`impact_pressure`."""
    result: Values = np.sqrt((np.power(impact / static_pressure + 1.0, 1.0 / _POWER) - 1.0) / _HALF)
    return result


def true_airspeed(calibrated: Values, altitude: Values, offset: Values = 0.0) -> Values:
    """True airspeed in m/s of a calibrated one in m/s, at a pressure altitude in ft, ``offset`` K above standard."""
    sound = speed_of_sound(SEA_LEVEL_TEMPERATURE)
    impact = impact_pressure(calibrated / sound, SEA_LEVEL_PRESSURE)
    mach = mach_of_impact_pressure(impact, pressure_at_feet(altitude))
    return mach * speed_of_sound(temperature_at_feet(altitude, offset))


def calibrated_airspeed(true: Values, altitude: Values, offset: Values = 0.0) -> Values:
    """Calibrated airspeed in m/s of a true one in m/s: the inverse of :func:`true_airspeed`."""
    mach = true / speed_of_sound(temperature_at_feet(altitude, offset))
    impact = impact_pressure(mach, pressure_at_feet(altitude))
    return mach_of_impact_pressure(impact, SEA_LEVEL_PRESSURE) * speed_of_sound(SEA_LEVEL_TEMPERATURE)
