"""Levers to actuators: lags, lever link, coordination, waste gate lever or speed servo, overspeed light."""

from __future__ import annotations

import numpy as np
from numpy import add, maximum, minimum, multiply, subtract
from numpy.typing import NDArray

from leverproof_adapters.reference_engine.coefficients import ONE, ZERO, Coefficients
from leverproof_adapters.reference_engine.state import Air, Array, Levers, Pace, Point, State

THREE_STATE: NDArray[np.float64] = np.array([2.0, 1.0, 0.0, 2.0])
PLAIN: NDArray[np.float64] = np.array([0.0, 2.0])


def approach(position: Array, asked: Array, share: Array, way: Array) -> None:
    """Moves a position (0..1) by a share of its distance from what is asked; ``way`` is memory for that distance.

    Rounded to the spacing of numbers near one, so that a position that dies away reaches its stop instead of creeping
    through ever smaller numbers, which are slow to compute with.
    """
    subtract(asked, position, way)
    multiply(way, share, way)
    add(position, way, position)
    add(position, ONE, position)
    subtract(position, ONE, position)


def actuators(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Sends throttle and boost positions towards what is asked; each follows by a first-order lag (assumption), with
    the others in :func:`.shafts.lags`."""
    send(s, x, x.throttle_asked, x.boost_asked)


def send(s: State, x: Point, throttle: Array, boost: Array) -> None:
    """Sets the targets of the two positions."""
    x.throttle_target, x.boost_target = s.found.throttle_target, s.found.boost_target
    x.throttle_target[...] = throttle
    x.boost_target[...] = boost


def gate_lever(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Boost position acts on the waste gate: opening between linear and cube law of what is left of the travel.

    A crank and link move the gate fast off its open stop and slowly near shut: assumption.
    """
    _, left, opening, *_ = s.room
    subtract(ONE, s.boost, left)
    multiply(left, left, opening)
    multiply(opening, p.gate_shape, opening)
    add(opening, p.gate_linear, opening)
    multiply(opening, left, opening)
    approach(s.gate, opening, pace.gate, s.room[0])


def speed_demand(p: Coefficients, boost: Array) -> Array:
    """Turbo speed asked by a boost position, rad/s; the overspeed governor caps it at the limit.

    A rising parabola, steeper near the back stop (invented lever law).
    """
    demand = p.demand_full * boost * (ONE + p.demand_shape * (ONE - boost))
    return minimum(demand, p.turbo_limit) if p.overspeed_governor else demand


def servo_to_gate(s: State, proportional: Array, rate: Array, pace: Pace) -> None:
    """A proportional and integral servo moves the gate; the integral part gives way while the proportional part alone
    asks for full closure (no wind-up). Common practice, no published source."""
    room = maximum(ONE - maximum(proportional, ZERO), ZERO)
    s.servo = minimum(maximum(s.servo + pace.dt * rate, ZERO), room)
    closure = minimum(maximum(s.servo + proportional, ZERO), ONE)
    approach(s.gate, ONE - closure, pace.gate, s.room[0])


def gate_servo(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Boost position demands turbo speed; :func:`servo_to_gate` closes the gate until it is held."""
    error = speed_demand(p, s.boost) - s.turbo
    asked = p.servo_gain * error
    servo_to_gate(s, asked, p.servo_rate * error, pace)


def automatic_gate(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """Deck pressure against its setting moves the gate; at the turbo's speed limit that error takes over.

    By :func:`servo_to_gate`; the smaller of the two relative errors governs, so that the gate
    opens again above the height at which the limit is met. Common practice, no published source.
    """
    error = ONE - x.deck_pressure / p.deck_setting
    if p.overspeed_governor:
        error = minimum(error, ONE - s.turbo / p.turbo_limit)
    asked = p.deck_gain * error
    servo_to_gate(s, asked, p.deck_rate * error, pace)


def gear_clutch(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The clutch of a two-speed drive follows the lever by a first-order lag (assumption)."""
    approach(s.gear, levers.blower_gear, pace.gear, s.room[0])


def no_gate(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """An engine without waste gate."""


def no_light(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """An engine without overspeed light."""


def light(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
    """The light follows the turbo with a play as wide as its hysteresis, so that it goes up a zone above a threshold
    and down again only below it by the hysteresis."""
    felt, most = s.felt_speed, s.room[0]
    minimum(felt, add(s.turbo, p.light_hysteresis, most), out=felt)
    maximum(felt, s.turbo, out=felt)


def light_state(p: Coefficients, felt_speed: Array) -> Array:
    """Index of the light's state (off 0, blinking 1, on 2) at a turbo speed that it feels."""
    table = PLAIN if p.light_kind == "plain" else THREE_STATE
    result: Array = table[p.light_edges.searchsorted(felt_speed)]
    return result
