"""Flow through orifices and nozzles, and ram at the intake.

Elementwise over floats or float64 arrays; Pa, K, m2, kg/s, Mach number.
"""

from __future__ import annotations

import math

import numpy as np

from leverproof.physics.relations.gas import AIR_HEAT_RATIO, GAS_CONSTANT, Values


def critical_pressure_ratio(heat_ratio: float = AIR_HEAT_RATIO) -> float:
    """Downstream over upstream pressure at and below which a nozzle is choked: (2/(k+1))^(k/(k-1)), 0.5283
    for air.

    Source: one-dimensional isentropic flow (NACA Report 1135).
    """
    return float((2.0 / (heat_ratio + 1.0)) ** (heat_ratio / (heat_ratio - 1.0)))


def flow_function(pressure_ratio: Values, *, heat_ratio: float = AIR_HEAT_RATIO, linear_within: float = 0.0) -> Values:
    """Dimensionless nozzle flow m sqrt(R T) / (A p) against ``pressure_ratio`` = downstream over upstream.

    Constant below the critical ratio, zero at and above 1, with a continuous slope at the choke. The exact
    function has an infinite slope at 1, which no time step survives; ``linear_within`` > 0 replaces the
    last part, 1 - linear_within to 1, by the parabola through zero with the same value and slope. Source:
    one-dimensional isentropic flow (NACA Report 1135); the parabola is a numerical device of our own.
    """
    critical = critical_pressure_ratio(heat_ratio)
    if not 0.0 <= linear_within < 1.0 - critical:
        raise ValueError(f"linear_within must lie between 0 and {1.0 - critical:.3f}, got {linear_within!r}")
    ratio = np.minimum(np.maximum(pressure_ratio, critical), 1.0)
    exact = _subsonic(np.minimum(ratio, 1.0 - linear_within), heat_ratio)
    if linear_within == 0.0:
        return exact
    value, slope = _value_and_slope(1.0 - linear_within, heat_ratio)
    bend = (slope * linear_within - value) / linear_within**2
    gap = np.minimum(1.0 - ratio, linear_within)
    result: Values = np.where(
        ratio > 1.0 - linear_within, gap * (value / linear_within + bend * (gap - linear_within)), exact
    )[()]
    return result


def _subsonic(ratio: Values, heat_ratio: float) -> Values:
    # x = ratio^(1/k) needs one power only: psi^2 = 2k/(k-1) (x^2 - x ratio).
    root = np.power(ratio, 1.0 / heat_ratio)
    factor = 2.0 * heat_ratio / (heat_ratio - 1.0)
    result: Values = np.sqrt(factor * root * np.maximum(root - ratio, 0.0))
    return result


def _value_and_slope(ratio: float, heat_ratio: float) -> tuple[float, float]:
    """Exact flow function at a subsonic ratio and its derivative with respect to (1 - ratio)."""
    k = heat_ratio
    factor = 2.0 * k / (k - 1.0)
    value = math.sqrt(factor * (ratio ** (2.0 / k) - ratio ** ((k + 1.0) / k)))
    rate = (2.0 / k) * ratio ** (2.0 / k - 1.0) - ((k + 1.0) / k) * ratio ** (1.0 / k)
    return value, -factor * rate / (2.0 * value)


def orifice_flow(
    area: Values,
    upstream_pressure: Values,
    upstream_temperature: Values,
    downstream_pressure: Values,
    *,
    heat_ratio: float = AIR_HEAT_RATIO,
    gas_constant: float = GAS_CONSTANT,
    linear_within: float = 0.0,
) -> Values:
    """Mass flow in kg/s through an effective ``area`` (geometric area times discharge coefficient), choked
    or not.

    Negative when the downstream pressure is the higher; ``upstream_temperature`` is that of the side the
    gas comes from. Meaning of ``linear_within`` and source: :func:`flow_function`.
    """
    high = np.maximum(upstream_pressure, downstream_pressure)
    low = np.minimum(upstream_pressure, downstream_pressure)
    psi = flow_function(low / high, heat_ratio=heat_ratio, linear_within=linear_within)
    sign = np.sign(np.subtract(upstream_pressure, downstream_pressure))
    result: Values = sign * area * high / np.sqrt(gas_constant * upstream_temperature) * psi
    return result


def mach_number(true_airspeed: Values, sound_speed: Values) -> Values:
    """Mach number of a true airspeed at a speed of sound, both in m/s. Source: definition."""
    return true_airspeed / sound_speed


def ram_pressure_ratio(mach: Values, *, recovery: Values) -> Values:
    """Pressure ahead of the carburettor or first compressor over ambient pressure, from forward speed.

    1 + eta_r ((1 + 0.2 M^2)^3.5 - 1); ``recovery`` is usually 0.70 to 0.75. Source: SFTE Reference
    Handbook 2013, section 10.3. It applies at the carburettor deck, not behind a blower.
    """
    result: Values = 1.0 + recovery * (np.power(1.0 + 0.2 * np.square(mach), 3.5) - 1.0)
    return result


def ram_temperature_ratio(mach: Values) -> Values:
    """Total over static temperature of the air brought to rest: 1 + 0.2 M^2. Source: NACA Report 1135, k =
    1.4.
    """
    result: Values = 1.0 + 0.2 * np.square(mach)
    return result
