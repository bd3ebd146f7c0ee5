"""Operating points by the predictor and by the full set of equations, solved by somebody who had only the page."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from . import independent_gas as gas
from . import independent_point as ip
from .independent_machine import machines
from .independent_power import balances
from .predictor_side import (
    SHEETS_AND_KINDS,
    TOLERANCE,
    apart,
    asked,
    both,
    case_of,
    closure,
    predictor_points,
    with_powers,
)
from .sheets import PAPERS

SEED, SAMPLES, POINTS = 7, 100, 25


def test_the_computation_knows_nothing_of_the_harness() -> None:
    files = sorted(Path(__file__).parent.glob("independent*.py"))
    assert len(files) >= 5
    for file in files:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not [n for n in names if n.startswith("leverproof")], file.name


@pytest.mark.parametrize("name", sorted(PAPERS))
def test_draws_and_sizes_follow_from_sheet_seed_and_page(name: str) -> None:
    sampled, mine = both(name, SAMPLES, SEED)
    engine = sampled.engine
    pairs = {c: (engine.c[c], [m.c[c] for m in mine]) for c in mine[0].c}
    pairs |= {
        "displacement": (engine.displacement, [m.displacement for m in mine]),
        "compression ratio": (engine.compression_ratio, [m.ratio for m in mine]),
        "throttle": (engine.throttle_area, [m.throttle for m in mine]),
        "nozzle or stack": (engine.exhaust_area, [m.nozzle for m in mine]),
        "gate": (engine.gate_area, [m.gate for m in mine]),
        "intake loss": (engine.intake_loss, [m.intake for m in mine]),
        "cooler loss": (engine.cooler_loss, [m.cooler for m in mine]),
        "cooler": (engine.cooler_effectiveness, [m.effectiveness for m in mine]),
    }
    pairs |= {f"blower {g}": (tip, [m.blower[g] for m in mine]) for g, tip in enumerate(engine.blower_tip)}
    if engine.has_turbo:
        pairs["turbo design flow"] = (
            engine.turbo_design_flow,
            [gas.GAS_CONSTANT * m.turbo_design for m in mine],
        )
        pairs["turbo limit"] = (engine.turbo_limit * engine.turbo_radius, [m.limit for m in mine])
    if engine.blower_tip:
        pairs["blower design flow"] = (
            engine.blower_design_flow,
            [gas.GAS_CONSTANT * m.blower_design for m in mine],
        )
    if np.isfinite(mine[0].air_limit):
        pairs["derate"] = (engine.derate, [m.derate for m in mine])
    for what, (theirs, ours) in pairs.items():
        assert np.allclose(np.broadcast_to(theirs, (SAMPLES, 1))[:, 0], ours, rtol=1e-9, atol=0.0), what


@dataclass(frozen=True, slots=True)
class Compared:
    """Points both sides solved, the worst difference of each quantity, the largest residual of each balance; ``torn``
    are the samples that only one side solves."""

    solved: int
    worst: dict[str, float]
    residuals: dict[str, float]
    torn: tuple[int, ...]


@cache
def compared(name: str, kind: str) -> Compared:
    """Random points of a sheet under a way of holding the levers, by both sides."""
    sampled, mine = both(name, SAMPLES, SEED)
    ask = asked(mine, kind, np.random.default_rng([SEED, len(name), len(kind)]))
    theirs = predictor_points(sampled, ask)
    worst: dict[str, float] = {}
    residuals: dict[str, float] = {}
    solved, torn = 0, []
    for i in range(POINTS):
        case, other = case_of(ask, mine, i), theirs[i]
        p = ip.point(case, [closure(ask, i)] if case.machine.turbo else [])
        p = None if p is None or ip.refused(case, p) else p
        if p is None or other is None:
            torn += [i] if (p is None) != (other is None) else []
            continue
        solved += 1
        _keep(worst, apart(case, with_powers(case, p, float(sampled.work[i, 0])), other))
        _keep(residuals, {f"ours: {k}": abs(v) for k, v in balances(case, p).items()})
        _keep(residuals, {f"predictor: {k}": abs(v) for k, v in balances(case, other).items()})
    return Compared(solved, worst, residuals, tuple(torn))


def _keep(largest: dict[str, float], new: dict[str, float]) -> None:
    for what, value in new.items():
        largest[what] = max(largest.get(what, 0.0), value)


@pytest.mark.parametrize(("name", "kind"), SHEETS_AND_KINDS)
def test_points_agree_and_balance(name: str, kind: str) -> None:
    found = compared(name, kind)
    assert found.torn == ()
    assert found.solved >= 2
    furthest = max(found.worst, key=lambda what: found.worst[what])
    print(f"{name}, {kind}: {found.solved} points, furthest apart {furthest} {found.worst[furthest]:.1e}")
    print("  residuals", {what: f"{value:.0e}" for what, value in found.residuals.items()})
    assert found.worst[furthest] < TOLERANCE
    assert max(found.residuals.values()) < 1e-9


def test_at_least_two_hundred_points_are_compared_and_every_arrangement_takes_part() -> None:
    solved = {pair: compared(*pair).solved for pair in SHEETS_AND_KINDS}
    print(solved)
    assert {name for name, _ in solved} == set(PAPERS)
    assert sum(solved.values()) >= 200


def test_the_start_does_not_choose_the_root() -> None:
    mine = machines(PAPERS["two_stage"], 8, SEED)
    ask = asked(mine, "coupled", np.random.default_rng(5))
    seen = 0
    for i in range(len(mine)):
        case = case_of(ask, mine, i)
        starts = [ip.guess(case, back, rise) for back, rise in ((1.05, 5.0), (1.5, 40.0), (2.5, 110.0))]
        found = [ip.point(case, [ip.equal_levers], near=s, generic=False) for s in starts]
        roots = [p["back"] for p in found if p and not ip.refused(case, p)]
        if len(roots) > 1:
            seen += 1
            assert np.ptp(roots) <= 1e-9 * max(roots)
    assert seen >= 4
