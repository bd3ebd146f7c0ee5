"""Starting from rest: the starter turns, fuel and speed make it fire, and nothing else is changed by it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof.quantities import convert
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.parameters import SETS
from leverproof_adapters.reference_engine.shafts import starter_torque
from leverproof_adapters.reference_engine.state import CARRIED, Levers, State

Rigs = Callable[..., Any]
CRACKED = 0.05


@pytest.mark.parametrize("variant", sorted(SETS))
def test_torque_falls_evenly_to_nothing_at_the_free_speed_and_stays_there(variant: str) -> None:
    p, s, levers = Coefficients(SETS[variant]), State(np.zeros((len(CARRIED), 6))), Levers()
    s.crank = p.starter_free_speed * np.array([0.0, 0.25, 0.5, 1.0, 3.0, 0.0])
    levers.starter = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.0])
    shares = starter_torque(p, s, levers) / p.starter_torque
    assert shares == pytest.approx([1.0, 0.75, 0.5, 0.0, 0.0, 0.0])
    assert p.starter_torque == pytest.approx(1.5 * p.breakaway)
    assert p.starter_free_speed > p.firing_from


@pytest.mark.parametrize("variant", sorted(SETS))
def test_fuel_and_starter_together_start_it(rig: Rigs, variant: str) -> None:
    """Four lanes: both, no starter, no fuel, both at 8,000 ft."""
    lanes = {"mixture": [2, 2, 0, 2], "pressure_altitude": [0, 0, 0, 8000]}
    run = rig(4, variant, engine="stopped", throttle=CRACKED, **lanes).set(starter=[1, 0, 1, 1]).run(4.0)
    cranked = run["engine_speed"]
    assert min(cranked[0], cranked[3]) > 400.0
    assert cranked[1] == 0.0
    assert 40.0 < cranked[2] < convert(SETS[variant].starter_free_speed, "rad/s", "rpm")
    assert run["fuel_flow"][2] == 0.0 and run["brake_power"][2] < 0.0
    warm = rig(1, variant, throttle=CRACKED).run(40.0)
    run.set(starter=0).run(40.0)
    assert run["engine_speed"][0] == pytest.approx(warm["engine_speed"][0], rel=0.005)
    assert run["engine_speed"][3] > 400.0 and run["brake_power"][3] > 0.0
    assert np.all(run["engine_speed"][1:3] == 0.0)
    assert run["manifold_pressure"][2] == pytest.approx(29.92, abs=0.01)


def test_the_cylinder_heads_begin_cold_and_warm_later(rig: Rigs) -> None:
    run = rig(1, engine="stopped", throttle=CRACKED)
    assert run["cylinder_head_temperature"][0] == pytest.approx(15.0, abs=0.1)
    run.set(starter=1).run(4.0).set(starter=0).run(6.0)
    early = run["cylinder_head_temperature"][0]
    assert 15.0 < early < run.run(90.0)["cylinder_head_temperature"][0] - 20.0


def test_an_engaged_starter_leaves_a_running_engine_alone(rig: Rigs) -> None:
    free, held = rig(1, throttle=0.4), rig(1, throttle=0.4, starter=1)
    assert np.array_equal(free.run(5.0).history, held.run(5.0).history)


def test_half_the_grid_step_starts_it_as_quickly(rig: Rigs) -> None:
    times = []
    for ticks in (1800, 900):
        run = rig(1, engine="stopped", step_ticks=ticks, throttle=CRACKED).set(starter=1).run(5.0)
        times.append(float(np.argmax(run.of("engine_speed")[:, 0] > 500.0)) * ticks / 36_000)
    assert times[0] > 0.5
    assert times[1] == pytest.approx(times[0], abs=0.05)
