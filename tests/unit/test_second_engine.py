"""The Corrie-22 by curves does what physics and its own sheet say, before any reference case judges it."""

from __future__ import annotations

import importlib.util
import math
import sys
import tomllib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.errors import StandError
from leverproof.stand.port import Start

MODELS = Path(__file__).resolve().parents[1] / "models"
Array = NDArray[np.float64]


def _load() -> ModuleType:
    name = "second_engine_under_test"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, MODELS / "second_engine.py")
        assert spec is not None and spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


ENGINE = _load()
INPUTS, OUTPUTS = tuple(ENGINE.INPUTS), tuple(ENGINE.OUTPUTS)
SHEET = tomllib.loads((MODELS / "second_engine.sheet.toml").read_text(encoding="utf-8"))
SHORT = {"height": "pressure_altitude", "offset": "temperature_offset", "airspeed": "true_airspeed"}
CLIMB_LEVER = 0.829  # governs the climb rating's 2,300 rpm
HEIGHTS = (10_000, 15_000, 20_000)


def datum(section: str, key: str) -> float:
    return float(SHEET[section][key]["value"].split()[0])


def row(**levers: float) -> list[float]:
    values = {name: default for name, (_, _, default) in ENGINE.INPUTS.items()}
    values.update({SHORT.get(name, name): value for name, value in levers.items()})
    return [values[name] for name in INPUTS]


def run(rows: list[list[float]], *, engine: str = "running", step: int = 1800) -> Array:
    session = ENGINE.factory({}, None)
    session.initialise([Start(engine, tuple(rows[0]))], step, INPUTS, OUTPUTS)
    out: Array = session.advance([0], np.array(rows)[:, None, :])[:, 0, :]
    return out


def column(history: Array, name: str) -> Array:
    return history[:, OUTPUTS.index(name)]


def settle(seconds: float = 30, **levers: float) -> dict[str, float]:
    return dict(zip(OUTPUTS, run([row(**levers)] * int(seconds * 20))[-1].tolist(), strict=True))


def seek(set_levers: Callable[[float], dict[str, float]], target: float) -> tuple[float, dict[str, float]]:
    """Lever at which the manifold pressure is ``target``, by false position; and its readings."""
    low, high, errors, side = 0.0, 1.0, [math.nan, math.nan], 0
    for _ in range(14):
        known = not math.isnan(sum(errors))
        lever = low - errors[0] * (high - low) / (errors[1] - errors[0]) if known else 0.5 * (low + high)
        reading = settle(20, **set_levers(lever))
        error = reading["manifold_pressure"] - target
        if abs(error) < 0.02:
            return lever, reading
        new = int(error > 0.0)
        low, high = (low, lever) if new else (lever, high)
        errors[new] = error
        if side == new:
            errors[1 - new] *= 0.5
        side = new
    raise AssertionError(f"no lever position gives {target} inHg: {reading['manifold_pressure']}")


def _with(at: dict[str, float], lever: str, position: float) -> dict[str, float]:
    return {**at, lever: position}


def rise_time(history: Array, name: str, start: int) -> float:
    y = column(history, name)
    share = (y[start:] - y[start - 1]) / (y[-1] - y[start - 1])
    return (int(np.argmax(share >= 0.9)) + 1) * 0.05


def test_names_and_units_are_the_list_of_channels() -> None:
    hello = ENGINE.factory({}, None).hello()
    for signal in hello.inputs + hello.outputs:
        assert (signal.unit, signal.states) == (CHANNELS[signal.name].unit, CHANNELS[signal.name].states)
    assert {s.name for s in hello.outputs} == {c.name for c in CHANNELS.values() if c.kind == "reading"}
    assert set(SHEET["levers"]) == {s.name for s in hello.inputs if CHANNELS[s.name].kind == "lever"}


@pytest.mark.parametrize(("section", "propeller"), [("takeoff", 1.0), ("maximum_continuous", 0.936)])
def test_sea_level_ratings_agree_with_the_sheet(section: str, propeller: float) -> None:
    pressure = datum(section, "manifold_pressure")
    lever, read = seek(lambda x: {"throttle": x, "propeller": propeller}, pressure)
    assert lever < 0.9
    assert read["engine_speed"] == pytest.approx(datum(section, "engine_speed"), rel=0.002)
    assert read["brake_power"] == pytest.approx(datum(section, "brake_power"), abs=40.0)


