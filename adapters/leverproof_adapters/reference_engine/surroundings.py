"""Surroundings of a lane: standard atmosphere with a temperature offset, humidity, ram at the intake."""

from __future__ import annotations

import numpy as np

from leverproof import atmosphere
from leverproof.quantities import convert
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array

_FOOT = convert(1.0, "ft", "m")
_KNOT = convert(1.0, "kt", "m/s")


def surroundings(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """The air at a pressure altitude (ft), ``offset`` K above standard, relative humidity 0..1, airspeed in kt.

    Shapes are kept. Sources: U.S. Standard Atmosphere 1976; Buck's saturation pressure; ram pressure
    ``Pt/Pa = eta [(1 + 0.2 M2)^3.5 - 1] + 1``, SFTE Reference Handbook 2013, sec. 10.3; total temperature
    ``Ta (1 + 0.2 M2)``. Raises :class:`leverproof.errors.InputError` outside the atmosphere's range.
    """
    air = Air()
    metres = altitude * _FOOT
    air.pressure = np.asarray(atmosphere.pressure(metres))
    air.temperature = np.asarray(atmosphere.temperature(metres, offset))
    air.sound = np.sqrt(atmosphere.HEAT_RATIO * atmosphere.GAS_CONSTANT * air.temperature)
    air.speed = airspeed * _KNOT
    mach = air.speed / air.sound
    stagnation = 1.0 + 0.2 * mach * mach
    head = stagnation * stagnation * stagnation * np.sqrt(stagnation) - 1.0
    air.ram_pressure = air.pressure * (1.0 + p.ram_recovery * head)
    air.ram_temperature = air.temperature * stagnation
    vapour = humidity * np.asarray(atmosphere.saturation_vapour_pressure(air.temperature))
    air.dry_share = 1.0 - vapour / air.pressure
    air.density = air.pressure / (atmosphere.GAS_CONSTANT * air.temperature)
    return air
