"""Steady points: ratings, idle, boost travel, split levers, lights, cut-off, and balances checked by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof.reference_data import reference_data
from leverproof.sheet.loader import load_sheet
from leverproof.sheet.model import EngineSheet
from leverproof_adapters.reference_engine.components import honest
from leverproof_adapters.reference_engine.parameters import SETS
from leverproof_adapters.reference_engine.session import levers_of

Rigs = Callable[..., Any]
EARLY, LATE = "corrie-18-early", "corrie-18-late"


def sheet(variant: str) -> EngineSheet:
    return load_sheet(str(reference_data() / "sheets" / f"{variant}.toml"))


def datum(variant: str, path: str) -> tuple[float, float]:
    found = sheet(variant).number(path)
    assert found is not None and isinstance(found.value, float) and found.doubt is not None
    return found.value, found.doubt


def propeller_for(rpm: float) -> float:
    return (rpm / 2640.0 - 0.6) / 0.4


@pytest.mark.parametrize("variant", [EARLY, LATE])
def test_takeoff_rating_with_boost_back_below_full_throttle(rig: Rigs, variant: str) -> None:
    pressure, _ = datum(variant, "takeoff.manifold_pressure")
    power, doubt = datum(variant, "takeoff.brake_power")
    run = rig(1, variant, throttle=0.5).hold_pressure(
        pressure, "throttle", low=0.4, high=0.8, rounds=9, seconds=4.0
    )
    assert 0.4 < run["throttle_position"][0] < 0.9
    assert run["manifold_pressure"] == pytest.approx(pressure, abs=0.05)
    assert run["engine_speed"] == pytest.approx(2640.0, rel=1e-4)
    assert run["brake_power"] == pytest.approx(power, abs=doubt)
    assert run["brake_power"] * 5252.113 == pytest.approx(run["torque"] * run["engine_speed"], rel=1e-6)


@pytest.mark.parametrize("variant", [EARLY, LATE])
def test_idle_is_sustained_at_the_ground_and_at_height(rig: Rigs, variant: str) -> None:
    speed, doubt = datum(variant, "idle.engine_speed")
    run = rig(2, variant, pressure_altitude=[0, 8000]).run(40.0)
    assert run["engine_speed"][0] == pytest.approx(speed, abs=doubt)
    assert np.all((run["engine_speed"] > 600) & (run["engine_speed"] < 700))
    assert np.ptp(run.of("engine_speed")[-200:], axis=0).max() < 0.5
    before = run["manifold_pressure"]
    run.run(20.0, boost=1.0)
    assert np.all(np.abs(run["manifold_pressure"] - before) < 2.0)


def test_full_throttle_height_of_the_climb_rating(rig: Rigs) -> None:
    height, doubt = datum(EARLY, "climb.full_throttle_height")
    pressure, _ = datum(EARLY, "climb.manifold_pressure")
    speed, _ = datum(EARLY, "climb.engine_speed")
    heights = np.array([height - doubt, height + doubt])
    run = rig(
        2, throttle=1.0, propeller=propeller_for(speed), pressure_altitude=heights, true_airspeed=150
    ).run(60.0)
    assert run["engine_speed"] == pytest.approx(speed, abs=1.0)
    assert run["manifold_pressure"][0] > pressure > run["manifold_pressure"][1]


@pytest.mark.parametrize("variant", [EARLY, LATE])
def test_boost_travel_of_the_climb_rating_grows_with_height(rig: Rigs, variant: str) -> None:
    heights = np.array([13_000, 14_000, 15_000, 17_000, 20_000.0])
    run = rig(
        5, variant, throttle=1.0, propeller=propeller_for(2500), pressure_altitude=heights, true_airspeed=150
    )
    run.hold_pressure(39.5, "boost", low=0.02, high=0.6, seconds=13.0, rounds=9)
    assert run["manifold_pressure"] == pytest.approx(39.5, abs=0.2)
    assert np.all(np.diff(run["boost_position"]) > 0.01)
    assert np.all(run["turbo_speed"] < 18_250)
    assert np.all(np.diff(run["turbo_speed"]) > 0)


@pytest.mark.parametrize("variant", [EARLY, LATE])
def test_levers_together_lose_power_to_throttle_first(rig: Rigs, variant: str) -> None:
    expected, doubt = datum(variant, "split_lever.advantage")
    heights = np.array([10_000, 15_000, 18_000.0] * 2)
    where = {"pressure_altitude": heights, "true_airspeed": 150}
    run = rig(6, variant, throttle=[1, 1, 1, 0.5, 0.5, 0.5], **where)
    run.hold_pressure(52.0, "throttle", "boost", low=0.2, high=0.6, seconds=10.0, rounds=10)
    pressure = run["manifold_pressure"]
    assert pressure == pytest.approx(52.0, abs=0.15)
    deck, turbo, air, back, power = (
        run[name].reshape(2, 3)
        for name in (
            "carburettor_deck_pressure",
            "turbo_speed",
            "carburettor_air_temperature",
            "exhaust_back_pressure",
            "brake_power",
        )
    )
    power = power - 38.0 * (pressure.reshape(2, 3) - 52.0)
    advantage, extra = power[0] - power[1], deck[1] - deck[0]
    assert np.all(extra > 2.0)
    assert np.all(advantage > 2.0 * extra)
    for higher in (turbo, air, back):
        assert np.all(higher[1] > higher[0])
    assert advantage[1] == pytest.approx(expected, abs=doubt)
    if variant == LATE:
        assert np.all(np.diff(advantage) < 0)


def test_early_full_levers_pass_the_turbo_limit_and_the_light_says_so(rig: Rigs) -> None:
    run = rig(2, throttle=1.0, boost=0.32, pressure_altitude=[25_000, 28_000], true_airspeed=170).run(40.0)
    assert np.all(run["turbo_speed"] < 18_250) and np.all(run["turbo_overspeed_light"] == 0)
    run.run(2.0, boost=1.0).run(20.0)
    assert np.all(run["turbo_speed"] > 18_250) and np.all(run["turbo_overspeed_light"] == 2)
    run.run(2.0, boost=0.3).run(30.0)
    assert np.all(run["turbo_speed"] < 18_250) and np.all(run["turbo_overspeed_light"] == 0)


def test_early_light_at_start_then_blinking_then_off(rig: Rigs) -> None:
    run = rig(1).run(20.0)
    assert run["turbo_overspeed_light"] == 2 and run["turbo_speed"] < 2500
    run.run(3.0, throttle=0.58).run(20.0)
    assert run["turbo_overspeed_light"] == 1 and 2500 < run["turbo_speed"] < 9000
    run.run(3.0, boost=0.4).run(20.0)
    assert run["turbo_overspeed_light"] == 0 and run["turbo_speed"] > 9000


def test_late_governor_holds_the_limit_and_its_light_stays_off(rig: Rigs) -> None:
    heights = [10_000, 20_000, 28_000]
    run = rig(3, LATE, throttle=1.0, boost=1.0, pressure_altitude=heights, true_airspeed=170).run(35.0)
    assert run["turbo_speed"] == pytest.approx(22_000, rel=0.002)
    assert np.all(run["turbo_overspeed_light"] == 0)
    missing = rig(3, LATE, defect="no-turbo-limit", throttle=1.0, boost=1.0, pressure_altitude=heights).run(
        50.0
    )
    assert np.all(missing["turbo_speed"] > 22_000 * 1.02) and np.all(missing["turbo_overspeed_light"] == 2)


def test_late_servo_closes_on_its_demand_without_overshoot(rig: Rigs) -> None:
    run = rig(2, LATE, throttle=1.0, pressure_altitude=[15_000, 24_000], true_airspeed=180).run(20.0)
    run.run(1.0, boost=0.5).run(20.0)
    assert run["turbo_speed"] == pytest.approx(24_000 * 0.5 * 1.4, rel=0.001)
    assert run.of("turbo_speed").max() < run["turbo_speed"].max() * 1.01


@pytest.mark.parametrize("variant", [EARLY, LATE])
def test_sheet_and_engine_agree_on_limits_and_light(variant: str) -> None:
    p = SETS[variant]
    pairs = {"limits.turbo_speed": p.turbo_limit, "light.on_above": p.light_on_above}
    pairs["light.hysteresis"] = p.light_hysteresis
    if p.light_kind == "three_state":
        pairs |= {"light.blinking_above": p.light_blinking_above, "light.off_above": p.light_off_above}
    pairs["takeoff.engine_speed"] = p.rated_speed
    for path, speed in pairs.items():
        assert datum(variant, path)[0] == pytest.approx(speed * 30.0 / np.pi)
    words = sheet(variant)
    assert words.word("hardware.light") == p.light_kind
    assert words.word("hardware.boost_acts_on") == p.boost_acts_on
    assert set(words.levers) == set(levers_of(honest(p)))


def test_link_and_coordination_move_what_they_say(rig: Rigs) -> None:
    linked = rig(2, throttle=0.6, boost=0.1, lever_link=[0, 1], pressure_altitude=9000).run(20.0)
    assert linked["boost_position"] == pytest.approx([0.1, 0.6])
    one = rig(3, LATE, throttle=[0.3, 0.6, 1.0], boost=0.5, coordination=1, pressure_altitude=15_000).run(
        20.0
    )
    assert one["throttle_position"] == pytest.approx([0.5, 1.0, 1.0])
    assert one["boost_position"] == pytest.approx([0.0, 0.0, 1.0])
    off = rig(1, LATE, throttle=0.3, boost=0.5, pressure_altitude=15_000).run(20.0)
    assert (off["throttle_position"][0], off["boost_position"][0]) == pytest.approx((0.3, 0.5))


def test_fuel_is_ordered_by_mixture(rig: Rigs) -> None:
    run = rig(
        4, throttle=0.3, propeller=0.5, mixture=[0, 1, 2, 3], pressure_altitude=5000, true_airspeed=150
    ).run(40.0)
    flow = run["fuel_flow"]
    assert flow[0] == 0.0 and flow[0] < flow[1] <= flow[2] < flow[3]
    assert run["manifold_pressure"][1:] == pytest.approx(run["manifold_pressure"][1], rel=0.01)
    assert run["brake_power"][0] <= 0.0


def test_power_falls_with_charge_temperature_as_its_inverse_root(rig: Rigs) -> None:
    offsets = np.array([-20.0, 20.0])
    run = rig(2, throttle=0.5, propeller=0.8, pressure_altitude=5000, temperature_offset=offsets)
    run.hold_pressure(38.0, "throttle", low=0.3, high=0.7, rounds=14, seconds=5.0)
    warm = np.log(
        (run["carburettor_air_temperature"] + 273.15)[1] / (run["carburettor_air_temperature"] + 273.15)[0]
    )
    exponent = -np.log(run["brake_power"][1] / run["brake_power"][0]) / warm
    assert 0.4 < exponent < 0.6


def test_ram_at_the_deck_stays_below_its_recovery(rig: Rigs) -> None:
    run = rig(2, throttle=0.5, pressure_altitude=8000, true_airspeed=[0, 220]).run(25.0)
    rise = run["carburettor_deck_pressure"][1] - run["carburettor_deck_pressure"][0]
    mach = 220 * 0.514444 / np.sqrt(1.4 * 287.0531 * 272.30)
    full = run["ambient_pressure"][0] * ((1 + 0.2 * mach * mach) ** 3.5 - 1)
    assert 0.4 * full < rise <= 0.75 * full


def test_rpm_pulled_back(rig: Rigs) -> None:
    run = rig(2, throttle=[1.0, 0.15], pressure_altitude=5000, true_airspeed=150).run(20.0)
    before = run["manifold_pressure"]
    drop = 1.0 - before / run["carburettor_deck_pressure"]
    assert drop[1] > 0.45
    run.run(2.0, propeller=propeller_for(2200)).run(20.0)
    assert run["engine_speed"] == pytest.approx(2200, abs=2)
    assert run["manifold_pressure"][0] < before[0] - 1.0
    assert run["manifold_pressure"][1] > before[1] + 0.3


def test_stopped_engine_reads_ambient_and_stays_stopped(rig: Rigs) -> None:
    run = rig(3, engine="stopped", throttle=0.4, pressure_altitude=[0, 5000, 10_000]).run(30.0)
    for channel in ("manifold_pressure", "carburettor_deck_pressure", "exhaust_back_pressure"):
        assert run[channel] == pytest.approx([29.92126, 24.89593, 20.57699], rel=2e-5)
    for channel in ("engine_speed", "turbo_speed", "brake_power", "torque", "fuel_flow"):
        assert np.all(run[channel] == 0.0)


def test_cut_off_on_the_ground_and_in_flight(rig: Rigs) -> None:
    run = rig(2, throttle=0.4, pressure_altitude=[0, 8000], true_airspeed=[0, 160]).run(20.0)
    turbo = run["turbo_speed"]
    run.set(mixture=0.0).run(45.0)
    assert np.all(run["fuel_flow"] == 0.0)
    assert run["engine_speed"][0] == 0.0
    assert run["manifold_pressure"][0] == pytest.approx(29.92, abs=0.1)
    assert run["engine_speed"][1] > 1000 and run["brake_power"][1] < 0
    assert np.all(run["turbo_speed"] < 0.5 * turbo)
