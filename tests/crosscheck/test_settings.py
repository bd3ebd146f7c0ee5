"""What rests on many points: calibrated work, lever orders with their limits, heights, the split advantage."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from leverproof.physics.predictor.engine import air_at
from leverproof.physics.predictor.expectations import demand_of
from leverproof.physics.predictor.heights import height_where_full_throttle
from leverproof.physics.predictor.points import Policy
from leverproof.physics.predictor.power import split as predictor_split
from leverproof.physics.predictor.settings import (
    levers_together,
    levers_together_or_limit,
    throttle_first_or_limit,
)

from . import independent_gas as gas
from . import independent_point as ip
from . import independent_setting as own
from .independent_machine import Machine
from .independent_power import power, split
from .predictor_side import TOLERANCE, both, column
from .sheets import PAPERS

SEED, SAMPLES = 11, 60
WITH_LEVERS = ("two_stage", "two_stage_bare", "two_stage_speed", "two_stage_deck")


def case_at(m: Machine, altitude: float, airspeed: float, share: float = 1.0) -> ip.Case:
    """Take-off pressure by a share, take-off speed, auto rich, standard day, low gear."""
    air = gas.air(altitude, airspeed=airspeed, recovery=m.c["ram_recovery"])
    pressure = share * m.rated_pressure
    return ip.Case(m, air, pressure, m.rated_speed, ip.mixture_of(m, pressure, m.rated_speed))


@pytest.mark.parametrize("name", sorted(PAPERS))
def test_calibrated_work_and_weights(name: str) -> None:
    sampled, mine = both(name, SAMPLES, SEED)
    found = own.calibrated(mine)
    assert np.allclose([w for w, _ in found], sampled.work[:, 0], rtol=TOLERANCE, atol=0.0)
    assert np.allclose([x for _, x in found], sampled.weight[:, 0], rtol=TOLERANCE, atol=1e-12)


ORDERS = [(name, "throttle first") for name in sorted(PAPERS)] + [(name, "together") for name in WITH_LEVERS]


@pytest.mark.parametrize(("name", "order"), ORDERS)
def test_lever_orders_and_their_limits(name: str, order: str) -> None:
    sampled, mine = both(name, SAMPLES, SEED)
    rng = np.random.default_rng([SEED, len(name)])
    altitude, airspeed = rng.uniform(8_000.0, 32_000.0, SAMPLES), rng.uniform(0.0, 130.0, SAMPLES)
    engine = sampled.engine
    air = air_at(column(altitude), airspeed=column(airspeed), ram_recovery=engine.c["ram_recovery"])
    demand = demand_of(sampled, engine.rated_pressure, engine.rated_speed)
    ask = throttle_first_or_limit if order == "throttle first" else levers_together_or_limit
    theirs = ask(engine, air, demand, work=sampled.work)
    held = np.broadcast_to(theirs.manifold_pressure, (SAMPLES, 1))[:, 0]
    worst, limited, compared = 0.0, 0, 0
    for i in range(12):
        case = case_at(mine[i], float(altitude[i]), float(airspeed[i]))
        p = (own.throttle_first_or_limit if order == "throttle first" else own.together)(case)
        brake = float(theirs.power.brake[i, 0])
        assert (p is None) == bool(np.isnan(brake)), i
        if p is None:
            continue
        compared += 1
        limited += p["pressure"] < case.pressure
        found = power(case, p, float(sampled.work[i, 0])).brake
        worst = max(worst, abs(found / brake - 1.0), abs(p["pressure"] / held[i] - 1.0))
    print(f"{name}, {order}: {compared} points, {limited} at a limit, worst {worst:.1e}")
    assert compared >= 6
    assert limited >= 1
    assert worst < TOLERANCE


@pytest.mark.parametrize("name", ["two_stage", "two_stage_deck"])
def test_the_split_of_the_advantage(name: str) -> None:
    sampled, mine = both(name, SAMPLES, SEED)
    engine = sampled.engine
    air = air_at(15_000.0, airspeed=90.0, ram_recovery=engine.c["ram_recovery"])
    demand = demand_of(sampled, engine.rated_pressure, engine.rated_speed)
    first = throttle_first_or_limit(engine, air, demand, work=sampled.work)
    coupled = levers_together(engine, air, demand, work=sampled.work)
    parts = predictor_split(
        engine, demand, (first.points.state, first.power), (coupled.points.state, coupled.power)
    )  # fmt: skip
    compared = 0
    for i in range(10):
        case, work = case_at(mine[i], 15_000.0, 90.0), float(sampled.work[i, 0])
        one, other = own.throttle_first(case), own.together(case)
        if one is None or other is None or other["pressure"] < case.pressure:
            continue
        compared += 1
        found = split((case, one, power(case, one, work)), (case, other, power(case, other, work)))
        scale = sum(abs(v) for k, v in found.items() if k != "whole")
        for part, value in found.items():
            assert abs(value - float(getattr(parts, part)[i, 0])) < TOLERANCE * scale, part
        assert abs(sum(v for k, v in found.items() if k != "whole") - found["whole"]) < 1e-9 * scale
    assert compared >= 4


def _policies(engine: Any) -> dict[str, tuple[Policy, Any]]:
    if not engine.has_turbo:
        return {"open": (Policy("gate", 0.0), lambda m: [])}
    return {
        "open": (Policy("gate", engine.gate_area), lambda m: [ip.gate_at(m.gate)]),
        "shut": (Policy("gate", 0.0), lambda m: [ip.gate_at(0.0)]),
        "turbo limit": (
            Policy("speed", engine.turbo_limit * engine.turbo_radius),
            lambda m: [ip.tip_speed_at(m.limit)],
        ),
    }


@pytest.mark.parametrize(
    "name", ["unsupercharged", "geared_one_speed", "turbo_normalised", "two_stage", "two_stage_bare"]
)
def test_full_throttle_and_critical_heights(name: str) -> None:
    sampled, mine = both(name, SAMPLES, SEED)
    engine, share = sampled.engine, 0.85
    demand = demand_of(sampled, share * engine.rated_pressure, engine.rated_speed)
    for what, (policy, closures) in _policies(engine).items():
        heights = height_where_full_throttle(
            engine, lambda h: air_at(h, airspeed=70.0, ram_recovery=engine.c["ram_recovery"]), demand, policy
        ).x  # fmt: skip
        for i in range(2):
            found = own.height(case_at(mine[i], 0.0, 70.0, share), closures(mine[i]))
            theirs = float(heights[i, 0])
            print(f"{name}, {what}: {theirs:.3f} ft, apart {math.nan if found is None else found - theirs:.1e} ft")
            assert (found is None) == bool(np.isnan(theirs))
            assert found is None or abs(found - theirs) < TOLERANCE * 10_000.0