@pytest.mark.parametrize("airspeed", [0.0, 180.0])
def test_full_throttle_height_at_climb_rating(airspeed: float) -> None:
    named = datum("climb", "full_throttle_height")
    at = {"throttle": 1.0, "propeller": CLIMB_LEVER, "airspeed": airspeed}
    below, above = settle(height=named - 500.0, **at), settle(height=named + 500.0, **at)
    wanted = datum("climb", "manifold_pressure")
    assert above["manifold_pressure"] < wanted < below["manifold_pressure"]
    assert above["engine_speed"] == pytest.approx(datum("climb", "engine_speed"), rel=0.002)
    assert 0.5 * (above["brake_power"] + below["brake_power"]) == pytest.approx(
        datum("climb", "brake_power"), abs=40.0
    )


def test_idle_is_sustained_and_boost_does_nothing_there() -> None:
    low, high = settle(45, throttle=0.0), settle(45, throttle=0.0, height=8_000.0)
    allowed = 0.03 * datum("takeoff", "engine_speed")
    assert low["engine_speed"] == pytest.approx(datum("idle", "engine_speed"), abs=allowed)
    assert high["engine_speed"] > 0.7 * low["engine_speed"]
    for height, base in ((0.0, low), (8_000.0, high)):
        boosted = settle(45, throttle=0.0, boost=1.0, height=height)
        assert abs(boosted["manifold_pressure"] - base["manifold_pressure"]) < 0.2
        assert boosted["wastegate_opening"] == pytest.approx(0.0, abs=1e-6)


def test_boost_travel_at_climb_pressure_is_constant_with_height() -> None:
    travel, gate = [], []
    for height in (14_000.0, 18_000.0, 22_000.0, 26_000.0):
        at = {"throttle": 1.0, "propeller": CLIMB_LEVER, "height": height, "airspeed": 180.0}
        lever, read = seek(partial(_with, at, "boost"), datum("climb", "manifold_pressure"))
        travel.append(lever)
        gate.append(read["wastegate_opening"])
    assert np.ptp(travel) < 0.01
    assert (np.diff(gate) < 0.0).all()


def test_turbo_governor_holds_the_limit_and_the_gate_reopens_above() -> None:
    read = [
        settle(50, throttle=1.0, boost=1.0, height=h, airspeed=180.0) for h in (15e3, 20e3, 25e3, 29e3, 33e3)
    ]
    limit, tolerance = datum("limits", "turbo_speed"), datum("limits", "turbo_speed_tolerance")
    assert read[0]["turbo_speed"] < 0.95 * limit
    assert all(r["turbo_speed"] == pytest.approx(limit, rel=tolerance) for r in read[2:])
    assert (np.diff([r["wastegate_opening"] for r in read[2:]]) > 0.0).all()
    assert read[0]["carburettor_deck_pressure"] == pytest.approx(31.5, abs=0.02)
    assert (np.diff([r["carburettor_deck_pressure"] for r in read[2:]]) < 0.0).all()
    assert read[2]["turbo_overspeed_light"] == 2.0 and read[0]["turbo_overspeed_light"] == 0.0


@pytest.mark.parametrize("height", HEIGHTS)
def test_levers_together_cost_power_for_a_reason_the_gauges_show(height: int) -> None:
    at = {"height": float(height), "airspeed": 180.0}
    pressure = datum("takeoff", "manifold_pressure")
    _, first = seek(lambda x: {"throttle": 1.0, "boost": x, **at}, pressure)
    _, both = seek(lambda x: {"throttle": x, "boost": x, **at}, pressure)
    extra = both["carburettor_deck_pressure"] - first["carburettor_deck_pressure"]
    assert extra > 2.0
    loss = first["brake_power"] - both["brake_power"]
    assert 2.0 * extra + 2.0 < loss < 120.0
    for name, least in (
        ("turbo_speed", 500.0),
        ("carburettor_air_temperature", 2.0),
        ("exhaust_back_pressure", 1.0),
    ):
        assert both[name] > first[name] + least
    if height == 15_000:
        assert loss == pytest.approx(datum("split_lever", "advantage"), abs=20.0)


def test_each_step_of_throttle_made_up_by_boost_loses_power() -> None:
    power = []
    for throttle in (1.0, 0.8, 0.65, 0.55):
        at = {"throttle": throttle, "height": 15_000.0, "airspeed": 180.0}
        power.append(seek(partial(_with, at, "boost"), 49.0)[1]["brake_power"])
    assert (np.diff(power) < -15.0).all()


def test_power_follows_charge_temperature_to_about_minus_half() -> None:
    days: list[dict[str, float]] = [{"offset": d, "airspeed": 150.0} for d in (-20.0, 20.0)]
    hot_cold = [seek(partial(_with, day, "throttle"), 45.0)[1] for day in days]
    kelvin = [r["carburettor_air_temperature"] + 273.15 for r in hot_cold]
    power = [r["brake_power"] * 45.0 / r["manifold_pressure"] for r in hot_cold]
    assert -0.6 < np.log(power[1] / power[0]) / np.log(kelvin[1] / kelvin[0]) < -0.4


