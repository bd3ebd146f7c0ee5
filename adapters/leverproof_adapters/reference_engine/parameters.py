"""Coefficients of the reference engine, SI inside: one model, a parameter set for each invented engine.

Every coefficient carries where it comes from: a published document, ``common practice, no published source``,
``invented for the demonstration`` (design data of the engine that does not exist) or ``assumption`` (a plausible
number for a part nobody has measured). Areas already contain their discharge coefficient.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace

from leverproof.errors import InputError, nearest
from leverproof.quantities import convert

ASSUMPTION = "assumption"
INVENTED = "invented for the demonstration"
PRACTICE = "common practice, no published source"


def _num(value: float, source: str) -> float:
    """A coefficient with its source kept in the field's metadata."""
    chosen: float = field(default=value, metadata={"source": source})
    return chosen


def _rpm(value: float) -> float:
    return convert(value, "rpm", "rad/s")


@dataclass(frozen=True, slots=True)
class Parameters:
    """The coefficients of one variant. Unit and meaning stand beside each name; lengths m, areas m2, times s."""

    variant: str = "corrie-18-early"
    arrangement: str = "two_stage"
    boost_acts_on: str = "gate"
    overspeed_governor: bool = False
    light_kind: str = "three_state"
    has_link: bool = True
    has_coordination: bool = False
    has_cooler: bool = True
    has_carburettor_heat: bool = False
    has_cowl_flaps: bool = False
    has_starter: bool = True

    # induction and ram
    ram_recovery: float = _num(0.72, "SFTE Reference Handbook 2013, sec. 10.3: 0.70-0.75")
    duct_loss: float = _num(1.8e5, ASSUMPTION + ": air intake, loss = k m2 T / p, Pa2.s2/(kg2.K)")
    cooler_loss: float = _num(1.9e5, ASSUMPTION + ": cooler and ducts, loss = k m2 T / p, Pa2.s2/(kg2.K)")

    # exhaust-driven compressor: wheel, head, work
    turbo_wheel_radius: float = _num(convert(6.25, "in", "m"), INVENTED)
    turbo_head: float = _num(0.77, ASSUMPTION + ": head over U2 at no flow, radial vanes")
    turbo_flow_limit: float = _num(0.20, ASSUMPTION + ": flow coefficient m/(rho U D2) of no head")
    turbo_work: float = _num(0.88, ASSUMPTION + ": slip factor, work over U2")
    turbo_disc_work: float = _num(0.009, ASSUMPTION + ": disc friction and recirculation, work over U2 x flow")
    tip_mach_limit: float = _num(1.15, "NACA TN 794: efficiency falls above 1,300 ft/s (396 m/s at 288 K)")
    tip_mach_penalty: float = _num(1.0, ASSUMPTION + ": head lost per square of excess tip Mach number")
    outlet_flow: float = _num(0.05, ASSUMPTION + ": flow that shares the work of a wheel without flow, kg/s")

    # intercooler
    cooler_open: float = _num(0.42, ASSUMPTION + ": effectiveness, shutter open (a small cooler)")
    cooler_shut: float = _num(0.06, ASSUMPTION + ": effectiveness left by leaks, shutter shut")
    cooler_static: float = _num(0.80, ASSUMPTION + ": share of the effectiveness left without airspeed")

    # carburettor throttle
    throttle_area: float = _num(0.0285, INVENTED)
    throttle_idle_area: float = _num(0.000262, INVENTED)
    throttle_cam: float = _num(0.95, ASSUMPTION + ": share of the square law in area over travel")
    hot_air_rise: float = _num(
        55.0,
        "14 CFR 23.1093: 50 K asked of a sea-level engine, 67 K of an altitude engine; jacket invented, K",
    )

    # gear-driven stage
    blower_gear: float = _num(7.95, INVENTED)
    blower_gear_high: float = _num(9.3, INVENTED)
    gear_lag: float = _num(0.6, ASSUMPTION + ": clutch of a two-speed drive")
    blower_wheel_radius: float = _num(convert(5.8, "in", "m"), INVENTED)
    blower_head: float = _num(0.77, ASSUMPTION + ": head over U2 at no flow")
    blower_flow_limit: float = _num(0.20, ASSUMPTION + ": flow coefficient of no head")
    blower_work: float = _num(0.90, ASSUMPTION + ": slip factor and disc friction, work over U2")
    blower_gear_efficiency: float = _num(0.95, ASSUMPTION + ": of the drive")
    evaporated: float = _num(0.55, ASSUMPTION + ": share of the fuel evaporated ahead of the geared stage")
    latent_heat: float = _num(3.2e5, "from memory: petrol, J/kg")

    # cylinders
    displacement: float = _num(2930.0 * convert(1.0, "in", "m") ** 3, INVENTED)
    compression_ratio: float = _num(6.7, INVENTED)
    volumetric: float = _num(1.06, ASSUMPTION + ": of the heated charge at equal pressures, long intake pipes")
    wall_heating: float = _num(0.38, ASSUMPTION + ": share of the way from charge to wall temperature")
    wall_temperature: float = _num(430.0, ASSUMPTION + ": ports and heads, K")
    scavenge: float = _num(1.0, "textbook clearance relation, from memory: residual-gas effect over the ideal one")
    indicated_work: float = _num(1.036e6, ASSUMPTION + ": J per kg of dry air at best-power mixture")
    dilution: float = _num(0.06, ASSUMPTION + ": work lost to residual gas, per excess of back over manifold pressure")
    pumping: float = _num(0.85, ASSUMPTION + ": share of the pressure difference found in the pumping loop")
    friction_constant: float = _num(60.0e3, ASSUMPTION + ": friction mean effective pressure at rest, Pa")
    friction_speed: float = _num(370.0, "NACA Report 108: friction torque about linear in rpm; size assumed, Pa.s")
    friction_load_share: float = _num(
        0.0, "NACA Report 108: friction torque also about linear in density; the share that is, assumed"
    )
    friction_reference: float = _num(convert(28.1, "inHg", "Pa"), INVENTED)
    breakaway: float = _num(600.0, ASSUMPTION + ": torque to turn a stopped engine over compression, N.m")
    starter_torque: float = _num(
        900.0, ASSUMPTION + ": of the starter at rest, half as much again as over compression, N.m at the crankshaft"
    )
    starter_free_speed: float = _num(_rpm(300.0), ASSUMPTION + ": of the crankshaft, where the starter gives nothing")
    firing_from: float = _num(_rpm(120.0), ASSUMPTION)
    firing_full: float = _num(_rpm(300.0), ASSUMPTION)
    rated_flow: float = _num(1.80, INVENTED)

    # mixture: fuel-air ratios
    best_power_ratio: float = _num(0.0775, "NACA Report 189 and SFTE ch. 10: 0.075-0.08")
    lean_fall: float = _num(360.0, "from memory: 0.89 of best power at 0.060")
    rich_fall: float = _num(85.0, "from memory: 0.96 of best power at 0.100")
    lean_limit: float = _num(0.050, "SFTE ch. 10: combustible 0.05-0.125")
    rich_limit: float = _num(0.125, "SFTE ch. 10: combustible 0.05-0.125")
    auto_rich_ratio: float = _num(0.0770, ASSUMPTION)
    auto_rich_power: float = _num(0.0170, ASSUMPTION + ": enrichment at rated flow")
    auto_lean_ratio: float = _num(0.0670, ASSUMPTION)
    auto_lean_power: float = _num(0.0200, ASSUMPTION + ": enrichment at rated flow")
    idle_enrichment: float = _num(0.0080, "SFTE ch. 10: richer at very low power; size assumed")
    full_rich_factor: float = _num(1.12, ASSUMPTION)

    # exhaust
    nozzle_area: float = _num(0.0118, ASSUMPTION + ": a small nozzle box")
    gate_area: float = _num(0.0200, ASSUMPTION)
    exhaust_leak_area: float = _num(0.0006, ASSUMPTION)
    stack_area: float = _num(0.0160, INVENTED)
    gas_peak_temperature: float = _num(1270.0, ASSUMPTION + ": collector, near the chemically correct mixture, K")
    gas_cooling_flow: float = _num(0.03, ASSUMPTION + ": flow at which half the heat is lost, kg/s")
    gas_mixture_slope: float = _num(6500.0, ASSUMPTION + ": K per unit of fuel-air ratio")
    turbine_radius: float = _num(convert(5.5, "in", "m"), INVENTED)
    turbine_efficiency: float = _num(0.60, "from memory: 0.60-0.70 at the best blade-to-jet speed ratio")
    turbine_speed_ratio: float = _num(0.48, "DTIC ADA801453 (1946): tested at blade-to-jet speed 0.5 and 0.6")
    turbo_inertia: float = _num(0.16, ASSUMPTION + ": kg.m2")
    turbo_drag: float = _num(0.001, ASSUMPTION + ": bearing drag, N.m.s")
    turbo_drag_constant: float = _num(0.06, ASSUMPTION + ": bearing drag, N.m")

    # propeller and its governor
    reduction: float = _num(0.50, INVENTED)
    propeller_radius: float = _num(2.0, INVENTED)
    blade_area: float = _num(1.9, INVENTED)
    lift_slope: float = _num(5.5, "from memory: blade sections, per radian")
    inflow: float = _num(0.35, ASSUMPTION + ": share of the incidence taken by the induced flow")
    blade_drag: float = _num(0.012, ASSUMPTION)
    blade_drag_rise: float = _num(0.9, ASSUMPTION)
    fine_stop: float = _num(11.5, INVENTED)
    coarse_stop: float = _num(62.0, INVENTED)
    blade_rate: float = _num(12.0, ASSUMPTION + ": deg/s")
    governor_integral: float = _num(0.12, ASSUMPTION + ": deg/s per rad/s of error")
    governor_lead: float = _num(0.08, ASSUMPTION + ": deg/s per rad/s2")
    shaft_inertia: float = _num(22.0, ASSUMPTION + ": crankshaft, drives and propeller at crankshaft speed, kg.m2")
    rated_speed: float = _num(_rpm(2640.0), INVENTED)
    least_governed: float = _num(0.60, INVENTED)

    # controls
    throttle_lag: float = _num(0.15, ASSUMPTION)
    boost_lag: float = _num(0.30, ASSUMPTION)
    gate_lag: float = _num(0.35, ASSUMPTION)
    gate_shape: float = _num(0.9, ASSUMPTION + ": share of the cube law in gate opening over lever travel")
    turbo_limit: float = _num(_rpm(18250.0), PRACTICE)
    demand_full: float = _num(_rpm(24000.0), INVENTED)
    demand_shape: float = _num(0.80, INVENTED)
    servo_gain: float = _num(0.004, ASSUMPTION + ": gate travel per rad/s of error")
    servo_rate: float = _num(0.0016, ASSUMPTION + ": gate travel per s and rad/s of error")
    deck_setting: float = _num(convert(30.2, "inHg", "Pa"), INVENTED)
    deck_gain: float = _num(2.0, ASSUMPTION + ": gate travel per relative error of deck pressure")
    deck_rate: float = _num(2.0, ASSUMPTION + ": gate travel per s and relative error of deck pressure")
    coordination_share: float = _num(0.60, INVENTED)
    light_blinking_above: float = _num(_rpm(2500.0), INVENTED)
    light_off_above: float = _num(_rpm(9000.0), INVENTED)
    light_on_above: float = _num(_rpm(18250.0), PRACTICE)
    light_hysteresis: float = _num(_rpm(60.0), INVENTED)

    # lags
    manifold_lag: float = _num(0.10, ASSUMPTION + ": filling of manifold and ducts")
    exhaust_lag: float = _num(0.06, ASSUMPTION + ": filling of the collector")
    air_temperature_lag: float = _num(2.0, ASSUMPTION + ": cooler and duct metal")
    gas_temperature_lag: float = _num(0.8, ASSUMPTION + ": collector metal")
    head_lag: float = _num(40.0, ASSUMPTION + ": cylinder head")
    head_gain: float = _num(195.0, ASSUMPTION + ": head above cooling air at rated flow, K")
    cowl_shut: float = _num(0.8, ASSUMPTION + ": share of the cooling left with the cowl flaps shut")

    @property
    def has_turbo(self) -> bool:
        """Whether an exhaust-driven stage feeds the carburettor."""
        return self.arrangement in ("two_stage", "turbo_normalised")

    @property
    def has_boost(self) -> bool:
        """Whether there is a separate boost lever."""
        return self.boost_acts_on != "none"

    def source(self, name: str) -> str:
        """Where the coefficient ``name`` comes from."""
        return next(str(f.metadata.get("source", "")) for f in fields(self) if f.name == name)


