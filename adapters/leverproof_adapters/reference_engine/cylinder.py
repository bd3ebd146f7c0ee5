"""Cylinders: charge flow, mixture, indicated work, pumping, friction, gas and head temperatures."""

from __future__ import annotations

from numpy import (
    add,
    divide,
    empty_like,
    less_equal,
    maximum,
    minimum,
    multiply,
    putmask,
    sign,
    sqrt,
    subtract,
)

from leverproof_adapters.reference_engine.coefficients import (
    GAS_PEAK_WIDTH,
    LEAN_EDGE,
    ONE,
    RICH_EDGE,
    ZERO,
    Coefficients,
    scalar,
)
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Point, State

CUT_OFF, AUTO_LEAN, AUTO_RICH, FULL_RICH = 0.0, 1.0, 2.0, 3.0
_PER_LEAN, _PER_RICH = scalar(1.0 / LEAN_EDGE), scalar(1.0 / RICH_EDGE)
_CORRECT, _WIDTH = scalar(0.066), scalar(GAS_PEAK_WIDTH)


def charge_flow(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Air drawn by the cylinders, linear in manifold and back pressure.

    Ideal clearance relation ``r/(r-1) - [pe/pi + k - 1]/[k (r-1)]`` times swept volume and density (textbook ideal
    cycle, from memory), its residual-gas part times ``scavenge`` (1 is ideal). Hot ports draw the charge towards the
    wall temperature by ``wall_heating`` (assumption, chosen with the usual exponent of 0.5 on carburettor air
    temperature in mind: SFTE sec. 10.3).
    """
    found = s.found
    # flow = crank (scale pi - suction), scale = breathing (1 + residual) / (cold Tc + wall)
    scale = multiply(s.charge_temperature, p.cold_share, found.flow_per_radian)
    add(scale, p.wall_share, scale)
    divide(p.breathing, scale, scale)
    suction = multiply(scale, s.collector, found.suction)
    multiply(suction, p.residual_share, suction)
    drawn = multiply(scale, s.manifold, found.per_radian)
    subtract(drawn, suction, drawn)
    maximum(drawn, ZERO, out=drawn)
    x.flow_per_radian, x.suction, x.per_radian = scale, suction, drawn
    x.air_flow = multiply(drawn, s.crank, found.air_flow)


def mixture(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Fuel-air ratio metered on total air flow, and fuel flow.

    Richer at very high and very low flow (SFTE ch. 10); sizes: assumption. Auto lean is never richer than auto rich.
    Metering by mass is what makes full rich compensated for height.
    """
    flow, found = x.air_flow, s.found
    high, idle, *_ = s.room
    # ratio = factor [base + gain (flow, kept between two bounds) + slope (third bound - flow, above it nought)]
    maximum(flow, p.high_flow, out=high)
    minimum(high, p.highest_flow, out=high)
    ratio = multiply(x.mixture_gain, high, found.fuel_ratio)
    add(ratio, x.mixture_base, ratio)
    if p.lean_beyond_rich:
        multiply(high, p.rich_gain, high)
        add(high, p.rich_base, high)
        minimum(ratio, high, out=ratio)
    minimum(flow, p.low_flow, out=idle)
    subtract(p.low_flow, idle, idle)
    multiply(idle, p.low_slope, idle)
    add(ratio, idle, ratio)
    multiply(ratio, x.mixture_factor, ratio)
    burn = multiply(s.crank, p.firing_slope, found.burn)
    subtract(burn, p.firing_offset, burn)
    maximum(burn, ZERO, out=burn)
    minimum(burn, ONE, out=burn)
    x.fuel_ratio, x.burn = ratio, burn
    x.fuel_flow = multiply(ratio, flow, found.fuel_flow)


def mixture_strength(p: Coefficients, ratio: Array, room: tuple[Array, ...] | None = None) -> Array:
    """Indicated work per kg of air over that at best power, of a fuel-air ratio.

    A parabola on each side of best power, none outside the combustible range. Source: NACA Report 189 and SFTE
    ch. 10 for best power and limits; curvatures: from memory. ``room`` is memory for the result and two more arrays.
    """
    strength, edge, spare = room or tuple(empty_like(ratio) for _ in range(3))
    # strength = 1 - (root away)2; of the two roots one is negative, and so is what it gives on the other's side
    away = subtract(ratio, p.best_power_ratio, spare)
    multiply(away, p.lean_root, strength)
    multiply(away, p.rich_root, away)
    maximum(strength, away, out=strength)
    multiply(strength, strength, strength)
    subtract(ONE, strength, strength)
    multiply(ratio, _PER_LEAN, edge)
    subtract(edge, p.lean_end, edge)
    multiply(ratio, _PER_RICH, spare)
    subtract(p.rich_end, spare, spare)
    minimum(edge, spare, out=edge)
    maximum(edge, ZERO, out=edge)
    minimum(edge, ONE, out=edge)
    multiply(strength, edge, strength)
    result: Array = strength
    return result


def work(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Indicated, pumping and friction torques at the crankshaft.

    Indicated work is proportional to dry air (NACA Report 426); residual gas slows the burning at small throttle
    (assumption). Pumping mean pressure is the share ``pumping`` of back
    less manifold pressure (1 inHg = 0.491 psi at most, a unit conversion). Friction torque is linear in speed
    (NACA Report 108); the share of it that follows density goes with manifold pressure (NACA Report 108).
    """
    strength, edge, spare, dry_ratio, turning, *_ = s.room
    found, burn, out = s.found, x.burn, s.mask[0]
    divide(x.fuel_ratio, x.dry, dry_ratio)
    mixture_strength(p, dry_ratio, (strength, edge, spare))
    putmask(burn, less_equal(strength, ZERO, out), ZERO)
    # torque = work m dry strength burn [1 - dilution (pe / pi - 1)]
    torque = divide(s.collector, s.manifold, found.indicated_torque)
    multiply(torque, p.dilution, torque)
    subtract(p.clean_limit, torque, torque)
    maximum(torque, ZERO, out=torque)
    minimum(torque, ONE, out=torque)
    multiply(torque, burn, torque)
    multiply(torque, strength, torque)
    multiply(torque, x.per_radian, torque)
    multiply(torque, x.indicated_work, torque)
    x.indicated_torque = torque
    sign(s.crank, turning)
    pumping = subtract(s.collector, s.manifold, found.pumping_torque)
    multiply(pumping, p.pumping_swept, pumping)
    multiply(pumping, turning, pumping)
    rubbing = multiply(s.crank, p.friction_slope, found.friction_torque)
    add(rubbing, p.friction_rest, rubbing)
    multiply(rubbing, turning, rubbing)
    if p.friction_follows_density:
        multiply(p.load_slope, s.manifold, spare)
        add(spare, p.load_free, spare)
        multiply(rubbing, spare, rubbing)
    x.pumping_torque, x.friction_torque = pumping, rubbing


def gas_temperatures(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Targets of collector gas temperature and cylinder head temperature.

    The collector is hottest near the chemically correct mixture and cooler on both sides; small flows lose more of
    their heat: shape from SFTE ch. 10, sizes assumed. The head rises above the cooling air with the square root of
    fuel burned and falls with cooling air: assumption.
    """
    found, spare = s.found, s.room[0]
    # T = Tc + (peak - Tc) burn m / (m + m0)
    peak = subtract(x.fuel_ratio, _CORRECT, found.gas_temperature)
    multiply(peak, peak, peak)
    add(peak, _WIDTH, peak)
    sqrt(peak, peak)
    multiply(peak, p.gas_mixture_slope, peak)
    subtract(p.gas_peak, peak, peak)
    subtract(peak, s.charge_temperature, peak)
    burning = multiply(x.air_flow, x.burn, found.head_temperature)
    multiply(peak, burning, peak)
    divide(peak, add(x.air_flow, p.gas_cooling_flow, spare), peak)
    add(peak, s.charge_temperature, peak)
    # T = Ta + gain sqrt(m burn)
    sqrt(burning, burning)
    multiply(burning, x.head_gain, burning)
    add(burning, air.temperature, burning)
    x.gas_temperature, x.head_temperature = peak, burning
