"""Planned cases, runs and findings of an invented session."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof.cases.model import Applies, Judgement, ReferenceCase, Run, Step, Sweep, Tolerance, Value
from leverproof.conduct.model import ConductedRun, Expected, PlannedCase, PlannedStep, Point, Program
from leverproof.history import History, Mark, Reading, Steadiness
from leverproof.judge.model import Doubt, Finding, PointFinding
from leverproof.quantities import Quantity
from leverproof.timegrid import TimeGrid

COLUMNS = ("throttle", "pressure_altitude", "manifold_pressure", "turbo_speed")


@pytest.fixture
def runs() -> list[ConductedRun]:
    """Two runs at one point with awkward numbers in them."""
    out = []
    for name, rows in (("throttle first", 240), ("together", 1)):
        program = Program(
            ("split-lever", 0, name),
            "running",
            {"throttle": 0.3},
            (PlannedStep("hold", duration=18_000),),
            TimeGrid(1800),
        )
        data = np.random.default_rng(rows).standard_normal((rows, len(COLUMNS))).astype(np.float32)
        data[0, 2] = np.nan
        values = {"manifold_pressure": 0.1 + 0.2, "turbo_speed": 1e-310}
        unsteady = {"turbo_speed": Steadiness("oscillating", 80.0, float("inf"), 40.0, 1.5)}
        history = History(
            TimeGrid(1800),
            COLUMNS,
            data,
            (Mark("seek", 0, 9, "to 52", "throttle", "stop", 52.0, "manifold_pressure"), Mark("hold", 9, 10)),
            (Reading("settled", 100, values, {"manifold_pressure": 1 / 3}, unsteady),),
            "crash" if name == "together" else "completed",
            "it died: \x1b[31m\ud800" if name == "together" else "",
            0.1 + 0.2 if name == "together" else 0.0,
        )
        out.append(ConductedRun(program, history))
    return out


@pytest.fixture
def planned() -> PlannedCase:
    """A swept case with values of every kind."""
    judgement = Judgement(
        "sign", "difference", "more power", "required", "physics", "relations",
        channel="brake_power",
        at_least=Value(sheet="split_lever.advantage", times=0.5, plus=Quantity(1.0, "hp")),
        tolerance=Tolerance(percent=2.0, of=Value(word="rated")),
        between=("a", "b"),
        span=(Value(quantity=Quantity(1e4, "ft")), Value(sweep="altitude")),
    )  # fmt: skip
    other = Judgement(
        "range", "value", "in range", "advisory", "sheet", "s", tolerance=Tolerance(percent=1.0, of="range")
    )
    steps = (
        Step(
            "seek",
            lever="boost",
            value=Value(quantity=Quantity(52.0, "inHg")),
            guard={"turbo_speed": Value()},
        ),
    )
    case = ReferenceCase(
        "split-lever", "boost control", "t", "q?", "c", "running", Applies(sheet={"a.b": ("x",)}),
        {"pressure_altitude": Value(sweep="altitude")}, (Run("only", steps),), (judgement, other),
        Sweep("altitude", (Quantity(10_000.0, "ft"),)),
    )  # fmt: skip
    point = Point(0, "10,000 ft", False, 1e4, {"pressure_altitude": 1e4}, {"sign": {"at_least": Expected(3.0, None)}})
    program = Program(("split-lever", 0, "throttle first"), "running", {"throttle": 0.3}, (), TimeGrid(900), {"x": 1.0})
    return PlannedCase(case, (point,), (program,), (judgement,))


@pytest.fixture
def finding() -> Finding:
    """A finding with numbers that JSON has no word for."""
    point = PointFinding(
        "10,000 ft", float("nan"), 3.0, "hp", float("inf"), 0.1, 0.2, "invalid run", (Doubt("jitter", None),)
    )
    return Finding(
        "split-lever", "sign", "boost control", "difference", "more power", "required", "physics", "relations",
        "invalid run", number=float("nan"), limit=0.1, w=-float("inf"), points=(point,), causes=("a", "b"),
    )  # fmt: skip
