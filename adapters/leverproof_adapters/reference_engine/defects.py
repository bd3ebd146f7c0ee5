"""Seeded defects: honest builds with one thing wrong, to show that required cases notice.

``fires`` names the required cases expected to fail, written down beforehand from the physics.
"""

from __future__ import annotations

from dataclasses import replace

from leverproof.errors import InputError, nearest
from leverproof_adapters.reference_engine import defect_parts as wrong
from leverproof_adapters.reference_engine.air_defects import AIR_DEFECTS
from leverproof_adapters.reference_engine.components import Build
from leverproof_adapters.reference_engine.expected_findings import BORDERLINE, SURE
from leverproof_adapters.reference_engine.family_defects import FAMILY_DEFECTS
from leverproof_adapters.reference_engine.library_findings import FURTHER_BORDERLINE, FURTHER_SURE
from leverproof_adapters.reference_engine.power_defects import POWER_DEFECTS
from leverproof_adapters.reference_engine.seeding import EARLY, LATE, Defect
from leverproof_adapters.reference_engine.seeding import other_coefficients as _factors
from leverproof_adapters.reference_engine.seeding import other_data as _data
from leverproof_adapters.reference_engine.seeding import other_parts as _parts
from leverproof_adapters.reference_engine.start_defects import START_DEFECTS
from leverproof_adapters.reference_engine.trade_defects import TRADE_DEFECTS
from leverproof_adapters.reference_engine.trade_findings import TRADE_BORDERLINE, TRADE_SURE


def _step_dependent(step_ticks: int) -> float:
    return step_ticks / 1800.0


def _losing_time(step_ticks: int) -> float:
    """Share of a grid step that passes when 2.5 ms (90 ticks) of each are lost."""
    return 1.0 - 90.0 / step_ticks


