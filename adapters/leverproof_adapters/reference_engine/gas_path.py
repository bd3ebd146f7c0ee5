"""Gas path: exhaust-driven compressor, intercooler, throttle, geared stage, exhaust nozzle and gate, turbine.

Ratios of specific heats of 1.4 for air and 4/3 for exhaust gas make every power law a product of square roots.

Most of a step is the price of calling NumPy, so results are changed in place and products of constants are taken
beforehand (:mod:`.coefficients`, :mod:`.conditions`); the equation stands above the lines that compute it.
"""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine.coefficients import ONE, ZERO, Coefficients, scalar
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Point, State

AIR_CRITICAL = (2.0 / 2.4) ** 3.5
GAS_CRITICAL = (2.0 / (1.0 + 4.0 / 3.0)) ** 4
_TINY = scalar(1e-12)
_LEAST_RISE = scalar(0.5)
_R, _ROOT_S, _PER_ROOT_S = (
    scalar(AIR_CRITICAL),
    scalar(1.0 - AIR_CRITICAL),
    scalar(1.0 / (1.0 - AIR_CRITICAL)),
)
_R2_S = scalar(AIR_CRITICAL**2 - (1.0 - AIR_CRITICAL) ** 2)
_GAS_R, _GAS_Q = scalar(GAS_CRITICAL), 1.0 - 2.0 * GAS_CRITICAL
_PER_GAS_R, _PER_GAS_Q = scalar(1.0 / GAS_CRITICAL), scalar(-1.0 / _GAS_Q)
_GAS_BASE = scalar(GAS_CRITICAL**2 + _GAS_Q)
_GAS_SQUARE = scalar(_GAS_Q * (1.0 - GAS_CRITICAL) ** 2)


def pressure_ratio(temperature_ratio: Array) -> Array:
    """Isentropic pressure ratio of a temperature ratio, ``t^3.5`` (adiabatic relation, air)."""
    ratio = np.maximum(temperature_ratio, _LEAST_RISE)
    result: Array = np.sqrt(ratio)
    result *= ratio
    result *= ratio
    result *= ratio
    return result


def restriction(conductance: Array, slope: Array, offset: Array, upstream: Array) -> Array:
    """Pressure behind a restriction whose flow is drawn by a pump: ``m = slope p - offset``.

    The restriction passes ``conductance * upstream * f(p / upstream)`` kg/s, f from the ellipse that stands for the
    Saint-Venant nozzle function between the critical ratio and one, and 1 below it. Closed form, a quadratic; with no
    pump the pressure is ``upstream``. Source: A. Stodola's ellipse, from memory (within 2 % of the exact function).
    """
    scaled = conductance * _PER_ROOT_S  # k and j below are slope and offset, made to fit a round ellipse
    k = slope / scaled
    scaled *= upstream
    j = np.divide(offset, scaled, scaled)
    # ratio = (b + sqrt(b2 - a c)) / a
    a = k * k
    a += ONE
    b = k * j
    b += _R
    c = j * j
    c += _R2_S
    c *= a
    ratio: Array = b * b
    ratio -= c
    np.maximum(ratio, ZERO, out=ratio)
    np.sqrt(ratio, ratio)
    ratio += b
    ratio /= a
    j += _ROOT_S
    k += _TINY
    j /= k  # the pressure ratio if choked
    np.putmask(ratio, j < _R, j)
    ratio *= upstream
    return ratio


def outflow_pressure(
    flow: Array, root_temperature: Array, conductance: Array | float, downstream: Array
) -> Array:
    """Pressure ahead of an opening that passes ``flow`` kg/s of exhaust gas to ``downstream`` Pa.

    ``conductance`` is the area of the opening times the choked flow :data:`.coefficients.GAS_CHOKED`.

    Same ellipse as :func:`restriction`, solved for the upstream pressure; equal to ``downstream`` without flow. Beyond
    the critical ratio, where the ellipse has a slope of one, the pressure grows with the flow.
    """
    n = flow * root_temperature
    n /= conductance * downstream
    below = np.minimum(n, _PER_GAS_R)
    n -= below
    # ratio = (r - sqrt(r2 + q (1 + s n2))) / -q, with n the flow over the choked flow from the pressure behind
    below *= below
    below *= _GAS_SQUARE
    below += _GAS_BASE
    ratio: Array = np.sqrt(below, below)
    np.subtract(_GAS_R, ratio, ratio)
    ratio *= _PER_GAS_Q
    ratio += n
    ratio *= downstream
    return ratio


