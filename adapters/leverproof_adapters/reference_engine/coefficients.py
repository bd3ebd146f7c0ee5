"""Coefficients as the parts use them: arrays of no dimensions, and products that the equations need taken once.

NumPy takes up to twice as long over an array of lanes and a Python float as over two arrays, one of them without
dimensions: the float is converted in every call. Same numbers, same results.
"""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np

from leverproof.atmosphere import GAS_CONSTANT
from leverproof_adapters.reference_engine.parameters import Parameters, coefficient_names
from leverproof_adapters.reference_engine.state import Array

AIR_HEAT = 1004.5
GAS_HEAT = 4.0 * GAS_CONSTANT
AIR_CHOKED = math.sqrt(1.4 / GAS_CONSTANT) * (2.0 / 2.4) ** 3
"""Flow of air through a choked opening times root temperature, over area and pressure ahead (Saint-Venant, Wantzel)."""
GAS_CHOKED = math.sqrt((4.0 / 3.0) / GAS_CONSTANT) * (2.0 / (7.0 / 3.0)) ** 3.5
"""The same of exhaust gas."""
LEAN_EDGE, RICH_EDGE = 0.004, 0.010
"""Width in fuel-air ratio over which the mixture's strength dies away beyond either limit: assumption."""
HIGH_FLOW, LOW_FLOW = 0.55, 0.20
"""Shares of rated flow above and below which the mixture is enriched: assumption."""
MOST_HIGH = 1.2
"""Most of the enrichment at high flow, over that at rated flow: assumption."""
WHEEL_TURNING = 5.0
"""Turbo speed (rad/s) at which the bearings' constant drag has come in: assumption."""
GAS_PEAK_WIDTH = 6.4e-5
"""Square of the fuel-air ratio that rounds the peak of the gas temperature: assumption."""


def scalar(value: float) -> Array:
    """A number as an array of no dimensions that nobody can change."""
    found: Array = np.array(value, dtype=np.float64)
    found.flags.writeable = False
    return found


ZERO, ONE = scalar(0.0), scalar(1.0)


class Coefficients(Parameters):
    """A parameter set ready for the parts: the coefficients under their names, and below them their products."""

    # cylinders: swept volume per radian; charge per radian over manifold pressure over temperature; share of it that
    # residual gas takes per unit of back over manifold pressure; shares of charge and wall temperature in the charge
    swept: Array
    breathing: Array
    residual_share: Array
    cold_share: Array
    wall_share: Array
    clean_limit: Array
    pumping_swept: Array
    friction_rest: Array
    friction_slope: Array
    load_free: Array
    load_slope: Array
    friction_follows_density: bool
    lean_beyond_rich: bool
    gas_peak: Array
    # mixture: flows between which it is enriched with flow, and the straight lines between them; flow below which it
    # is enriched against flow, and slope of that; firing over speed, parabolas and edges of the mixture's strength
    high_flow: Array
    highest_flow: Array
    lean_base: Array
    lean_gain: Array
    rich_base: Array
    rich_gain: Array
    low_flow: Array
    low_slope: Array
    firing_slope: Array
    firing_offset: Array
    lean_root: Array
    rich_root: Array
    lean_end: Array
    rich_end: Array
    # exhaust-driven compressor: density made to give the flow coefficient over its limit at unit shaft speed, over
    # pressure over temperature; torques at unit shaft speed; heat
    turbo_density: Array
    tip_mach_start: Array
    turbo_work_radius: Array
    turbo_disc_radius: Array
    air_heat: Array
    outlet_heat: Array
    # geared stage: tip radius at crankshaft speed, flow coefficient over its limit, head and work as heat, drive
    blower_tip_radius: Array
    blower_tip_radius_step: Array
    blower_resistance: Array
    blower_head_heat: Array
    blower_work_heat: Array
    blower_drive: Array
    blower_drive_radius: Array
    evaporation_cooling: Array
    # throttle: conductance times root temperature as a polynomial of travel
    throttle_idle: Array
    throttle_linear: Array
    throttle_square: Array
    # exhaust: flow of gas through a choked opening times root temperature over pressure ahead; torque over flow and
    # conductance of a jet, over the root of its heat, and of the shaft's speed
    shut_conductance: Array
    gate_conductance: Array
    stack_conductance: Array
    turbine_jet: Array
    turbine_blade: Array
    # propeller: radius of the blade element at crankshaft speed, share of the incidence that is left; moment of the
    # blade's area times the slope of its lift; drag coefficients over that slope
    blade_tip_radius: Array
    incidence_share: Array
    blade_lift: Array
    drag_rise_to_lift: Array
    drag_to_lift: Array
    # shafts and controls
    least_blade_rate: Array
    per_inertia: Array
    bearing_start: Array
    gate_linear: Array
    # turbo speeds between the zones of the light, upwards
    light_edges: Array

    def __init__(self, parameters: Parameters) -> None:
        p = parameters
        values: dict[str, object] = {f.name: getattr(p, f.name) for f in fields(p)}
        values["friction_follows_density"] = p.friction_load_share != 0.0
        values["lean_beyond_rich"] = any(
            p.auto_lean_ratio + p.auto_lean_power * high > p.auto_rich_ratio + p.auto_rich_power * high
            for high in (0.0, MOST_HIGH)
        )
        edges = [p.light_on_above]
        if p.light_kind != "plain":
            edges = [p.light_blinking_above, p.light_off_above, p.light_on_above]
        values["light_edges"] = np.array(edges)
        numbers = {name: getattr(p, name) for name in coefficient_names()}
        products = (_cylinder(p), _mixture(p), _compressors(p), _flow(p), _shafts(p))
        for found in (numbers, *products):
            values.update({name: scalar(value) for name, value in found.items()})
        for name, value in values.items():
            object.__setattr__(self, name, value)


