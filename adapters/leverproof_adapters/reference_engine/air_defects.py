"""Seeded defects of the air an engine is fed, of gauges at rest, and of ram; and their wrong parts."""

from __future__ import annotations

import numpy as np

from leverproof import atmosphere
from leverproof.quantities import convert
from leverproof_adapters.reference_engine import conditions, gas_path, shafts
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.seeding import BOTH, Defect, other_coefficients, other_parts
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Part, Point, State
from leverproof_adapters.reference_engine.surroundings import surroundings

_FOOT = convert(1.0, "ft", "m")
_ZERO_C = 273.15
_PER_INHG = 1.0 / convert(1.0, "inHg", "Pa")
_FEW_HEIGHTS = np.array([-5_000.0, 0.0, 5_000.0, 10_000.0, 20_000.0, 30_000.0, 60_000.0])
_RAM_SPEED = convert(250.0, "kt", "m/s")


def with_air(air: Air, **changed: Array) -> Air:
    """The air with some of it otherwise."""
    other = Air()
    for name in Air.__slots__:
        setattr(other, name, changed.get(name, getattr(air, name)))
    return other


def at_pressure(air: Air, pressure: Array) -> Air:
    """The air at another static pressure."""
    ratio = pressure / air.pressure
    return with_air(air, pressure=pressure, ram_pressure=air.ram_pressure * ratio, density=air.density * ratio)


