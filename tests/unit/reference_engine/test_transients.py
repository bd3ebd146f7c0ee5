"""Time: slams, turbo lag, governor, grid halving, smoothness."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof.channels import CHANNELS
from leverproof_adapters.reference_engine.parameters import SETS

Rigs = Callable[..., Any]
TAKE_OFF = {"corrie-14": 0.546, "rill-6": 1.0, "rill-6t": 1.0}
"""Throttle that gives take-off pressure at sea level, where it is not that of the Corrie-18."""


def time_to(history: np.ndarray[Any, Any], share: float, step: float) -> float:
    """Seconds until a share of the whole change is passed, interpolated."""
    level = history[0] + share * (history[-1] - history[0])
    first = int(np.argmax(history > level))
    part = (level - history[first - 1]) / (history[first] - history[first - 1])
    return float((first - 1 + part) * step)


def slam(rig: Rigs, step_ticks: int, variant: str = "corrie-18-early") -> Any:
    run = rig(1, variant, step_ticks=step_ticks).run(15.0)
    return run.set(throttle=TAKE_OFF.get(variant, 0.5777)).run(15.0 if variant == "rill-6t" else 10.0)


@pytest.mark.parametrize("variant", sorted(SETS))
def test_idle_to_takeoff(rig: Rigs, variant: str) -> None:
    run = slam(rig, 1800, variant)
    power, pressure = run.of("brake_power")[:, 0], run.of("manifold_pressure")[:, 0]
    assert 0.5 < time_to(power, 0.9, 0.05) < 4.0
    assert pressure.max() < 53.0
    assert run.of("engine_speed").max() < SETS[variant].rated_speed * 30.0 / np.pi * 1.05
    assert np.ptp(power[-100:]) < 0.01 * power[-1]


def test_turbo_takes_seconds_and_longer_at_height(rig: Rigs) -> None:
    heights = [5000, 15_000, 25_000]
    run = rig(3, throttle=0.3, pressure_altitude=heights, true_airspeed=180).run(20.0)
    run.run(1.0, throttle=1.0, boost=0.33)
    speed = np.concatenate([run.of("turbo_speed"), run.run(40.0).of("turbo_speed")])
    times = [time_to(speed[:, lane], 0.9, 0.05) for lane in range(3)]
    assert times[0] > 3.0
    assert times[0] < times[1] < times[2]


@pytest.mark.parametrize("variant", sorted(SETS))
def test_halving_the_grid_changes_next_to_nothing(rig: Rigs, variant: str) -> None:
    coarse, fine = slam(rig, 1800, variant), slam(rig, 900, variant)
    for name in coarse.outputs:
        assert abs(coarse[name] - fine[name])[0] <= 0.002 * CHANNELS[name].span
    for share in (0.1, 0.9):
        t = [time_to(r.of("brake_power")[:, 0], share, s) for r, s in ((coarse, 0.05), (fine, 0.025))]
        assert t[0] == pytest.approx(t[1], rel=0.02, abs=0.03)
    odd = slam(rig, 720, variant)
    for name in coarse.outputs:
        assert abs(coarse[name] - odd[name])[0] <= 0.002 * CHANNELS[name].span


def test_a_frame_rate_defect_is_caught_by_halving(rig: Rigs) -> None:
    def rise(step_ticks: int) -> float:
        run = rig(
            1, step_ticks=step_ticks, defect="frame-rate-dependent", throttle=0.3, pressure_altitude=15_000
        )
        run.run(15.0)
        return time_to(run.set(boost=0.4).run(25.0).of("turbo_speed")[:, 0], 0.9, step_ticks / 36_000)

    assert rise(900) > 1.15 * rise(1800)


def test_governor_follows_its_lever_and_settles(rig: Rigs) -> None:
    positions = np.linspace(0, 1, 6)
    run = rig(6, throttle=0.6, propeller=positions, pressure_altitude=6000, true_airspeed=170).run(25.0)
    assert run["engine_speed"] == pytest.approx(2640 * (0.6 + 0.4 * positions), abs=2.0)
    run.run(0.5, throttle=0.9)
    speed = np.concatenate([run.of("engine_speed"), run.run(15.0).of("engine_speed")])
    assert np.abs(speed - speed[0]).max() < 0.05 * 2640
    assert np.abs(speed[-1] - speed[0]).max() < 1.0


@pytest.mark.parametrize("variant", sorted(SETS))
def test_no_limit_cycles_and_only_finite_readings_anywhere(rig: Rigs, variant: str) -> None:
    draw = np.random.default_rng(7)
    n = 40
    run = rig(
        n,
        variant,
        throttle=draw.uniform(0, 1, n),
        boost=draw.uniform(0, 1, n) * (draw.random(n) > 0.3),
        propeller=draw.uniform(0, 1, n),
        mixture=draw.integers(0, 4, n),
        intercooler_shutter=draw.uniform(0, 1, n),
        pressure_altitude=draw.uniform(0, 33_000, n),
        temperature_offset=draw.uniform(-30, 35, n),
        relative_humidity=draw.uniform(0, 1, n),
        true_airspeed=draw.uniform(0, 300, n),
        blower_gear=draw.integers(0, 2, n),
        carburettor_heat=draw.integers(0, 2, n),
    ).run(110.0)
    assert np.all(np.isfinite(run.history))
    run.run(5.0)
    running = run["fuel_flow"] > 0
    assert running.sum() > 20
    for name in run.outputs:
        if name != "cylinder_head_temperature":
            assert np.ptp(run.of(name), axis=0)[running].max() <= CHANNELS[name].band, name


def test_a_hunting_governor_is_seen_as_a_limit_cycle(rig: Rigs) -> None:
    run = rig(1, defect="governor-hunts", throttle=0.6, true_airspeed=150).run(20.0).run(5.0)
    assert np.ptp(run.of("engine_speed")) > 20.0


def test_windmilling_keeps_the_engine_turning_and_it_relights(rig: Rigs) -> None:
    run = rig(1, throttle=0.5, pressure_altitude=8000, true_airspeed=170).run(20.0)
    power = run["brake_power"]
    run.set(mixture=0.0).run(20.0)
    assert run["engine_speed"] > 1500 and run["brake_power"] < 0 and run["fuel_flow"] == 0
    run.set(mixture=2.0).run(25.0)
    assert run["brake_power"] == pytest.approx(power, rel=0.01)
