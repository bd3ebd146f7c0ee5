"""The session keeps the port's promises: lanes apart, batches equal to single rows, reset equal to fresh."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof.channels import CHANNELS, READINGS, SURROUNDINGS
from leverproof.errors import InputError, LeverproofError, StandError
from leverproof.stand.port import StandFile, Start
from leverproof_adapters.reference_engine import open_stand
from leverproof_adapters.reference_engine.parameters import SETS
from leverproof_adapters.reference_engine.variants import VARIANTS

Rigs = Callable[..., Any]
VARIED = np.random.default_rng(11)
LANES = 37
LEVERS = {
    "throttle": VARIED.uniform(0, 1, LANES),
    "boost": VARIED.uniform(0, 0.6, LANES),
    "propeller": VARIED.uniform(0, 1, LANES),
    "mixture": VARIED.integers(0, 4, LANES),
    "blower_gear": VARIED.integers(0, 2, LANES),
    "carburettor_heat": VARIED.integers(0, 2, LANES),
    "cowl_flaps": VARIED.uniform(0, 1, LANES),
    "starter": VARIED.integers(0, 2, LANES),
    "intercooler_shutter": VARIED.uniform(0, 1, LANES),
    "pressure_altitude": VARIED.uniform(0, 30_000, LANES),
    "temperature_offset": VARIED.uniform(-20, 30, LANES),
    "relative_humidity": VARIED.uniform(0, 1, LANES),
    "true_airspeed": VARIED.uniform(0, 250, LANES),
}
COMMON = {"throttle", "propeller", "mixture", "starter"}
OWN_LEVERS = {
    "corrie-18-early": {"boost", "intercooler_shutter", "lever_link"},
    "corrie-18-late": {"boost", "intercooler_shutter", "coordination"},
    "corrie-14": {"blower_gear", "carburettor_heat", "cowl_flaps"},
    "rill-6": set(),
    "rill-6t": set(),
}
NO_TURBO = {"turbo_speed", "wastegate_opening", "turbo_overspeed_light", "boost_position"}
ABSENT = {"corrie-14": NO_TURBO, "rill-6": NO_TURBO, "rill-6t": {"turbo_overspeed_light", "boost_position"}}


@pytest.mark.parametrize("variant", sorted(SETS))
def test_says_what_it_is(rig: Rigs, variant: str) -> None:
    hello = rig(1, variant).session.hello()
    assert hello.derived_from == f"leverproof reference engine, {variant}"
    missing = set(READINGS) - {s.name for s in hello.outputs}
    assert missing == ABSENT.get(variant, set())
    assert all(CHANNELS[s.name].unit == s.unit for s in (*hello.inputs, *hello.outputs))
    names = {s.name for s in hello.inputs}
    assert names - COMMON - set(SURROUNDINGS) == OWN_LEVERS[variant]
    assert names >= COMMON
    assert hello.capabilities.lanes >= 512


@pytest.mark.parametrize("variant", sorted(SETS))
def test_a_lane_is_bit_identical_whatever_its_neighbours(rig: Rigs, variant: str) -> None:
    together = rig(LANES, variant, **LEVERS).run(6.0)
    for lane in (0, 5, 18, 36):
        alone = rig(1, variant, **{name: values[lane] for name, values in LEVERS.items()}).run(6.0)
        assert np.array_equal(alone.history[:, 0], together.history[:, lane])
    pick = [30, 4, 11]
    few = rig(3, variant, **{name: values[pick] for name, values in LEVERS.items()}).run(6.0)
    assert np.array_equal(few.history, together.history[:, pick])


def test_lanes_not_named_stand_still_and_subsets_join_again(rig: Rigs) -> None:
    whole = rig(LANES, **LEVERS)
    parts = rig(LANES, **LEVERS)
    rows = np.repeat(whole.levers[None], 40, axis=0)
    expected = whole.session.advance(range(LANES), rows)
    odd, even = list(range(1, LANES, 2)), list(range(0, LANES, 2))[::-1]
    first = parts.session.advance(odd, rows[:, odd])
    second = parts.session.advance(even, rows[:, even])
    assert np.array_equal(first, expected[:, odd])
    assert np.array_equal(second, expected[:, even])
    after = parts.session.advance(range(LANES), rows)
    assert np.array_equal(after, whole.session.advance(range(LANES), rows))


def test_a_batch_is_its_single_rows(rig: Rigs) -> None:
    batch, single = rig(5, throttle=0.4), rig(5, throttle=0.4)
    rows = np.repeat(batch.levers[None], 30, axis=0)
    rows[:, :, batch.inputs.index("throttle")] += np.linspace(0, 0.3, 30)[:, None]
    expected = batch.session.advance(range(5), rows)
    found = np.concatenate([single.session.advance(range(5), rows[i : i + 1]) for i in range(30)])
    assert np.array_equal(found, expected)


def test_reset_and_a_second_initialise_leave_no_trace(rig: Rigs) -> None:
    fresh = rig(2, throttle=0.5).run(3.0)
    used = rig(2, throttle=0.9, boost=0.6, pressure_altitude=20_000).run(20.0)
    for forget in (used.session.reset, lambda: None):
        forget()
        starts = [Start("running", tuple(row)) for row in fresh.levers]
        used.session.initialise(starts, 1800, used.inputs, READINGS)
        again = used.session.advance(range(2), np.repeat(fresh.levers[None], 60, axis=0))
        assert np.array_equal(again, fresh.history)


def test_column_order_and_chosen_outputs_follow_initialise(rig: Rigs) -> None:
    plain = rig(1, throttle=0.6).run(2.0)
    session = open_stand(StandFile("", "", "reference_engine", target="corrie-18-early"), defect=None)
    order = plain.inputs[::-1]
    row = plain.levers[0, ::-1]
    session.initialise([Start("running", tuple(row))], 1800, order, ["turbo_speed", "manifold_pressure"])
    out = session.advance([0], np.repeat(row[None, None], 40, axis=0))
    assert out.shape == (40, 1, 2)
    assert out[-1, 0, 0] == plain["turbo_speed"][0]
    assert out[-1, 0, 1] == plain["manifold_pressure"][0]


def test_refuses_what_it_cannot_honour(rig: Rigs) -> None:
    good = rig(2)
    rows = np.repeat(good.levers[None], 2, axis=0)
    wrong = rows.copy()
    wrong[1, 0, 0] = np.nan
    session, start = good.session, [Start("running", tuple(good.levers[0]))]
    attempts: list[Callable[[], object]] = [
        lambda: session.advance([0, 1], wrong),
        lambda: session.advance([0, 2], rows),
        lambda: session.advance([1, 1], rows),
        lambda: session.advance([0], rows),
        lambda: session.initialise(start, 1800, [*good.inputs[:-1], "blower_gear"], READINGS),
        lambda: session.initialise(start, 1800, good.inputs, ["oil_pressure"]),
        lambda: session.initialise([Start("warm", start[0].row)], 1800, good.inputs, READINGS),
    ]
    for attempt in attempts:
        with pytest.raises(StandError):
            attempt()
    with pytest.raises(InputError):
        session.initialise(start, 1801, good.inputs, READINGS)


def test_what_is_refused_changes_nothing(rig: Rigs) -> None:
    used, spared = rig(2, throttle=0.5), rig(2, throttle=0.5)
    rows = np.repeat(used.levers[None], 40, axis=0)
    spared.session.advance([0, 1], rows)
    used.session.advance([0, 1], rows)
    row = tuple(used.levers[0])
    refused: list[Callable[[], object]] = [
        lambda: used.session.initialise([Start("running", row)], 1800, [*used.inputs[:-1], "blower_gear"], READINGS),
        lambda: used.session.initialise([Start("running", row)], 1800, used.inputs, ["oil_pressure"]),
        lambda: used.session.initialise([Start("warm", row)], 1800, used.inputs, READINGS),
        lambda: used.session.initialise([Start("running", row[:-1])], 1800, used.inputs, READINGS),
        lambda: used.session.initialise([Start("running", (np.nan, *row[1:]))], 1800, used.inputs, READINGS),
        lambda: used.session.initialise([Start("running", row)], 1801, used.inputs, READINGS),
    ]
    for attempt in refused:
        with pytest.raises(LeverproofError):
            attempt()
    assert np.array_equal(used.session.advance([0, 1], rows), spared.session.advance([0, 1], rows))


def test_options_are_checked_and_take_effect(rig: Rigs) -> None:
    honest = rig(1, throttle=0.6).run(10.0)
    scaled = rig(1, throttle=0.6, options={"coefficients": {"friction_constant": 1.3}}).run(10.0)
    assert scaled["brake_power"] < honest["brake_power"] - 20
    for name in VARIANTS:
        assert (
            rig(1, throttle=0.6, options={"variant": name}).run(10.0)["brake_power"] != honest["brake_power"]
        )
    for options in (
        {"coefficients": {"no_such": 1.0}},
        {"variant": "best"},
        {"constant": "crank"},
        {"colour": 1},
    ):
        with pytest.raises(InputError):
            rig(1, options=options)


@pytest.mark.parametrize("part", ["shaft", "gas_path", "cylinder"])
def test_a_constant_component_is_seen_in_the_readings(rig: Rigs, part: str) -> None:
    moved = {"throttle": 0.9, "boost": 0.3, "pressure_altitude": 15_000, "true_airspeed": 150}
    channel = {"shaft": "turbo_speed", "gas_path": "carburettor_deck_pressure", "cylinder": "torque"}[part]
    honest = rig(1, **moved).run(20.0)
    held = rig(1, options={"constant": part}, **moved)
    before = held[channel].copy()
    held.run(20.0)
    assert abs(held[channel] - honest[channel]) > 0.05 * abs(honest[channel])
    assert np.all(np.isfinite(held.history))
    if part != "cylinder":
        assert held[channel] == pytest.approx(before)
