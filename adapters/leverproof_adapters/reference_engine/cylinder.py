"""Cylinders: charge flow, mixture, indicated work, pumping, friction, gas and head temperatures."""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine.coefficients import (
    GAS_PEAK_WIDTH,
    HIGH_FLOW,
    LEAN_EDGE,
    MOST_HIGH,
    ONE,
    RICH_EDGE,
    ZERO,
    Coefficients,
    scalar,
)
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Point, State

CUT_OFF, AUTO_LEAN, AUTO_RICH, FULL_RICH = 0.0, 1.0, 2.0, 3.0
_HIGH_OFFSET, _MOST_HIGH = scalar(HIGH_FLOW / (1.0 - HIGH_FLOW)), scalar(MOST_HIGH)
_PER_LEAN, _PER_RICH = scalar(1.0 / LEAN_EDGE), scalar(1.0 / RICH_EDGE)
_CORRECT, _WIDTH = scalar(0.066), scalar(GAS_PEAK_WIDTH)


def charge_flow(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Air drawn by the cylinders, linear in manifold and back pressure.

    Ideal clearance relation ``r/(r-1) - [pe/pi + k - 1]/[k (r-1)]`` times swept volume and density (textbook ideal
    cycle, from memory), its residual-gas part times ``scavenge`` (1 is ideal). Hot ports draw the charge towards the
    wall temperature by ``wall_heating`` (assumption, chosen with the usual exponent of 0.5 on carburettor air
    temperature in mind: SFTE sec. 10.3).
    """
    scale = s.charge_temperature * p.cold_share
    scale += p.wall_share
    np.divide(p.breathing, scale, scale)
    suction = scale * s.collector
    suction *= p.residual
    scale *= p.breathing_gain
    drawn = scale * s.manifold
    drawn -= suction
    np.maximum(drawn, ZERO, out=drawn)
    x.flow_per_radian, x.suction, x.per_radian = scale, suction, drawn
    x.air_flow = drawn * s.crank


def mixture(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Fuel-air ratio metered on total air flow, and fuel flow.

    Richer at very high and very low flow (SFTE ch. 10); sizes: assumption. Auto lean is never richer than auto rich.
    Metering by mass is what makes full rich compensated for height.
    """
    flow = x.air_flow
    high, idle, *_ = s.room
    np.multiply(flow, p.high_slope, high)
    high -= _HIGH_OFFSET
    np.maximum(high, ZERO, out=high)
    np.minimum(high, _MOST_HIGH, out=high)
    ratio = x.mixture_gain * high
    ratio += x.mixture_base
    if p.lean_beyond_rich:
        np.minimum(ratio, p.auto_rich_ratio + p.auto_rich_power * high, out=ratio)
    np.multiply(flow, p.low_slope, idle)
    np.subtract(p.idle_enrichment, idle, idle)
    np.maximum(idle, ZERO, out=idle)
    ratio += idle
    ratio *= x.mixture_factor
    burn = s.crank * p.firing_slope
    burn -= p.firing_offset
    np.maximum(burn, ZERO, out=burn)
    np.minimum(burn, ONE, out=burn)
    x.fuel_ratio, x.burn = ratio, burn
    x.fuel_flow = ratio * flow


def mixture_strength(p: Coefficients, ratio: Array) -> Array:
    """Indicated work per kg of air over that at best power, of a fuel-air ratio.

    A parabola on each side of best power, none outside the combustible range. Source: NACA Report 189 and SFTE
    ch. 10 for best power and limits; curvatures: from memory.
    """
    away = ratio - p.best_power_ratio
    fall = away * p.lean_root
    away *= p.rich_root
    np.maximum(fall, away, out=fall)  # one of the two is negative
    fall *= fall
    strength: Array = ONE - fall
    edge = ratio * _PER_LEAN
    edge -= p.lean_end
    rich_edge = ratio * _PER_RICH
    np.subtract(p.rich_end, rich_edge, rich_edge)
    np.minimum(edge, rich_edge, out=edge)
    np.maximum(edge, ZERO, out=edge)
    np.minimum(edge, ONE, out=edge)
    strength *= edge
    return strength


def work(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Indicated, pumping and friction torques at the crankshaft.

    Indicated work is proportional to dry air (NACA Report 426); residual gas slows the burning at small throttle
    (assumption). Pumping mean pressure is the share ``pumping`` of back
    less manifold pressure (1 inHg = 0.491 psi at most, a unit conversion). Friction torque is linear in speed
    (NACA Report 108); the share of it that follows density goes with manifold pressure (NACA Report 108).
    """
    turning, spare, *_ = s.room
    strength, burn = mixture_strength(p, np.divide(x.fuel_ratio, x.dry, spare)), x.burn
    np.putmask(burn, strength <= ZERO, ZERO)
    # torque = work m dry strength burn [1 - dilution (pe / pi - 1)]
    clean = s.collector / s.manifold
    clean *= p.dilution
    np.subtract(p.clean_limit, clean, clean)
    np.maximum(clean, ZERO, out=clean)
    np.minimum(clean, ONE, out=clean)
    clean *= burn
    clean *= strength
    clean *= x.per_radian
    clean *= x.indicated_work
    x.indicated_torque = clean
    np.sign(s.crank, turning)
    pumping = s.collector - s.manifold
    pumping *= p.pumping_swept
    pumping *= turning
    rubbing = s.crank * p.friction_slope
    rubbing += p.friction_rest
    rubbing *= turning
    if p.friction_follows_density:
        rubbing *= p.load_free + p.load_slope * s.manifold
    x.pumping_torque, x.friction_torque = pumping, rubbing


def gas_temperatures(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Targets of collector gas temperature and cylinder head temperature.

    The collector is hottest near the chemically correct mixture and cooler on both sides; small flows lose more of
    their heat: shape from SFTE ch. 10, sizes assumed. The head rises above the cooling air with the square root of
    fuel burned and falls with cooling air: assumption.
    """
    # T = Tc + (peak - Tc) burn m / (m + m0)
    peak = x.fuel_ratio - _CORRECT
    peak *= peak
    peak += _WIDTH
    np.sqrt(peak, peak)
    peak *= p.gas_mixture_slope
    np.subtract(p.gas_peak, peak, peak)
    burning = x.air_flow * x.burn
    peak -= s.charge_temperature
    peak *= burning
    peak /= np.add(x.air_flow, p.gas_cooling_flow, s.room[0])
    peak += s.charge_temperature
    x.gas_temperature = peak
    # T = Ta + gain sqrt(m burn)
    np.sqrt(burning, burning)
    burning *= x.head_gain
    burning += air.temperature
    x.head_temperature = burning
