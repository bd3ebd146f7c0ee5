"""Seeded defects of torque, fuel, altitude performance and steadiness; and their wrong parts."""

from __future__ import annotations

import numpy as np

from leverproof.atmosphere import SEA_LEVEL_DENSITY
from leverproof_adapters.reference_engine import controls, cylinder, gas_path
from leverproof_adapters.reference_engine.defect_parts import with_lever
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.seeding import EARLY, Defect, other_coefficients, other_parts
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

_SLACK = 0.06
_CREEP = 1.0e-4
_GALLON = 6.0
_STICKS_ABOVE, _FREED_BELOW = 0.62, 0.12


def one_mechanical_efficiency(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Friction and pumping a fixed share of the indicated torque, right at take-off."""
    cylinder.work(p, s, levers, air, x)
    lost = x.friction_torque + x.pumping_torque + x.blower_torque
    shared = 0.14 * x.indicated_torque
    x.indicated_torque = np.where(x.burn > 0.5, x.indicated_torque + lost - shared, x.indicated_torque)


def power_by_pressure_alone(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Power a straight line of manifold pressure whatever the rpm, as at nine tenths of rated rpm."""
    cylinder.work(p, s, levers, air, x)
    ratio = 0.9 * p.rated_speed / np.maximum(s.crank, 0.3 * p.rated_speed)
    lost = x.friction_torque + x.pumping_torque + x.blower_torque
    net = (x.indicated_torque - lost) * ratio
    x.indicated_torque = np.where(x.burn > 0.5, net + lost, x.indicated_torque)


def fuel_in_gallons(p: Parameters, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Fuel flow in US gallons an hour, labelled lb/h."""
    readings["fuel_flow"] = readings["fuel_flow"] * (1.0 / _GALLON)


def mixture_by_outside_density(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Fuel metered by volume of the air outside: the thinner it is, the richer."""
    cylinder.mixture(p, s, levers, air, x)
    richer = np.minimum(SEA_LEVEL_DENSITY / np.minimum(air.density, SEA_LEVEL_DENSITY), 1.45)
    x.fuel_ratio = x.fuel_ratio * richer
    x.fuel_flow = x.fuel_ratio * x.air_flow


def geared_stage_never_out_of_breath(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """An engine above its full-throttle height keeps the deck pressure it had there."""
    held = np.maximum(x.deck_pressure, 6.2e4)
    x.deck_pressure = np.where(s.crank > 0.5 * p.rated_speed, held, x.deck_pressure)
    gas_path.induction(p, s, levers, air, x)


def slack_in_the_throttle(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The throttle follows its lever only beyond a slack in the linkage."""
    asked, _ = controls.asked_positions(p, levers)
    half = 0.5 * _SLACK * (1.0 - np.abs(2.0 * asked - 1.0))
    followed = np.minimum(np.maximum(s.throttle, asked - half), asked + half)
    controls.actuators(p, s, with_lever(levers, "throttle", followed), air, x, pace)


def creeping_throttle(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The friction lock slips: vibration lets the throttle back from where its lever was put, further with time.

    How far it has slipped is carried where the speed servo of the other set keeps its integral."""
    s.servo = np.where(s.crank > 0.0, s.servo + pace.dt * _CREEP, s.servo)
    slipped = np.maximum(levers.throttle - s.servo, 0.0)
    controls.actuators(p, s, with_lever(levers, "throttle", slipped), air, x, pace)


def enrichment_sticks(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The power enrichment valve opens at high flow and sticks until the flow is next to idle.

    Whether it is open is carried where the speed servo of the other set keeps its integral."""
    cylinder.mixture(p, s, levers, air, x)
    load = x.air_flow * (1.0 / p.rated_flow)
    s.servo = np.where(load > _STICKS_ABOVE, 1.0, np.where(load < _FREED_BELOW, 0.0, s.servo))
    stuck = (s.servo > 0.9) & (x.fuel_ratio > 0.0)
    x.fuel_ratio = x.fuel_ratio * np.where(stuck, 1.08, 1.0)
    x.fuel_flow = x.fuel_ratio * x.air_flow


POWER_DEFECTS = (
    Defect(
        "one-mechanical-efficiency",
        "small",
        "Friction and pumping are a fixed share of the work, so that torque begins at no manifold pressure.",
        other_parts(work=one_mechanical_efficiency),
        fires=("torque-by-pressure",),
    ),
    Defect(
        "power-by-pressure-alone",
        "large",
        "Power is read off manifold pressure alone: rpm does not matter.",
        other_parts(work=power_by_pressure_alone),
        fires=("pressure-for-one-power",),
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
        other_coefficients(lean_fall=5.0),
        fires=("lean-saves-fuel",),
    ),
    Defect(
        "mixture-by-outside-density",
        "large",
        "Fuel is metered by the density outside and not by the charge, so that height floods the engine.",
        other_parts(mixture=mixture_by_outside_density),
        ("rill-6t",),
        fires=("full-rich-climb", "power-held-below-critical"),
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
        "slack-in-the-throttle",
        "small",
        "The throttle follows its lever only beyond a slack in the linkage, three hundredths either way.",
        other_parts(actuators=slack_in_the_throttle),
        fires=("same-setting-same-reading",),
    ),
    Defect(
        "throttle-creeps",
        "small",
        "The friction lock slips: the throttle goes back by a hundredth of its travel in a hundred seconds.",
        other_parts(actuators=creeping_throttle),
        EARLY,
        fires=("two-minutes-at-each-rating",),
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
