"""Stepping: starting state, inner steps, readings, residual."""

from __future__ import annotations

import math

import numpy as np

from leverproof.quantities import UNITS, convert
from leverproof.timegrid import TICKS_PER_SECOND
from leverproof_adapters.reference_engine.coefficients import scalar
from leverproof_adapters.reference_engine.components import Build
from leverproof_adapters.reference_engine.conditions import asked_positions, asked_speed
from leverproof_adapters.reference_engine.controls import light_state
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import CARRIED, Air, Array, Levers, Pace, Point, State

INNER_TICKS = TICKS_PER_SECOND // 40
"""Longest inner step: 25 ms. Every grid step is cut into equal inner steps no longer than this."""

_PER_INHG = scalar(1.0 / UNITS["inHg"].scale)
_PER_RPM = scalar(1.0 / UNITS["rpm"].scale)
_PER_HP = scalar(1.0 / UNITS["hp"].scale)
_PER_LBF_FT = scalar(1.0 / UNITS["lbf.ft"].scale)
_PER_LB_H = scalar(1.0 / UNITS["lb/h"].scale)
_ZERO_C = scalar(UNITS["degC"].offset)
_IDLE = convert(660.0, "rpm", "rad/s")


def inner_steps(step_ticks: int) -> int:
    """Inner steps in one grid step."""
    return -(-step_ticks // INNER_TICKS)


def pace(build: Build, step_ticks: int, lanes: int = 1) -> Pace:
    """The inner step of a grid step and the share of each lag that passes in it; for any number of lanes, but made for
    ``lanes`` of them."""
    p = build.parameters
    dt = build.time_scale(step_ticks) * step_ticks / (TICKS_PER_SECOND * inner_steps(step_ticks))

    def share(lag: float) -> Array:
        return scalar(-math.expm1(-dt / lag))

    manifold, air = share(p.manifold_lag), share(p.air_temperature_lag)
    collector, gas, head = share(p.exhaust_lag), share(p.gas_temperature_lag), share(p.head_lag)
    throttle, boost = share(p.throttle_lag), share(p.boost_lag)
    lags = np.array([manifold, collector, manifold, air, manifold, gas, head, throttle, boost])[:, None]
    return Pace(
        scalar(dt),
        scalar(p.turbo_inertia / dt),
        scalar(p.turbo_inertia / dt + p.turbo_drag),
        throttle,
        boost,
        share(p.gate_lag),
        share(p.gear_lag),
        manifold,
        collector,
        air,
        gas,
        head,
        lags.repeat(lanes, axis=1),
    )


def starting_state(p: Parameters, running: Array, levers: Levers, air: Air) -> State:
    """A warm engine somewhere near equilibrium where ``running`` is 1, a cold still one where it is 0."""
    s = State(np.zeros((len(CARRIED), running.size)))
    throttle, boost = asked_positions(p, levers)
    on = running > 0.5
    s.throttle, s.boost = throttle + 0.0, boost + 0.0
    s.gate = 1.0 - boost
    s.servo = boost * 0.5
    asked = asked_speed(p, levers.propeller)
    s.crank = np.where(on, np.minimum(_IDLE + throttle * 3.0 * (asked - _IDLE), asked), 0.0)
    if p.has_turbo:
        s.turbo = np.where(on, 60.0 + 500.0 * throttle + 0.5 * p.turbo_limit * boost * throttle, 0.0)
    s.gear = levers.blower_gear + 0.0
    s.blade = p.fine_stop + np.where(on, 8.0 * throttle + air.speed * 0.15, 0.0)
    firing = 0.35 + 1.2 * np.minimum(throttle, 0.7)
    s.manifold = np.where(on, air.pressure * firing, air.ram_pressure)
    s.throat = np.where(on, air.pressure * np.minimum(firing, 0.9), air.ram_pressure)
    s.collector = np.where(on, air.pressure * 1.03, air.pressure)
    s.air_temperature = air.ram_temperature + 0.0
    s.charge_temperature = air.ram_temperature + np.where(on, 60.0, 0.0)
    s.gas_temperature = np.where(on, 1000.0, air.temperature)
    s.head_temperature = np.where(on, 420.0, air.temperature)
    s.settled()
    return s


def step(build: Build, s: State, levers: Levers, air: Air, pace: Pace, given: Point | None = None) -> Point:
    """One inner step: evaluate the instant, then move the carried state. Returns the evaluation; ``given`` as in
    :meth:`Build.evaluate`."""
    x = build.evaluate(s, levers, air, given)
    p = build.coefficients
    for mover in build.movers:
        mover(p, s, levers, air, x, pace)
    return x


def residual(s: State, x: Point, p: Parameters) -> Array:
    """Largest relative distance of each lane from steady state: lagged quantities from their targets, shaft torques
    from balance (relative to the larger torque)."""
    driving = x.indicated_torque - x.pumping_torque - x.friction_torque - x.blower_torque
    crank = (driving - p.reduction * x.propeller_torque) / x.indicated_torque
    parts = (
        x.manifold_pressure / s.manifold - 1.0,
        x.back_pressure / s.collector - 1.0,
        x.throat_pressure / s.throat - 1.0,
        x.air_temperature / s.air_temperature - 1.0,
        x.charge_temperature / s.charge_temperature - 1.0,
        x.gas_temperature / s.gas_temperature - 1.0,
        *((_turbo_residual(s, x, p),) if p.has_turbo else ()),
        crank,
    )
    result: Array = np.max(np.abs(np.stack(parts)), axis=0)
    return result


def _turbo_residual(s: State, x: Point, p: Parameters) -> Array:
    drag = p.turbo_drag * s.turbo + p.turbo_drag_constant
    result: Array = (x.turbine_torque - x.compressor_torque - drag) / x.turbine_torque
    return result


def readings(build: Build, s: State, air: Air, x: Point) -> dict[str, Array]:
    """Every reading in its canonical unit, by channel name; ``brake_power = torque x engine_speed``. Of a row of lanes
    or of many rows at once: of ``x`` only what :data:`.state.SHOWN` names is asked."""
    p = build.coefficients
    torque = x.indicated_torque - x.pumping_torque - x.friction_torque - x.blower_torque
    result = {
        "manifold_pressure": s.manifold * _PER_INHG,
        "engine_speed": s.crank * _PER_RPM,
        "turbo_speed": s.turbo * _PER_RPM,
        "brake_power": torque * s.crank * _PER_HP,
        "torque": torque * _PER_LBF_FT,
        "fuel_flow": x.fuel_flow * _PER_LB_H,
        "carburettor_air_temperature": s.air_temperature - _ZERO_C,
        "carburettor_deck_pressure": x.deck_pressure * _PER_INHG,
        "exhaust_back_pressure": s.collector * _PER_INHG,
        "manifold_temperature": s.charge_temperature - _ZERO_C,
        "exhaust_gas_temperature": s.gas_temperature - _ZERO_C,
        "cylinder_head_temperature": s.head_temperature - _ZERO_C,
        "wastegate_opening": s.gate,
        "blade_angle": s.blade,
        "turbo_overspeed_light": light_state(p, s.felt_speed),
        "throttle_position": s.throttle,
        "boost_position": s.boost,
        "ambient_pressure": air.pressure * _PER_INHG,
        "ambient_temperature": air.temperature - _ZERO_C,
    }
    build.readings(p, s, air, x, result)
    return result
