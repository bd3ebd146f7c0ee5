"""The gas path at an assumed exhaust back pressure: every other quantity follows without iteration.

Efficiency and head of both stages follow flow coefficient and tip Mach number; their work coefficients (radial vanes)
do not, and the geared stage's flow coefficient is that of its outlet, whose state the manifold gives. So charge flow
times charge temperature is known from manifold pressure, rpm and back pressure, and the charge temperature is linear
in turbine power over charge flow: the flow is explicit, and one unknown is left. Sources of the relations:
:mod:`leverproof.physics.relations`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.engine import Air, Demand, Engine, Numbers
from leverproof.physics.relations.breathing import clearance_factor
from leverproof.physics.relations.combustion import exhaust_temperature
from leverproof.physics.relations.flow import orifice_flow
from leverproof.physics.relations.gas import (
    AIR_HEAT,
    EXHAUST_EXPONENT,
    EXHAUST_GAS_CONSTANT,
    EXHAUST_HEAT,
    EXHAUST_HEAT_RATIO,
    GAS_CONSTANT,
)
from leverproof.physics.relations.similarity import flow_coefficient, stage_efficiency, tip_mach_number

LATENT_HEAT = 3.2e5
"""J/kg, heat of evaporation of petrol (from memory)."""
FULL_COOLING_SPEED = 150.0 * 1_852.0 / 3_600.0
"""m/s: airspeed from which the cooler has all its effectiveness (assumption)."""
LEAST_FLOW = 0.02
"""Share of the flow at equal pressures below which the chain is no longer trusted (numerical floor, flagged)."""
STILL = 1e-6
"""m/s: tip speed below which a wheel's flow coefficient is no longer computed (its head is nothing there)."""


@dataclass(frozen=True, slots=True)
class Fixed:
    """What does not depend on back pressure, worked out once a point. K, m/s, kg.K/s, J/kg."""

    engine: Engine
    air: Air
    demand: Demand
    gas_temperature: Array
    equal_flow: Array
    base_temperature: Array
    cooling: Array
    blower_tip_speed: Numbers
    blower_rise: Numbers
    evaporation: Array


class State(NamedTuple):
    """A point of the gas path; pressures Pa, temperatures K, flows kg/s, per-area flow kg/(s.m2), speeds m/s."""

    back_pressure: Array
    air_flow: Array
    gas_flow: Array
    flow_per_area: Array
    nozzle_flow: Array
    turbine_power: Array
    compressor_rise: Array
    tip_speed: Array
    turbo_efficiency: Array
    inlet_pressure: Array
    delivery_pressure: Array
    delivery_temperature: Array
    deck_pressure: Array
    deck_temperature: Array
    throat_pressure: Array
    blower_inlet_temperature: Array
    blower_efficiency: Array
    manifold_temperature: Array
    charge_temperature: Array
    filling: Array
    starved: Array


def fixed(engine: Engine, air: Air, demand: Demand) -> Fixed:
    """The part of a point that back pressure cannot change."""
    c = engine.c
    evaporation = np.asarray(c["evaporated"] * demand.fuel_air_ratio * LATENT_HEAT / AIR_HEAT)
    tip: Numbers = 0.0
    rise: Numbers = 0.0
    if engine.blower_tip:
        tip = engine.blower_tip[demand.gear] * demand.engine_speed
        rise = c["blower_work"] * np.square(tip) / AIR_HEAT
    heating = c["wall_heating"]
    base = (1.0 - heating) * (air.total_temperature - evaporation + rise) + heating * c["wall_temperature"]
    swept = engine.displacement * demand.engine_speed / (4.0 * math.pi)
    equal = c["volumetric"] * demand.manifold_pressure * swept / GAS_CONSTANT
    share = np.minimum(np.asarray(air.airspeed) / FULL_COOLING_SPEED, 1.0)
    cooling = engine.cooler_effectiveness * (c["cooler_static"] + (1.0 - c["cooler_static"]) * share)
    hot = exhaust_temperature(demand.fuel_air_ratio, peak_temperature=c["gas_temperature"], slope=c["gas_slope"])
    return Fixed(engine, air, demand, np.asarray(hot), equal, base, cooling, tip, rise, evaporation)


def filling_factor(engine: Engine, back_pressure: Numbers, manifold_pressure: Numbers) -> Array:
    """Volumetric efficiency relative to equal pressures: 1 + s (ideal clearance factor - 1)."""
    ideal = clearance_factor(back_pressure / manifold_pressure, compression_ratio=engine.compression_ratio)  # type: ignore[arg-type]
    result: Array = 1.0 + engine.c["scavenge"] * (np.asarray(ideal) - 1.0)
    return result


def turbo_efficiency(
    engine: Engine, flow: Array, tip_speed: Array, inlet_pressure: Array, inlet_temperature: Numbers
) -> Array:
    """Adiabatic efficiency of the exhaust-driven stage, by its inlet's flow coefficient and its tip Mach number."""
    c = engine.c
    through = flow_coefficient(flow, np.asarray(inlet_temperature), inlet_pressure, np.maximum(tip_speed, STILL))
    return np.asarray(
        stage_efficiency(
            c["turbo_efficiency"],
            np.asarray(through) / engine.turbo_design_flow,
            tip_mach_number(tip_speed, np.asarray(inlet_temperature)),
            curvature=c["turbo_flow_curvature"],
            best=c["turbo_best_flow"],
            penalty=c["tip_speed_penalty"],
        )
    )


