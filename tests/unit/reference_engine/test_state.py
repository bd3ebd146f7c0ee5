"""Carried quantities and their memory: parts may change arrays or put others in their place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof_adapters.reference_engine import controls, dynamics, gas_path, shafts
from leverproof_adapters.reference_engine.components import honest
from leverproof_adapters.reference_engine.parameters import SETS
from leverproof_adapters.reference_engine.state import (
    CARRIED,
    LAGGED,
    SHOWN,
    TARGETS,
    Air,
    Levers,
    Point,
    State,
)

Rigs = Callable[..., Any]
LANES = 5
EARLY = honest(SETS["corrie-18-early"])
PACE = dynamics.pace(EARLY, 1800, LANES)
DRAWN = np.random.default_rng(23)


def drawn_state() -> State:
    return State(np.random.default_rng(3).uniform(1.0, 2.0, (len(CARRIED), LANES)))


def point_at(s: State) -> Point:
    """A point as honest parts leave it, in the state's own memory."""
    x = Point()
    for name in (*TARGETS, *SHOWN):
        row = getattr(s.found, name)
        row[:] = DRAWN.uniform(1.0, 2.0, LANES)
        setattr(x, name, row)
    return x


def test_what_a_part_puts_in_the_place_of_a_carried_quantity_is_carried() -> None:
    s = drawn_state()
    before = s.stack.copy()
    s.gate = np.full(LANES, 0.5)
    s.crank += 1.0
    after = s.settled()
    changed = [name for name, old, new in zip(CARRIED, before, after, strict=True) if np.any(old != new)]
    assert changed == ["gate", "crank"]
    s.gate += 0.25
    assert np.all(s.settled()[CARRIED.index("gate")] == 0.75)


def test_lags_move_what_has_been_replaced_and_towards_what_has_been_replaced() -> None:
    at_hand, replaced = drawn_state(), drawn_state()
    x = point_at(at_hand)
    shafts.lags(EARLY.coefficients, at_hand, Levers(), Air(), x, PACE)
    other = point_at(replaced)
    for name in TARGETS:
        setattr(other, name, getattr(x, name).copy())
    for name in LAGGED:
        setattr(replaced, name, getattr(replaced, name).copy())
    shafts.lags(EARLY.coefficients, replaced, Levers(), Air(), other, PACE)
    assert np.array_equal(at_hand.settled(), replaced.settled())
    assert not np.array_equal(at_hand.settled(), drawn_state().settled())


def test_lags_made_for_one_lane_fit_any_number() -> None:
    one, many = drawn_state(), drawn_state()
    shafts.lags(EARLY.coefficients, many, Levers(), Air(), point_at(many), PACE)
    x = Point()
    for name in TARGETS:
        setattr(x, name, getattr(many.found, name).copy())
    shafts.lags(EARLY.coefficients, one, Levers(), Air(), x, dynamics.pace(EARLY, 1800))
    assert np.array_equal(one.settled(), many.settled())


def test_shown_are_the_values_of_the_point_wherever_they_stand() -> None:
    s = drawn_state()
    x = point_at(s)
    x.fuel_flow = np.full(LANES, 7.0)
    shown = s.shown_at(x)
    assert np.all(shown[SHOWN.index("fuel_flow")] == 7.0)
    assert np.array_equal(shown[SHOWN.index("air_flow")], x.air_flow)


@pytest.mark.parametrize("variant", ["corrie-18-early", "corrie-18-late"])
def test_the_light_goes_up_at_its_thresholds_and_down_below_them_by_the_hysteresis(variant: str) -> None:
    """A walk of the turbo's speed, against zones counted from two thresholds each."""
    build = honest(SETS[variant])
    p, s, zone = build.coefficients, State(np.zeros((len(CARRIED), 1))), 0
    most = 1.1 * float(p.light_edges[-1])
    seen = set()
    for speed in np.abs(np.cumsum(DRAWN.normal(0.0, 0.03 * most, 4000))) % most:
        s.turbo = np.array([speed])
        controls.light(p, s, Levers(), Air(), Point(), PACE)
        up = int(np.sum(speed > p.light_edges))
        down = int(np.sum(speed > p.light_edges - p.light_hysteresis))
        zone = max(up, min(zone, down))
        table = controls.PLAIN if p.light_kind == "plain" else controls.THREE_STATE
        assert controls.light_state(p, s.felt_speed)[0] == table[zone]
        seen.add((up, zone))
    assert len(seen) > len(p.light_edges) + 1, "hysteresis was never seen"


def test_a_restriction_chokes_where_its_ellipse_begins() -> None:
    """Line by line of flow over pressure through the point at the critical ratio; both rules meet there."""
    critical, pump = gas_path.AIR_CRITICAL, np.array([0.0, 0.3, 2.0, 50.0])
    for excess in (-1e-9, 1e-9):
        slope = (1.0 + pump) / critical * (1.0 + excess)
        found = gas_path.restriction(np.ones(4), slope, pump, np.ones(4))
        assert found == pytest.approx(critical, rel=1e-4)
        assert np.all((found < critical) == (excess > 0.0))


def test_stopped_lanes_change_nothing_in_their_neighbours(rig: Rigs) -> None:
    alone = rig(1, throttle=0.4, pressure_altitude=6000).run(10.0)
    beside = rig(1, throttle=0.4, pressure_altitude=6000)
    stopped = rig(2, throttle=0.4, pressure_altitude=6000, mixture=[2, 0], true_airspeed=0).run(10.0)
    assert stopped["engine_speed"][1] == 0.0 and stopped["engine_speed"][0] > 600.0
    assert np.array_equal(stopped.history[:, 0], alone.history[:, 0])
    assert np.array_equal(beside.run(10.0).history, alone.history)


def test_no_lanes_named_gives_no_lanes(rig: Rigs) -> None:
    run = rig(2)
    assert run.session.advance([], np.zeros((3, 0, len(run.inputs)))).shape == (3, 0, len(run.outputs))


def test_many_rows_at_once_are_the_same_as_few(rig: Rigs, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = rig(3, throttle=[0.2, 0.5, 0.9]).run(5.0, throttle=0.6)
    monkeypatch.setattr("leverproof_adapters.reference_engine.session.AT_ONCE", 20)
    assert np.array_equal(rig(3, throttle=[0.2, 0.5, 0.9]).run(5.0, throttle=0.6).history, whole.history)
