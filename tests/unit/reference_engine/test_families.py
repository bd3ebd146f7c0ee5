"""The geared, unsupercharged and turbo-normalised sets: ratings against their sheets, what each arrangement does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof.reference_data import reference_data
from leverproof.sheet.loader import load_sheet
from leverproof.stand.stand_file import read_stand_file
from leverproof_adapters.reference_engine import open_stand
from leverproof_adapters.reference_engine.components import honest
from leverproof_adapters.reference_engine.parameters import SETS
from leverproof_adapters.reference_engine.session import levers_of

Rigs = Callable[..., Any]
GEARED, UNSUPERCHARGED, NORMALISED = "corrie-14", "rill-6", "rill-6t"
FAMILIES = (GEARED, UNSUPERCHARGED, NORMALISED)
STATIC_AIR = {0: 29.92126, 5000: 24.89593, 10_000: 20.57699, 18_000: 14.94215}


def datum(variant: str, path: str) -> tuple[float, float]:
    found = load_sheet(variant).number(path)
    assert found is not None and isinstance(found.value, float) and found.doubt is not None
    return found.value, found.doubt


def lever_for(variant: str, rpm: float) -> float:
    return (rpm * np.pi / 30.0 / SETS[variant].rated_speed - 0.6) / 0.4


@pytest.mark.parametrize("variant", FAMILIES)
def test_sheet_and_engine_are_of_one_kind(variant: str) -> None:
    sheet, p = load_sheet(variant), SETS[variant]
    assert sheet.word("hardware.arrangement") == p.arrangement
    assert set(sheet.levers) == set(levers_of(honest(p)))
    assert datum(variant, "takeoff.engine_speed")[0] == pytest.approx(p.rated_speed * 30.0 / np.pi)
    if p.has_turbo:
        assert datum(variant, "limits.turbo_speed")[0] == pytest.approx(p.turbo_limit * 30.0 / np.pi)


@pytest.mark.parametrize("variant", sorted(SETS))
def test_shipped_stand_mounts_its_set(variant: str) -> None:
    stand = read_stand_file(reference_data() / "stands" / f"{variant}.toml", kinds=("reference_engine",))
    assert open_stand(stand, defect=None).hello().derived_from.endswith(f", {variant}")
    assert load_sheet(stand.sheet).id == variant


def test_geared_take_off_and_continuous_ratings(rig: Rigs) -> None:
    for rating in ("takeoff", "maximum_continuous"):
        power, doubt = datum(GEARED, f"{rating}.brake_power")
        speed, _ = datum(GEARED, f"{rating}.engine_speed")
        run = rig(1, GEARED, throttle=0.5, propeller=lever_for(GEARED, speed))
        run.hold_pressure(
            datum(GEARED, f"{rating}.manifold_pressure")[0], "throttle", low=0.3, high=0.8, seconds=5.0
        )
        assert run["brake_power"] == pytest.approx(power, abs=doubt)
        assert run["engine_speed"] == pytest.approx(speed, abs=1.0)


def test_geared_full_throttle_heights_of_both_gears(rig: Rigs) -> None:
    height, doubt = datum(GEARED, "climb.full_throttle_height")
    pressure, _ = datum(GEARED, "climb.manifold_pressure")
    heights = np.array([height - doubt, height + doubt, 17_000, 18_200])
    place = {"throttle": 1.0, "propeller": lever_for(GEARED, 2400), "true_airspeed": 150}
    run = rig(4, GEARED, pressure_altitude=heights, blower_gear=[0, 0, 1, 1], **place).run(40.0)
    found = run["manifold_pressure"]
    assert found[0] > pressure > found[1]
    assert found[2] > pressure > found[3]


def test_high_gear_costs_power_low_down_and_gives_it_high_up(rig: Rigs) -> None:
    heights = np.array([3000.0, 3000.0, 16_500.0, 16_500.0])
    run = rig(4, GEARED, pressure_altitude=heights, blower_gear=[0, 1, 0, 1], true_airspeed=150)
    run.set(propeller=lever_for(GEARED, 2400)).hold_pressure(
        36.0, "throttle", low=0.2, rounds=14, seconds=6.0
    )
    power = run["brake_power"]
    assert run["manifold_pressure"][:2] == pytest.approx([36.0, 36.0], abs=0.05)
    assert 0.85 < power[1] / power[0] < 0.93
    assert power[3] > power[2] + 50
    assert run["manifold_temperature"][1] > run["manifold_temperature"][0] + 30


def test_gear_shift_takes_about_a_second_and_goes_both_ways(rig: Rigs) -> None:
    run = rig(1, GEARED, throttle=1.0, pressure_altitude=17_000, true_airspeed=150).run(20.0)
    low = run["manifold_pressure"].copy()
    up = run.set(blower_gear=1).run(10.0).of("manifold_pressure")[:, 0]
    first = int(np.argmax(up > low[0] + 0.9 * (up[-1] - low[0]))) * 0.05
    assert 0.5 < first < 3.0
    run.set(blower_gear=0).run(20.0)
    assert run["manifold_pressure"] == pytest.approx(low, abs=0.02)


def test_carburettor_heat_warms_and_cowl_flaps_cool(rig: Rigs) -> None:
    run = rig(2, GEARED, throttle=0.5, carburettor_heat=[0, 1], true_airspeed=[0, 0]).run(30.0)
    assert np.diff(run["carburettor_air_temperature"]) == pytest.approx(55.0, abs=0.5)
    assert np.diff(run["brake_power"]) < -50
    ram = rig(2, GEARED, throttle=0.3, carburettor_heat=[0, 1], true_airspeed=180).run(10.0)
    assert -np.diff(ram["carburettor_deck_pressure"]) > 0.5
    flaps = rig(2, GEARED, throttle=0.5, cowl_flaps=[1, 0], true_airspeed=120).run(150.0)
    assert np.diff(flaps["cylinder_head_temperature"]) > 15


def test_hot_air_needs_a_hot_engine(rig: Rigs) -> None:
    run = rig(1, GEARED, engine="stopped", carburettor_heat=1).run(20.0)
    assert run["carburettor_air_temperature"] == pytest.approx(15.0, abs=0.1)


def test_unsupercharged_take_off_and_pressure_ratio(rig: Rigs) -> None:
    heights = list(STATIC_AIR)
    run = rig(4, UNSUPERCHARGED, throttle=1.0, pressure_altitude=heights).run(30.0)
    ratio = run["manifold_pressure"] / np.array(list(STATIC_AIR.values()))
    assert np.all((ratio > 0.93) & (ratio < 0.95))
    power, doubt = datum(UNSUPERCHARGED, "takeoff.brake_power")
    assert run["brake_power"][0] == pytest.approx(power, abs=doubt)
    pressure, gauge = datum(UNSUPERCHARGED, "takeoff.manifold_pressure")
    assert run["manifold_pressure"][0] == pytest.approx(pressure, abs=gauge)


def test_unsupercharged_power_follows_gagg_and_farrar(rig: Rigs) -> None:
    heights = np.array([0.0, 5000, 10_000, 15_000, 20_000])
    printed = np.array([1.0, 0.8434, 0.7039, 0.5801, 0.4710])
    power = rig(5, UNSUPERCHARGED, throttle=1.0, pressure_altitude=heights, true_airspeed=100).run(40.0)[
        "brake_power"
    ]
    assert power / power[0] == pytest.approx(printed, rel=0.02)


@pytest.mark.parametrize(("pressure", "height"), [(21.0, 8000.0), (23.0, 5000.0), (25.0, 3000.0)])
def test_unsupercharged_power_at_constant_pressure_rises_with_height(
    rig: Rigs, pressure: float, height: float
) -> None:
    run = rig(2, UNSUPERCHARGED, throttle=0.5, pressure_altitude=[0, height], true_airspeed=120)
    run.hold_pressure(pressure, "throttle", low=0.2, high=0.99, rounds=15, seconds=5.0)
    gain = 100.0 * (run["brake_power"][1] / run["brake_power"][0] - 1.0) / (height / 1000.0)
    assert run["manifold_pressure"] == pytest.approx(pressure, abs=0.03)
    assert 1.2 < gain < 2.0


def test_unsupercharged_idle_to_take_off_and_back(rig: Rigs) -> None:
    run = rig(1, UNSUPERCHARGED).run(20.0)
    assert run["engine_speed"] == pytest.approx(datum(UNSUPERCHARGED, "idle.engine_speed")[0], abs=25.0)
    up = np.concatenate([run.run(1.0, throttle=1.0).of("brake_power"), run.run(9.0).of("brake_power")])[:, 0]
    rise = int(np.argmax(up > up[0] + 0.9 * (up[-1] - up[0]))) * 0.05
    assert 2.0 <= rise <= 4.0
    down = np.concatenate([run.run(1.0, throttle=0.0).of("brake_power"), run.run(14.0).of("brake_power")])[
        :, 0
    ]
    fall = int(np.argmax(down < up[-1] - 0.9 * (up[-1] - down[-1]))) * 0.05
    assert fall <= 4.0
    assert run["engine_speed"] == pytest.approx(700, abs=25)


def test_automatic_gate_holds_pressure_to_the_turbo_limit(rig: Rigs) -> None:
    critical, doubt = datum(NORMALISED, "climb.full_throttle_height")
    pressure, _ = datum(NORMALISED, "climb.manifold_pressure")
    heights = np.array([0, 5000, 10_000, 15_000, critical - doubt, critical + doubt, 21_000, 25_000])
    place = {"throttle": 1.0, "propeller": lever_for(NORMALISED, 2500), "true_airspeed": 120}
    run = rig(8, NORMALISED, pressure_altitude=heights, **place).run(60.0)
    found, gate, turbo = run["manifold_pressure"], run["wastegate_opening"], run["turbo_speed"]
    assert np.ptp(found[:4]) < 0.1
    assert found[4] > pressure > found[5]
    assert np.all(np.diff(found[4:]) < -0.5)
    assert np.all(np.diff(gate[:4]) < 0.0) and gate[7] > gate[4]
    assert np.all(np.diff(turbo[:4]) > 5000) and turbo[5:] == pytest.approx(64_000, rel=1e-4)
    assert np.all(np.diff(run["brake_power"][:4]) < -0.5)
    assert run["carburettor_deck_pressure"][:4] == pytest.approx(30.2, abs=0.01)


def test_normalised_take_off(rig: Rigs) -> None:
    run = rig(1, NORMALISED, throttle=1.0).run(40.0)
    for channel, path in (("brake_power", "brake_power"), ("manifold_pressure", "manifold_pressure")):
        value, doubt = datum(NORMALISED, f"takeoff.{path}")
        assert run[channel] == pytest.approx(value, abs=doubt)


def test_slam_behind_an_automatic_gate_overshoots_for_seconds_only(rig: Rigs) -> None:
    run = rig(3, NORMALISED, throttle=0.2, pressure_altitude=[0, 6000, 14_000], true_airspeed=100).run(30.0)
    pressure = run.set(throttle=1.0).run(30.0).of("manifold_pressure")
    over = pressure - pressure[-1]
    assert over.max() < 2.0
    assert over[200:].max() < 0.1
    assert np.ptp(pressure[-100:], axis=0).max() < 0.01
