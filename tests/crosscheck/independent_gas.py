"""Air and gas, written anew from `docs/explanation/predictor-equations.md` and the sources it names.

Nothing here knows the harness. Scalar Python; SI. Every relation takes a factor by which a test makes it slip.
Where a closed formula can be replaced by the balance it comes from, the balance is used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

Slips = Mapping[str, float]
EXACT: Slips = {}

GRAVITY = 9.80665
GAS_CONSTANT = 8314.32 / 28.9644
"""U.S. Standard Atmosphere, 1976: J/(kg K)."""
CP_AIR = 1004.5
EXHAUST_CONSTANT, EXHAUST_EXPONENT, AIR_EXPONENT = 289.0, 1.33, 1.4
CP_EXHAUST = EXHAUST_CONSTANT * EXHAUST_EXPONENT / (EXHAUST_EXPONENT - 1.0)
INCH_OF_MERCURY, FOOT, KNOT, INCH, RPM = 3386.389, 0.3048, 1852.0 / 3600.0, 0.0254, 2.0 * math.pi / 60.0
HORSEPOWER = 550.0 * 0.3048 * 4.4482216152605


@dataclass(frozen=True, slots=True)
class Air:
    """Static and total pressure (Pa) and temperature (K), dry share by pressure, true airspeed (m/s)."""

    pressure: float
    temperature: float
    total_pressure: float
    total_temperature: float
    dry: float
    airspeed: float


def ambient_pressure(altitude: float) -> float:
    """Pa at a pressure altitude in ft: the hydrostatic law over a constant lapse, then over constant temperature.

    Source: U.S. Standard Atmosphere, 1976, equations 33a and 33b.
    """
    height = altitude * FOOT
    lapse, sea, ceiling = 0.0065, 288.15, 11_000.0
    below = min(height, ceiling)
    sum_of_slices = math.log1p(-lapse * below / sea) / lapse
    sum_of_slices -= max(height - ceiling, 0.0) / (sea - lapse * ceiling)
    return 101_325.0 * math.exp(GRAVITY / GAS_CONSTANT * sum_of_slices)


def air(
    altitude: float,
    *,
    airspeed: float,
    recovery: float,
    offset: float = 0.0,
    humidity: float = 0.0,
    slip: Slips = EXACT,
) -> Air:
    """Air at a pressure altitude in ft. Sources: U.S. Standard Atmosphere, 1976; SFTE Reference Handbook 2013, 10.3
    (ram); NACA Report 426 (dry share); Magnus form of the saturation pressure."""
    pressure = ambient_pressure(altitude)
    temperature = 288.15 - 0.0065 * min(altitude * FOOT, 11_000.0) + offset
    # isentropic stagnation by the energy equation V^2/2 = cp (T0 - T), cp that of a perfect gas
    perfect = GAS_CONSTANT * AIR_EXPONENT / (AIR_EXPONENT - 1.0)
    total_temperature = temperature + airspeed**2 / (2.0 * perfect)
    isentropic = pressure * (total_temperature / temperature) ** (AIR_EXPONENT / (AIR_EXPONENT - 1.0))
    total_pressure = pressure + slip.get("ram", 1.0) * recovery * (isentropic - pressure)
    celsius = temperature - 273.15
    vapour = slip.get("humidity", 1.0) * humidity * 611.21 * math.exp(17.502 * celsius / (240.97 + celsius))
    return Air(pressure, temperature, total_pressure, total_temperature, 1.0 - vapour / pressure, airspeed)


def flux(up: float, down: float, temperature: float, *, constant: float, exponent: float) -> float:
    """Flow of an ideal nozzle per area, kg/(s m2): Saint-Venant and Wantzel, by energy and continuity at the throat.

    The throat's pressure is the one downstream, or the critical one where that is higher. Backward flow is negative,
    at the same temperature.
    """
    if down > up:
        return -flux(down, up, temperature, constant=constant, exponent=exponent)
    share = (exponent - 1.0) / exponent
    throat = max(down, up * math.pow(2.0 / (exponent + 1.0), 1.0 / share))
    throat_temperature = temperature * math.pow(throat / up, share)
    speed = math.sqrt(max(2.0 * constant / share * (temperature - throat_temperature), 0.0))
    return throat / (constant * throat_temperature) * speed


def air_flux(up: float, down: float, temperature: float) -> float:
    """Of air."""
    return flux(up, down, temperature, constant=GAS_CONSTANT, exponent=AIR_EXPONENT)


def exhaust_flux(up: float, down: float, temperature: float) -> float:
    """Of exhaust gas."""
    return flux(up, down, temperature, constant=EXHAUST_CONSTANT, exponent=EXHAUST_EXPONENT)


def ideal_filling(back: float, manifold: float, ratio: float) -> float:
    """Charge drawn over that of the swept volume at manifold state, by the first law over the intake stroke.

    The clearance volume starts at back pressure; charge of the manifold flows in at manifold pressure until bottom
    dead centre, walls adiabatic: enthalpy in = rise of internal energy + work on the piston.
    """
    swept, clearance = 1.0, 1.0 / (ratio - 1.0)
    energy = (manifold * (swept + clearance) - back * clearance) / (AIR_EXPONENT - 1.0)
    work = manifold * swept
    enthalpy_of_full_charge = AIR_EXPONENT / (AIR_EXPONENT - 1.0) * manifold * swept
    return (energy + work) / enthalpy_of_full_charge