def no_air_above_standard(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """Heights below sea level cut off at sea level, so that no day has a higher pressure than the standard one."""
    return surroundings(p, np.maximum(altitude, 0.0), offset, humidity, airspeed)


def nothing_denser_breathed(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The intake is fed from a table of pressure by height that begins at sea level; the gauges outside go on."""
    x = conditions.given(p, levers, air)
    x.inlet_pressure = x.inlet_pressure * np.minimum(atmosphere.SEA_LEVEL_PRESSURE / air.pressure, 1.0)
    return x


def vapour_taken_off(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """Static pressure less the pressure of the vapour in it."""
    air = surroundings(p, altitude, offset, humidity, airspeed)
    return at_pressure(air, air.pressure * air.dry_share)


def pressure_of_true_height(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """The pressure altitude taken for a true height in a column of air as warm as the day."""
    air = surroundings(p, altitude, offset, humidity, airspeed)
    standard = np.asarray(atmosphere.temperature(altitude * _FOOT))
    mean = 0.5 * (standard + atmosphere.SEA_LEVEL_TEMPERATURE)
    pressure = np.asarray(atmosphere.pressure(altitude * _FOOT * mean / (mean + offset)))
    return at_pressure(air, pressure)


def air_between_few_points(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """Static pressure read off a short table of heights, by straight lines."""
    air = surroundings(p, altitude, offset, humidity, airspeed)
    table = np.asarray(atmosphere.pressure(_FEW_HEIGHTS * _FOOT))
    return at_pressure(air, np.interp(altitude, _FEW_HEIGHTS, table))


def air_in_steps(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """The air of the whole thousand feet below."""
    return surroundings(p, 1000.0 * np.floor(altitude * 0.001), offset, humidity, airspeed)


def ram_by_the_speed(p: Parameters, altitude: Array, offset: Array, humidity: Array, airspeed: Array) -> Air:
    """Ram pressure in proportion to airspeed instead of its square, right at 250 kt."""
    air = surroundings(p, altitude, offset, humidity, airspeed)
    rise = air.ram_pressure - air.pressure
    wrong = rise * _RAM_SPEED / np.maximum(air.speed, 1.0)
    return with_air(air, ram_pressure=air.pressure + wrong)


def standard_air_at_the_intake(p: Coefficients, levers: Levers, air: Air) -> Point:
    """What is given, with the intake in standard air; the thermometer outside shows the day."""
    return conditions.given(p, levers, with_air(air, ram_temperature=air.ram_temperature * _standard(air)))


def standard_air_breathed(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The compressor is fed standard air."""
    gas_path.turbo_stage(p, s, levers, _standard_while_turning(s, air), x)


def standard_air_cools(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The intercooler is cooled by standard air too."""
    gas_path.intercooler(p, s, levers, _standard_while_turning(s, air), x)


def _standard(air: Air) -> Array:
    metres = np.asarray(atmosphere.pressure_altitude(air.pressure))
    return np.asarray(atmosphere.temperature(metres)) / air.temperature


def _standard_while_turning(s: State, air: Air) -> Air:
    share = np.where(s.crank > 0.0, _standard(air), 1.0)
    return with_air(air, ram_temperature=air.ram_temperature * share)


def intake_at_sea_level(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The carburettor is fed with the pressure at sea level at every height, once the engine turns."""
    fed = np.where(s.crank > 0.0, atmosphere.SEA_LEVEL_PRESSURE, x.inlet_pressure)
    x.deck_pressure = fed - x.inlet_loss * x.air_flow * x.air_flow
    x.outlet_temperature = air.ram_temperature


def thick_air_for_propeller(p: Coefficients, levers: Levers, air: Air) -> Point:
    """The propeller works in air of sea-level density at every height."""
    x = conditions.given(p, levers, air)
    x.blade_pressure = x.blade_pressure * (atmosphere.SEA_LEVEL_DENSITY / air.density)
    return x


def gauge_latched_at_rest(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Manifold pressure is moved by the engine only: at rest it stays what it was when the engine came to rest."""
    held = s.manifold.copy()
    shafts.lags(p, s, levers, air, x, pace)
    s.manifold = np.where(s.crank > 0.0, s.manifold, held)


def static_port_in_the_slipstream(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """The static port takes a fifth of the ram."""
    readings["ambient_pressure"] = (air.pressure + 0.2 * (air.ram_pressure - air.pressure)) * _PER_INHG


def fuel_flows_at_rest(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Fuel flow read off the throttle position, whether the engine turns or not."""
    asked = 100.0 * s.throttle
    readings["fuel_flow"] = np.where(s.crank > 0.0, readings["fuel_flow"], asked)


def heads_warm_at_rest(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """The head temperature gauge of a stopped engine reads 15 degC on any day."""
    shown = readings["cylinder_head_temperature"]
    readings["cylinder_head_temperature"] = np.where(s.crank > 0.0, shown, 15.0)


_BREATHED: Part = standard_air_breathed
STILL = ("stopped-engine-still",)

AIR_DEFECTS = (
    Defect(
        "no-air-above-standard",
        "small",
        "Heights below sea level are cut off at sea level: no day has a higher pressure than the standard one.",
        other_parts(surroundings=no_air_above_standard),
        fires=("below-sea-level",),
    ),
    Defect(
        "nothing-denser-breathed",
        "small",
        "The engine's table of pressure by height begins at sea level; the gauges outside show the high pressure.",
        other_parts(given=nothing_denser_breathed),
        fires=("fixed-levers-on-a-high",),
    ),
    Defect(
        "unsupercharged-engine-ends-at-sea-level",
        "small",
        "The engine's table of pressure by height begins at sea level; the gauges outside show the high pressure.",
        other_parts(given=nothing_denser_breathed),
        ("rill-6",),
        fires=("full-throttle-on-a-high",),
    ),
    Defect(
        "vapour-taken-off-static-pressure",
        "small",
        "The pressure of the water vapour is taken off the static pressure instead of standing in it.",
        other_parts(surroundings=vapour_taken_off),
        fires=("humid-air-at-rest",),
    ),
    Defect(
        "true-height-for-pressure-altitude",
        "large",
        "Pressure altitude is taken for a true height, so that the pressure depends on how warm the day is.",
        other_parts(surroundings=pressure_of_true_height),
        fires=("air-through-a-climb", "standard-atmosphere"),
    ),
    Defect(
        "air-between-few-points",
        "large",
        "Pressure by height is a short table with straight lines between its points, right at the points only.",
        other_parts(surroundings=air_between_few_points),
        fires=("below-sea-level", "standard-atmosphere"),
    ),
    Defect(
        "air-in-steps",
        "large",
        "The air is looked up for the whole thousand feet below, right at those heights only.",
        other_parts(surroundings=air_in_steps),
        fires=("air-through-a-climb", "standard-atmosphere"),
    ),
    Defect(
        "static-port-in-the-slipstream",
        "small",
        "The static port is open to a fifth of the ram.",
        other_parts(readings=static_port_in_the_slipstream),
        fires=("airspeed-leaves-static",),
    ),
    Defect(
        "stopped-gauge-latched",
        "large",
        "The manifold pressure of a stopped engine is what it was when the engine stopped or was loaded.",
        other_parts(lags=gauge_latched_at_rest),
        fires=("stopped-manifold-pressure",),
    ),
    Defect(
        "fuel-flows-at-rest",
        "small",
        "Fuel flow is read off the throttle, whether the engine turns or not.",
        other_parts(readings=fuel_flows_at_rest),
        fires=STILL,
    ),
    Defect(
        "heads-warm-at-rest",
        "small",
        "The head temperature of a stopped engine starts from 15 degC on any day.",
        other_parts(readings=heads_warm_at_rest),
        fires=("stopped-temperatures",),
    ),
    Defect(
        "no-ram",
        "small",
        "Airspeed adds nothing to the pressure at the intake.",
        other_coefficients(ram_recovery=0.0),
        fires=("ram-at-the-deck", "ram-by-the-square"),
    ),
    Defect(
        "ram-by-the-speed",
        "small",
        "Ram pressure grows with airspeed, not with its square.",
        other_parts(surroundings=ram_by_the_speed),
        fires=("ram-by-the-square",),
    ),
    Defect(
        "hot-day-not-breathed",
        "large",
        "The thermometer outside shows the day; the intake is fed standard air.",
        other_parts(given=standard_air_at_the_intake, turbo_stage=_BREATHED, intercooler=standard_air_cools),
        fires=("hot-day-fixed-levers", "temperature-exponent"),
    ),
    Defect(
        "thin-air-unfelt",
        "large",
        "The intake is fed with the pressure at sea level at every height.",
        other_parts(turbo_stage=intake_at_sea_level),
        ("rill-6",),
        fires=("ram-at-the-deck", "ram-by-the-square", "unsupercharged-altitude-power"),
    ),
    Defect(
        "propeller-in-sea-level-air",
        "small",
        "The propeller works in air of sea-level density at every height.",
        other_parts(given=thick_air_for_propeller),
        BOTH,
        fires=("blade-angle-by-height", "field-barometric-run-up"),
    ),
)
