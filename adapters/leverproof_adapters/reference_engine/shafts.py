"""Shafts and lags: what moves the carried state once an instant has been evaluated."""

from __future__ import annotations

from numpy import add, divide, less, logical_and, maximum, minimum, multiply, putmask, subtract

from leverproof_adapters.reference_engine.coefficients import ONE, ZERO, Coefficients, scalar
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

_TURNING = scalar(3.0)


def turbo_shaft(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Turbo rotor: Newton's second law for turbine, compressor and bearing torques.

    The drag that grows with speed (compressor and bearing) is taken at the new speed, so a long step cannot swing.
    """
    drag, spare, *_ = s.room
    speed = s.turbo
    # with drag = load / (w + 1): new speed = [w inertia / dt + turbine - drag] / [inertia / dt + bearing + drag]
    multiply(speed, p.bearing_start, drag)
    minimum(drag, p.turbo_drag_constant, out=drag)
    add(drag, x.compressor_torque, drag)
    divide(drag, add(speed, ONE, spare), drag)
    multiply(speed, pace.inertia, speed)
    add(speed, x.turbine_torque, speed)
    subtract(speed, drag, speed)
    add(drag, pace.rotor, drag)
    divide(speed, drag, speed)
    maximum(speed, ZERO, out=speed)


def no_turbo_shaft(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """An engine without a turbo."""


def starter_torque(p: Coefficients, s: State, levers: Levers) -> Array:
    """Torque of an engaged starter at the crankshaft: greatest at rest, falling evenly to nothing at its free speed,
    and nothing beyond, where its clutch runs free.

    A direct-current motor on a fixed voltage (textbook, from memory); ignition is taken to be on with it.
    """
    left = maximum(ONE - s.crank / p.starter_free_speed, ZERO)
    result: Array = p.starter_torque * levers.starter * left
    return result


def crankshaft(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Crankshaft and propeller: Newton's second law; a nearly stopped engine comes to rest on its compression.

    A stopped engine stays so unless the torque that drives it, that of a starter too, exceeds ``breakaway``
    (assumption).
    """
    driving, spare, *_ = s.room
    subtract(x.indicated_torque, x.pumping_torque, driving)
    subtract(driving, multiply(p.reduction, x.propeller_torque, spare), driving)
    if x.starting:
        add(driving, starter_torque(p, s, levers), driving)
    acceleration, speed = s.crank_acceleration, s.crank
    subtract(driving, x.friction_torque, acceleration)
    subtract(acceleration, x.blower_torque, acceleration)
    multiply(acceleration, p.per_inertia, acceleration)
    add(speed, multiply(pace.dt, acceleration, spare), speed)
    if speed[speed.argmin()] < _TURNING:
        _come_to_rest(p, s, driving)


def _come_to_rest(p: Coefficients, s: State, driving: Array) -> None:
    """Lanes that hardly turn and are not driven over their compression; changes nothing in the others."""
    speed, acceleration = s.crank, s.crank_acceleration
    at_rest, held = s.mask
    maximum(speed, ZERO, out=speed)
    less(speed, _TURNING, at_rest)
    logical_and(at_rest, less(driving, p.breakaway, held), at_rest)
    putmask(speed, at_rest, ZERO)
    putmask(acceleration, at_rest, ZERO)


def lags(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """First-order lags: filling of manifold and collector, heat held by cooler, collector and cylinder heads, positions
    of throttle and boost.

    Exact over a step with a constant target; the throat pressure is the warm start of the next evaluation. Positions
    are rounded as in :func:`.controls.approach`.
    """
    lagged, way = s.settled_lagged(), s.work
    subtract(s.targets_at(x), lagged, way)
    multiply(way, pace.lags, way)
    add(lagged, way, lagged)
    add(s.positions, ONE, s.positions)
    subtract(s.positions, ONE, s.positions)
