"""Which root is meant: how often a residual crosses zero along the back pressure, and that the lowest is taken."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from leverproof.physics.bracket import BELOW, SOLVED, solve
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.engine import Air, Demand, Engine, air_at
from leverproof.physics.predictor.expectations import demand_of
from leverproof.physics.predictor.gas_path import State, at_back_pressure, fixed
from leverproof.physics.predictor.points import Policy, back_pressures, residual_of
from leverproof.physics.relations.similarity import KNEE_TIP_MACH, tip_mach_number
from leverproof.quantities import convert

SheetOf = Callable[[str], Any]
SAMPLES, SEED = 400, 9
EXCESS = np.geomspace(1e-6, 7.0, 240)[None, :]
WITH_TURBO = [("turbo_normalised", k) for k in ("throttle", "gate", "speed", "deck")]
WITH_TURBO += [("two_stage", k) for k in ("throttle", "gate", "speed", "deck", "coupled")]
PLAIN = [(name, "gate") for name in ("unsupercharged", "geared_one_speed", "geared_two_speed")]


@dataclass(frozen=True)
class Scan:
    engine: Engine
    air: Air
    demand: Demand
    policy: Policy
    back: Array
    residual: Array
    state: State

    @property
    def sound(self) -> Array:
        """Neighbouring grid points at which the chain is to be trusted."""
        good = ~self.state.starved & np.isfinite(self.residual)
        return np.asarray(good[:, 1:] & good[:, :-1])

    @property
    def crossings(self) -> Array:
        return np.asarray((np.diff(np.sign(self.residual), axis=1) != 0) & self.sound)


def _column(values: Any) -> Array:
    return np.asarray(values, dtype=np.float64).reshape(-1, 1)


@cache
def _scan(name: str, kind: str, sheet_of: SheetOf) -> Scan:
    """Random points to 45,000 ft, a fifth to all of take-off pressure, half to all of take-off rpm, area to a tenth."""
    sheet = sheet_of(name)
    sampled = sampled_engine(sheet, samples=SAMPLES, seed=SEED)
    rng, engine = np.random.default_rng([SEED, len(name)]), sampled.engine
    air = air_at(
        _column(rng.uniform(0.0, 45_000.0, SAMPLES)),
        airspeed=_column(rng.uniform(0.0, 180.0, SAMPLES)),
        ram_recovery=engine.c["ram_recovery"],
        offset=_column(rng.uniform(-20.0, 30.0, SAMPLES)),
    )
    pressure = engine.rated_pressure * _column(rng.uniform(0.2, 1.1, SAMPLES))
    demand = demand_of(sampled, pressure, engine.rated_speed * _column(rng.uniform(0.5, 1.0, SAMPLES)))
    held: dict[str, Any] = {
        "throttle": engine.throttle_area * _column(rng.uniform(0.1, 1.0, SAMPLES)),
        "gate": engine.gate_area * _column(rng.uniform(0.0, 1.0, SAMPLES)) if engine.has_turbo else 0.0,
        "speed": _column(rng.uniform(150.0, 420.0, SAMPLES)),
        "deck": convert(1.0, "inHg", "Pa") * _column(rng.uniform(15.0, 45.0, SAMPLES)),
        "coupled": 0.0,
    }
    policy, point = Policy(kind, held[kind]), fixed(engine, air, demand)
    back = air.pressure * (1.0 + EXCESS)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return Scan(
            engine, air, demand, policy, np.asarray(back),
            residual_of(policy, point)(np.asarray(back)), at_back_pressure(point, np.asarray(back)),
        )  # fmt: skip


@pytest.mark.parametrize(("name", "kind"), [*PLAIN, *(p for p in WITH_TURBO if p[1] in ("gate", "speed"))])
def test_gate_and_speed_residuals_rise_everywhere(name: str, kind: str, sheet_of: SheetOf) -> None:
    scan = _scan(name, kind, sheet_of)
    rises = np.diff(scan.residual, axis=1)[scan.sound]
    assert np.all(rises > -1e-12) and rises.size > 50_000


@pytest.mark.parametrize(("name", "kind"), [p for p in WITH_TURBO if p[1] not in ("gate", "speed")])
def test_other_residuals_cross_zero_once_below_the_mach_knee(name: str, kind: str, sheet_of: SheetOf) -> None:
    """They fall only while the turbo hardly turns, while the throttle's flow is backward, or beyond the knee."""
    scan = _scan(name, kind, sheet_of)
    mach = tip_mach_number(scan.state.tip_speed, np.asarray(scan.air.total_temperature))[:, 1:]
    below = scan.sound & (mach <= KNEE_TIP_MACH)
    forward = scan.state.deck_pressure[:, :-1] > scan.state.throat_pressure[:, :-1]
    falls = below & forward & (np.diff(scan.residual, axis=1) < -1e-12 * np.abs(scan.residual[:, 1:]))
    assert np.all(scan.state.tip_speed[:, 1:][falls] < 50.0)
    assert np.all(scan.back[:, 1:][falls] < 1.04 * np.broadcast_to(scan.air.pressure, falls.shape)[falls])
    awake = below & (scan.state.tip_speed[:, 1:] > 50.0)
    crossed = (scan.crossings & awake).sum(axis=1)
    print(f"{name}, {kind}: {falls.any(axis=1).sum()} residuals fall near standstill; {crossed.max()} crossing")
    assert crossed.max() == 1


