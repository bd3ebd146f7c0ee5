"""Physics of one example engine each, and that every seeded defect breaks what it says it breaks."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from leverproof.channels import CHANNELS
from leverproof.sheet.model import EngineSheet
from leverproof.stand.stand_file import read_stand_file

if TYPE_CHECKING:
    from .conftest import Model


def shared_exhaust_loss(model: Model) -> float:
    """Power lost by levers moved together at 52 inHg and 15,000 ft over the extra deck pressure, hp/inHg."""
    flown = {"pressure_altitude": 15000.0, "true_airspeed": 150.0}
    first = model.seek(("boost",), 52.0, throttle=1.0, **flown)
    both = model.seek(("throttle", "boost"), 52.0, **flown)
    extra = {channel: both[channel] - first[channel] for channel in model.outputs}
    assert extra["carburettor_deck_pressure"] > 2.0
    gauges = ("turbo_speed", "carburettor_air_temperature", "exhaust_back_pressure")
    assert min(extra[g] / CHANNELS[g].span for g in gauges) > 0.005
    return -extra["brake_power"] / extra["carburettor_deck_pressure"]


def back_pressure_loss(model: Model) -> float:
    """Power lost for 1 inHg more in the collector at held manifold pressure, mixture and speed, hp/inHg. What
    the warmer charge takes is put back with the root law."""
    readings = []
    for throttle in (1.0, 0.6):
        readings.append(model.seek(("boost",), 38.0, throttle=throttle, pressure_altitude=15000.0))
    heat = [(r["carburettor_air_temperature"] + 273.15) ** 0.5 for r in readings]
    lost = readings[0]["brake_power"] * heat[0] - readings[1]["brake_power"] * heat[1]
    return lost / heat[0] / (readings[1]["exhaust_back_pressure"] - readings[0]["exhaust_back_pressure"])


def boost_at_idle(model: Model) -> float:
    back, full = model.start({}, {"boost": 1.0})
    return full["manifold_pressure"] + full["carburettor_deck_pressure"] - back["manifold_pressure"] - 29.9


def turbo_rise_time(model: Model) -> float:
    flown = {"throttle": 1.0, "propeller": 0.74, "pressure_altitude": 15000.0, "true_airspeed": 150.0}
    start = model.start(flown)[0]["turbo_speed"]
    history = model.run(40.0, lambda time: flown | {"boost": 0.7 * min(time, 1.0)})
    return rise_time([start] + [r["turbo_speed"] for r in history])


def power_follows_pressure(model: Model) -> float:
    """Power at 42 over power at 34 inHg, same speed, sea level."""
    return (
        model.seek(("throttle",), 42.0)["brake_power"]
        / model.seek(("throttle",), 34.0, boost=0.5)["brake_power"]
    )


def rise_time(values: list[float]) -> float:
    """Seconds to nine tenths of the whole change, on a 0.05 s grid."""
    change = values[-1] - values[0]
    return 0.05 * next(i for i, v in enumerate(values) if (v - values[0]) / change > 0.9)


def response(model: Model, start: float, end: float) -> float:
    values = [model.start({"throttle": start})[0]["brake_power"]]
    history = model.run(25.0, lambda time: {"throttle": start + (end - start) * min(time, 1.0)})
    return rise_time(values + [r["brake_power"] for r in history])


def altitude_power_error(model: Model) -> float:
    """Largest departure of full-throttle power from Gagg and Farrar's law (SFTE Reference Handbook 2013,
    ch. 10), as a fraction."""
    heights = [0.0, 5000.0, 10000.0, 15000.0, 20000.0]
    readings = model.start(*[{"throttle": 1.0, "pressure_altitude": h} for h in heights])
    errors = []
    for height, reading in zip(heights, readings, strict=True):
        sigma = (1.0 - 6.8755856e-6 * height) ** 4.255876
        law = 1.1324 * sigma - 0.1324
        errors.append(abs(reading["brake_power"] / readings[0]["brake_power"] / law - 1.0))
        assert 0.93 < reading["manifold_pressure"] / reading["ambient_pressure"] < 0.95
    return max(errors)


def full_over_lean(model: Model) -> float:
    """Fuel flow in full rich over fuel flow in auto lean, levers alike."""
    rows = [{"throttle": 0.6, "propeller": 0.5, "mixture": m, "true_airspeed": 150.0} for m in (1.0, 3.0)]
    lean, full = (reading["fuel_flow"] for reading in model.start(*rows))
    return full / lean


def fuel_at_cut_off(model: Model) -> float:
    model.start({"throttle": 0.5})
    return model.run(5.0, lambda _: {"throttle": 0.5, "mixture": 0.0})[-1]["fuel_flow"]


def started_speed(model: Model) -> float:
    """Speed 20 s after the starter was engaged for 5 s, throttle cracked."""
    cracked = {"throttle": 0.05}
    model.start(cracked, engine="stopped")
    assert model.run(2.0, lambda _: cracked)[-1]["engine_speed"] == 0.0
    return model.run(25.0, lambda time: cracked | {"starter": float(time < 5.0)})[-1]["engine_speed"]


MEASURES: dict[str, tuple[Callable[[Model], float], float, float]] = {
    "corrie back-pressure-ambient": (back_pressure_loss, 5.0, 30.0),
    "corrie charge-ignores-pressure": (power_follows_pressure, 1.2, 1.4),
    "corrie no-turbo-inertia": (turbo_rise_time, 2.5, 12.0),
    "corrie boost-without-exhaust": (boost_at_idle, -1.0, 2.0),
    "corrie starter-too-weak": (started_speed, 750.0, 1600.0),
    "rill altitude-power-by-density": (altitude_power_error, 0.0, 0.02),
    "rill mixture-order-swapped": (full_over_lean, 1.1, 1.6),
    "rill cut-off-keeps-running": (fuel_at_cut_off, 0.0, 0.0),
    "rill instant-response": (lambda model: response(model, 0.0, 1.0), 2.0, 4.0),
}


@pytest.mark.parametrize("case", MEASURES)
def test_an_honest_engine_holds_what_its_defect_breaks(
    models: dict[str, Model], spoilt: Callable[[str, str], Model], case: str
) -> None:
    name, defect = case.split()
    measure, least, most = MEASURES[case]
    assert least <= measure(models[name]) <= most
    assert not least <= measure(spoilt(name, defect)) <= most


def test_the_stand_files_list_the_defects_measured(folders: dict[str, Path], name: str) -> None:
    stand = read_stand_file(str(folders[name] / "stand.toml"))
    assert sorted(f"{name} {defect}" for defect in stand.defects) == sorted(
        c for c in MEASURES if c.startswith(name)
    )


def test_levers_together_cost_power(corrie: Model) -> None:
    assert shared_exhaust_loss(corrie) > 2.0


def test_throttling_against_boost_costs_power_at_every_step(corrie: Model) -> None:
    flown = {"pressure_altitude": 15000.0, "true_airspeed": 150.0}
    powers = [
        corrie.seek(("boost",), 38.0, throttle=t, **flown)["brake_power"] for t in (1.0, 0.8, 0.65, 0.55)
    ]
    assert all(later < earlier - 2.0 for earlier, later in itertools.pairwise(powers))


def test_boost_travel_grows_with_height(corrie: Model) -> None:
    flown = {"throttle": 1.0, "propeller": 0.7414, "true_airspeed": 120.0}
    heights = (13000.0, 15000.0, 17500.0, 20000.0, 25000.0, 30000.0)
    settled = [corrie.seek(("boost",), 36.0, pressure_altitude=h, **flown) for h in heights]
    for lower, higher in itertools.pairwise(settled):
        assert higher["boost_position"] > lower["boost_position"]
        assert higher["wastegate_opening"] < lower["wastegate_opening"]
        assert higher["turbo_speed"] > lower["turbo_speed"]


def test_the_light_comes_on_past_the_turbo_limit_and_goes_off_again(
    corrie: Model, sheets: dict[str, EngineSheet]
) -> None:
    limit = sheets["corrie"].number("limits.turbo_speed")
    assert limit is not None
    flown = {"throttle": 1.0, "pressure_altitude": 25000.0, "true_airspeed": 150.0}
    corrie.start(flown | {"boost": 0.5})
    history = corrie.run(60.0, lambda t: flown | {"boost": 1.0 if t < 30.0 else 0.5})
    past = [r["turbo_speed"] > limit.value for r in history]
    assert any(past) and not past[-1]
    assert {r["turbo_overspeed_light"] for r, over in zip(history, past, strict=True) if over} == {2.0}
    assert history[0]["turbo_overspeed_light"] == history[-1]["turbo_overspeed_light"] == 0.0


@pytest.mark.parametrize("inches", [21.0, 23.0, 25.0])
def test_power_rises_with_height_at_held_manifold_pressure(rill: Model, inches: float) -> None:
    held = [rill.seek(("throttle",), inches, propeller=0.5, pressure_altitude=h) for h in (0.0, 2000.0)]
    assert 1.012 < (held[1]["brake_power"] / held[0]["brake_power"]) ** 0.5 < 1.020


def test_take_off_power_comes_and_goes_in_two_to_four_seconds(rill: Model) -> None:
    assert 2.0 <= response(rill, 0.0, 1.0) <= 4.0
    assert 2.0 <= response(rill, 1.0, 0.0) <= 4.0
