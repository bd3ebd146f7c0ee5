"""Gas path: exhaust-driven compressor, intercooler, throttle, geared stage, exhaust nozzle and gate, turbine.

Ratios of specific heats of 1.4 for air and 4/3 for exhaust gas make every power law a product of square roots.
"""

from __future__ import annotations

import math

import numpy as np

from leverproof.atmosphere import GAS_CONSTANT
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Point, State

AIR_HEAT = 1004.5
GAS_HEAT = 4.0 * GAS_CONSTANT
AIR_CRITICAL = (2.0 / 2.4) ** 3.5
GAS_CRITICAL = (2.0 / (1.0 + 4.0 / 3.0)) ** 4
AIR_CHOKED = math.sqrt(1.4 / GAS_CONSTANT) * (2.0 / 2.4) ** 3
GAS_CHOKED = math.sqrt((4.0 / 3.0) / GAS_CONSTANT) * (2.0 / (7.0 / 3.0)) ** 3.5
_TINY = 1e-12
_LEAST_RISE = 0.5


def pressure_ratio(temperature_ratio: Array) -> Array:
    """Isentropic pressure ratio of a temperature ratio, ``t^3.5`` (adiabatic relation, air)."""
    ratio = np.maximum(temperature_ratio, _LEAST_RISE)
    result: Array = ratio * ratio * ratio * np.sqrt(ratio)
    return result


def restriction(conductance: Array, slope: Array, offset: Array, upstream: Array) -> Array:
    """Pressure behind a restriction whose flow is drawn by a pump: ``m = slope p - offset``.

    The restriction passes ``conductance * upstream * f(p / upstream)`` kg/s, f from the ellipse that stands for the
    Saint-Venant nozzle function between the critical ratio and one, and 1 below it. Closed form, a quadratic; with no
    pump the pressure is ``upstream``. Source: A. Stodola's ellipse, from memory (within 2 % of the exact function).
    """
    r, s = AIR_CRITICAL, (1.0 - AIR_CRITICAL) ** 2
    k = slope / conductance
    j = offset / (conductance * upstream)
    a = k * k * s + 1.0
    b = k * j * s + r
    c = j * j * s + r * r - s
    ratio = (b + np.sqrt(np.maximum(b * b - a * c, 0.0))) / a
    choked = (1.0 + j) / (k + _TINY)
    result: Array = np.where(choked < r, choked, ratio) * upstream
    return result


def outflow_pressure(flow: Array, root_temperature: Array, area: Array | float, downstream: Array) -> Array:
    """Pressure ahead of an opening that passes ``flow`` kg/s of exhaust gas to ``downstream`` Pa.

    Same ellipse as :func:`restriction`, solved for the upstream pressure; equal to ``downstream`` without flow.
    """
    r, s = GAS_CRITICAL, (1.0 - GAS_CRITICAL) ** 2
    q = 1.0 - 2.0 * r
    n = flow * root_temperature / (GAS_CHOKED * area * downstream)
    ratio = (np.sqrt(np.maximum(r * r + q * (1.0 + s * n * n), 0.0)) - r) / q
    result: Array = np.where(n * r > 1.0, n, ratio) * downstream
    return result


