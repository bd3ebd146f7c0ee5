"""Gas path: exhaust-driven compressor, intercooler, throttle, geared stage, exhaust nozzle and gate, turbine.

Ratios of specific heats of 1.4 for air and 4/3 for exhaust gas make every power law a product of square roots.

Most of a step is the price of calling NumPy. So results go to memory taken beforehand (:class:`.state.State`),
products of constants are taken once (:mod:`.coefficients`, :mod:`.conditions`), and functions are called by their own
names with memory for the result: ``np.`` before the name costs a fifth of a call, ``*=`` a third. Read
``multiply(a, b, a)`` as ``a *= b``; the equation stands above the lines that compute it.
"""

from __future__ import annotations

from numpy import add, divide, empty_like, maximum, minimum, multiply, sqrt, subtract

from leverproof_adapters.reference_engine.coefficients import ONE, ZERO, Coefficients, scalar
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Point, State

AIR_CRITICAL = (2.0 / 2.4) ** 3.5
GAS_CRITICAL = (2.0 / (1.0 + 4.0 / 3.0)) ** 4
_TINY = scalar(1e-12)
_LEAST_RISE = scalar(0.5)
_R, _S, _S2, _PER_S = (
    scalar(AIR_CRITICAL),
    scalar(1.0 - AIR_CRITICAL),
    scalar((1.0 - AIR_CRITICAL) ** 2),
    scalar(1.0 / (1.0 - AIR_CRITICAL)),
)
_GAS_R, _GAS_Q = scalar(GAS_CRITICAL), 1.0 - 2.0 * GAS_CRITICAL
_PER_GAS_R, _PER_GAS_Q = scalar(1.0 / GAS_CRITICAL), scalar(-1.0 / _GAS_Q)
_GAS_BASE = scalar(GAS_CRITICAL**2 + _GAS_Q)
_GAS_SQUARE = scalar(_GAS_Q * (1.0 - GAS_CRITICAL) ** 2)


def _room_like(values: Array, count: int) -> tuple[Array, ...]:
    return tuple(empty_like(values) for _ in range(count))


def pressure_ratio(temperature_ratio: Array, room: tuple[Array, ...] | None = None) -> Array:
    """Isentropic pressure ratio of a temperature ratio, ``t^3.5`` (adiabatic relation, air).

    ``room`` is memory for the result and one more array, which may be the argument.
    """
    result, ratio = room or _room_like(temperature_ratio, 2)
    maximum(temperature_ratio, _LEAST_RISE, out=ratio)
    sqrt(ratio, result)
    multiply(result, ratio, result)
    multiply(result, ratio, result)
    multiply(result, ratio, result)
    return result


def restriction(
    conductance: Array, slope: Array, offset: Array, upstream: Array, room: tuple[Array, ...] | None = None
) -> Array:
    """Pressure behind a restriction whose flow is drawn by a pump: ``m = slope p - offset``.

    The restriction passes ``conductance * upstream * f(p / upstream)`` kg/s, f from the ellipse that stands for the
    Saint-Venant nozzle function between the critical ratio and one, and 1 below it. Closed form, a quadratic; with no
    pump the pressure is ``upstream``. Source: A. Stodola's ellipse, from memory (within 2 % of the exact function).

    ``room`` is memory for the result and four more arrays, which may be the first three arguments.
    """
    ratio, k, e, a, spare = room or _room_like(conductance, 5)
    # k and j: slope and offset over the choked flow, made to fit a round ellipse of radius S; e = j - k R
    multiply(conductance, _PER_S, a)
    divide(slope, a, k)
    multiply(a, upstream, a)
    divide(offset, a, e)
    subtract(e, multiply(k, _R, spare), e)
    # above the critical ratio by [k e + sqrt(S2 (1 + k2) - e2)] / (1 + k2)
    multiply(k, k, a)
    add(a, ONE, a)
    multiply(a, _S2, ratio)
    subtract(ratio, multiply(e, e, spare), ratio)
    maximum(ratio, ZERO, out=ratio)
    sqrt(ratio, ratio)
    add(ratio, multiply(k, e, spare), ratio)
    divide(ratio, a, ratio)
    # below it, where the flow is choked, by (S + e) / k, of which the ellipse falls short there
    add(e, _S, e)
    add(k, _TINY, k)
    divide(e, k, e)
    minimum(e, ZERO, out=e)
    maximum(ratio, e, out=ratio)
    add(ratio, _R, ratio)
    multiply(ratio, upstream, ratio)
    return ratio