def coefficient_names() -> tuple[str, ...]:
    """Names of the coefficients that may be scaled."""
    return tuple(f.name for f in fields(Parameters) if "source" in f.metadata)


def scaled(parameters: Parameters, factors: dict[str, float]) -> Parameters:
    """The set with named coefficients multiplied; raises :class:`InputError` for an unknown name."""
    known = coefficient_names()
    changes = {}
    for name, factor in factors.items():
        if name not in known:
            raise InputError(f"unknown coefficient {name!r}", "options.coefficients", nearest(name, known), "option")
        changes[name] = getattr(parameters, name) * float(factor)
    return replace(parameters, **changes)


CORRIE_18_EARLY = Parameters()
CORRIE_18_LATE = replace(
    CORRIE_18_EARLY,
    variant="corrie-18-late",
    boost_acts_on="speed",
    overspeed_governor=True,
    light_kind="plain",
    has_link=False,
    has_coordination=True,
    gate_lag=0.15,
    servo_rate=0.003,
    turbo_limit=_rpm(22000.0),
    light_on_above=_rpm(22000.0) * 1.02,
    light_hysteresis=_rpm(100.0),
)
CORRIE_14 = replace(
    CORRIE_18_EARLY,
    variant="corrie-14",
    arrangement="geared_two_speed",
    boost_acts_on="none",
    light_kind="none",
    has_link=False,
    has_cooler=False,
    has_carburettor_heat=True,
    has_cowl_flaps=True,
    duct_loss=3.0e5,
    throttle_area=0.0215,
    throttle_idle_area=0.00016,
    blower_gear=7.0,
    blower_gear_high=9.3,
    blower_wheel_radius=convert(5.5, "in", "m"),
    displacement=2140.0 * convert(1.0, "in", "m") ** 3,
    compression_ratio=6.8,
    volumetric=1.05,
    wall_heating=0.45,
    scavenge=0.85,
    indicated_work=1.040e6,
    pumping=0.70,
    breakaway=440.0,
    starter_torque=660.0,
    rated_flow=1.18,
    stack_area=0.0160,
    gas_cooling_flow=0.020,
    reduction=0.5625,
    propeller_radius=1.75,
    blade_area=1.35,
    shaft_inertia=13.0,
    rated_speed=_rpm(2600.0),
    air_temperature_lag=1.0,
)
"""Geared two-speed radial. Where it differs from the Corrie-18 it is design data, or lies within the same doubt:
short valve overlap makes less of unequal pressures (scavenge, pumping), larger ports heat more (wall_heating)."""
RILL_6 = replace(
    CORRIE_14,
    variant="rill-6",
    arrangement="unsupercharged",
    has_carburettor_heat=False,
    has_cowl_flaps=False,
    duct_loss=6.0e6,
    throttle_area=0.0017,
    throttle_idle_area=0.0000367,
    displacement=540.0 * convert(1.0, "in", "m") ** 3,
    compression_ratio=8.5,
    volumetric=1.04,
    scavenge=1.0,
    indicated_work=1.120e6,
    pumping=0.85,
    friction_constant=35.0e3,
    friction_speed=285.0,
    friction_load_share=0.60,
    breakaway=110.0,
    starter_torque=165.0,
    rated_flow=0.205,
    auto_rich_power=0.0080,
    stack_area=0.0042,
    gas_cooling_flow=0.0034,
    reduction=1.0,
    propeller_radius=1.067,
    blade_area=0.46,
    fine_stop=9.0,
    coarse_stop=45.0,
    shaft_inertia=4.5,
    rated_speed=_rpm(2700.0),
    throttle_lag=0.30,
)
"""Unsupercharged light six: more work per kg of air from a higher compression ratio (ideal cycle, exponent 0.3), less
rubbing, most of the friction following density (NACA Report 108)."""
RILL_6T = replace(
    RILL_6,
    variant="rill-6t",
    arrangement="turbo_normalised",
    overspeed_governor=True,
    turbo_wheel_radius=0.045,
    outlet_flow=0.002,
    nozzle_area=0.00165,
    gate_area=0.0045,
    exhaust_leak_area=0.00006,
    turbine_radius=0.044,
    turbine_efficiency=0.55,
    turbo_inertia=6.0e-4,
    turbo_drag=2.5e-5,
    turbo_drag_constant=0.005,
    gate_lag=0.15,
    turbo_limit=_rpm(64000.0),
)
"""The Rill-6 behind a small turbo with an automatic waste gate; small wheels are less efficient (assumption)."""
SETS = {p.variant: p for p in (CORRIE_18_EARLY, CORRIE_18_LATE, CORRIE_14, RILL_6, RILL_6T)}


def parameter_set(variant: str) -> Parameters:
    """The set of that name; raises :class:`InputError` suggesting the nearest."""
    if variant not in SETS:
        raise InputError(f"unknown reference engine {variant!r}", "target", nearest(variant, SETS), "target")
    return SETS[variant]
