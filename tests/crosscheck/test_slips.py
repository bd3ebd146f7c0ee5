"""A tenth too much in a coefficient or an equation, on either side, and the comparison fails."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leverproof.physics.predictor import gas_path

from . import independent_point as ip
from .independent_machine import machines
from .independent_power import balances
from .predictor_side import (
    TOLERANCE,
    Asked,
    apart,
    asked,
    both,
    case_of,
    closure,
    predictor_points,
    with_powers,
)
from .sheets import PAPERS

SEED, SAMPLES, SLIP = 7, 30, 1.1
OURS = {
    "ram": "two_stage", "humidity": "unsupercharged", "duct scale": "two_stage", "gas slope": "two_stage",
    "wall heating": "unsupercharged", "filling": "geared_one_speed", "mixture": "two_stage", "evaporation": "two_stage",
    "volumetric": "geared_two_speed", "orifice": "unsupercharged", "geared stage": "geared_one_speed",
    "cooler loss": "two_stage", "turbine": "two_stage", "tip penalty": "two_stage_fast",
    "stage head": "turbo_normalised",
    "leak": "two_stage", "stage work": "two_stage", "blower work": "two_stage", "cooler": "two_stage",
    "mixture curve": "geared_two_speed", "pumping": "unsupercharged", "friction": "unsupercharged",
    "drive": "geared_one_speed", "derate": "two_stage_fast",
    "turbo curvature": "two_stage", "blower curvature": "geared_two_speed", "design ratio": "two_stage",
    "turbo flow": "two_stage", "blower flow": "geared_two_speed", "knee": "two_stage_fast",
    "turbo best flow": "two_stage", "blower best flow": "geared_one_speed",
}  # fmt: skip
THEIRS = (
    "ram_recovery", "turbo_work", "turbo_efficiency", "tip_speed_penalty", "blower_work", "blower_efficiency",
    "blower_drive", "evaporated", "volumetric", "wall_heating", "wall_temperature", "scavenge", "pumping",
    "friction_constant", "friction_load", "best_power_ratio", "auto_rich_ratio", "gas_temperature",
    "turbine_efficiency", "leak", "cooler_static", "turbo_flow_curvature", "turbo_best_flow",
    "blower_flow_curvature", "blower_best_flow",
)  # fmt: skip


def deviation(name: str, *, slip: dict[str, float], change: Callable[[Any], Any] | None = None) -> float:
    """Worst relative difference over the points that both sides solve; NaN-free, 0 only for equal numbers."""
    kind = {"two_stage": "coupled", "turbo_normalised": "throttle", "two_stage_fast": "speed"}.get(name, "gate")
    sampled, _ = both(name, SAMPLES, SEED)
    mine = machines(PAPERS[name], SAMPLES, SEED, slip=slip)
    ask = _ask(name, kind)
    theirs = predictor_points(sampled, ask, change(sampled.engine) if change else None)
    worst, compared = 0.0, 0
    for i, other in enumerate(theirs):
        case = case_of(ask, mine, i, slip)
        if other is None or compared == 6:
            continue
        p = ip.point(case, [closure(ask, i)] if case.machine.turbo else [])
        if p is None:
            continue
        compared += 1
        worst = max(worst, *apart(case, with_powers(case, p, float(sampled.work[i, 0])), other).values())
    assert compared >= 4
    return worst


def _ask(name: str, kind: str) -> Asked:
    """What is asked of the engine without any slip: the same for all."""
    ask = asked(machines(PAPERS[name], SAMPLES, SEED), kind, np.random.default_rng([SEED, len(name)]))
    if name == "two_stage_fast":  # the tip speed penalty and the derate act
        ask = replace(ask, value=ask.value / ask.value.max() * 410.0, altitude=ask.altitude + 5_000.0)
    return replace(ask, mixture="auto_rich")


@pytest.mark.parametrize("name", sorted({*OURS.values()}))
def test_without_a_slip_they_agree(name: str) -> None:
    assert deviation(name, slip={}) < TOLERANCE


@pytest.mark.parametrize(("relation", "name"), sorted(OURS.items()))
def test_a_slip_of_an_equation_here_is_seen(relation: str, name: str) -> None:
    found = deviation(name, slip={relation: SLIP})
    print(f"{relation}: {found:.1e}")
    assert found > TOLERANCE


@pytest.mark.parametrize("coefficient", THEIRS)
def test_a_slip_of_a_coefficient_of_the_predictor_is_seen(coefficient: str) -> None:
    def change(engine: Any) -> Any:
        return replace(engine, c={**engine.c, coefficient: SLIP * engine.c[coefficient]})

    found = deviation("two_stage_fast" if coefficient == "tip_speed_penalty" else "two_stage", slip={}, change=change)
    print(f"{coefficient}: {found:.1e}")
    assert found > TOLERANCE


@pytest.mark.parametrize(
    "size",
    [
        "displacement",
        "intake_loss",
        "cooler_loss",
        "exhaust_area",
        "cooler_effectiveness",
        "turbo_design_flow",
        "blower_design_flow",
    ],
)
def test_a_slip_of_a_size_of_the_predictor_is_seen(size: str) -> None:
    def change(engine: Any) -> Any:
        return replace(engine, **{size: SLIP * getattr(engine, size)})

    assert deviation("two_stage", slip={}, change=change) > TOLERANCE


@pytest.mark.parametrize("relation", ["filling_factor", "turbo_efficiency", "blower_efficiency"])
def test_a_slip_of_an_equation_of_the_predictor_is_seen(relation: str, monkeypatch: pytest.MonkeyPatch) -> None:
    right = getattr(gas_path, relation)
    monkeypatch.setattr(gas_path, relation, lambda *a, **k: SLIP * right(*a, **k))
    assert deviation("two_stage", slip={}) > TOLERANCE


@pytest.mark.parametrize(
    ("relation", "balance"),
    [("orifice", "throttle"), ("leak", "exhaust"), ("turbine", "shaft"), ("stage work", "shaft"),
     ("cooler", "first law"), ("blower work", "first law"), ("evaporation", "first law"), ("volumetric", "throttle")],
)  # fmt: skip
def test_a_slip_unbalances_its_own_balance(relation: str, balance: str) -> None:
    mine = machines(PAPERS["two_stage"], SAMPLES, SEED)
    ask, seen = _ask("two_stage", "coupled"), 0.0
    for i in range(5):
        case = case_of(ask, mine, i, {relation: SLIP})
        p = ip.point(case, [ip.equal_levers])
        if p:
            seen = max(seen, abs(balances(replace(case, slip={}), p)[balance]))
    assert seen > 1e-4