def outflow_pressure(
    flow: Array,
    root_temperature: Array,
    conductance: Array,
    downstream: Array,
    room: tuple[Array, ...] | None = None,
) -> Array:
    """Pressure ahead of an opening that passes ``flow`` kg/s of exhaust gas to ``downstream`` Pa.

    ``conductance`` is the area of the opening times the choked flow :data:`.coefficients.GAS_CHOKED`.

    Same ellipse as :func:`restriction`, solved for the upstream pressure; equal to ``downstream`` without flow. Beyond
    the critical ratio, where the ellipse has a slope of one, the pressure grows with the flow. ``room`` is memory for
    the result and one more array, which may be the root of the temperature.
    """
    ratio, n = room or _room_like(flow, 2)
    multiply(flow, root_temperature, n)
    divide(n, multiply(conductance, downstream, ratio), n)
    minimum(n, _PER_GAS_R, out=ratio)
    subtract(n, ratio, n)
    # ratio = (r - sqrt(r2 + q (1 + s n2))) / -q, with n the flow over the choked flow from the pressure behind
    multiply(ratio, ratio, ratio)
    multiply(ratio, _GAS_SQUARE, ratio)
    add(ratio, _GAS_BASE, ratio)
    sqrt(ratio, ratio)
    subtract(_GAS_R, ratio, ratio)
    multiply(ratio, _PER_GAS_Q, ratio)
    add(ratio, n, ratio)
    multiply(ratio, downstream, ratio)
    return ratio


def turbo_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Deck pressure, outlet temperature and torque of the exhaust-driven compressor.

    Head ``U2 psi0 [1 - (phi/phi_limit)2]``, falling with excess tip Mach number squared; work ``U2`` times slip
    factor and a disc-friction term. The standing wheel is a resistance. Source: Euler's turbomachine equation with
    slip; form of the head curve and its coefficients: assumption; high-speed loss: NACA TN 794.
    """
    flow, speed, found = x.air_flow, s.turbo, s.found
    speed2, inlet, density, excess, spare, flow2, _ = s.room
    multiply(flow, flow, flow2)
    multiply(speed, speed, speed2)
    # inlet pressure p1 = p0 - loss m2, and density
    multiply(x.inlet_loss, flow2, inlet)
    subtract(x.inlet_pressure, inlet, inlet)
    multiply(inlet, x.inlet_density, density)
    # temperature ratio = 1 + psi0 r2 [w2 (1 - excess2) - (m / density)2] / (cp T1)
    multiply(x.tip_mach, speed, excess)
    subtract(excess, p.tip_mach_start, excess)
    maximum(excess, ZERO, out=excess)
    multiply(excess, excess, excess)
    subtract(ONE, excess, excess)
    multiply(excess, speed2, excess)
    divide(flow, density, spare)
    multiply(spare, spare, spare)
    subtract(excess, spare, excess)
    multiply(excess, x.turbo_head, excess)
    add(excess, ONE, excess)
    outlet = pressure_ratio(excess, (spare, excess))
    multiply(outlet, inlet, outlet)
    # torque = slip r2 m w + disc density w2
    torque = multiply(flow, p.turbo_work_radius, found.compressor_torque)
    multiply(torque, speed, torque)
    multiply(density, speed2, density)
    multiply(density, p.turbo_disc_radius, density)
    add(torque, density, torque)
    # T2 = T1 + torque w / [cp (m + m0)]
    heated = multiply(flow, p.air_heat, found.outlet_temperature)
    add(heated, p.outlet_heat, heated)
    divide(torque, heated, heated)
    multiply(heated, speed, heated)
    add(heated, air.ram_temperature, heated)
    # deck pressure = p2 - loss m2 T2 / p2
    multiply(flow2, p.cooler_loss, flow2)
    multiply(flow2, heated, flow2)
    divide(flow2, outlet, flow2)
    x.deck_pressure = subtract(outlet, flow2, found.deck_pressure)
    x.compressor_torque, x.outlet_temperature = torque, heated


def intercooler(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the carburettor air temperature.

    ``T = T2 - effectiveness (T2 - T cooling)``; definition of effectiveness. Effectiveness moves linearly with the
    shutter and falls to a share of itself without airspeed: assumption.
    """
    cooling = subtract(x.outlet_temperature, air.ram_temperature, s.found.air_temperature)
    multiply(cooling, x.cooler_effectiveness, cooling)
    x.air_temperature = subtract(x.outlet_temperature, cooling, cooling)


