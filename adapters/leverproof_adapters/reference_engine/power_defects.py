"""Seeded defects of torque, fuel, altitude performance and steadiness; and their wrong parts."""

from __future__ import annotations

import numpy as np

from leverproof.atmosphere import SEA_LEVEL_DENSITY
from leverproof.quantities import convert
from leverproof_adapters.reference_engine import conditions, controls, cylinder, gas_path
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.defect_parts import with_lever
from leverproof_adapters.reference_engine.seeding import EARLY, Defect, other_coefficients, other_parts
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

_OPENS_ABOVE, _SHUTS_BELOW = 0.55, 0.05
_CREEP, _HOLDS = 2.0e-4, 120.0
_GALLON = 6.0
_IDLE_SHARE = 0.125
_PER_LB_H = 1.0 / convert(1.0, "lb/h", "kg/s")
_PER_INHG = 1.0 / convert(1.0, "inHg", "Pa")
_STICKS_ABOVE, _FREED_BELOW = 0.62, 0.12


def one_mechanical_efficiency(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Friction and pumping a fixed share of the indicated torque, right at take-off."""
    cylinder.work(p, s, levers, air, x)
    lost = x.friction_torque + x.pumping_torque + x.blower_torque
    shared = 0.14 * x.indicated_torque
    x.indicated_torque = np.where(x.burn > 0.5, x.indicated_torque + lost - shared, x.indicated_torque)


def power_by_pressure_alone(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Power a straight line of manifold pressure whatever the rpm, as at nine tenths of rated rpm."""
    cylinder.work(p, s, levers, air, x)
    ratio = 0.9 * p.rated_speed / np.maximum(s.crank, 0.3 * p.rated_speed)
    lost = x.friction_torque + x.pumping_torque + x.blower_torque
    net = (x.indicated_torque - lost) * ratio
    x.indicated_torque = np.where(x.burn > 0.5, net + lost, x.indicated_torque)


def fuel_in_gallons(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Fuel flow in US gallons an hour, labelled lb/h."""
    readings["fuel_flow"] = readings["fuel_flow"] * (1.0 / _GALLON)


def idle_jet_rich(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Fuel flow never below an eighth of that at take-off as long as fuel is on."""
    least = _IDLE_SHARE * p.rated_flow * (p.auto_rich_ratio + p.auto_rich_power) * _PER_LB_H
    burning = (x.fuel_flow > 0.0) & (s.crank > 0.0)
    readings["fuel_flow"] = np.where(burning, np.maximum(readings["fuel_flow"], least), readings["fuel_flow"])


def gauge_leaks_at_idle(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """The gauge's pipe leaks, and shows it where the manifold flows least."""
    leak = 0.6 * (x.air_flow < 0.12 * p.rated_flow) * (x.fuel_flow > 0.0)
    shown = readings["manifold_pressure"]
    readings["manifold_pressure"] = shown + leak * (air.pressure * _PER_INHG - shown)


def lever_reversed(p: Coefficients, levers: Levers, air: Air) -> Point:
    """Forward is coarse: full forward stands where full back should."""
    return conditions.given(p, with_lever(levers, "propeller", 1.0 - levers.propeller), air)


def mixture_by_outside_density(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Fuel metered by volume of the air outside: the thinner it is, the richer."""
    cylinder.mixture(p, s, levers, air, x)
    richer = np.minimum(SEA_LEVEL_DENSITY / np.minimum(air.density, SEA_LEVEL_DENSITY), 1.45)
    x.fuel_ratio = x.fuel_ratio * richer
    x.fuel_flow = x.fuel_ratio * x.air_flow


def geared_stage_never_out_of_breath(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """An engine above its full-throttle height keeps the deck pressure it had there."""
    held = np.maximum(x.deck_pressure, 6.2e4)
    x.deck_pressure = np.where(s.crank > 0.5 * p.rated_speed, held, x.deck_pressure)
    gas_path.induction(p, s, levers, air, x)


def door_latches(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """An alternate air door is sucked open at a wide throttle and stays open until the throttle is next to closed.

    Whether it is open is carried where the speed servo of the other set keeps its integral."""
    gas_path.induction(p, s, levers, air, x)
    s.servo = np.where(s.throttle > _OPENS_ABOVE, 1.0, np.where(s.throttle < _SHUTS_BELOW, 0.0, s.servo))
    fed = (s.servo > 0.9) & (s.crank > 0.0)
    x.manifold_pressure = x.manifold_pressure * np.where(fed, 1.03, 1.0)


def creeping_throttle(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The friction lock works loose: from two minutes on, vibration lets the throttle back from where it was put.

    The time is carried where the speed servo of the other set keeps its integral."""
    s.servo = np.where(s.crank > 0.0, s.servo + pace.dt, s.servo)
    asked = x.throttle_asked
    x.throttle_asked = np.maximum(asked - _CREEP * np.maximum(s.servo - _HOLDS, 0.0), 0.0)
    controls.actuators(p, s, levers, air, x, pace)
    x.throttle_asked = asked


def enrichment_sticks(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The power enrichment valve opens at high flow and sticks until the flow is next to idle.

    Whether it is open is carried where the speed servo of the other set keeps its integral."""
    cylinder.mixture(p, s, levers, air, x)
    load = x.air_flow * (1.0 / p.rated_flow)
    s.servo = np.where(load > _STICKS_ABOVE, 1.0, np.where(load < _FREED_BELOW, 0.0, s.servo))
    stuck = (s.servo > 0.9) & (x.fuel_ratio > 0.0)
    x.fuel_ratio = x.fuel_ratio * np.where(stuck, 1.05, 1.0)
    x.fuel_flow = x.fuel_ratio * x.air_flow


POWER_DEFECTS = (
    Defect(
        "idle-jet-rich",
        "small",
        "Fuel with the throttle closed is an eighth of that at take-off.",
        other_parts(readings=idle_jet_rich),
        fires=("idle-fuel-flow",),
    ),
    Defect(
        "gauge-leaks-at-idle",
        "small",
        "The pipe of the manifold pressure gauge leaks, which shows at idle.",
        other_parts(readings=gauge_leaks_at_idle),
        fires=("idle-speed",),
    ),
    Defect(
        "propeller-lever-reversed",
        "large",
        "Forward on the propeller lever is coarse.",
        other_parts(given=lever_reversed),
        fires=(  # full forward is three fifths of rated rpm: what asks for rated rpm or for much boost has neither
            "back-pressure-and-power",
            "boost-ahead",
            "constant-speed-range",
            "fuel-by-power-setting",
            "idle-fuel-flow",
            "lever-link",
            "linked-by-hand-low",
            "pressure-above-critical",
            "pressure-for-one-power",
            "rpm-pulled-back",
            "specific-consumption",
            "split-lever-size",
            "take-off-boost-back",
            "temperature-exponent",
            "turbo-follows-exhaust",
        ),
        may_fire=("shutter-fixed-levers",),
    ),
    Defect(
        "one-mechanical-efficiency",
        "small",
        "Friction and pumping are a fixed share of the work, so that torque begins at no manifold pressure.",
        other_parts(work=one_mechanical_efficiency),
        fires=(
            "back-pressure-and-power",
            "fuel-by-power-setting",
            "idle-speed",
            "start-from-rest",
            "torque-by-pressure",
        ),
        may_fire=("back-pressure-felt",),
    ),
    Defect(
        "power-by-pressure-alone",
        "large",
        "Power is read off manifold pressure alone: rpm does not matter.",
        other_parts(work=power_by_pressure_alone),
        fires=("fuel-by-power-setting", "pressure-for-one-power", "specific-consumption", "take-off-boost-back"),
        may_fire=("idle-speed", "maximum-continuous-power"),
    ),
    Defect(
        "fuel-in-gallons",
        "large",
        "Fuel flow is computed in US gallons an hour and labelled lb/h.",
        other_parts(readings=fuel_in_gallons),
        fires=("specific-consumption",),
    ),
    Defect(
        "lean-burns-badly",
        "small",
        "Auto lean is beyond its best economy: it loses more power than it saves fuel.",
        other_coefficients(lean_fall=4.0),
        fires=("lean-saves-fuel",),
    ),
    Defect(
        "mixture-by-outside-density",
        "large",
        "Fuel is metered by the density outside and not by the charge, so that height floods the engine.",
        other_parts(mixture=mixture_by_outside_density),
        ("rill-6t",),
        fires=(
            "automatic-critical-altitude",
            "automatic-waste-gate",
            "climb-power",
            "power-held-below-critical",
            "temperature-exponent",
        ),
    ),
    Defect(
        "geared-stage-never-out-of-breath",
        "large",
        "Above its full-throttle height the geared engine keeps the deck pressure it had there.",
        other_parts(induction=geared_stage_never_out_of_breath),
        ("corrie-14",),
        fires=("power-above-full-throttle-height",),
    ),
    Defect(
        "alternate-air-door-latches",
        "small",
        "An alternate air door, once a wide throttle has sucked it open, stays open until the throttle is closed.",
        other_parts(induction=door_latches),
        EARLY,
        fires=("path-of-the-levers", "power-up-and-down"),
    ),
    Defect(
        "throttle-creeps",
        "small",
        "The friction lock works loose after two minutes: the throttle then goes back by a hundredth in 50 s.",
        other_parts(actuators=creeping_throttle),
        EARLY,
        fires=("power-up-and-down", "two-minutes-at-each-rating"),
    ),
    Defect(
        "enrichment-sticks",
        "small",
        "The power enrichment valve, once it has opened, sticks until the engine idles.",
        other_parts(mixture=enrichment_sticks),
        EARLY,
        fires=("path-of-the-levers",),
    ),
)
