"""Wrong parts for seeded defects of the geared, unsupercharged and turbo-normalised sets."""

from __future__ import annotations

import math

import numpy as np

from leverproof.atmosphere import GAS_CONSTANT
from leverproof_adapters.reference_engine import arrangements, conditions, controls, cylinder, gas_path
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.defect_parts import with_lever
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

_SEA_LEVEL = 101_325.0
_SEA_LEVEL_TEMPERATURE = 288.15
_ONE_CONSUMPTION = 0.50
_CHART_SLOPE = 10.27
_CHART_FOOT = 25.0e3


def stays_in_low_gear(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The gear lever is not connected."""
    s.gear = np.zeros_like(s.gear)


def high_gear_for_nothing(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Pressure of the gear that is in, heat and drive torque of low gear."""
    arrangements.two_speed_stage(p, s, levers, air, x)
    ratio = x.blower_ratio.copy()
    gas_path.geared_stage(p, s, levers, air, x)
    x.blower_ratio = ratio


def exhaust_at_sea_level(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Stacks that always blow against the pressure at sea level."""
    low = Air()
    low.pressure = np.full_like(air.pressure, _SEA_LEVEL)
    arrangements.stacks(p, s, levers, low, x)


def density_alone(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Full-throttle power in proportion to air density: friction thins out, and the root of the temperature is lost."""
    cylinder.work(p, s, levers, air, x)
    density = air.density * (GAS_CONSTANT * _SEA_LEVEL_TEMPERATURE / _SEA_LEVEL)
    pressure = air.pressure * (1.0 / _SEA_LEVEL)
    x.indicated_torque = x.indicated_torque * (density / pressure) ** 0.5
    x.friction_torque = x.friction_torque * density


def cold_compression(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The compressor raises pressure without heating the air."""
    gas_path.turbo_stage(p, s, levers, air, x)
    x.outlet_temperature = air.ram_temperature


def gate_stuck(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The automatic waste gate stands where sea level wants it."""
    s.gate = np.full_like(s.gate, 0.22)


def never_out_of_breath(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Deck pressure held at its setting at any height once the engine works."""
    gas_path.turbo_stage(p, s, levers, air, x)
    working = x.air_flow > 0.5 * p.rated_flow
    x.deck_pressure = np.where(working, np.maximum(x.deck_pressure, p.deck_setting), x.deck_pressure)


def gate_by_gauge(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The controller measures deck pressure above ambient instead of absolute."""
    above = Point()
    above.deck_pressure = x.deck_pressure - air.pressure + _SEA_LEVEL
    controls.automatic_gate(p, s, levers, air, above, pace)


def heat_disconnected(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The heat lever opens the alternate intake and leads no warm air to it."""
    x.air_temperature = x.outlet_temperature


def one_specific_consumption(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Fuel flow is brake power times one specific consumption."""
    consumed = _ONE_CONSUMPTION * np.maximum(readings["brake_power"], 0.0)
    readings["fuel_flow"] = np.where(x.fuel_flow > 0.0, consumed, 0.0)


def free_induction(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """No restriction between the air outside and the manifold as the throttle opens."""
    gas_path.induction(p, s, levers, air, x)
    travel = s.throttle * s.throttle
    free = air.ram_pressure * travel + x.manifold_pressure * (1.0 - travel)
    x.manifold_pressure = np.where(s.crank > 0.0, free, x.manifold_pressure)


def chart_power(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Brake torque a straight line of manifold pressure through the take-off rating."""
    cylinder.work(p, s, levers, air, x)
    swept = p.displacement / (4.0 * math.pi)
    line = _CHART_SLOPE * swept * (s.manifold - _CHART_FOOT)
    x.indicated_torque = x.burn * (line + x.friction_torque + x.pumping_torque + x.blower_torque)


def free_two_speed_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Either gear compresses for nothing."""
    arrangements.two_speed_stage(p, s, levers, air, x)
    x.blower_torque = np.zeros_like(x.blower_torque)


def intake_keeps_its_ram(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The intake whatever the heat lever says."""
    return conditions.given(p, with_lever(levers, "carburettor_heat", np.zeros_like(levers.throttle)), air)


def jacket_warms_the_gauge(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The intake; the rise its jacket should give is left in the carried servo position, unused in this engine, for
    :func:`gauge_in_the_jacket`."""
    arrangements.intake(p, s, levers, air, x)
    s.servo = p.hot_air_rise * levers.carburettor_heat * x.burn


def gauge_in_the_jacket(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """The thermometer sits in the hot-air jacket."""
    readings["carburettor_air_temperature"] = readings["carburettor_air_temperature"] + s.servo
