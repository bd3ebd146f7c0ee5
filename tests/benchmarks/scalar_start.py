"""Surroundings and starting state of one lane in plain Python floats, for ``scalar_engine.py``."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, sqrt

from leverproof import atmosphere
from leverproof.quantities import convert
from leverproof_adapters.reference_engine.parameters import Parameters

Row = tuple[float, ...]
State = tuple[float, ...]
Air = Callable[[float, float, float, float], tuple[float, float, float, float, float, float, float, float]]


def surroundings(p: Parameters) -> Air:
    """Function of altitude (ft), offset (K), humidity and airspeed (kt) giving pressure, temperature, speed of sound,
    airspeed (m/s), ram pressure and temperature, dry share, density."""
    foot, knot = convert(1.0, "ft", "m"), convert(1.0, "kt", "m/s")
    gas, lapse, tropopause = atmosphere.GAS_CONSTANT, atmosphere.LAPSE_RATE, atmosphere.TROPOPAUSE
    level_temperature, level_pressure = atmosphere.SEA_LEVEL_TEMPERATURE, atmosphere.SEA_LEVEL_PRESSURE
    exponent = atmosphere.GRAVITY / (gas * lapse)
    scale = gas * atmosphere.TROPOPAUSE_TEMPERATURE / atmosphere.GRAVITY
    elastic, recovery = atmosphere.HEAT_RATIO * gas, p.ram_recovery
    lowest, highest = atmosphere.LOWEST - 5e-4, atmosphere.HIGHEST + 5e-4

    def air(
        altitude: float, offset: float, humidity: float, airspeed: float
    ) -> tuple[float, float, float, float, float, float, float, float]:
        metres = altitude * foot
        if not lowest <= metres <= highest:
            raise ValueError(f"altitude {altitude} ft is outside the atmosphere")
        if metres < tropopause:
            standard = level_temperature - lapse * metres
            pressure = level_pressure * (standard / level_temperature) ** exponent
        else:
            standard = level_temperature - lapse * tropopause
            ratio = (standard / level_temperature) ** exponent
            pressure = level_pressure * ratio * exp((tropopause - metres) / scale)
        temperature = standard + offset
        sound = sqrt(elastic * temperature)
        speed = airspeed * knot
        mach = speed / sound
        stagnation = 1.0 + 0.2 * mach * mach
        ram = pressure * (1.0 + recovery * (stagnation * stagnation * stagnation * sqrt(stagnation) - 1.0))
        celsius = temperature - 273.15
        vapour = humidity * (611.21 * exp(17.502 * celsius / (240.97 + celsius)))
        return (
            pressure, temperature, sound, speed, ram, temperature * stagnation,
            1.0 - vapour / pressure, pressure / (gas * temperature),
        )  # fmt: skip

    return air


def starting_state(p: Parameters, air: Air, row: Row, *, running: bool) -> State:
    """Where ``dynamics.starting_state`` puts a lane, in the order in which :func:`stepper` carries it."""
    throttle, boost, propeller, _, _, link, altitude, offset, humidity, airspeed = row
    pressure, temperature, _, speed, ram, ram_temperature, _, _ = air(altitude, offset, humidity, airspeed)
    if link > 0.5:
        boost = throttle
    crank = turbo = 0.0
    blade, manifold, throat, collector = p.fine_stop, ram, ram, pressure
    charge, gas, head = ram_temperature, temperature, temperature
    if running:
        asked = p.rated_speed * (p.least_governed + (1.0 - p.least_governed) * propeller)
        idle = convert(660.0, "rpm", "rad/s")
        crank = min(idle + throttle * 3.0 * (asked - idle), asked)
        turbo = 60.0 + 500.0 * throttle + 0.5 * p.turbo_limit * boost * throttle
        blade = p.fine_stop + 8.0 * throttle + speed * 0.15
        firing = 0.35 + 1.2 * min(throttle, 0.7)
        manifold, throat, collector = pressure * firing, pressure * min(firing, 0.9), pressure * 1.03
        charge, gas, head = ram_temperature + 60.0, 1000.0, 420.0
    return (
        throttle, boost, 1.0 - boost, turbo, crank, 0.0, blade, manifold, collector, throat,
        ram_temperature, charge, gas, head, 0.0,
    )  # fmt: skip