def turbo_stage(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Deck pressure, outlet temperature and torque of the exhaust-driven compressor.

    Head ``U2 psi0 [1 - (phi/phi_limit)2]``, falling with excess tip Mach number squared; work ``U2`` times slip
    factor and a disc-friction term. The standing wheel is a resistance. Source: Euler's turbomachine equation with
    slip; form of the head curve and its coefficients: assumption; high-speed loss: NACA TN 794.
    """
    flow = x.air_flow
    inlet = air.ram_pressure - p.duct_loss * flow * flow * air.ram_temperature / air.ram_pressure
    density = inlet / (GAS_CONSTANT * air.ram_temperature)
    radius = p.turbo_wheel_radius
    tip = radius * s.turbo
    through = flow / (density * (4.0 * radius * radius))
    excess = np.maximum(tip / air.sound - p.tip_mach_limit, 0.0)
    shut_off = p.turbo_head * (1.0 - p.tip_mach_penalty * excess * excess) * tip * tip
    resistance = through * (1.0 / p.turbo_flow_limit)
    head = shut_off - p.turbo_head * resistance * resistance
    outlet = inlet * pressure_ratio(1.0 + head / (AIR_HEAT * air.ram_temperature))
    disc = p.turbo_disc_work * density * (4.0 * radius * radius) * tip * tip
    moment = flow * p.turbo_work * tip + disc
    x.compressor_torque = moment * radius
    x.outlet_temperature = air.ram_temperature + moment * tip / (AIR_HEAT * (flow + p.outlet_flow))
    x.deck_pressure = outlet - p.cooler_loss * flow * flow * x.outlet_temperature / outlet


def intercooler(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the carburettor air temperature.

    ``T = T2 - effectiveness (T2 - T cooling)``; definition of effectiveness. Effectiveness moves linearly with the
    shutter and falls to a share of itself without airspeed: assumption.
    """
    reach = p.cooler_static + (1.0 - p.cooler_static) * np.minimum(air.speed * (1.0 / 75.0), 1.0)
    effectiveness = p.cooler_shut + (p.cooler_open * reach - p.cooler_shut) * levers.intercooler_shutter
    x.air_temperature = x.outlet_temperature - effectiveness * (x.outlet_temperature - air.ram_temperature)


def geared_stage(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Pressure ratio, charge temperature and drive torque (at the crankshaft) of the geared stage.

    As :func:`turbo_stage`, fed with the mixture behind the throttle; part of the fuel has evaporated there and
    cooled it (energy balance). Source: Euler's equation with slip; coefficients: assumption.
    """
    compress(p, p.blower_gear, s, x)


def compress(p: Parameters, gear: float | Array, s: State, x: Point) -> None:
    """The geared stage at a gear ratio; see :func:`geared_stage`."""
    radius = p.blower_wheel_radius
    tip = (radius * gear) * s.crank
    inlet = s.air_temperature - (p.evaporated * p.latent_heat / AIR_HEAT) * x.fuel_ratio * x.burn
    through = x.air_flow * GAS_CONSTANT * inlet / (s.throat * (4.0 * radius * radius))
    resistance = through * (1.0 / p.blower_flow_limit)
    head = p.blower_head * (tip * tip - resistance * resistance)
    x.blower_ratio = pressure_ratio(1.0 + head / (AIR_HEAT * inlet))
    x.charge_temperature = inlet + (p.blower_work / AIR_HEAT) * tip * tip
    drive = p.blower_work * radius * gear / p.blower_gear_efficiency
    x.blower_torque = drive * x.air_flow * tip


def induction(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Throat and manifold pressures at which throttle, geared stage and cylinders pass the same flow.

    Throttle area is a cam of travel between square and linear law (assumption); flow through :func:`restriction`.
    """
    travel = s.throttle * (1.0 - p.throttle_cam + p.throttle_cam * s.throttle)
    area = p.throttle_idle_area + p.throttle_area * travel
    conductance = AIR_CHOKED * area / np.sqrt(s.air_temperature)
    slope = x.flow_per_radian * s.crank * x.blower_ratio
    offset = x.suction * s.crank
    x.throat_pressure = restriction(conductance, slope, offset, x.deck_pressure)
    x.manifold_pressure = x.throat_pressure * x.blower_ratio


def exhaust(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the back pressure: nozzle, waste gate and leaks in parallel to the ambient pressure."""
    area = p.nozzle_area + p.exhaust_leak_area + p.gate_area * s.gate
    x.gas_flow = x.air_flow + x.fuel_flow
    x.back_pressure = outflow_pressure(x.gas_flow, np.sqrt(s.gas_temperature), area, air.pressure)


def turbine(p: Parameters, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Torque of the impulse turbine on the turbo shaft.

    Jet speed ``c = sqrt(2 cp T [1 - (pa/pe)^1/4])``; efficiency a parabola of blade-to-jet speed with its summit at
    ``turbine_speed_ratio``, so torque is finite on a standing wheel. Source: textbook impulse stage, from memory;
    efficiency a function of that ratio: DTIC ADA801453 (1946).
    """
    area = p.nozzle_area + p.exhaust_leak_area + p.gate_area * s.gate
    expansion = np.sqrt(np.sqrt(air.pressure / s.collector))
    jet = np.sqrt(np.maximum(2.0 * GAS_HEAT * s.gas_temperature * (1.0 - expansion), 0.0))
    best = p.turbine_speed_ratio
    slip = 2.0 * best * jet - p.turbine_radius * s.turbo
    nozzle_flow = x.gas_flow * p.nozzle_area / area
    x.turbine_torque = (0.5 * p.turbine_efficiency * p.turbine_radius / (best * best)) * nozzle_flow * slip
