"""Records of an invented model whose every sample a test may change before it is written.

One case flies two runs, ``up`` and ``down``: a trim of 5 s, a lever move of 10 s, a seek, and a reading at its end, on
five channels at 0.05 s. Its judgements are of the pressure (required, within 1 inHg of 40) and of the power (advisory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leverproof.cases.model import Applies, Judgement, Ref, ReferenceCase, Run, Step, Tolerance, Value
from leverproof.conduct.model import ConductedRun, NotApplicable, PlannedCase, Point, Program
from leverproof.history import History, Mark, take_reading
from leverproof.judge.model import Deferral, Finding, PointFinding
from leverproof.quantities import Quantity
from leverproof.record import Record, RecordWriter, read_record
from leverproof.timegrid import TimeGrid

GRID = TimeGrid(1800)
CHANNELS = ("throttle", "manifold_pressure", "engine_speed", "brake_power", "turbo_overspeed_light")
ROWS, READ = 801, 780
SHEET = 'format = 1\nid = "rill-9"\n'
Samples = NDArray[np.float64]
Change = Callable[[str, dict[str, Samples]], None]


def unchanged(run: str, data: dict[str, Samples]) -> None:
    """The model as it was."""


@dataclass
class Flight:
    """What is flown and how it ends; a test changes what it is about."""

    cases: Sequence[str] = ("boost-up",)
    change: Change = unchanged
    seek_ends: int = 600
    verdict: str = "pass"
    deferral: Deferral | None = None
    ending: tuple[str, int] | None = ("completed", 0)
    header: dict[str, Any] = field(default_factory=dict)
    sheet: str = SHEET
    tolerance: float = 1.0
    start: float = 0.3
    lost: tuple[str, ...] = ()
    run_ending: str = "completed"
    date: str = "2026-03-01T09:30:00+00:00"
    fingerprint: str = "ab" * 32
    capabilities: dict[str, Any] = field(default_factory=lambda: {"deterministic": True, "clock": "stepped"})


def write(folder: Path, flight: Flight) -> Record:
    """The record of a flight, in ``folder``."""
    header = {
        "request": {"stand": "corrie.toml", "seed": 1, "cases": [], "subjects": [], "engine": None},
        "stand": {"title": "Corrie on the bench"},
        "sheet": {"id": "rill-9", "title": "Rill-9", "revision": "1"},
        "seed": 1,
        "suite": "1",
        "subjects": ["boost control"],
        "ladder": {"boost control": []},
        "selected": list(flight.cases),
        "date": flight.date,
    }
    with RecordWriter(folder, header | flight.header) as writer:
        writer.add_input("sheet", "rill-9.toml", flight.sheet)
        writer.event("fingerprint", sha256=flight.fingerprint, parts={})
        writer.event(
            "handshake", model="Corrie model", version="3", grid_step="0.05 s", capabilities=flight.capabilities
        )
        planned = [plan(name, flight) for name in flight.cases]
        writer.expectations(planned)
        writer.event("facts", step_u={"manifold_pressure": 0.001, "engine_speed": 0.1})
        for case in planned:
            if case.inapplicable is None:
                runs = [conducted(program, flight) for program in case.programs]
                writer.history(case.case.id, runs)
                writer.findings(findings(case, runs, flight))
        if flight.ending is not None:
            writer.close(*flight.ending)
    return read_record(folder)


def plan(name: str, flight: Flight) -> PlannedCase:
    """The case as planned."""
    programs = tuple(Program((name, 0, run), "running", {"throttle": flight.start}, (), GRID) for run in ("up", "down"))
    case = invented_case(name, flight.tolerance)
    missing = NotApplicable("channel brake_power", "the power") if name in flight.lost else None
    point = Point(0, "", False, 0.0, {"pressure_altitude": 0.0}, {})
    return PlannedCase(case, (point,), () if missing else programs, case.judgements, missing)


def invented_case(name: str, tolerance: float) -> ReferenceCase:
    """The case as it would be loaded."""
    asked = (
        Judgement(
            "pressure", "value", "manifold pressure at the end", "required", "sheet", "the sheet",
            channel="manifold_pressure", reading=Ref("up", "settled"), expected=Value(quantity=Quantity(40.0, "inHg")),
            tolerance=Tolerance(absolute=Quantity(tolerance, "inHg"), reason="a gauge reads to that"),
        ),
        Judgement("power", "value", "power at the end", "advisory", "practice", "common practice",
                  channel="brake_power", reading=Ref("up", "settled")),
    )  # fmt: skip
    runs = tuple(Run(run, (Step("read", "settled"),)) for run in ("up", "down"))
    return ReferenceCase(
        name, "boost control", "Boost up", "Does it come up?", "Simulated.", "running", Applies(), {}, runs, asked
    )


def samples(run: str) -> dict[str, Samples]:
    """What the model gives in a run: everything follows the throttle with a lag of two seconds."""
    seconds = np.arange(ROWS) * 0.05
    lever = np.clip((seconds - 5.0) / 10.0, 0.0, 1.0)
    lever = lever if run == "up" else 1.0 - lever
    felt = np.empty(ROWS)
    felt[0] = lever[0]
    for row in range(1, ROWS):
        felt[row] = felt[row - 1] + (lever[row - 1] - felt[row - 1]) * 0.05 / 2.0
    return {
        "throttle": 0.3 + 0.7 * lever,
        "manifold_pressure": 20.0 + 20.0 * felt,
        "engine_speed": 1500.0 + 1100.0 * felt,
        "brake_power": 300.0 + 1700.0 * felt,
        "turbo_overspeed_light": (felt > 0.8).astype(np.float64) * 2.0,
    }


def conducted(program: Program, flight: Flight) -> ConductedRun:
    """A run of the program, with what the test changes in it."""
    data = samples(program.key[2])
    flight.change(program.key[2], data)
    given = (*(name for name in CHANNELS if name in data), *(name for name in data if name not in CHANNELS))
    rows = np.stack([data[name] for name in given], axis=1).astype(np.float32)
    ends = flight.seek_ends
    marks = (
        Mark("trim", 0, 100, "start"),
        Mark("move", 100, 300, "lever"),
        Mark("seek", 300, ends, "find", "throttle", "reached", 40.0, "manifold_pressure"),
        Mark("read", ends, ROWS - 1, "settled"),
    )
    reading = take_reading(rows, given, GRID, READ, name="settled", watch={})
    return ConductedRun(program, History(GRID, given, rows, marks, (reading,), flight.run_ending))


def findings(case: PlannedCase, runs: Sequence[ConductedRun], flight: Flight) -> list[Finding]:
    """The two findings of a case."""
    found = runs[0].history.readings[0].values
    out = []
    for judgement, limit, expected in zip(case.judgements, (flight.tolerance, 100.0), (40.0, 2000.0), strict=True):
        number = found[judgement.channel]
        point = PointFinding("", number, expected, "inHg", abs(number - expected), limit, 0.01, "pass")
        verdict = flight.verdict if judgement.weight == "required" else "pass"
        one = Finding(
            case.case.id, judgement.id, case.case.subject, judgement.what, judgement.asked, judgement.weight,
            judgement.basis, judgement.source, verdict, f"{number:.4g}", "", "", "inHg", number, limit, 0.01,
            points=(point,),
        )  # fmt: skip
        held = flight.deferral if judgement.weight == "required" else None
        out.append(replace(one, deferral=held, deferral_state="holds" if held else ""))
    return out