_ALL = (
    Defect(
        "power-from-manifold-pressure-and-rpm-only",
        "large",
        "Power is read off a chart of manifold pressure and rpm; charge temperature and back pressure do not matter.",
        _parts(work=wrong.power_from_pressure),
    ),
    Defect(
        "boost-as-second-throttle",
        "large",
        "The boost lever is one more butterfly; no gate and no turbo answer it.",
        _parts(given=wrong.boost_opens_throttle, gate=wrong.gate_half_open),
    ),
    Defect(
        "no-turbo-limit",
        "large",
        "The overspeed governor is missing, so full lever runs the turbo beyond its limit.",
        _data(overspeed_governor=False),
        LATE,
    ),
    Defect(
        "turbo-governor-set-high",
        "small",
        "The overspeed governor is set four per cent above the limit.",
        _factors(turbo_limit=1.04),
        LATE,
    ),
    Defect(
        "boost-without-exhaust",
        "large",
        "The turbo is turned by the lever and needs no exhaust energy.",
        _parts(turbine=wrong.lever_turns_turbo),
    ),
    Defect(
        "back-pressure-ambient",
        "large",
        "The cylinders exhaust to ambient pressure, so the turbine's work is free.",
        _parts(exhaust=wrong.ambient_back_pressure, turbine=wrong.turbine_of_its_own_pressure),
    ),
    Defect(
        "no-geared-stage-drive-power",
        "large",
        "The geared stage takes no power from the crankshaft.",
        _parts(geared_stage=wrong.free_geared_stage),
    ),
    Defect(
        "half-geared-stage-drive-power",
        "small",
        "The geared stage takes half of the power it needs.",
        _parts(geared_stage=wrong.half_priced_geared_stage),
    ),
    Defect(
        "lapse-rate-slip",
        "small",
        "Air temperature falls by 2.2 K a thousand feet instead of 1.98.",
        _parts(surroundings=wrong.steep_lapse),
    ),
    Defect(
        "inch-per-thousand-feet",
        "large",
        "The rule of one inch a thousand feet is used at every height.",
        _parts(surroundings=wrong.inch_per_thousand_feet),
    ),
    Defect(
        "metric-horsepower",
        "small",
        "Power is computed in metric horsepower and labelled hp.",
        _parts(readings=wrong.metric_horsepower),
    ),
    Defect(
        "torque-in-newton-metres",
        "large",
        "Torque is computed in N.m and labelled lbf.ft.",
        _parts(readings=wrong.torque_in_newton_metres),
    ),
    Defect(
        "instant-turbo",
        "large",
        "The rotor has next to no inertia.",
        _factors(turbo_inertia=0.04),
    ),
    Defect(
        "light-from-lever",
        "large",
        "The overspeed light follows the boost lever and not the turbo.",
        _parts(light=wrong.lever_sets_light),
    ),
    Defect(
        "light-inverted",
        "large",
        "The light's contact is wired the wrong way.",
        _parts(readings=wrong.light_inverted),
    ),
    Defect(
        "light-threshold-slip",
        "small",
        "The light comes on eight per cent above the turbo limit.",
        _factors(light_on_above=1.08),
        EARLY,
    ),
    Defect(
        "governor-droop",
        "small",
        "The propeller governor lets rpm sag with load.",
        _parts(governor=wrong.drooping_governor),
    ),
    Defect("fixed-pitch", "large", "The propeller is not governed at all.", _parts(governor=wrong.fixed_blades)),
    Defect(
        "governor-hunts",
        "large",
        "The governor's anticipation acts the wrong way, so rpm never settles.",
        _factors(governor_lead=-3.0),
    ),
    Defect(
        "cut-off-keeps-running",
        "large",
        "The cut-off position meters fuel like auto lean.",
        _parts(given=wrong.cut_off_is_lean),
    ),
    Defect(
        "mixture-order-swapped",
        "large",
        "Auto lean and full rich are exchanged, so lean burns more fuel than rich.",
        _parts(given=wrong.lean_and_rich_swapped),
    ),
    Defect(
        "full-rich-no-richer",
        "small",
        "Full rich meters exactly what auto rich does.",
        _data(full_rich_factor=1.0),
    ),
    Defect(
        "engine-off-manifold-pressure",
        "large",
        "The manifold pressure gauge of a stopped engine reads zero.",
        _parts(readings=wrong.vacuum_when_stopped),
    ),
    Defect(
        "engine-off-manifold-pressure-low",
        "small",
        "The manifold pressure gauge of a stopped engine reads three per cent low.",
        _parts(readings=wrong.low_when_stopped),
    ),
    Defect(
        "frame-rate-dependent",
        "large",
        "The inner step is not scaled with the grid step: a finer grid runs slower.",
        _parts(time_scale=_step_dependent),
    ),
    Defect(
        "time-lost-at-each-step",
        "small",
        "Each grid step loses 2.5 ms of the model's time, so half the grid step runs a twentieth slower.",
        _parts(time_scale=_losing_time),
    ),
    Defect(
        "turbo-speed-proportional-to-lever",
        "large",
        "Turbo speed is the lever position times the limit at every height.",
        _parts(turbo_shaft=wrong.lever_sets_turbo_speed),
    ),
    Defect(
        "shutter-disconnected",
        "large",
        "The intercooler shutter lever moves nothing.",
        _parts(given=wrong.shutter_left_open),
    ),
    Defect(
        "hot-day-ignored",
        "large",
        "The temperature offset never reaches the engine.",
        _parts(surroundings=wrong.standard_day_always),
    ),
    Defect(
        "humidity-ignored",
        "small",
        "Water vapour displaces no oxygen.",
        _parts(surroundings=wrong.dry_always),
    ),
    Defect(
        "charge-temperature-ignored",
        "large",
        "Charge density is computed with one temperature for all conditions.",
        _parts(charge_flow=wrong.charge_always_warm),
    ),
    Defect(
        "coordination-disconnected",
        "large",
        "The coordination lever does nothing: the throttle lever moves the throttle only.",
        _parts(given=wrong.levers_unlinked),
        LATE,
    ),
    Defect(
        "link-disconnected",
        "large",
        "The lever link does not carry the boost lever.",
        _parts(given=wrong.levers_unlinked),
        EARLY,
    ),
    Defect(
        "boost-left-on-harmless",
        "large",
        "Manifold pressure is clipped at the take-off limit, so boost left on near the ground shows nothing.",
        _parts(induction=wrong.pressure_never_beyond_rating),
    ),
    Defect(
        "weak-geared-stage",
        "large",
        "The geared stage gives a tenth less head, so take-off pressure is out of reach with the boost back.",
        _factors(blower_head=0.80),
    ),
    Defect(
        "ram-beyond-recovery",
        "small",
        "All of the ram pressure, and a third more, is recovered at the carburettor deck.",
        _factors(ram_recovery=1.85),
    ),
    Defect("idle-starved", "large", "The idle bleed is half its size.", _factors(throttle_idle_area=0.50)),
    Defect(
        "back-pressure-gauge-at-the-deck",
        "large",
        "The back pressure gauge is piped to the carburettor deck.",
        _parts(readings=wrong.back_pressure_copied),
    ),
    Defect(
        "gate-shown-inverted",
        "small",
        "Waste gate opening is shown as closure.",
        _parts(readings=wrong.gate_inverted),
    ),
)

DEFECTS: dict[str, Defect] = {
    d.name: replace(
        d,
        fires=(*SURE.get(d.name, d.fires), *FURTHER_SURE.get(d.name, ()), *TRADE_SURE.get(d.name, ())),
        may_fire=(
            *BORDERLINE.get(d.name, d.may_fire),
            *FURTHER_BORDERLINE.get(d.name, ()),
            *TRADE_BORDERLINE.get(d.name, ()),
        ),
    )
    for d in (*_ALL, *FAMILY_DEFECTS, *START_DEFECTS, *AIR_DEFECTS, *POWER_DEFECTS, *TRADE_DEFECTS)
}


def with_defect(build: Build, name: str) -> Build:
    """The build with one defect; raises :class:`InputError` for an unknown name or one this set cannot have."""
    defect = DEFECTS.get(name)
    if defect is None:
        raise InputError(f"unknown defect {name!r}", "defect", nearest(name, DEFECTS), "defect")
    if build.parameters.variant not in defect.applies_to:
        raise InputError(f"defect {name!r} cannot be built into {build.parameters.variant}", "defect", code="defect")
    return defect.change(build)