def turbo_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Deck pressure, outlet temperature and torque of the exhaust-driven compressor.

    Head ``U2 psi0 [1 - (phi/phi_limit)2]``, falling with excess tip Mach number squared; work ``U2`` times slip
    factor and a disc-friction term. The standing wheel is a resistance. Source: Euler's turbomachine equation with
    slip; form of the head curve and its coefficients: assumption; high-speed loss: NACA TN 794.
    """
    flow, speed = x.air_flow, s.turbo
    speed2, inlet, density, excess, resistance, work = s.room
    flow2 = flow * flow
    np.multiply(speed, speed, speed2)
    # inlet pressure p1 = p0 - loss m2, and density
    np.multiply(x.inlet_loss, flow2, inlet)
    np.subtract(x.inlet_pressure, inlet, inlet)
    np.multiply(inlet, x.inlet_density, density)
    # temperature ratio = 1 + psi0 r2 [w2 (1 - excess2) - (m / density)2] / (cp T1)
    np.multiply(x.tip_mach, speed, excess)
    excess -= p.tip_mach_start
    np.maximum(excess, ZERO, out=excess)
    excess *= excess
    np.subtract(ONE, excess, excess)
    excess *= speed2
    np.divide(flow, density, resistance)
    resistance *= resistance
    excess -= resistance
    rise = excess
    rise *= x.turbo_head
    rise += ONE
    outlet = pressure_ratio(rise)
    outlet *= inlet
    # torque = slip r2 m w + disc density w2
    np.multiply(flow, p.turbo_work_radius, work)
    work *= speed
    density *= speed2
    density *= p.turbo_disc_radius
    x.compressor_torque = work + density
    # T2 = T1 + torque w / [cp (m + m0)]
    heated = flow * p.air_heat
    heated += p.outlet_heat
    np.divide(x.compressor_torque, heated, heated)
    heated *= speed
    heated += air.ram_temperature
    x.outlet_temperature = heated
    # deck pressure = p2 - loss m2 T2 / p2
    flow2 *= p.cooler_loss
    flow2 *= heated
    flow2 /= outlet
    x.deck_pressure = np.subtract(outlet, flow2, flow2)


def intercooler(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the carburettor air temperature.

    ``T = T2 - effectiveness (T2 - T cooling)``; definition of effectiveness. Effectiveness moves linearly with the
    shutter and falls to a share of itself without airspeed: assumption.
    """
    cooling = x.outlet_temperature - air.ram_temperature
    cooling *= x.cooler_effectiveness
    x.air_temperature = np.subtract(x.outlet_temperature, cooling, cooling)


def geared_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Pressure ratio, charge temperature and drive torque (at the crankshaft) of the geared stage.

    As :func:`turbo_stage`, fed with the mixture behind the throttle; part of the fuel has evaporated there and
    cooled it (energy balance). Source: Euler's equation with slip; coefficients: assumption.
    """
    compress(p, p.blower_tip_radius, p.blower_drive_radius, s, x)


def compress(p: Coefficients, tip_radius: Array, drive_radius: Array, s: State, x: Point) -> None:
    """The geared stage; ``tip_radius`` is the wheel's radius times the gear ratio and ``drive_radius`` that times the
    work over the drive's efficiency. See :func:`geared_stage`."""
    tip = tip_radius * s.crank
    tip2 = tip * tip
    inlet, resistance, *_ = s.room
    # temperature ratio = 1 + psi0 [u2 - (phi / phi_limit)2] / (cp T), of the air that evaporating fuel has cooled
    np.multiply(x.fuel_ratio, x.burn, inlet)
    inlet *= p.evaporation_cooling
    np.subtract(s.air_temperature, inlet, inlet)
    np.multiply(x.air_flow, inlet, resistance)
    resistance /= s.throat
    resistance *= p.blower_resistance
    resistance *= resistance
    rise = np.subtract(tip2, resistance, resistance)
    rise *= p.blower_head_heat
    rise /= inlet
    rise += ONE
    x.blower_ratio = pressure_ratio(rise)
    # charge temperature = T + work u2 / cp, torque = work u r m over the efficiency of the drive
    tip2 *= p.blower_work_heat
    tip2 += inlet
    x.charge_temperature = tip2
    tip *= x.air_flow
    tip *= drive_radius
    x.blower_torque = tip


def induction(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Throat and manifold pressures at which throttle, geared stage and cylinders pass the same flow.

    Throttle area is a cam of travel between square and linear law (assumption); flow through :func:`restriction`.
    """
    opening, slope, offset, root, *_ = s.room
    # conductance = choked flow (idle + cam of travel) / sqrt(T)
    np.multiply(p.throttle_square, s.throttle, opening)
    opening += p.throttle_linear
    opening *= s.throttle
    opening += p.throttle_idle
    opening /= np.sqrt(s.air_temperature, root)
    np.multiply(x.flow_per_radian, s.crank, slope)
    slope *= x.blower_ratio
    np.multiply(x.suction, s.crank, offset)
    x.throat_pressure = restriction(opening, slope, offset, x.deck_pressure)
    x.manifold_pressure = x.throat_pressure * x.blower_ratio


def exhaust(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the back pressure: nozzle, waste gate and leaks in parallel to the ambient pressure."""
    opening = p.gate_conductance * s.gate
    opening += p.shut_conductance
    x.exhaust_conductance, x.gas_flow = opening, x.air_flow + x.fuel_flow
    root = np.sqrt(s.gas_temperature, s.room[0])
    x.back_pressure = outflow_pressure(x.gas_flow, root, opening, air.pressure)


def turbine(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Torque of the impulse turbine on the turbo shaft.

    Jet speed ``c = sqrt(2 cp T [1 - (pa/pe)^1/4])``; efficiency a parabola of blade-to-jet speed with its summit at
    ``turbine_speed_ratio``, so torque is finite on a standing wheel. Source: textbook impulse stage, from memory;
    efficiency a function of that ratio: DTIC ADA801453 (1946).
    """
    jet = air.pressure / s.collector
    np.sqrt(jet, jet)
    np.sqrt(jet, jet)
    np.subtract(ONE, jet, jet)
    jet *= s.gas_temperature
    np.maximum(jet, ZERO, out=jet)
    np.sqrt(jet, jet)
    jet *= p.turbine_jet
    slip = np.subtract(jet, np.multiply(p.turbine_radius, s.turbo, s.room[0]), jet)
    slip *= x.gas_flow
    slip /= x.exhaust_conductance
    slip *= p.turbine_gain
    x.turbine_torque = slip