def geared_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Pressure ratio, charge temperature and drive torque (at the crankshaft) of the geared stage.

    As :func:`turbo_stage`, fed with the mixture behind the throttle; part of the fuel has evaporated there and
    cooled it (energy balance). Source: Euler's equation with slip; coefficients: assumption.
    """
    compress(p, p.blower_tip_radius, p.blower_drive_radius, s, x)


def compress(p: Coefficients, tip_radius: Array, drive_radius: Array, s: State, x: Point) -> None:
    """The geared stage; ``tip_radius`` is the wheel's radius times the gear ratio and ``drive_radius`` that times the
    work over the drive's efficiency. See :func:`geared_stage`."""
    found, flow = s.found, x.air_flow
    inlet, rise, *_ = s.room
    tip = multiply(tip_radius, s.crank, found.blower_torque)
    tip2 = multiply(tip, tip, found.charge_temperature)
    # temperature ratio = 1 + psi0 [u2 - (phi / phi_limit)2] / (cp T), of the air that evaporating fuel has cooled
    multiply(x.fuel_ratio, x.burn, inlet)
    multiply(inlet, p.evaporation_cooling, inlet)
    subtract(s.air_temperature, inlet, inlet)
    multiply(flow, inlet, rise)
    divide(rise, s.throat, rise)
    multiply(rise, p.blower_resistance, rise)
    multiply(rise, rise, rise)
    subtract(tip2, rise, rise)
    multiply(rise, p.blower_head_heat, rise)
    divide(rise, inlet, rise)
    add(rise, ONE, rise)
    x.blower_ratio = pressure_ratio(rise, (found.blower_ratio, rise))
    # charge temperature = T + work u2 / cp, torque = work u r m over the efficiency of the drive
    multiply(tip2, p.blower_work_heat, tip2)
    add(tip2, inlet, tip2)
    multiply(tip, flow, tip)
    multiply(tip, drive_radius, tip)
    x.charge_temperature, x.blower_torque = tip2, tip


def induction(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Throat and manifold pressures at which throttle, geared stage and cylinders pass the same flow.

    Throttle area is a cam of travel between square and linear law (assumption); flow through :func:`restriction`.
    """
    opening, slope, offset, root, *_ = s.room
    found = s.found
    # conductance = choked flow (idle + cam of travel) / sqrt(T)
    multiply(p.throttle_square, s.throttle, opening)
    add(opening, p.throttle_linear, opening)
    multiply(opening, s.throttle, opening)
    add(opening, p.throttle_idle, opening)
    divide(opening, sqrt(s.air_temperature, root), opening)
    multiply(x.flow_per_radian, s.crank, slope)
    multiply(slope, x.blower_ratio, slope)
    multiply(x.suction, s.crank, offset)
    room = found.throat_pressure, slope, offset, opening, root
    throat = restriction(opening, slope, offset, x.deck_pressure, room)
    x.throat_pressure = throat
    x.manifold_pressure = multiply(throat, x.blower_ratio, found.manifold_pressure)


def exhaust(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the back pressure: nozzle, waste gate and leaks in parallel to the ambient pressure."""
    found, root = s.found, s.room[0]
    opening = multiply(p.gate_conductance, s.gate, found.exhaust_conductance)
    add(opening, p.shut_conductance, opening)
    gas = add(x.air_flow, x.fuel_flow, found.gas_flow)
    sqrt(s.gas_temperature, root)
    x.back_pressure = outflow_pressure(gas, root, opening, air.pressure, (found.back_pressure, root))
    x.exhaust_conductance, x.gas_flow = opening, gas


def turbine(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Torque of the impulse turbine on the turbo shaft.

    Jet speed ``c = sqrt(2 cp T [1 - (pa/pe)^1/4])``; efficiency a parabola of blade-to-jet speed with its summit at
    ``turbine_speed_ratio``, so torque is finite on a standing wheel. Source: textbook impulse stage, from memory;
    efficiency a function of that ratio: DTIC ADA801453 (1946).
    """
    jet = divide(air.pressure, s.collector, s.found.turbine_torque)
    sqrt(jet, jet)
    sqrt(jet, jet)
    subtract(ONE, jet, jet)
    multiply(jet, s.gas_temperature, jet)
    maximum(jet, ZERO, out=jet)
    sqrt(jet, jet)
    # torque = gain (jet speed - blade speed over twice the best ratio) m over the opening
    multiply(jet, p.turbine_jet, jet)
    subtract(jet, multiply(p.turbine_blade, s.turbo, s.room[0]), jet)
    multiply(jet, x.gas_flow, jet)
    divide(jet, x.exhaust_conductance, jet)
    x.turbine_torque = jet
