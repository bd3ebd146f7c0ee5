"""Shafts and lags: what moves the carried state once an instant has been evaluated."""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

_TURNING = 3.0


def turbo_shaft(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Turbo rotor: Newton's second law for turbine, compressor and bearing torques.

    The drag that grows with speed (compressor and bearing) is taken at the new speed, so a long step cannot swing.
    """
    turning = np.minimum(s.turbo * (1.0 / 5.0), 1.0)
    torque = x.turbine_torque - x.compressor_torque - p.turbo_drag * s.turbo - p.turbo_drag_constant * turning
    damping = (x.compressor_torque + p.turbo_drag_constant * turning) / (s.turbo + 1.0) + p.turbo_drag
    change = pace.dt * torque / (p.turbo_inertia + pace.dt * damping)
    s.turbo = np.maximum(s.turbo + change, 0.0)


def no_turbo_shaft(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """An engine without a turbo."""


def starter_torque(p: Parameters, s: State, levers: Levers) -> Array:
    """Torque of an engaged starter at the crankshaft: greatest at rest, falling evenly to nothing at its free speed,
    and nothing beyond, where its clutch runs free.

    A direct-current motor on a fixed voltage (textbook, from memory); ignition is taken to be on with it.
    """
    left = np.maximum(1.0 - s.crank * (1.0 / p.starter_free_speed), 0.0)
    result: Array = p.starter_torque * levers.starter * left
    return result


def crankshaft(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Crankshaft and propeller: Newton's second law; a nearly stopped engine comes to rest on its compression.

    A stopped engine stays so unless the torque that drives it, that of a starter too, exceeds ``breakaway``
    (assumption).
    """
    driving = x.indicated_torque - x.pumping_torque - p.reduction * x.propeller_torque
    if levers.starter.any():
        driving = driving + starter_torque(p, s, levers)
    net = driving - x.friction_torque - x.blower_torque
    acceleration = net * (1.0 / p.shaft_inertia)
    speed = np.maximum(s.crank + pace.dt * acceleration, 0.0)
    at_rest = (speed < _TURNING) & (driving < p.breakaway)
    s.crank = np.where(at_rest, 0.0, speed)
    s.crank_acceleration = np.where(at_rest, 0.0, acceleration)


def lags(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """First-order lags: filling of manifold and collector, heat held by cooler, collector and cylinder heads.

    Exact over a step with a constant target; the throat pressure is the warm start of the next evaluation.
    """
    s.manifold = s.manifold + pace.manifold * (x.manifold_pressure - s.manifold)
    s.collector = s.collector + pace.collector * (x.back_pressure - s.collector)
    s.throat = s.throat + pace.manifold * (x.throat_pressure - s.throat)
    s.charge_temperature = s.charge_temperature + pace.manifold * (
        x.charge_temperature - s.charge_temperature
    )
    s.air_temperature = s.air_temperature + pace.air_temperature * (x.air_temperature - s.air_temperature)
    s.gas_temperature = s.gas_temperature + pace.gas_temperature * (x.gas_temperature - s.gas_temperature)
    s.head_temperature = s.head_temperature + pace.head * (x.head_temperature - s.head_temperature)
