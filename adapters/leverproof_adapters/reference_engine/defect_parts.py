"""Wrong parts for seeded defects: each is one equation replaced, kept apart from the honest engine."""

from __future__ import annotations

import math

import numpy as np

from leverproof.quantities import convert
from leverproof_adapters.reference_engine import conditions, cylinder, gas_path, propeller
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State
from leverproof_adapters.reference_engine.surroundings import surroundings

_INHG = convert(1.0, "inHg", "Pa")


def with_lever(levers: Levers, name: str, position: Array) -> Levers:
    """The levers with one of them elsewhere."""
    changed = Levers()
    for each in Levers.__slots__:
        setattr(changed, each, getattr(levers, each))
    setattr(changed, name, position)
    return changed


def power_from_pressure(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Brake torque a straight line of manifold pressure, whatever temperature and back pressure are."""
    cylinder.work(p, s, levers, air, x)
    swept = p.displacement / (4.0 * math.pi)
    line = 9.8 * swept * (s.manifold - 25.0e3)
    x.indicated_torque = x.burn * (line + x.friction_torque + x.pumping_torque + x.blower_torque)


def boost_opens_throttle(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The boost lever adds to the throttle's opening."""
    mixed = np.minimum(levers.throttle * (0.75 + 0.5 * levers.boost), 1.0)
    return conditions.given(p, with_lever(levers, "throttle", mixed), air)


def gate_half_open(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The gate stands half open whatever the lever asks."""
    s.gate = np.full_like(s.gate, 0.5)


def lever_turns_turbo(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Turbine torque from the gate position alone: no exhaust needed."""
    x.turbine_torque = 60.0 * (1.0 - s.gate) * np.maximum(1.0 - s.turbo * (1.0 / 2600.0), 0.0)


def ambient_back_pressure(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Cylinders and gauge see ambient pressure behind the exhaust valves."""
    gas_path.exhaust(p, s, levers, air, x)
    x.back_pressure = air.pressure


def turbine_of_its_own_pressure(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The turbine driven by a collector pressure that the cylinders never feel."""
    felt = s.collector
    root = np.sqrt(s.gas_temperature)
    s.collector = gas_path.outflow_pressure(x.gas_flow, root, x.exhaust_conductance, air.pressure)
    gas_path.turbine(p, s, levers, air, x)
    s.collector = felt


def free_geared_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The geared stage compresses for nothing."""
    gas_path.geared_stage(p, s, levers, air, x)
    x.blower_torque = np.zeros_like(x.blower_torque)


def half_priced_geared_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The geared stage takes half of its drive torque."""
    gas_path.geared_stage(p, s, levers, air, x)
    x.blower_torque = 0.5 * x.blower_torque


def steep_lapse(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """Temperature falls by 2.2 K a thousand feet instead of 1.98."""
    return surroundings(p, altitude, offset - 0.00022 * altitude, humidity, airspeed)


def inch_per_thousand_feet(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """One inch of mercury a thousand feet at every height, down to a floor."""
    air = surroundings(p, altitude, offset, humidity, airspeed)
    wrong = np.maximum(29.92 - 0.001 * altitude, 3.0) * _INHG
    ratio = wrong / air.pressure
    for name in ("pressure", "ram_pressure", "density"):
        setattr(air, name, getattr(air, name) * ratio)
    return air


def standard_day_always(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """The temperature offset never reaches the engine."""
    return surroundings(p, altitude, 0.0 * offset, humidity, airspeed)


def dry_always(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """Humidity never reaches the engine."""
    return surroundings(p, altitude, offset, 0.0 * humidity, airspeed)


def lever_sets_turbo_speed(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Turbo speed a share of its limit equal to the boost position."""
    s.turbo = s.turbo + pace.gate * (p.turbo_limit * s.boost * (s.crank > p.firing_from) - s.turbo)


def lever_sets_light(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The light read off the boost lever's position."""
    within = np.append(0.0, p.light_edges + 1.0)
    zone = np.minimum(np.floor(s.boost * len(within)), len(within) - 1.0)
    s.felt_speed = within[zone.astype(np.intp)]


def drooping_governor(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """A governor without its integral spring seat: speed sags with load, about 3 % at rated flow."""
    sag = 1.0 - 0.03 * x.air_flow * (1.0 / p.rated_flow)
    asked = x.speed_asked
    x.speed_asked = asked * sag
    propeller.governor(p, s, levers, air, x, pace)
    x.speed_asked = asked


def fixed_blades(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Blades that never move."""
    s.blade = np.full_like(s.blade, 20.0)


def cut_off_is_lean(p: Coefficients, levers: Levers, air: Air) -> Point:
    """Cut-off still meters fuel."""
    return conditions.given(p, with_lever(levers, "mixture", np.maximum(levers.mixture, 1.0)), air)


def lean_and_rich_swapped(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The lean and the full rich positions exchanged."""
    swapped = np.where(levers.mixture < 0.5, 0.0, 4.0 - levers.mixture)
    return conditions.given(p, with_lever(levers, "mixture", swapped), air)


def shutter_left_open(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The shutter lever moves nothing."""
    always = np.ones_like(levers.intercooler_shutter)
    return conditions.given(p, with_lever(levers, "intercooler_shutter", always), air)


def charge_always_warm(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Charge flow computed with one charge temperature for all conditions."""
    actual = s.charge_temperature
    s.charge_temperature = np.full_like(actual, 350.0)
    cylinder.charge_flow(p, s, levers, air, x)
    s.charge_temperature = actual


def levers_unlinked(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The link or the coordination lever does nothing."""
    loose = with_lever(levers, "lever_link", np.zeros_like(levers.lever_link))
    return conditions.given(p, with_lever(loose, "coordination", np.zeros_like(levers.coordination)), air)


def pressure_never_beyond_rating(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """A relief valve nobody fitted: manifold pressure stops at 52 inHg whatever the levers ask."""
    gas_path.induction(p, s, levers, air, x)
    x.manifold_pressure = np.minimum(x.manifold_pressure, 52.0 * _INHG)


def metric_horsepower(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Power in metric horsepower (75 kgf.m/s), labelled hp."""
    readings["brake_power"] = readings["brake_power"] * (550.0 * 0.3048 * 4.4482216152605 / (75.0 * 9.80665))


def torque_in_newton_metres(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Torque in N.m, labelled lbf.ft."""
    readings["torque"] = readings["torque"] * convert(1.0, "lbf.ft", "N.m")


def light_inverted(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """On for off and off for on."""
    readings["turbo_overspeed_light"] = 2.0 - readings["turbo_overspeed_light"]


def vacuum_when_stopped(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """The gauge of a stopped engine reads nothing."""
    readings["manifold_pressure"] = np.where(s.crank > 0.0, readings["manifold_pressure"], 0.0)


def low_when_stopped(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """The gauge of a stopped engine reads a throttled pressure."""
    reading = readings["manifold_pressure"]
    readings["manifold_pressure"] = np.where(s.crank > 0.0, reading, 0.97 * reading)


def back_pressure_copied(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """The back pressure gauge piped to the carburettor deck."""
    readings["exhaust_back_pressure"] = readings["carburettor_deck_pressure"]


def gate_inverted(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Shut shown as open."""
    readings["wastegate_opening"] = 1.0 - readings["wastegate_opening"]