@pytest.mark.parametrize("pressure", [26.0, 40.0])
def test_fuel_is_ordered_by_mixture_at_one_pressure(pressure: float) -> None:
    def at(mixture: float) -> dict[str, float]:
        levers = {"mixture": mixture, "height": 5_000.0, "airspeed": 170.0}
        return seek(partial(_with, levers, "throttle"), pressure)[1]

    lean, rich, full = (at(m)["fuel_flow"] for m in (1, 2, 3))
    assert 0.0 < lean < rich < 0.98 * full


def test_humid_air_costs_power_and_not_pressure() -> None:
    dry, wet = (settle(throttle=0.6, offset=15.0, relative_humidity=x) for x in (0.0, 1.0))
    assert wet["manifold_pressure"] == pytest.approx(dry["manifold_pressure"], abs=0.01)
    assert 0.02 < 1.0 - wet["brake_power"] / dry["brake_power"] < 0.07


def test_cut_off_on_the_ground_and_in_flight() -> None:
    still = settle(60, throttle=0.4, mixture=0)
    assert (still["fuel_flow"], still["engine_speed"], still["brake_power"]) == (0.0, 0.0, 0.0)
    assert still["manifold_pressure"] == pytest.approx(still["ambient_pressure"], abs=0.02)
    for airspeed in (150.0, 220.0):
        at = {"throttle": 0.5, "boost": 0.7, "height": 10_000.0, "airspeed": airspeed}
        history = run([row(**at)] * 200 + [row(mixture=0, **at)] * 1400)
        end = dict(zip(OUTPUTS, history[-1].tolist(), strict=True))
        assert end["fuel_flow"] == 0.0 and end["brake_power"] < -50.0 and end["engine_speed"] > 1_000.0
        assert end["turbo_speed"] < 0.6 * column(history, "turbo_speed")[199]
        assert end["manifold_pressure"] > 1.2 * end["ambient_pressure"]


def test_a_stopped_engine_reads_ambient_and_stays_stopped() -> None:
    history = run([row(throttle=0.5, boost=0.5, height=5_000.0)] * 200, engine="stopped")
    for name in (
        "manifold_pressure",
        "carburettor_deck_pressure",
        "exhaust_back_pressure",
        "ambient_pressure",
    ):
        assert column(history, name) == pytest.approx(24.8959, abs=0.001)
    assert not column(history, "engine_speed").any() and not column(history, "turbo_speed").any()


@pytest.mark.parametrize("height", [0.0, 20_000.0])
def test_a_slam_is_smooth_and_slower_where_the_turbo_must_help(height: float) -> None:
    levers = {"throttle": 0.63, "boost": 0.63 if height else 0.0}
    history = run([row(height=height)] * 200 + [row(height=height, **levers)] * 1000)
    time = rise_time(history, "brake_power", 200)
    assert 1.5 < time < datum("response", "takeoff_time") if height == 0.0 else 4.0 < time < 15.0
    assert column(history, "engine_speed").max() < 1.02 * datum("takeoff", "engine_speed")
    assert np.ptp(column(history, "brake_power")[-100:]) < 0.5
    assert (np.diff(column(history, "manifold_pressure")[200:]) > -0.02).all()


def test_the_turbo_takes_seconds_and_does_not_overshoot() -> None:
    at = {"throttle": 1.0, "height": 20_000.0, "airspeed": 180.0}
    history = run([row(**at)] * 100 + [row(boost=0.6, **at)] * 900)
    assert 2.0 < rise_time(history, "carburettor_deck_pressure", 100) < 12.0
    deck = column(history, "carburettor_deck_pressure")
    assert deck.max() < deck[-1] + 0.05
    assert abs(column(history, "engine_speed") / datum("takeoff", "engine_speed") - 1.0).max() < 0.03


def test_light_has_hysteresis() -> None:
    up = [row(throttle=1.0, boost=0.5 + i / 1600, height=25e3, airspeed=180.0) for i in range(800)]
    history = run(up + up[::-1] + [up[0]] * 200)
    light, speed = column(history, "turbo_overspeed_light"), column(history, "turbo_speed")
    changes = np.flatnonzero(np.diff(light))
    assert len(changes) == 2 and set(light) == {0.0, 2.0}
    on, off = speed[changes[0] + 1], speed[changes[1] + 1]
    assert on == pytest.approx(datum("light", "on_above"), abs=30.0)
    assert on - off == pytest.approx(datum("light", "hysteresis"), abs=40.0)


