"""Operating points by the predictor and by the full set of equations, solved by somebody who had only the page."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

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
SOLVED: Counter[str] = Counter()


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
        pairs["turbo limit"] = (engine.turbo_limit * engine.turbo_radius, [m.limit for m in mine])
    if np.isfinite(mine[0].air_limit):
        pairs["derate"] = (engine.derate, [m.derate for m in mine])
    for what, (theirs, ours) in pairs.items():
        assert np.allclose(np.broadcast_to(theirs, (SAMPLES, 1))[:, 0], ours, rtol=1e-9, atol=0.0), what


@pytest.mark.parametrize(("name", "kind"), SHEETS_AND_KINDS)
def test_points_agree_and_balance(name: str, kind: str) -> None:
    sampled, mine = both(name, SAMPLES, SEED)
    ask = asked(mine, kind, np.random.default_rng([SEED, len(name), len(kind)]))
    theirs = predictor_points(sampled, ask)
    worst: dict[str, float] = {}
    unbalanced: dict[str, float] = {}
    for i in range(POINTS):
        case, other = case_of(ask, mine, i), theirs[i]
        p = ip.point(case, [closure(ask, i)] if case.machine.turbo else [])
        stands = p is not None and not ip.refused(case, p)
        assert stands == (other is not None), (i, p and ip.refused(case, p))
        if p is None or other is None:
            continue
        SOLVED[name] += 1
        full = with_powers(case, p, float(sampled.work[i, 0]))
        for what, value in apart(case, full, other).items():
            worst[what] = max(worst.get(what, 0.0), value)
        for side, point in (("ours", p), ("predictor", other)):
            for what, value in balances(case, point).items():
                unbalanced[f"{side}: {what}"] = max(unbalanced.get(f"{side}: {what}", 0.0), abs(value))
    least_agreed = max(worst, key=lambda what: worst[what])
    print(f"{name}, {kind}: worst {least_agreed} {worst[least_agreed]:.1e}")
    print("  residuals", {what: f"{value:.0e}" for what, value in unbalanced.items()})
    assert worst[least_agreed] < TOLERANCE
    assert max(unbalanced.values()) < 1e-9


def test_at_least_two_hundred_points_were_compared() -> None:
    """Runs after the comparison in this file; every arrangement takes part."""
    print(SOLVED)
    assert set(SOLVED) == set(PAPERS)
    assert sum(SOLVED.values()) >= 200


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
