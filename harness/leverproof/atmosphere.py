"""The standard atmosphere to 20 km, by pressure altitude.

Heights are geopotential (pressure altitude), never geometric; functions ending in ``_at_feet`` take feet, all
others metres. Every function works elementwise on a float or a float64 array and returns the same shape.
Source: U.S. Standard Atmosphere, 1976 (identical to ISO 2533:1975 in this range), first two layers.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from leverproof.errors import InputError

Values = float | npt.NDArray[np.float64]
"""A number or a float64 array of any shape."""

SEA_LEVEL_TEMPERATURE = 288.15
"""K, U.S. Standard Atmosphere 1976."""
SEA_LEVEL_PRESSURE = 101_325.0
"""Pa, U.S. Standard Atmosphere 1976."""
LAPSE_RATE = 0.0065
"""K per geopotential metre below the tropopause, U.S. Standard Atmosphere 1976."""
TROPOPAUSE = 11_000.0
"""Geopotential m, U.S. Standard Atmosphere 1976."""
TROPOPAUSE_TEMPERATURE = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
GRAVITY = 9.80665
"""m/s2, U.S. Standard Atmosphere 1976."""
GAS_CONSTANT = 8314.32 / 28.9644
"""J/(kg K) of dry air: universal constant and molar mass of the U.S. Standard Atmosphere 1976."""
HEAT_RATIO = 1.4
"""Ratio of specific heats of air, U.S. Standard Atmosphere 1976."""
LOWEST, HIGHEST = -5_000.0, 20_000.0
"""Geopotential m: ICAO Doc 7488 begins at -5 km, the isothermal layer of the 1976 standard ends at 20 km."""

_EXPONENT = GRAVITY / (GAS_CONSTANT * LAPSE_RATE)
_SCALE_HEIGHT = GAS_CONSTANT * TROPOPAUSE_TEMPERATURE / GRAVITY
_TROPOPAUSE_PRESSURE = SEA_LEVEL_PRESSURE * (TROPOPAUSE_TEMPERATURE / SEA_LEVEL_TEMPERATURE) ** _EXPONENT
_FOOT = 0.3048

SEA_LEVEL_DENSITY = SEA_LEVEL_PRESSURE / (GAS_CONSTANT * SEA_LEVEL_TEMPERATURE)
"""kg/m3: 1.2250."""


def temperature(altitude: Values, offset: Values = 0.0) -> Values:
    """Air temperature in K at a pressure altitude in m, ``offset`` K above standard.

    Raises :class:`InputError` outside -5,000 to 20,000 m. Source: U.S. Standard Atmosphere 1976, eq. 23.
    """
    _check_range(altitude)
    result: Values = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * np.minimum(altitude, TROPOPAUSE) + offset
    return result


def pressure(altitude: Values) -> Values:
    """Static pressure in Pa at a pressure altitude in m; by definition the same on a hot day.

    Raises :class:`InputError` outside -5,000 to 20,000 m. Source: U.S. Standard Atmosphere 1976, eq. 33.
    """
    _check_range(altitude)
    below = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * np.minimum(altitude, TROPOPAUSE)
    above = np.maximum(altitude, TROPOPAUSE) - TROPOPAUSE
    result: Values = (
        SEA_LEVEL_PRESSURE * np.power(below / SEA_LEVEL_TEMPERATURE, _EXPONENT) * np.exp(-above / _SCALE_HEIGHT)
    )
    return result


def density(altitude: Values, offset: Values = 0.0) -> Values:
    """Density of dry air in kg/m3 at a pressure altitude in m, ``offset`` K above standard.

    Raises :class:`InputError` outside -5,000 to 20,000 m. Source: U.S. Standard Atmosphere 1976, eq. 42.
    """
    return pressure(altitude) / (GAS_CONSTANT * temperature(altitude, offset))


def pressure_altitude(static_pressure: Values) -> Values:
    """Pressure altitude in m of a static pressure in Pa: the inverse of :func:`pressure`.

    Raises :class:`InputError` for a pressure outside those of -5,000 to 20,000 m.
    Source: U.S. Standard Atmosphere 1976, equations 33a, 33b, solved for height.
    """
    ratio = np.asarray(static_pressure, dtype=np.float64)
    _check_pressure(ratio)
    upper = np.minimum(ratio, _TROPOPAUSE_PRESSURE)
    lower = np.maximum(ratio, _TROPOPAUSE_PRESSURE)
    base = SEA_LEVEL_TEMPERATURE / LAPSE_RATE * (1.0 - np.power(lower / SEA_LEVEL_PRESSURE, 1.0 / _EXPONENT))
    result: Values = (base - _SCALE_HEIGHT * np.log(upper / _TROPOPAUSE_PRESSURE))[()]
    return result


def speed_of_sound(air_temperature: Values) -> Values:
    """Speed of sound in m/s of air at a temperature in K. Source: U.S. Standard Atmosphere 1976, eq. 50."""
    result: Values = np.sqrt(HEAT_RATIO * GAS_CONSTANT * air_temperature)
    return result


def saturation_vapour_pressure(air_temperature: Values) -> Values:
    """Pressure in Pa of saturated water vapour over liquid water at a temperature in K.

    Within 0.1 % from -20 to +50 degC. Source: A. L. Buck, "New equations for computing vapor pressure and
    enhancement factor", J. Appl. Meteorology 20 (1981), equation e_w1, without enhancement factor.
    """
    celsius = air_temperature - 273.15
    result: Values = 611.21 * np.exp(17.502 * celsius / (240.97 + celsius))
    return result


def temperature_at_feet(altitude: Values, offset: Values = 0.0) -> Values:
    """:func:`temperature` in K at a pressure altitude in ft."""
    return temperature(altitude * _FOOT, offset)


def pressure_at_feet(altitude: Values) -> Values:
    """:func:`pressure` in Pa at a pressure altitude in ft."""
    return pressure(altitude * _FOOT)


def density_at_feet(altitude: Values, offset: Values = 0.0) -> Values:
    """:func:`density` in kg/m3 at a pressure altitude in ft."""
    return density(altitude * _FOOT, offset)


def pressure_altitude_in_feet(static_pressure: Values) -> Values:
    """:func:`pressure_altitude` in ft of a static pressure in Pa."""
    return pressure_altitude(static_pressure) / _FOOT


def _check_range(altitude: Values) -> None:
    # Written so that NaN is refused too. The half millimetre forgives conversion from feet.
    inside = (altitude >= LOWEST - 5e-4) & (altitude <= HIGHEST + 5e-4)
    if not np.all(inside):
        raise _outside("pressure altitude", altitude, inside, f"{LOWEST:g} to {HIGHEST:g} m")


def _outside(name: str, values: Values, inside: object, limits: str) -> InputError:
    first = float(np.asarray(values)[~np.asarray(inside, dtype=np.bool_)].flat[0])
    return InputError(
        f"{name} {first:g} is outside {limits}",
        hint="the standard atmosphere here covers the first two layers only",
        code="altitude",
    )


_HIGHEST_PRESSURE = SEA_LEVEL_PRESSURE * (1.0 - LAPSE_RATE * LOWEST / SEA_LEVEL_TEMPERATURE) ** _EXPONENT
_LOWEST_PRESSURE = _TROPOPAUSE_PRESSURE * math.exp(-(HIGHEST - TROPOPAUSE) / _SCALE_HEIGHT)


def _check_pressure(values: npt.NDArray[np.float64]) -> None:
    inside = (values >= _LOWEST_PRESSURE * (1 - 1e-7)) & (values <= _HIGHEST_PRESSURE * (1 + 1e-7))
    if not np.all(inside):
        limits = f"{_LOWEST_PRESSURE:.0f} to {_HIGHEST_PRESSURE:.0f} Pa"
        raise _outside("static pressure", values, inside, limits)