def enrichment_line(p: Parameters, ratio: float, power: float) -> tuple[float, float]:
    """Foot and slope over flow of the straight line through ``ratio`` where enrichment begins and ``ratio + power`` at
    rated flow."""
    slope = power / (p.rated_flow * (1.0 - HIGH_FLOW))
    return ratio - slope * p.rated_flow * HIGH_FLOW, slope


def _cylinder(p: Parameters) -> dict[str, float]:
    swept = p.displacement / (4.0 * math.pi)
    residual = p.scavenge / (1.4 * (p.compression_ratio - 1.0))
    return {
        "swept": swept,
        "breathing": swept * p.volumetric / GAS_CONSTANT * (1.0 + residual),
        "residual_share": residual / (1.0 + residual),
        "cold_share": 1.0 - p.wall_heating,
        "wall_share": p.wall_heating * p.wall_temperature,
        "clean_limit": 1.0 + p.dilution,
        "pumping_swept": p.pumping * swept,
        "friction_rest": swept * p.friction_constant,
        "friction_slope": swept * p.friction_speed,
        "load_free": 1.0 - p.friction_load_share,
        "load_slope": p.friction_load_share / p.friction_reference,
        "gas_peak": p.gas_peak_temperature + p.gas_mixture_slope * math.sqrt(GAS_PEAK_WIDTH),
    }


def _mixture(p: Parameters) -> dict[str, float]:
    firing = 1.0 / (p.firing_full - p.firing_from)
    lean_base, lean_gain = enrichment_line(p, p.auto_lean_ratio, p.auto_lean_power)
    rich_base, rich_gain = enrichment_line(p, p.auto_rich_ratio, p.auto_rich_power)
    return {
        "high_flow": p.rated_flow * HIGH_FLOW,
        "highest_flow": p.rated_flow * (HIGH_FLOW + MOST_HIGH * (1.0 - HIGH_FLOW)),
        "lean_base": lean_base,
        "lean_gain": lean_gain,
        "rich_base": rich_base,
        "rich_gain": rich_gain,
        "low_flow": p.rated_flow * LOW_FLOW,
        "low_slope": p.idle_enrichment / (p.rated_flow * LOW_FLOW),
        "firing_slope": firing,
        "firing_offset": firing * p.firing_from,
        "lean_root": -math.sqrt(p.lean_fall),
        "rich_root": math.sqrt(p.rich_fall),
        "lean_end": (p.lean_limit - LEAN_EDGE) / LEAN_EDGE,
        "rich_end": (p.rich_limit + RICH_EDGE) / RICH_EDGE,
    }


def _compressors(p: Parameters) -> dict[str, float]:
    wheel_area, geared_area = 4.0 * p.turbo_wheel_radius**2, 4.0 * p.blower_wheel_radius**2
    limit = wheel_area * p.turbo_flow_limit * p.turbo_wheel_radius
    drive, tip_radius = p.blower_work / p.blower_gear_efficiency, p.blower_wheel_radius * p.blower_gear
    return {
        "turbo_density": limit / GAS_CONSTANT,
        "tip_mach_start": p.tip_mach_limit * math.sqrt(p.tip_mach_penalty),
        "turbo_work_radius": p.turbo_work * p.turbo_wheel_radius**2,
        "turbo_disc_radius": p.turbo_disc_work * wheel_area * p.turbo_wheel_radius**3 / limit,
        "air_heat": AIR_HEAT,
        "outlet_heat": AIR_HEAT * p.outlet_flow,
        "blower_tip_radius": tip_radius,
        "blower_tip_radius_step": p.blower_wheel_radius * (p.blower_gear_high - p.blower_gear),
        "blower_resistance": GAS_CONSTANT / (geared_area * p.blower_flow_limit),
        "blower_head_heat": p.blower_head / AIR_HEAT,
        "blower_work_heat": p.blower_work / AIR_HEAT,
        "blower_drive": drive,
        "blower_drive_radius": drive * tip_radius,
        "evaporation_cooling": p.evaporated * p.latent_heat / AIR_HEAT,
    }


def _flow(p: Parameters) -> dict[str, float]:
    best = p.turbine_speed_ratio
    gain = 0.5 * p.turbine_efficiency * p.turbine_radius / best**2 * p.nozzle_area * GAS_CHOKED
    return {
        "throttle_idle": AIR_CHOKED * p.throttle_idle_area,
        "throttle_linear": AIR_CHOKED * p.throttle_area * (1.0 - p.throttle_cam),
        "throttle_square": AIR_CHOKED * p.throttle_area * p.throttle_cam,
        "shut_conductance": GAS_CHOKED * (p.nozzle_area + p.exhaust_leak_area),
        "gate_conductance": GAS_CHOKED * p.gate_area,
        "stack_conductance": GAS_CHOKED * p.stack_area,
        "turbine_jet": gain * 2.0 * best * math.sqrt(2.0 * GAS_HEAT),
        "turbine_blade": gain * p.turbine_radius,
    }


def _shafts(p: Parameters) -> dict[str, float]:
    radius = 0.75 * p.propeller_radius
    return {
        "blade_tip_radius": radius * p.reduction,
        "incidence_share": 1.0 - p.inflow,
        "blade_lift": 0.5 * p.blade_area * radius * p.lift_slope,
        "drag_rise_to_lift": p.blade_drag_rise / p.lift_slope,
        "drag_to_lift": (p.blade_drag + p.blade_drag_rise) / p.lift_slope,
        "least_blade_rate": -p.blade_rate,
        "per_inertia": 1.0 / p.shaft_inertia,
        "bearing_start": p.turbo_drag_constant * (1.0 / WHEEL_TURNING),
        "gate_linear": 1.0 - p.gate_shape,
    }
