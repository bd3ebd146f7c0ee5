"""Records of an invented session, as large as asked, for the test guide to be made from.

Every case flies the same shape: ``runs`` runs of ``samples`` samples on twelve channels, smooth moves with noise on
them, and two judgements: the pressure at its reading, and the power of one run against another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from leverproof.cases.model import Applies, Judgement, Ref, ReferenceCase, Run, Step, Tolerance, Value
from leverproof.conduct.model import ConductedRun, NotApplicable, PlannedCase, Point, Program
from leverproof.history import History, Mark, Reading
from leverproof.judge.model import Doubt, Finding, PointFinding
from leverproof.quantities import Quantity
from leverproof.record import RecordWriter
from leverproof.timegrid import TimeGrid

GRID = TimeGrid(1800)
CHANNELS = (
    "throttle", "boost", "manifold_pressure", "engine_speed", "turbo_speed", "brake_power", "fuel_flow",
    "carburettor_air_temperature", "carburettor_deck_pressure", "exhaust_back_pressure", "wastegate_opening",
    "turbo_overspeed_light",
)  # fmt: skip
SCALES = np.array([1.0, 1.0, 52.0, 2640.0, 18250.0, 2000.0, 900.0, 40.0, 30.0, 36.0, 1.0, 2.0])
SUBJECTS = ("throttle", "boost control", "turbo")
HEADER: dict[str, Any] = {
    "request": {"stand": "stands/my corrie.toml", "seed": 7},
    "stand": {"title": "Corrie-18 on the bench", "path": "stands/my corrie.toml"},
    "sheet": {"id": "corrie-18-early", "title": "Corrie-18 early", "revision": "1"},
    "seed": 7,
    "suite": "1",
    "subjects": list(SUBJECTS),
    "ladder": {"throttle": [], "boost control": ["throttle"], "turbo": ["throttle"]},
    "date": "2026-03-01T09:30:00+00:00",
    "host": "Linux x86_64",
}
RUNS = ("throttle first", "levers together", "boost first")


@dataclass(frozen=True)
class Shape:
    """How large a record is, and how it is named: every ``open_every``-th case fails, every other one of them in its
    advisory judgement too; ``says`` stands in every text
    that comes from a case, a sheet or a model; ``noise`` is its share of every sample."""

    cases: int
    runs: int = 2
    samples: int = 400
    open_every: int = 4
    says: str = ""
    noise: float = 0.004


def write_record(folder: Path, shape: Shape) -> Path:
    """The record, in ``folder``."""
    header = HEADER
    if shape.says:
        header = HEADER | {"stand": {"title": shape.says}, "sheet": {"title": shape.says}, "host": shape.says}
    with RecordWriter(folder, header) as writer:
        writer.event("handshake", model=shape.says or "Corrie-18 model", version="3", derived_from="its own")
        writer.event("warning", message=shape.says or "three lines before its handshake", where="stdout")
        planned = [_planned(n, shape) for n in range(shape.cases)]
        lost = NotApplicable(f"channel blade_angle {shape.says}", "the blade")
        writer.expectations([*planned, replace(_planned(shape.cases, shape), programs=(), inapplicable=lost)])
        data = _samples(shape.samples, shape.noise)
        for n, case in enumerate(planned):
            writer.history(case.case.id, [_conducted(p, data, n, shape) for p in case.programs])
            writer.findings(_findings(case, n, shape))
        writer.close("completed", 1)
    return folder


def case_id(n: int, shape: Shape) -> str:
    """The id of the n-th case."""
    return f"case-{n}{shape.says}"


def _planned(n: int, shape: Shape) -> PlannedCase:
    says, names = shape.says, [f"{name}{shape.says}" for name in RUNS[: shape.runs]]
    steps = (
        Step("set", name=f"set{says}", levers={"throttle": Value(quantity=Quantity(0.3, "1"))}),
        Step("read", f"settled{says}"),
    )
    settled = [Ref(name, f"settled{says}") for name in names]
    inch = Tolerance(absolute=Quantity(0.5, "inHg"), reason=f"a gauge's width{says}")
    judgements = (
        Judgement(f"pressure{says}", "value", f"pressure when settled{says}", "required", "sheet", f"the sheet{says}",
                  channel="manifold_pressure", reading=settled[0], tolerance=inch,
                  expected=Value(quantity=Quantity(52.0, "inHg"))),
        Judgement(f"power{says}", "difference", f"power of one against the other{says}", "advisory", "practice",
                  f"common practice{says}", channel="brake_power", more=settled[0], less=(settled[-1],),
                  at_least=Value(quantity=Quantity(20.0, "hp"))),
    )  # fmt: skip
    case = ReferenceCase(
        case_id(n, shape), SUBJECTS[n % 3], f"Invented case {n}{says}", f"Does it hold?{says}", f"Simulated.{says}",
        "running", Applies(), {"pressure_altitude": Value(quantity=Quantity(10_000.0, "ft"))},
        tuple(Run(name, steps) for name in names), judgements, consequence=f"Pilots learn the wrong order.{says}",
    )  # fmt: skip
    programs = tuple(Program((case.id, 0, name), "running", {"throttle": 0.3}, (), GRID) for name in names)
    return PlannedCase(case, (Point(0, "", False, 0.0, {}, {}),), programs, judgements)


def _samples(count: int, noise: float) -> np.ndarray:
    """Moves through two levels with noise on them; one sample stands out in every channel."""
    rng = np.random.default_rng(5)
    time = np.linspace(0.0, 1.0, count)
    moved = 0.4 + 0.5 / (1.0 + np.exp(-30.0 * (time - 0.4)))
    data = moved[:, None] * SCALES * (1.0 + noise * rng.standard_normal((count, len(CHANNELS))))
    data[:, -1] = np.round(2.0 * moved)
    data[count // 3, :-1] *= 1.3
    return data


def _conducted(program: Program, data: np.ndarray, n: int, shape: Shape) -> ConductedRun:
    run = data * (1.0 + 0.01 * (len(program.key[2]) % 5) + 0.0005 * n)
    run[:, -1] = data[:, -1]
    row = int(0.9 * len(run))
    values = {name: float(run[row, i]) for i, name in enumerate(CHANNELS)}
    reading = Reading(f"settled{shape.says}", row, values, dict.fromkeys(CHANNELS, 0.01))
    mark = Mark("set", 0, 1, f"set{shape.says}")
    return ConductedRun(program, History(GRID, CHANNELS, run.astype(np.float32), (mark,), (reading,)))


def _findings(planned: PlannedCase, n: int, shape: Shape) -> list[Finding]:
    says, case = shape.says, planned.case
    bad = n % shape.open_every == 0
    off = 0.8 + 0.1 * (n // shape.open_every % 7) if bad else 0.2
    doubts = (Doubt("step study", 0.02, f"coarse against half{says}"), Doubt("jitter", 0.04, f"half spread{says}"))
    verdict = "fail" if bad else "pass"
    pressure = PointFinding("", 52.0 - off, 52.0, "inHg", off, 0.5, 0.09, verdict, doubts, f"read{says}",
                            f"{52.0 - off:.2f} inHg", "52 inHg", "0.5 inHg")  # fmt: skip
    gain = -5.0 if n % (2 * shape.open_every) == 0 else 60.0
    power = PointFinding("", gain, 20.0, "hp", 20.0 - gain, 0.0, 4.0, "fail" if gain < 0.0 else "pass", (), "",
                         f"{gain:.0f} hp", "at least 20 hp", "")  # fmt: skip
    out = []
    for judgement, point in zip(case.judgements, (pressure, power), strict=True):
        out.append(
            Finding(case.id, judgement.id, case.subject, judgement.what, judgement.asked, judgement.weight,
                    judgement.basis, judgement.source, point.verdict, point.found_text + says,
                    point.expected_text + says, point.tolerance_text, point.unit, point.found, point.limit, point.w,
                    point.note, f"why{says}",
                    points=(point,))
        )  # fmt: skip
    return out
