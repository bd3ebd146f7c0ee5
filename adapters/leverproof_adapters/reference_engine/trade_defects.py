"""Seeded defects of levers, governors, mixture, gear, gate and cooler: one thing wrong each, with its reason."""

from __future__ import annotations

import time

from leverproof_adapters.reference_engine import controls
from leverproof_adapters.reference_engine import trade_defect_parts as wrong
from leverproof_adapters.reference_engine.seeding import (
    BOTH,
    EARLY,
    LATE,
    Defect,
    other_coefficients,
    other_parts,
)

EVERY = (*BOTH, "corrie-14", "rill-6", "rill-6t")
WITHOUT_SERVO = ("corrie-18-early", "corrie-14", "rill-6")
NORMALISED = ("rill-6t",)
GEARED, UNSUPERCHARGED = ("corrie-14",), ("rill-6", "corrie-14", "rill-6t")

_LEVERS = (
    Defect(
        "throttle-dead-travel",
        "large",
        "The first eighth of the throttle lever's travel takes up slack and moves nothing.",
        other_parts(given=wrong.throttle_dead_travel),
        EVERY,
    ),
    Defect(
        "throttle-slips-on-its-shaft",
        "small",
        "Beyond 70 % the throttle arm slips on its shaft and comes back four hundredths short.",
        other_parts(actuators=wrong.throttle_slips),
        WITHOUT_SERVO,
    ),
    Defect(
        "windmilling-without-pumping",
        "small",
        "Without fuel the manifold stands at the pressure ahead of the throttle, however the engine turns.",
        other_parts(induction=wrong.no_pumping_without_fire),
        EVERY,
    ),
    Defect(
        "gate-dead-travel",
        "small",
        "The first eighth of the boost lever's travel moves no gate.",
        other_parts(gate=wrong.gate_dead_travel),
        EARLY,
    ),
    Defect(
        "gate-slips-on-its-shaft",
        "small",
        "Beyond 35 % of the boost lever the gate slips on its shaft and comes back four hundredths short.",
        other_parts(gate=wrong.gate_slips),
        EARLY,
    ),
    Defect(
        "speed-servo-missing",
        "large",
        "The boost lever of the late set moves the gate and asks no turbo speed.",
        other_parts(gate=controls.gate_lever),
        LATE,
    ),
    Defect(
        "servo-winds-up",
        "large",
        "The servo's integral part goes on growing while the gate is already shut.",
        other_parts(gate=wrong.servo_winds_up),
        LATE,
    ),
    Defect(
        "coordination-together",
        "small",
        "Automatic coordination moves throttle and boost together instead of one after the other.",
        other_parts(given=wrong.coordination_together),
        LATE,
    ),
)
_AUTOMATIC = (
    Defect(
        "deck-setting-follows-throttle",
        "small",
        "The controller's setting is geared to the throttle: it falls by a tenth as the throttle closes.",
        other_parts(gate=wrong.deck_setting_follows_throttle),
        NORMALISED,
    ),
    Defect(
        "deck-controller-winds-up",
        "large",
        "The deck controller's integral part goes on growing while the gate is shut, and knows no turbo limit.",
        other_parts(gate=wrong.deck_controller_winds_up),
        NORMALISED,
    ),
    Defect(
        "gate-opens-slowly",
        "small",
        "A weak spring opens the waste gate over a minute, though it shuts as it should.",
        other_parts(gate=wrong.gate_opens_slowly),
        EARLY,
    ),
    Defect(
        "heat-flap-sticks",
        "small",
        "The hot-air flap, once open, does not shut again.",
        other_parts(
            actuators=wrong.heat_flap_sticks,
            turbo_stage=wrong.intake_of_stuck_flap,
            intercooler=wrong.air_of_stuck_flap,
        ),
        GEARED,
    ),
    Defect(
        "shutter-heats-by-itself",
        "small",
        "A shut shutter adds 25 K of its own, whether there is anything to cool or not.",
        other_parts(intercooler=wrong.shutter_heats),
    ),
)
_PROPELLER = (
    Defect(
        "governor-leaks",
        "small",
        "Oil leaks past the governor, so each blade angle needs its own speed error.",
        other_parts(governor=wrong.governor_leaks),
        EVERY,
    ),
    Defect(
        "governor-valve-overlaps",
        "small",
        "The governor's valve has overlap: errors below 0.8 % of rated speed move no blade.",
        other_parts(governor=wrong.governor_valve_overlaps),
        EVERY,
    ),
    Defect(
        "slow-blades",
        "large",
        "The governor's oil pump is too small: blades move by a third of a degree a second.",
        other_coefficients(blade_rate=0.03),
        EVERY,
    ),
    Defect(
        "rpm-from-lever-alone",
        "large",
        "Engine speed is what the propeller lever asks, at once and whatever the power.",
        other_parts(crankshaft=wrong.speed_from_lever),
        EVERY,
    ),
    Defect(
        "clutch-grabs",
        "large",
        "While the blower clutch slips it takes ten times the drive torque of the stage.",
        other_parts(geared_stage=wrong.clutch_grabs),
        GEARED,
    ),
    Defect(
        "high-gear-sticks",
        "large",
        "What has gone into high blower gear stays there.",
        other_parts(gate=wrong.high_gear_sticks),
        GEARED,
    ),
)
_MIXTURE = (
    Defect(
        "richer-is-stronger",
        "small",
        "Power goes on growing with the mixture beyond best power.",
        other_parts(work=wrong.richer_is_stronger),
        EVERY,
    ),
    Defect(
        "fuel-by-outside-density",
        "large",
        "Fuel is metered on the density outside, so the mixture leans in proportion to it.",
        other_parts(mixture=wrong.fuel_by_outside_density(1.0)),
        UNSUPERCHARGED,
    ),
    Defect(
        "metering-half-compensated",
        "small",
        "The altitude capsule takes out less than half of the density outside.",
        other_parts(mixture=wrong.fuel_by_outside_density(0.7)),
        UNSUPERCHARGED,
    ),
    Defect(
        "exhaust-heat-ignores-mixture",
        "small",
        "Exhaust temperature is the same for every mixture.",
        other_coefficients(gas_mixture_slope=0.0),
        EVERY,
    ),
)
_HEAT = (
    Defect(
        "geared-stage-little-heat",
        "large",
        "The geared stage leaves three tenths of its work in the charge.",
        other_parts(geared_stage=wrong.geared_stage_little_heat),
    ),
    Defect(
        "turbo-compresses-cold",
        "large",
        "The turbo raises pressure without heating the air.",
        other_parts(turbo_stage=wrong.turbo_compresses_cold),
    ),
    Defect(
        "wheel-maps-uncorrected",
        "large",
        "Both wheels' pressure ratios are read off maps without correction for inlet temperature.",
        other_parts(turbo_stage=wrong.turbo_map_uncorrected, geared_stage=wrong.blower_map_uncorrected),
    ),
    Defect(
        "shutter-two-position",
        "small",
        "The shutter snaps open or shut at half of its lever's travel.",
        other_parts(given=wrong.shutter_two_position),
    ),
    Defect(
        "cooler-colder-than-air",
        "large",
        "The intercooler's effectiveness is above one: it cools below the air it is cooled with.",
        other_coefficients(cooler_open=3.2),
    ),
    Defect(
        "manifold-fills-slowly",
        "large",
        "The manifold fills over two seconds, as if it were a filtered gauge.",
        other_coefficients(manifold_lag=20.0),
        EVERY,
    ),
    Defect(
        "light-without-hysteresis",
        "small",
        "The light changes at one turbo speed both ways.",
        other_coefficients(light_hysteresis=0.0),
        EARLY,
    ),
)
_CONDUCT = (
    Defect(
        "runs-on-while-paused",
        "large",
        "The engine goes on by the clock on the wall when nothing has been asked of it for half a second.",
        other_parts(clock=time.monotonic),
        EVERY,
    ),
)

TRADE_DEFECTS = (*_LEVERS, *_AUTOMATIC, *_PROPELLER, *_MIXTURE, *_HEAT, *_CONDUCT)
