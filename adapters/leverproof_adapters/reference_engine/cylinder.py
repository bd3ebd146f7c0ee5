"""Cylinders: charge flow, mixture, indicated work, pumping, friction, gas and head temperatures."""

from __future__ import annotations

import math

import numpy as np

from leverproof.atmosphere import GAS_CONSTANT
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Point, State

CUT_OFF, AUTO_LEAN, AUTO_RICH, FULL_RICH = 0.0, 1.0, 2.0, 3.0


def charge_flow(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Air drawn by the cylinders, linear in manifold and back pressure.

    Ideal clearance relation ``r/(r-1) - [pe/pi + k - 1]/[k (r-1)]`` times swept volume and density (textbook ideal
    cycle, from memory), its residual-gas part times ``scavenge`` (1 is ideal). Hot ports draw the charge towards the
    wall temperature by ``wall_heating`` (assumption, chosen with the usual exponent of 0.5 on carburettor air
    temperature in mind: SFTE sec. 10.3).
    """
    k, r = 1.4, p.compression_ratio
    residual = p.scavenge / (k * (r - 1.0))
    swept = p.displacement / (4.0 * math.pi)
    heated = s.charge_temperature * (1.0 - p.wall_heating) + p.wall_heating * p.wall_temperature
    scale = (swept * p.volumetric / GAS_CONSTANT) / heated
    x.flow_per_radian = scale * (1.0 + residual)
    x.suction = scale * residual * s.collector
    per_radian = np.maximum(x.flow_per_radian * s.manifold - x.suction, 0.0)
    x.air_flow = per_radian * s.crank


def mixture(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Fuel-air ratio metered on total air flow, and fuel flow.

    Richer at very high and very low flow (SFTE ch. 10); sizes: assumption. Metering by mass is what makes full rich
    compensated for height.
    """
    load = x.air_flow * (1.0 / p.rated_flow)
    high = np.maximum(load - 0.55, 0.0) * (1.0 / 0.45)
    high = np.minimum(high, 1.2)
    low = np.maximum(1.0 - load * (1.0 / 0.20), 0.0)
    idle = p.idle_enrichment * low
    rich = p.auto_rich_ratio + p.auto_rich_power * high + idle
    lean = np.minimum(p.auto_lean_ratio + p.auto_lean_power * high + idle, rich)
    setting = levers.mixture
    x.fuel_ratio = np.where(setting < 1.5, lean, np.where(setting < 2.5, rich, rich * p.full_rich_factor))
    x.fuel_ratio = np.where(setting < 0.5, 0.0, x.fuel_ratio)
    x.fuel_flow = x.fuel_ratio * x.air_flow
    firing = (s.crank - p.firing_from) * (1.0 / (p.firing_full - p.firing_from))
    x.burn = np.minimum(np.maximum(firing, 0.0), 1.0)


def mixture_strength(p: Parameters, ratio: Array) -> Array:
    """Indicated work per kg of air over that at best power, of a fuel-air ratio.

    A parabola on each side of best power, none outside the combustible range. Source: NACA Report 189 and SFTE
    ch. 10 for best power and limits; curvatures: from memory.
    """
    away = ratio - p.best_power_ratio
    strength = 1.0 - np.where(away < 0.0, p.lean_fall, p.rich_fall) * away * away
    lean_end = (ratio - (p.lean_limit - 0.004)) * (1.0 / 0.004)
    rich_end = ((p.rich_limit + 0.010) - ratio) * (1.0 / 0.010)
    edge = np.minimum(np.maximum(np.minimum(lean_end, rich_end), 0.0), 1.0)
    result: Array = strength * edge
    return result


def work(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Indicated, pumping and friction torques at the crankshaft.

    Indicated work is proportional to dry air (NACA Report 426); residual gas slows the burning at small throttle
    (assumption). Pumping mean pressure is the share ``pumping`` of back
    less manifold pressure (1 inHg = 0.491 psi at most, a unit conversion). Friction torque is linear in speed
    (NACA Report 108); :func:`_friction` adds what follows density.
    """
    swept = p.displacement / (4.0 * math.pi)
    per_radian = np.maximum(x.flow_per_radian * s.manifold - x.suction, 0.0)
    dry = np.maximum(air.dry_share, 0.5)
    strength = mixture_strength(p, x.fuel_ratio / dry)
    x.burn = x.burn * (strength > 0.0)
    excess = np.maximum(s.collector / s.manifold - 1.0, 0.0)
    clean = np.maximum(1.0 - p.dilution * excess, 0.0)
    x.indicated_torque = p.indicated_work * per_radian * dry * strength * x.burn * clean
    x.pumping_torque = (p.pumping * swept) * (s.collector - s.manifold) * (s.crank > 0.0)
    x.friction_torque = _friction(p, s, swept)


def _friction(p: Parameters, s: State, swept: float) -> Array:
    """Friction torque: the share that follows density goes with manifold pressure (NACA Report 108)."""
    rubbing: Array = swept * (p.friction_constant + p.friction_speed * s.crank) * (s.crank > 0.0)
    if p.friction_load_share == 0.0:
        return rubbing
    load = s.manifold * (1.0 / p.friction_reference)
    return rubbing * (1.0 - p.friction_load_share + p.friction_load_share * load)


def gas_temperatures(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Targets of collector gas temperature and cylinder head temperature.

    The collector is hottest near the chemically correct mixture and cooler on both sides; small flows lose more of
    their heat: shape from SFTE ch. 10, sizes assumed. The head rises above the cooling air with the square root of
    fuel burned and falls with cooling air: assumption.
    """
    away = x.fuel_ratio - 0.066
    peak = p.gas_peak_temperature - p.gas_mixture_slope * (np.sqrt(away * away + 6.4e-5) - 0.008)
    kept = x.air_flow / (x.air_flow + p.gas_cooling_flow)
    x.gas_temperature = s.charge_temperature + (peak - s.charge_temperature) * x.burn * kept
    load = np.sqrt(x.air_flow * x.burn * (1.0 / p.rated_flow))
    cooling = np.sqrt((air.speed + 45.0) * air.density * (1.0 / 90.0))
    if p.has_cowl_flaps:
        cooling = cooling * (p.cowl_shut + (1.0 - p.cowl_shut) * levers.cowl_flaps)
    x.head_temperature = air.temperature + p.head_gain * load / cooling
