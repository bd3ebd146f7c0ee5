"""Shafts and lags: what moves the carried state once an instant has been evaluated."""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine.coefficients import ONE, ZERO, Coefficients, scalar
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

_TURNING = scalar(3.0)


def turbo_shaft(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Turbo rotor: Newton's second law for turbine, compressor and bearing torques.

    The drag that grows with speed (compressor and bearing) is taken at the new speed, so a long step cannot swing.
    """
    load, change, drag, *_ = s.room
    # change = torque / [load / (w + 1) + drag + inertia / dt]
    np.multiply(s.turbo, p.bearing_start, load)
    np.minimum(load, p.turbo_drag_constant, out=load)
    load += x.compressor_torque
    np.subtract(x.turbine_torque, load, change)
    change -= np.multiply(p.turbo_drag, s.turbo, drag)
    load /= np.add(s.turbo, ONE, drag)
    load += pace.rotor
    change /= load
    change += s.turbo
    np.maximum(change, ZERO, out=s.turbo)


def no_turbo_shaft(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """An engine without a turbo."""


def starter_torque(p: Coefficients, s: State, levers: Levers) -> Array:
    """Torque of an engaged starter at the crankshaft: greatest at rest, falling evenly to nothing at its free speed,
    and nothing beyond, where its clutch runs free.

    A direct-current motor on a fixed voltage (textbook, from memory); ignition is taken to be on with it.
    """
    left = np.maximum(ONE - s.crank / p.starter_free_speed, ZERO)
    result: Array = p.starter_torque * levers.starter * left
    return result


def crankshaft(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Crankshaft and propeller: Newton's second law; a nearly stopped engine comes to rest on its compression.

    A stopped engine stays so unless the torque that drives it, that of a starter too, exceeds ``breakaway``
    (assumption).
    """
    driving, spare, *_ = s.room
    np.subtract(x.indicated_torque, x.pumping_torque, driving)
    driving -= np.multiply(p.reduction, x.propeller_torque, spare)
    if x.starting:
        driving += starter_torque(p, s, levers)
    acceleration, speed = s.crank_acceleration, s.crank
    np.subtract(driving, x.friction_torque, acceleration)
    acceleration -= x.blower_torque
    acceleration *= p.per_inertia
    speed += np.multiply(pace.dt, acceleration, spare)
    np.maximum(speed, ZERO, out=speed)
    at_rest = speed < _TURNING
    at_rest &= driving < p.breakaway
    np.putmask(speed, at_rest, ZERO)
    np.putmask(acceleration, at_rest, ZERO)


def move(value: Array, target: Array, share: Array, way: Array) -> None:
    """Moves a value by a share of its distance from its target; ``way`` is memory for that distance."""
    np.subtract(target, value, way)
    way *= share
    value += way


def lags(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """First-order lags: filling of manifold and collector, heat held by cooler, collector and cylinder heads.

    Exact over a step with a constant target; the throat pressure is the warm start of the next evaluation.
    """
    way = s.room[0]
    move(s.manifold, x.manifold_pressure, pace.manifold, way)
    move(s.collector, x.back_pressure, pace.collector, way)
    move(s.throat, x.throat_pressure, pace.manifold, way)
    move(s.charge_temperature, x.charge_temperature, pace.manifold, way)
    move(s.air_temperature, x.air_temperature, pace.air_temperature, way)
    move(s.gas_temperature, x.gas_temperature, pace.gas_temperature, way)
    move(s.head_temperature, x.head_temperature, pace.head, way)
