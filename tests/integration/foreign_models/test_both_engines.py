"""Physics that the contract asks of any honest engine, on both examples."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

from leverproof.channels import CHANNELS
from leverproof.sheet.model import EngineSheet

if TYPE_CHECKING:
    from .conftest import Model


def number(sheet: EngineSheet, path: str) -> float:
    datum = sheet.number(path)
    assert datum is not None
    return float(datum.value)


def test_two_grids_agree(model: Model) -> None:
    def levers(time: float) -> dict[str, float]:
        throttle = 0.9 - 0.4 * min(max((time - 1.0) / 2.0, 0.0), 1.0)
        return {"throttle": throttle, "boost": 0.5, "pressure_altitude": 9000.0, "true_airspeed": 100.0}

    ends = []
    for ticks in (1800, 900):
        model.start(levers(0.0), ticks=ticks)
        ends.append(model.run(20.0, levers)[-1])
    for channel in model.outputs:
        assert abs(ends[0][channel] - ends[1][channel]) < 0.002 * CHANNELS[channel].span, channel


def test_a_running_start_is_at_rest_and_stays_there(model: Model) -> None:
    levers = {
        "throttle": 0.7,
        "boost": 0.6,
        "propeller": 0.6,
        "pressure_altitude": 15000.0,
        "true_airspeed": 160.0,
    }
    first = model.start(levers)[0]
    for reading in model.run(60.0, lambda _: levers)[::20]:
        for channel in model.outputs:
            assert abs(reading[channel] - first[channel]) <= CHANNELS[channel].band, channel


def test_a_stopped_engine_reads_the_air_outside(model: Model) -> None:
    model.start({"throttle": 0.5, "pressure_altitude": 10000.0, "temperature_offset": 10.0}, engine="stopped")
    reading = model.run(
        5.0, lambda _: {"throttle": 0.8, "pressure_altitude": 10000.0, "temperature_offset": 10.0}
    )[-1]
    for channel in (
        "ambient_pressure",
        "manifold_pressure",
        "carburettor_deck_pressure",
        "exhaust_back_pressure",
    ):
        assert reading.get(channel, 20.577) == pytest.approx(20.577, abs=0.002), channel
    assert reading["ambient_temperature"] == pytest.approx(-4.812 + 10.0, abs=0.01)
    assert reading["engine_speed"] == reading["fuel_flow"] == reading["brake_power"] == 0.0


def test_it_idles_high_and_low_and_agrees_with_its_sheet(model: Model, sheet: EngineSheet) -> None:
    sea, high = model.start({}, {"pressure_altitude": 8000.0})
    assert sea["engine_speed"] == pytest.approx(number(sheet, "idle.engine_speed"), rel=0.02)
    assert high["engine_speed"] > 0.85 * sea["engine_speed"]
    assert min(sea["brake_power"], high["brake_power"], high["fuel_flow"]) > 0.0


def test_take_off_agrees_with_its_sheet(model: Model, sheet: EngineSheet) -> None:
    reading = model.seek(("throttle",), number(sheet, "takeoff.manifold_pressure"))
    assert reading["brake_power"] == pytest.approx(number(sheet, "takeoff.brake_power"), rel=0.02)
    assert reading["engine_speed"] == pytest.approx(number(sheet, "takeoff.engine_speed"), rel=0.015)
    assert reading["throttle_position"] < 0.99
    torque = reading["torque"] * reading["engine_speed"] * math.pi / 30.0 / 550.0
    assert reading["brake_power"] == pytest.approx(torque, rel=1e-5)


def test_climb_pressure_is_held_to_the_full_throttle_height(model: Model, sheet: EngineSheet) -> None:
    height = number(sheet, "climb.full_throttle_height")
    rated, speed = number(sheet, "takeoff.engine_speed"), number(sheet, "climb.engine_speed")
    lever = (speed / rated - 0.6) / 0.4
    flown = {"throttle": 1.0, "propeller": lever, "true_airspeed": 100.0}
    below, above = model.start(*[flown | {"pressure_altitude": height + d} for d in (-500.0, 500.0)])
    assert below["engine_speed"] == pytest.approx(speed, rel=0.001)
    assert below["manifold_pressure"] > number(sheet, "climb.manifold_pressure") > above["manifold_pressure"]


def test_the_propeller_lever_governs(model: Model, sheet: EngineSheet) -> None:
    rows = [{"throttle": 0.7, "propeller": p, "true_airspeed": 120.0} for p in (0.0, 0.25, 0.5, 0.75, 1.0)]
    speeds = [reading["engine_speed"] for reading in model.start(*rows)]
    assert speeds == sorted(speeds)
    assert speeds[0] == pytest.approx(0.6 * speeds[-1], rel=0.05)
    assert speeds[-1] == pytest.approx(number(sheet, "takeoff.engine_speed"), rel=0.015)


def test_cut_off_stops_it_on_the_ground_and_not_in_flight(model: Model) -> None:
    model.start({"throttle": 0.3})
    ground = model.run(60.0, lambda _: {"throttle": 0.3, "mixture": 0.0})[-1]
    assert ground["engine_speed"] == ground["fuel_flow"] == 0.0
    assert ground["manifold_pressure"] == pytest.approx(29.921, abs=0.01)
    flown = {"throttle": 0.6, "boost": 0.6, "pressure_altitude": 15000.0, "true_airspeed": 160.0}
    before = model.start(flown)[0]
    flight = model.run(60.0, lambda _: flown | {"mixture": 0.0})[-1]
    assert flight["fuel_flow"] == 0.0 and flight["brake_power"] < 0.0 < flight["engine_speed"]
    assert flight.get("turbo_speed", 0.0) <= 0.5 * before.get("turbo_speed", 0.0)


def fuel_order(model: Model) -> list[float]:
    rows = [
        {"throttle": 0.6, "propeller": 0.5, "mixture": m, "true_airspeed": 150.0} for m in (1.0, 2.0, 3.0)
    ]
    return [reading["fuel_flow"] for reading in model.start(*rows)]


def test_fuel_flow_rises_through_the_mixture_states(model: Model) -> None:
    lean, rich, full = fuel_order(model)
    assert 0.0 < lean <= rich < full


def test_power_falls_as_the_root_of_the_intake_temperature(model: Model) -> None:
    inches = 38.0 if model.hello["model"]["name"] == "Corrie-16" else 23.0
    given = {"pressure_altitude": 4000.0, "true_airspeed": 100.0, "propeller": 0.7}
    cold, hot = (model.seek(("throttle",), inches, temperature_offset=d, **given) for d in (-20.0, 20.0))
    kelvin = [r["carburettor_air_temperature"] + 273.15 for r in (cold, hot)]
    exponent = math.log(hot["brake_power"] / cold["brake_power"]) / math.log(kelvin[1] / kelvin[0])
    assert -0.6 < exponent < -0.4


def test_every_reading_is_finite_over_the_whole_envelope(model: Model) -> None:
    rows = []
    for i in range(64):  # a low-discrepancy spread over all inputs
        a, b, c, d, e = ((i * g) % 1.0 for g in (0.618034, 0.754878, 0.569840, 0.380422, 0.819173))
        levers = {
            "throttle": a,
            "boost": b,
            "propeller": c,
            "mixture": float(i % 4),
            "intercooler_shutter": d,
        }
        air = {
            "pressure_altitude": 40000.0 * e,
            "temperature_offset": 60.0 * (c - 0.5),
            "relative_humidity": b,
        }
        rows.append(levers | air | {"true_airspeed": 300.0 * a * d})
    first = model.start(*rows)
    inputs = [model.row(**row) for row in reversed(rows)]  # every lane jumps to another's place
    last = model.ask("advance", lanes=list(range(64)), rows=[inputs] * 40)["rows"]
    values = [v for reading in first for v in reading.values()] + [
        v for row in last for lane in row for v in lane
    ]
    assert all(isinstance(v, (int, float)) and math.isfinite(v) for v in values)


def test_pulling_speed_back_moves_manifold_pressure_the_right_way(corrie: Model, rill: Model) -> None:
    def change(model: Model, throttle: float) -> float:
        rows = [{"throttle": throttle, "propeller": p, "true_airspeed": 150.0} for p in (1.0, 0.5)]
        fast, slow = (r["manifold_pressure"] for r in model.start(*rows))
        return slow - fast

    assert change(corrie, 1.0) < -1.0  # a geared stage wide open
    assert change(corrie, 0.25) > 0.2  # nearly shut
    assert change(rill, 0.5) > 0.5  # no stage, part throttle
