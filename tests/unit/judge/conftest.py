"""Tiny synthetic histories and plans to judge."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import Applies, Judgement, Ref, ReferenceCase, Sweep, Tolerance
from leverproof.channels import CHANNELS, LEVERS
from leverproof.conduct.model import ConductedRun, Expected, PlannedCase, Point, Program
from leverproof.history import History, Mark, take_reading
from leverproof.judge.case import judge_case
from leverproof.judge.model import SessionFacts
from leverproof.quantities import parse
from leverproof.timegrid import TimeGrid

STEP = 1800


def times(seconds: float = 40.0, step: int = STEP) -> Any:
    """Times of the rows of a run, s."""
    return np.arange(round(seconds * 36_000) // step + 1) * step / 36_000.0


def history(
    channels: dict[str, Any],
    *,
    seconds: float = 40.0,
    step: int = STEP,
    readings: dict[str, float] | None = None,
    marks: tuple[Mark, ...] = (),
    ending: str = "completed",
    trouble: str = "",
    watch: dict[str, float] | None = None,
) -> History:
    """A history of constants and arrays; ``readings`` maps a name to its instant, default settled at 20 s."""
    rows = times(seconds, step).size
    names = tuple(sorted(channels, key=lambda c: (c not in LEVERS, list(CHANNELS).index(c))))
    data = np.column_stack([np.broadcast_to(np.asarray(channels[c], float), rows) for c in names])
    rounded = data.astype(np.float32)
    grid = TimeGrid(step)
    taken = tuple(
        take_reading(rounded, names, grid, round(at * 36_000) // step, name=name, watch=watch or {})
        for name, at in ({"settled": 20.0} if readings is None else readings).items()
    )
    return History(grid, names, rounded, marks, taken, ending, trouble)


def conducted(one: History, *, case: str = "case", index: int = 0, run: str = "run", engine: str = "running") -> Any:
    """The run as the scheduler hands it over."""
    return ConductedRun(Program((case, index, run), engine, {}, (), one.grid), one)


def judgement(what: str, **fields: Any) -> Judgement:
    """A required judgement of basis published unless said otherwise."""
    known = {
        "id": "asked",
        "asked": "is it so?",
        "weight": "required",
        "basis": "published",
        "source": "a report",
    }
    if what in ("value", "trend", "crossing", "exponent", "identity") and "readings" not in fields:
        fields.setdefault("reading", Ref("run", "settled"))
    return Judgement(what=what, **{**known, **fields})


def tolerance(absolute: str | None = None, percent: float | None = None, of: Any = "expected") -> Tolerance:
    """A tolerance from its text."""
    return Tolerance(None if absolute is None else parse(absolute), percent, of)


def expected(values: dict[str, Any]) -> dict[str, Expected]:
    """Resolved values; bare numbers are without doubt."""
    return {k: v if isinstance(v, Expected) else Expected(float(v), 0.0) for k, v in values.items()}


def plan(
    asked: Judgement | tuple[Judgement, ...],
    values: dict[str, Any] | list[dict[str, Any]] | None = None,
    *,
    at: tuple[float, ...] = (0.0,),
    off: tuple[float, ...] = (),
    sweep: Sweep | None = None,
    **fields: Any,
) -> PlannedCase:
    """A planned case of one or several judgements that share their resolved values."""
    several = asked if isinstance(asked, tuple) else (asked,)
    per_point = values if isinstance(values, list) else [values or {}] * len(at)
    case = ReferenceCase(
        "case", "boost control", "Case", "?", "simulated only", "running", Applies(), {}, (), several, sweep
    )
    points = tuple(
        Point(i, f"{x:,.0f} ft", x in off, x, {}, {j.id: expected(v) for j in several})
        for i, (x, v) in enumerate(zip(at, per_point, strict=True))
    )
    return PlannedCase(case, points, (), several, **fields)


def facts(**fields: Any) -> SessionFacts:
    """A session in which everything was live and the grid step made no difference."""
    known = {"step_u": dict.fromkeys(CHANNELS, 0.0), "live": frozenset(CHANNELS)}
    return SessionFacts(**{**known, **fields})


def judge(
    asked: Judgement,
    histories: dict[str, History] | list[History],
    values: dict[str, Any] | list[dict[str, Any]] | None = None,
    *,
    session: SessionFacts | None = None,
    **plan_fields: Any,
) -> Any:
    """The finding of one judgement: histories by run name, or one named ``run`` for each point of a sweep."""
    if isinstance(histories, dict):
        runs = {(0, name): conducted(one, run=name) for name, one in histories.items()}
    else:
        runs = {(i, "run"): conducted(one, index=i) for i, one in enumerate(histories)}
    (finding,) = judge_case(plan(asked, values, **plan_fields), runs, session or facts())
    return finding


@pytest.fixture
def make() -> SimpleNamespace:
    """The builders above by name."""
    return SimpleNamespace(
        times=times,
        history=history,
        conducted=conducted,
        judgement=judgement,
        tolerance=tolerance,
        plan=plan,
        facts=facts,
        judge=judge,
    )