@pytest.mark.parametrize(("name", "kind"), [*PLAIN, *WITH_TURBO])
def test_the_root_is_the_lowest_the_scan_sees(name: str, kind: str, sheet_of: SheetOf) -> None:
    scan = _scan(name, kind, sheet_of)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        found = back_pressures(fixed(scan.engine, scan.air, scan.demand), scan.policy)
    upward = scan.crossings & (scan.residual[:, 1:] > 0.0)
    seen = upward.any(axis=1) & (scan.residual[:, 0] < 0.0)
    first, rows = upward.argmax(axis=1), np.arange(SAMPLES)
    low, high = scan.back[rows, first], scan.back[rows, first + 1]
    assert seen.sum() > 0.2 * SAMPLES
    assert np.all(found.ending[:, 0][seen] == SOLVED)
    root = found.x[:, 0][seen]
    assert np.all((root >= low[seen] * (1.0 - 1e-9)) & (root <= high[seen] * (1.0 + 1e-9)))
    assert np.all(found.ending[:, 0][scan.residual[:, 0] > 0.0] == BELOW)


def test_of_three_roots_the_lowest_is_taken(sheet_of: SheetOf) -> None:
    """The steepest losses the coefficients allow, high up: the bracket alone often ends at an absurd turbo speed."""
    count = 4_000
    sampled = sampled_engine(sheet_of("two_stage"), samples=count, seed=3)
    worst = {"turbo_flow_curvature": 1.0, "turbo_best_flow": 1.15, "tip_speed_penalty": 1.5}
    c = {**sampled.engine.c, **{name: np.full((count, 1), value) for name, value in worst.items()}}
    engine = replace(sampled.engine, c=c)
    air = air_at(42_000.0, airspeed=100.0, ram_recovery=c["ram_recovery"])
    pressure = engine.rated_pressure * _column(np.linspace(0.3, 0.8, count))
    demand = demand_of(replace(sampled, engine=engine), pressure, 0.8 * engine.rated_speed)
    policy = Policy("throttle", engine.throttle_area)
    point = fixed(engine, air, demand)
    residual = residual_of(policy, point)
    back = np.asarray(air.pressure) * (1.0 + EXCESS)
    value = residual(back)
    up = (value[:, 1:] > 0.0) & (value[:, :-1] <= 0.0)
    triple = up.sum(axis=1) > 1
    first = np.broadcast_to(back, value.shape)[np.arange(count), up.argmax(axis=1) + 1]
    found = back_pressures(point, policy).x[:, 0]
    low = np.broadcast_to(np.asarray(air.pressure), (count, 1))
    alone = solve(residual, low, 1.3 * low).x[:, 0]
    print(f"{triple.sum()} of {count} points cross three times")
    assert triple.sum() >= 20
    assert np.all(found[triple] <= first[triple] * (1.0 + 1e-9))
    assert np.any(alone[triple] > 1.05 * found[triple])
