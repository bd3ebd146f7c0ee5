"""How the cylinder breathes: clearance volume and back pressure, volumetric efficiency, humid air.

Elementwise over floats or float64 arrays; Pa, K, m3, rad/s, kg/s.
"""

from __future__ import annotations

import math

import numpy as np

from leverproof.atmosphere import saturation_vapour_pressure
from leverproof.physics.relations.gas import AIR_HEAT_RATIO, GAS_CONSTANT, Values


def clearance_factor(pressure_ratio: Values, *, compression_ratio: float, heat_ratio: float = AIR_HEAT_RATIO) -> Values:
    """Volumetric efficiency relative to equal pressures, against ``pressure_ratio`` = exhaust over intake
    pressure.

    r/(r-1) - (pe/pi + (k-1)) / (k (r-1)): the residual gas in the clearance volume expands or is
    compressed to intake pressure. Source: ideal four-stroke inlet process of the internal-combustion
    textbooks (from memory); real engines with valve overlap show a larger effect.
    """
    r, k = compression_ratio, heat_ratio
    return r / (r - 1.0) - (pressure_ratio + (k - 1.0)) / (k * (r - 1.0))


def charge_flow(
    manifold_pressure: Values,
    manifold_temperature: Values,
    engine_speed: Values,
    *,
    displacement: float,
    volumetric_efficiency: Values,
) -> Values:
    """Charge in kg/s drawn by a four-stroke engine of ``displacement`` m3 at ``engine_speed`` rad/s
    (crankshaft).

    m = eta_v p/(R T) Vd n/2. Source: definition of volumetric efficiency referred to manifold conditions.
    """
    density = manifold_pressure / (GAS_CONSTANT * manifold_temperature)
    return volumetric_efficiency * density * displacement * engine_speed / (4.0 * math.pi)


def pumping_mean_effective_pressure(manifold_pressure: Values, exhaust_pressure: Values) -> Values:
    """Ideal pumping loss in Pa of mean effective pressure: exhaust minus intake pressure, a gain when
    negative.

    Source: p-V diagram of the ideal four-stroke exchange loop (1 inHg is 0.491 psi).
    """
    return exhaust_pressure - manifold_pressure


def vapour_pressure(relative_humidity: Values, air_temperature: Values) -> Values:
    """Pressure in Pa of the water vapour in air of ``relative_humidity`` 0 to 1 at a temperature in K.

    Source: definition of relative humidity with the saturation formula of Buck (1981).
    """
    return relative_humidity * saturation_vapour_pressure(air_temperature)


def dry_pressure(pressure: Values, relative_humidity: Values, air_temperature: Values) -> Values:
    """Partial pressure in Pa of the dry air, on which power depends.

    p - e. Source: NACA Report 426 (vapour is an inert diluent; indicated power follows the oxygen drawn).
    """
    return pressure - vapour_pressure(relative_humidity, air_temperature)


def humidity_power_ratio(pressure: Values, relative_humidity: Values, air_temperature: Values) -> Values:
    """Indicated power in humid air over that in dry air at the same total pressure: (p - e)/p.

    Mixture changes left out. Source: NACA Report 426, which found it the same at all altitudes to 25,000 ft.
    """
    result: Values = np.divide(dry_pressure(pressure, relative_humidity, air_temperature), pressure)
    return result
