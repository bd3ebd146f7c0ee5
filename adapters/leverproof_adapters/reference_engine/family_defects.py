"""Seeded defects of the geared, unsupercharged and turbo-normalised sets."""

from __future__ import annotations

from leverproof_adapters.reference_engine import defect_parts
from leverproof_adapters.reference_engine import family_defect_parts as wrong
from leverproof_adapters.reference_engine.seeding import Defect, other_coefficients, other_data, other_parts

GEARED, UNSUPERCHARGED, NORMALISED = ("corrie-14",), ("rill-6",), ("rill-6t",)

FAMILY_DEFECTS = (
    Defect(
        "blower-gear-disconnected",
        "large",
        "The blower gear lever moves nothing: low gear stays in.",
        other_parts(gate=wrong.stays_in_low_gear),
        GEARED,
    ),
    Defect(
        "slow-gear-shift",
        "small",
        "The clutch of the high gear takes hold over twenty seconds.",
        other_coefficients(gear_lag=15.0),
        GEARED,
    ),
    Defect(
        "high-gear-for-nothing",
        "large",
        "High gear takes the drive power of low gear and heats the charge no more.",
        other_parts(geared_stage=wrong.high_gear_for_nothing),
        GEARED,
    ),
    Defect(
        "geared-power-from-a-chart",
        "large",
        "Power is read off a chart of manifold pressure; gear, heat and back pressure do not matter.",
        other_parts(work=wrong.chart_power),
        GEARED,
    ),
    Defect(
        "weak-geared-wheel",
        "small",
        "The geared wheel gives three twentieths less head.",
        other_coefficients(blower_head=0.85),
        GEARED,
    ),
    Defect(
        "starved-geared-wheel",
        "large",
        "The geared wheel gives less than two thirds of its head.",
        other_coefficients(blower_head=0.62),
        GEARED,
    ),
    Defect(
        "two-speed-drive-for-nothing",
        "large",
        "Neither gear takes any power from the crankshaft.",
        other_parts(geared_stage=wrong.free_two_speed_stage),
        GEARED,
    ),
    Defect(
        "geared-set-governor-droop",
        "small",
        "The propeller governor of the geared set lets rpm sag with load.",
        other_parts(governor=defect_parts.drooping_governor),
        GEARED,
    ),
    Defect(
        "carburettor-heat-for-nothing",
        "small",
        "The gauge shows hot air that never reaches the engine.",
        other_parts(
            given=wrong.intake_keeps_its_ram,
            turbo_stage=wrong.jacket_warms_the_gauge,
            intercooler=wrong.heat_disconnected,
            readings=wrong.gauge_in_the_jacket,
        ),
        GEARED,
    ),
    Defect(
        "carburettor-heat-disconnected",
        "small",
        "The heat lever opens the other intake, and no warm air comes from it.",
        other_parts(intercooler=wrong.heat_disconnected),
        GEARED,
    ),
    Defect(
        "cowl-flaps-disconnected",
        "small",
        "The cowl flaps cool nothing.",
        other_data(cowl_shut=1.0),
        GEARED,
    ),
    Defect(
        "exhaust-against-sea-level",
        "large",
        "The stacks blow against sea-level pressure at every height.",
        other_parts(exhaust=wrong.exhaust_at_sea_level),
        UNSUPERCHARGED,
    ),
    Defect(
        "power-by-density-alone",
        "large",
        "Power goes with air density: friction thins out and the root of the temperature is lost.",
        other_parts(work=wrong.density_alone),
        UNSUPERCHARGED,
    ),
    Defect(
        "weightless-propeller",
        "small",
        "Crankshaft and propeller have a quarter of their inertia.",
        other_coefficients(shaft_inertia=0.25),
        UNSUPERCHARGED,
    ),
    Defect(
        "no-induction-loss",
        "small",
        "An open throttle gives the manifold all of the pressure outside.",
        other_parts(induction=wrong.free_induction),
        UNSUPERCHARGED,
    ),
    Defect(
        "one-specific-consumption",
        "large",
        "Fuel flow is brake power times one specific consumption.",
        other_parts(readings=wrong.one_specific_consumption),
        (*UNSUPERCHARGED, *GEARED, *NORMALISED),
    ),
    Defect(
        "cold-compression",
        "large",
        "The turbo raises pressure without heating the air.",
        other_parts(turbo_stage=wrong.cold_compression),
        NORMALISED,
    ),
    Defect(
        "deck-controller-set-high",
        "small",
        "The automatic waste gate is set six per cent too high.",
        other_coefficients(deck_setting=1.06),
        NORMALISED,
    ),
    Defect(
        "waste-gate-stuck",
        "large",
        "The automatic waste gate stays where sea level wants it.",
        other_parts(gate=wrong.gate_stuck),
        NORMALISED,
    ),
    Defect(
        "waste-gate-by-gauge-pressure",
        "small",
        "The controller measures deck pressure above ambient and not absolute.",
        other_parts(gate=wrong.gate_by_gauge),
        NORMALISED,
    ),
    Defect(
        "no-critical-altitude",
        "large",
        "Deck pressure is held at its setting at any height.",
        other_parts(turbo_stage=wrong.never_out_of_breath),
        NORMALISED,
    ),
    Defect(
        "no-automatic-turbo-limit",
        "large",
        "The automatic waste gate knows no turbo speed limit.",
        other_data(overspeed_governor=False),
        NORMALISED,
    ),
)
