"""What levers and surroundings alone decide: the same in every inner step of a row, so found once for a whole batch.

Every quantity keeps the shape of levers and surroundings, (lanes,) or (rows, lanes).
"""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine.coefficients import AIR_HEAT, Coefficients
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Point

FULL_COOLING_SPEED = 75.0
"""Airspeed (m/s) from which a cooler gets all its cooling air: assumption."""


def given(p: Coefficients, levers: Levers, air: Air) -> Point:
    """A point with what is given, and nothing else."""
    x = Point()
    x.throttle_asked, x.boost_asked = asked_positions(p, levers)
    x.speed_asked = asked_speed(p, levers.propeller)
    mixture_line(p, levers, x)
    intake(p, levers, air, x)
    reach = np.minimum(air.speed * (1.0 / FULL_COOLING_SPEED), 1.0)
    reach = p.cooler_static + (1.0 - p.cooler_static) * reach
    x.cooler_effectiveness = p.cooler_shut + (p.cooler_open * reach - p.cooler_shut) * levers.intercooler_shutter
    x.dry = np.maximum(air.dry_share, 0.5)
    x.indicated_work = p.indicated_work * x.dry
    cooling = np.sqrt((air.speed + 45.0) * air.density * (1.0 / 90.0))
    if p.has_cowl_flaps:
        cooling = cooling * (p.cowl_shut + (1.0 - p.cowl_shut) * levers.cowl_flaps)
    x.head_gain = p.head_gain / (cooling * np.sqrt(p.rated_flow))
    x.airspeed_squared = air.speed * air.speed
    x.blade_pressure = p.blade_lift * air.density
    x.starting = np.any(levers.starter, axis=-1)  # in any lane: saves the others' torque of nought
    return x


def asked_positions(p: Parameters, levers: Levers) -> tuple[Array, Array]:
    """Throttle and boost positions asked of the actuators.

    A mechanical link carries the boost lever with the throttle lever, whatever the height. Automatic coordination
    opens the throttle over the first part of the throttle lever's travel and the boost over the rest, and ignores
    the boost lever. Common practice, no published source.
    """
    throttle, boost = levers.throttle, levers.boost
    if p.has_link:
        boost = np.where(levers.lever_link > 0.5, throttle, boost)
    if p.has_coordination:
        on = levers.coordination > 0.5
        share = p.coordination_share
        first = np.minimum(levers.throttle * (1.0 / share), 1.0)
        rest = np.maximum(levers.throttle - share, 0.0) * (1.0 / (1.0 - share))
        throttle, boost = np.where(on, first, throttle), np.where(on, rest, boost)
    return throttle, boost


def asked_speed(p: Parameters, position: Array) -> Array:
    """Crankshaft speed (rad/s) that a propeller lever position asks of the governor."""
    asked: Array = p.rated_speed * (p.least_governed + (1.0 - p.least_governed) * position)
    return asked


def mixture_line(p: Coefficients, levers: Levers, x: Point) -> None:
    """Fuel-air ratio of a mixture setting as a straight line over flow where that enriches it, and a factor: auto lean
    has its own line, auto rich its own, full rich a factor on it, cut-off the factor nought."""
    setting = levers.mixture
    lean = setting < 1.5
    x.mixture_base = np.where(lean, p.lean_base, p.rich_base)
    x.mixture_gain = np.where(lean, p.lean_gain, p.rich_gain)
    x.mixture_factor = np.where(setting < 0.5, 0.0, np.where(setting < 2.5, 1.0, p.full_rich_factor))


def intake(p: Coefficients, levers: Levers, air: Air, x: Point) -> None:
    """Pressure at the intake, its loss over the square of the flow, density over pressure; of the exhaust-driven wheel
    the head as heat over the square of its speed, and tip Mach number over speed.

    Hot air comes from a jacket inside the cowling and gets no ram (common practice, no published source).
    """
    x.inlet_pressure = air.ram_pressure
    if p.has_carburettor_heat:
        x.inlet_pressure = np.where(levers.carburettor_heat > 0.5, air.pressure, air.ram_pressure)
    x.inlet_loss = p.duct_loss * air.ram_temperature / x.inlet_pressure
    x.inlet_density = p.turbo_density / air.ram_temperature
    x.turbo_head = p.turbo_head * p.turbo_wheel_radius**2 / (AIR_HEAT * air.ram_temperature)
    x.tip_mach = p.turbo_wheel_radius * np.sqrt(p.tip_mach_penalty) / air.sound
