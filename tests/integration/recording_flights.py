"""Flights written down as somebody's log: other names and units, a hand on the levers, gauges as they are."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from leverproof.cases.catalogue import load_catalogue
from leverproof.channels import CHANNELS
from leverproof.conduct.model import ConductedRun, PlannedStep, Program
from leverproof.conduct.plan import Ground, plan_case
from leverproof.conduct.scheduler import conduct
from leverproof.quantities import convert
from leverproof.sheet.loader import find_sheet, parse_sheet
from leverproof.stand.mount import mount
from leverproof.stand.port import StandFile
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid

SHEET = "corrie-18-early"
STEPPED = frozenset(("stepped", "deterministic", "settable_surroundings"))
Values = NDArray[np.float64]


def flown(
    cases: Sequence[str],
    *,
    defect: str | None = None,
    hand: Callable[[Program], Program] | None = None,
    chosen: Callable[[Program], bool] = lambda program: True,
) -> list[ConductedRun]:
    """The programs of some cases flown on the embedded engine, those ``chosen``, each changed by ``hand`` before."""
    sheet = parse_sheet(*find_sheet(SHEET))
    stand = StandFile(path="embedded", title="embedded", kind="reference_engine", target=SHEET)
    with mount(stand, defect=defect) as mounted:
        ground = Ground(
            sheet,
            frozenset(mounted.available_inputs),
            frozenset(mounted.available_outputs),
            STEPPED,
            TimeGrid.parse("0.05 s"),
            1,
        )
        selected = load_catalogue(()).select(tuple(cases), ())
        programs = [program for case in selected for program in plan_case(case, ground).programs]
        return conduct([hand(p) if hand else p for p in programs if chosen(p)], mounted)


def by_hand(seed: int, *, off: float = 0.012) -> Callable[[Program], Program]:
    """A person: levers up to ``off`` beside where they should be, slower or faster moves, a pause after every step,
    channels set within what an eye sees."""
    random = np.random.default_rng(seed)

    def place(name: str, value: float) -> float:
        if CHANNELS[name].kind != "lever" or CHANNELS[name].states:
            return value
        beside = 0.3 * off if value in (0.0, 1.0) else off
        return float(np.clip(value + random.uniform(-beside, beside), 0.0, 1.0))

    def changed(step: PlannedStep) -> list[PlannedStep]:
        pause = PlannedStep("hold", duration=round(2 * random.uniform(2.0, 5.0)) * TICKS_PER_SECOND // 2)
        if step.do == "move" and step.duration > 2 * TICKS_PER_SECOND:
            longer = round(2 * random.uniform(0.6, 1.7) * step.duration / TICKS_PER_SECOND)
            step = replace(step, duration=longer * TICKS_PER_SECOND // 2)
        if step.do in ("set", "move"):
            step = replace(step, levers={n: place(n, v) for n, v in step.levers.items()})
        if step.do == "set" and step.levers:
            # Nobody's hand is somewhere else at once.
            step = replace(step, do="move", duration=TICKS_PER_SECOND)
        if step.do == "seek":
            step = replace(step, rate=step.rate * random.uniform(0.4, 1.2), within=max(step.within, 0.1))
        return [step, pause] if step.do in ("read", "seek", "hold") else [step]

    def fly(program: Program) -> Program:
        first, *rest = program.steps
        start = {name: place(name, value) for name, value in program.start.items()}
        if any(step.do == "couple" for step in rest):
            start["boost"] = start["throttle"]
        kept = replace(first, levers={name: start[name] for name in first.levers})
        look = PlannedStep("hold", duration=4 * TICKS_PER_SECOND)
        return replace(program, start=start, steps=(kept, look, *(s for step in rest for s in changed(step))))

    return fly


@dataclass(frozen=True)
class Log:
    """How a flight is written down. ``units`` by channel; ``quantum`` the smallest step of a gauge in its unit;
    ``delay`` in s; ``every`` the sampling in s; ``noise`` in lever travel; ``pause`` s between runs."""

    every: float = 0.1
    units: dict[str, str] = field(default_factory=lambda: {"manifold_pressure": "kPa", "fuel_flow": "kg/h"})
    quantum: dict[str, float] = field(default_factory=dict)
    delay: dict[str, float] = field(default_factory=dict)
    noise: float = 0.0
    pause: float = 20.0
    spread: float = 0.0
    left_out: frozenset[str] = frozenset(("lever_link",))
    shift: dict[str, float] = field(default_factory=dict)
    seed: int = 7


MIXTURE = ("CUT", "LEAN", "RICH", "FULL")


def write(folder: Path, runs: Iterable[ConductedRun], log: Log, extra: str = "") -> Path:
    """The log of all runs, one after the other, as ``flight.csv`` beside a stand file, whose path is returned."""
    random = np.random.default_rng(log.seed)
    histories = [run.history for run in runs]
    names = [n for n in histories[0].columns if n not in log.left_out]
    lines = ["clock," + ",".join(f"x_{name}" for name in names)]
    now = 100.0
    for history in histories:
        steps = max(1, round(log.every * TICKS_PER_SECOND / history.grid.step))
        at = np.arange(0, history.data.shape[0], steps)
        times = now + history.seconds()[at] + random.uniform(0.0, log.spread, at.size)
        columns = {name: _written(name, history.column(name), at, history.grid, log, random) for name in names}
        for row in range(at.size):
            lines.append(f"{times[row]:.3f}," + ",".join(columns[name][row] for name in names))
        now = float(times[-1]) + log.pause
    (folder / "flight.csv").write_text("\n".join(lines) + "\n", "utf-8")
    stand = folder / "flight.stand.toml"
    stand.write_text(_stand(names, log) + extra, "utf-8")
    return stand


def _written(
    name: str, values: Values, at: NDArray[np.intp], grid: TimeGrid, log: Log, random: np.random.Generator
) -> list[str]:
    late = round(log.delay.get(name, 0.0) * TICKS_PER_SECOND / grid.step)
    taken = values[np.maximum(0, at - late)] + log.shift.get(name, 0.0)
    ours = CHANNELS[name]
    if name == "mixture":
        return [MIXTURE[int(v)] for v in taken]
    if ours.states:
        return [ours.states[int(v)] for v in taken]
    if ours.kind == "lever":
        taken = taken + random.uniform(-log.noise, log.noise, taken.size)
    unit = log.units.get(name, ours.unit)
    theirs = [convert(float(v), ours.unit, unit) for v in taken]
    step = log.quantum.get(name)
    return [f"{round(v / step) * step:.6g}" if step else f"{v:.9g}" for v in theirs]


def _stand(names: Sequence[str], log: Log) -> str:
    parts = [
        'format = 1\ntitle = "a flight"\nkind = "recording"\ntarget = "flight.csv"\n'
        f'sheet = "{SHEET}"\n[recording]\ntime = "clock"\ntime_unit = "s"\n'
    ]
    for name in names:
        lines = [f"[channels.{name}]", f'name = "x_{name}"']
        if not CHANNELS[name].states:
            lines.append(f"unit = {json.dumps(log.units.get(name, CHANNELS[name].unit))}")
        if name == "mixture":
            words = ", ".join(f"{w} = {json.dumps(s)}" for w, s in zip(MIXTURE, CHANNELS[name].states, strict=True))
            lines.append(f"states = {{ {words} }}")
        if log.delay.get(name):
            lines.append(f'delay = "{log.delay[name]} s"')
        parts.append("\n".join(lines) + "\n")
    for name in log.left_out:
        parts.append(f'[channels.{name}]\nconstant = "off"\n')
    return "\n".join(parts)
