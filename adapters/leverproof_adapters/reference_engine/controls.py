"""Levers to actuators: lags, lever link, coordination, waste gate lever or speed servo, overspeed light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

THREE_STATE: NDArray[np.float64] = np.array([2.0, 1.0, 0.0, 2.0])
PLAIN: NDArray[np.float64] = np.array([0.0, 2.0])


def asked_positions(p: Parameters, levers: Levers) -> tuple[Array, Array]:
    """Throttle and boost positions asked of the actuators.

    A mechanical link carries the boost lever with the throttle lever, whatever the height. Automatic coordination
    opens the throttle over the first part of the throttle lever's travel and the boost over the rest, and ignores
    the boost lever. Common practice, no published source.
    """
    throttle, boost = levers.throttle, levers.boost
    if p.has_link:
        boost = np.where(levers.lever_link > 0.5, throttle, boost)
    if p.has_coordination:
        on = levers.coordination > 0.5
        share = p.coordination_share
        first = np.minimum(levers.throttle * (1.0 / share), 1.0)
        rest = np.maximum(levers.throttle - share, 0.0) * (1.0 / (1.0 - share))
        throttle, boost = np.where(on, first, throttle), np.where(on, rest, boost)
    return throttle, boost


def approach(position: Array, asked: Array, share: float) -> Array:
    """A position (0..1) moved by a share of its distance from what is asked.

    Rounded to the spacing of numbers near one, so that a position that dies away reaches its stop instead of creeping
    through ever smaller numbers, which are slow to compute with.
    """
    return (position + share * (asked - position) + 1.0) - 1.0


def actuators(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Moves throttle and boost positions towards what is asked, each by its first-order lag (assumption)."""
    throttle, boost = asked_positions(p, levers)
    s.throttle = approach(s.throttle, throttle, pace.throttle)
    s.boost = approach(s.boost, boost, pace.boost)


def gate_lever(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Boost position acts on the waste gate: opening between linear and cube law of what is left of the travel.

    A crank and link move the gate fast off its open stop and slowly near shut: assumption.
    """
    left = 1.0 - s.boost
    opening = left * (1.0 - p.gate_shape + p.gate_shape * left * left)
    s.gate = approach(s.gate, opening, pace.gate)


def speed_demand(p: Parameters, boost: Array) -> Array:
    """Turbo speed asked by a boost position, rad/s; the overspeed governor caps it at the limit.

    A rising parabola, steeper near the back stop (invented lever law).
    """
    demand = p.demand_full * boost * (1.0 + p.demand_shape * (1.0 - boost))
    return np.minimum(demand, p.turbo_limit) if p.overspeed_governor else demand


def gate_servo(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Boost position demands turbo speed; a proportional and integral servo closes the gate until it is held.

    The integral part gives way while the proportional part alone asks for full closure (no wind-up). Common practice,
    no published source.
    """
    error = speed_demand(p, s.boost) - s.turbo
    asked = p.servo_gain * error
    room = np.maximum(1.0 - np.maximum(asked, 0.0), 0.0)
    s.servo = np.minimum(np.maximum(s.servo + (pace.dt * p.servo_rate) * error, 0.0), room)
    closure = np.minimum(np.maximum(s.servo + asked, 0.0), 1.0)
    s.gate = approach(s.gate, 1.0 - closure, pace.gate)


def automatic_gate(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Deck pressure against its setting moves the gate; at the turbo's speed limit that error takes over.

    Proportional and integral, as :func:`gate_servo`; the smaller of the two relative errors governs, so that the gate
    opens again above the height at which the limit is met. Common practice, no published source.
    """
    error = (p.deck_setting - x.deck_pressure) * (1.0 / p.deck_setting)
    if p.overspeed_governor:
        error = np.minimum(error, (p.turbo_limit - s.turbo) * (1.0 / p.turbo_limit))
    asked = p.deck_gain * error
    room = np.maximum(1.0 - np.maximum(asked, 0.0), 0.0)
    s.servo = np.minimum(np.maximum(s.servo + (pace.dt * p.deck_rate) * error, 0.0), room)
    closure = np.minimum(np.maximum(s.servo + asked, 0.0), 1.0)
    s.gate = approach(s.gate, 1.0 - closure, pace.gate)


def gear_clutch(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The clutch of a two-speed drive follows the lever by a first-order lag (assumption)."""
    s.gear = approach(s.gear, levers.blower_gear, pace.gear)


def no_gate(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """An engine without waste gate."""


def no_light(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """An engine without overspeed light."""


def light(p: Parameters, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Moves the light's zone: up above a threshold, down only below it by the hysteresis."""
    edges = light_edges(p)
    up = np.zeros_like(s.turbo)
    down = np.zeros_like(s.turbo)
    for edge in edges:
        up = up + (s.turbo > edge)
        down = down + (s.turbo > edge - p.light_hysteresis)
    s.light_zone = np.maximum(up, np.minimum(s.light_zone, down))


def light_edges(p: Parameters) -> tuple[float, ...]:
    """Turbo speeds (rad/s) between the zones of the light."""
    if p.light_kind == "plain":
        return (p.light_on_above,)
    return (p.light_blinking_above, p.light_off_above, p.light_on_above)


def light_state(p: Parameters, zone: Array) -> Array:
    """Index of the light's state (off 0, blinking 1, on 2) in a zone."""
    table = PLAIN if p.light_kind == "plain" else THREE_STATE
    result: Array = table[zone.astype(np.intp)]
    return result