def blower_efficiency(point: Fixed, flow: Array, inlet_temperature: Array, outlet_temperature: Array) -> Array:
    """Adiabatic efficiency of the geared stage, by the flow coefficient of its outlet (manifold) and its tip Mach
    number."""
    engine, c = point.engine, point.engine.c
    tip = np.asarray(point.blower_tip_speed)
    through = flow_coefficient(flow, outlet_temperature, np.asarray(point.demand.manifold_pressure), tip)
    return np.asarray(
        stage_efficiency(
            c["blower_efficiency"],
            np.asarray(through) / engine.blower_design_flow,
            tip_mach_number(tip, inlet_temperature),
            curvature=c["blower_flow_curvature"],
            best=c["blower_best_flow"],
            penalty=c["tip_speed_penalty"],
        )
    )


def at_back_pressure(point: Fixed, back_pressure: Array) -> State:
    """The whole gas path at a back pressure in Pa. See the module's text for why no iteration is needed."""
    e, air, d, c = point.engine, point.air, point.demand, point.engine.c
    per_area = np.asarray(
        orifice_flow(
            1.0,
            back_pressure,
            point.gas_temperature,
            air.pressure,
            heat_ratio=EXHAUST_HEAT_RATIO,
            gas_constant=EXHAUST_GAS_CONSTANT,
        )
    )
    filling = filling_factor(e, back_pressure, d.manifold_pressure)
    nozzle, power = np.zeros_like(per_area), np.zeros_like(per_area)
    if e.has_turbo:
        nozzle = e.exhaust_area * per_area
        fall = 1.0 - np.power(air.pressure / back_pressure, EXHAUST_EXPONENT)
        power = nozzle * EXHAUST_HEAT * point.gas_temperature * fall * c["turbine_efficiency"]
    warmed = (1.0 - c["wall_heating"]) * (1.0 - point.cooling) * power / AIR_HEAT
    asked = (point.equal_flow * filling - warmed) / point.base_temperature
    least = LEAST_FLOW * point.equal_flow / point.base_temperature
    flow = np.maximum(asked, least)
    rise = power / (flow * AIR_HEAT)
    return _pressures(point, back_pressure, per_area, nozzle, power, flow, rise, filling, asked < least)


def _pressures(
    point: Fixed,
    back_pressure: Array,
    per_area: Array,
    nozzle: Array,
    power: Array,
    flow: Array,
    rise: Array,
    filling: Array,
    starved: Array,
) -> State:
    e, air, d, c = point.engine, point.air, point.demand, point.engine.c
    inlet = _after_loss(e.intake_loss, flow, air.total_temperature, air.total_pressure)
    hot = air.total_temperature + rise
    tip = np.sqrt(AIR_HEAT * rise / c["turbo_work"])
    delivery, efficiency = inlet, np.zeros_like(flow)
    if e.has_turbo:
        efficiency = turbo_efficiency(e, flow, tip, inlet, air.total_temperature)
        delivery = inlet * _isentropic_ratio(1.0 + efficiency * rise / air.total_temperature)
    deck = _after_loss(e.cooler_loss, flow, hot, delivery)
    deck_temperature = air.total_temperature + (1.0 - point.cooling) * rise
    blower_inlet = deck_temperature - point.evaporation
    manifold = blower_inlet + point.blower_rise
    throat, blower = np.broadcast_to(np.asarray(d.manifold_pressure), flow.shape), np.zeros_like(flow)
    if e.blower_tip:
        blower = blower_efficiency(point, flow, blower_inlet, manifold)
        throat = d.manifold_pressure / _isentropic_ratio(1.0 + blower * point.blower_rise / blower_inlet)
    charge = (1.0 - c["wall_heating"]) * manifold + c["wall_heating"] * c["wall_temperature"]
    return State(
        back_pressure, flow, flow * (1.0 + d.fuel_air_ratio), per_area, nozzle, power, rise, tip,
        efficiency, inlet, delivery, hot, deck, deck_temperature, throat, blower_inlet, blower, manifold, charge,
        filling, starved,
    )  # fmt: skip


def _isentropic_ratio(temperature_ratio: Array) -> Array:
    """Pressure ratio of an isentropic temperature ratio of air: its 3.5th power, which roots make cheaper than
    ``power`` does."""
    result: Array = np.square(temperature_ratio) * temperature_ratio * np.sqrt(temperature_ratio)
    return result


def _after_loss(coefficient: Array, flow: Array, temperature: Numbers, pressure: Numbers) -> Array:
    """Pressure behind a duct: p - k m2 T / p, never under a fifth of p (numerical floor, far outside use)."""
    loss = coefficient * np.square(flow) * temperature / pressure
    result: Array = np.maximum(pressure - loss, 0.2 * np.asarray(pressure))
    return result


def throttle_flow(state: State, area: Numbers) -> Array:
    """Air in kg/s that a throttle of ``area`` m2 passes between deck and throat; negative when the throat's
    pressure is the higher."""
    return np.asarray(orifice_flow(area, state.deck_pressure, state.deck_temperature, state.throat_pressure))


def throttle_area(state: State) -> Array:
    """Effective area in m2 the throttle needs; infinite where the deck pressure does not exceed the throat's."""
    per_area = throttle_flow(state, 1.0)
    with np.errstate(divide="ignore"):
        result: Array = np.where(per_area > 0.0, state.air_flow / np.maximum(per_area, 1e-300), np.inf)
    return result


def gate_area(engine: Engine, state: State) -> Array:
    """Effective area in m2 the waste gate needs to pass what the nozzle and the leaks do not; negative when even
    a shut gate passes too much."""
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = state.gas_flow / state.flow_per_area
    result: Array = whole - engine.exhaust_area * (1.0 + engine.c["leak"])
    return result