@pytest.mark.parametrize(("height", "followed"), [(6_900.0, 0.2), (7_000.0, 0.2), (7_100.0, 0.7)])
def test_interlock_refuses_the_link_below_its_height(height: float, followed: float) -> None:
    read = settle(5, throttle=0.7, boost=0.2, lever_link=1.0, height=height)
    assert read["boost_position"] == pytest.approx(followed, abs=1e-6)
    assert settle(5, throttle=0.7, boost=0.2, height=height)["boost_position"] == pytest.approx(0.2, abs=1e-6)


def test_propeller_lever_governs_and_pressure_answers_by_throttle_drop() -> None:
    speeds = [
        settle(throttle=0.4, propeller=x, airspeed=150.0)["engine_speed"] for x in (0.0, 0.25, 0.5, 0.75, 1.0)
    ]
    assert (np.diff(speeds) > 100.0).all()
    assert speeds[0] / speeds[-1] == pytest.approx(0.6, abs=0.02)
    small, wide = (
        [settle(throttle=t, propeller=x, airspeed=150.0, height=h)["manifold_pressure"] for x in (1.0, 0.4)]
        for t, h in ((0.15, 0.0), (1.0, 12_000.0))
    )
    assert small[1] > small[0] + 0.5 and wide[1] < wide[0] - 2.0


SCENES: tuple[dict[str, Any], ...] = (
    {"throttle": 1.0, "boost": 0.62, "height": 20_000.0, "airspeed": 180.0},
    {"throttle": 0.55, "propeller": 0.5, "mixture": 1, "airspeed": 120.0},
    {"throttle": 0.0},
    {"throttle": 0.5, "mixture": 0, "airspeed": 160.0, "height": 5_000.0},
)


def _ramp(scene: dict[str, Any], rows_per_second: int) -> list[list[float]]:
    """Ten seconds from a quarter of the throttle to the scene, ramped, then forty held."""
    begin = {**scene, "throttle": 0.3, "boost": 0.0}
    count = 10 * rows_per_second
    a, b = np.array(row(**begin)), np.array(row(**scene))
    return [list(a + (b - a) * i / count) for i in range(count)] + [list(b)] * (40 * rows_per_second)


@pytest.mark.parametrize("scene", SCENES)
def test_half_the_grid_step_ends_at_the_same_place_without_a_cycle(scene: dict[str, Any]) -> None:
    coarse, fine = run(_ramp(scene, 20)), run(_ramp(scene, 40), step=900)
    odd = run(_ramp(scene, 50), step=720)
    for i, name in enumerate(OUTPUTS):
        allowed = 0.002 * CHANNELS[name].span
        assert abs(coarse[-1, i] - fine[-1, i]) < allowed and abs(coarse[-1, i] - odd[-1, i]) < allowed, name
        if CHANNELS[name].band:
            assert np.ptp(coarse[-100:, i]) < CHANNELS[name].band, name


def test_torque_times_speed_is_power_in_every_sample() -> None:
    for scene in SCENES:
        history = run(_ramp(scene, 20))
        assert np.isfinite(history).all()
        product = column(history, "torque") * column(history, "engine_speed") / 5252.113
        assert product == pytest.approx(column(history, "brake_power"), abs=1e-6)


def test_lanes_do_not_feel_their_neighbours_and_runs_repeat() -> None:
    rows = np.array([_ramp(scene, 20)[:400] for scene in SCENES]).transpose(1, 0, 2)
    session = ENGINE.factory({}, None)
    starts = [Start("running", tuple(r)) for r in rows[0]]
    session.initialise(starts, 1800, INPUTS, OUTPUTS)
    together = np.concatenate([session.advance([0, 1, 2, 3], part) for part in np.split(rows, [7, 190])])
    for k in range(len(SCENES)):
        assert (run(rows[:, k, :].tolist()) == together[:, k, :]).all()
    session.reset()
    again = session.initialise(starts, 1800, INPUTS, OUTPUTS)
    assert (session.advance([2], rows[:, 2:3, :])[:, 0, :] == together[:, 2, :]).all()
    assert again.shape == (len(SCENES), len(OUTPUTS))


def test_what_the_engine_does_not_know_is_refused() -> None:
    with pytest.raises(StandError, match="no seeded defects"):
        ENGINE.factory({}, "charge-ignores-pressure")
    session = ENGINE.factory({}, None)
    with pytest.raises(StandError, match="blower_gear"):
        session.initialise([], 1800, ("blower_gear",), OUTPUTS)
    with pytest.raises(StandError, match="does not divide"):
        session.initialise([], 1700, INPUTS, OUTPUTS)
    with pytest.raises(StandError, match="finite"):
        session.initialise([Start("running", tuple(row(throttle=float("nan"))))], 1800, INPUTS, OUTPUTS)
