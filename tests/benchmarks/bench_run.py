"""What the whole command costs beside the engine, what batches over stdio save, and what ``--help`` costs.

Run it as a script: ``python tests/benchmarks/bench_run.py [--sheet corrie-18-early] [--repeats 3]``.

*Run*: ``leverproof run`` on the embedded engine in a process of its own, against a bare loop that advances the same
engine over the same lane-steps with the inputs of the record that the command left; both in processor seconds, taken in
turn. *Batches*: the C example over stdio, wall seconds, requests of 500 rows against one row a request; left out where
there is no C compiler. *Help*: wall seconds against an interpreter that starts and does nothing.
"""

from __future__ import annotations

import argparse
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import numpy as np
from tabulate import tabulate

from leverproof.conduct.model import ConductedRun
from leverproof.record.reader import read_record
from leverproof.stand.mount import mount
from leverproof.stand.port import Array, Session, StandFile, Start
from leverproof.stand.stand_file import read_stand_file

MOST_ROWS = 500
STDIO_ROWS = 2_000
COMMAND = [sys.executable, "-c", "import sys; from leverproof.cli.main import main; sys.exit(main())"]
C_ENGINE = Path(__file__).parents[2] / "adapters" / "examples" / "c_engine"


@dataclass(frozen=True, slots=True)
class Flight:
    """Lanes of one grid as the record shows them, the longest first; ``rows`` shape (rows, lanes, inputs), where a
    lane that has ended repeats its last row, and how long each is."""

    step: int
    starts: list[Start]
    rows: Array
    lengths: Array


def children_seconds() -> float:
    """Processor seconds of child processes that have ended."""
    spent = os.times()
    return spent.children_user + spent.children_system


def installed(scratch: Path) -> dict[str, str]:
    """The environment of a command whose modules are compiled once, as an installer leaves them, and not at every
    start, as a checkout does where bytecode is not to be written; the first run beside ``scratch`` compiles them."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPYCACHEPREFIX": str(scratch / "bytecode")}


def ran(sheet: str, folder: Path) -> tuple[float, float]:
    """Processor and wall seconds of the whole command; it must end well."""
    spent, began = children_seconds(), time.perf_counter()
    subprocess.run(
        [*COMMAND, "run", "--sheet", sheet, "--out", str(folder)],
        check=True,
        stdout=subprocess.DEVNULL,
        env=installed(folder.parent),
    )
    return children_seconds() - spent, time.perf_counter() - began


def flights(folder: Path, session: Session) -> list[Flight]:
    """What the command flew, lanes of like grid side by side as it flew them."""
    record = read_record(folder)
    runs = [run for planned in record.expectations for run in record.conducted(planned.case.id)]
    inputs = [signal.name for signal in session.hello().inputs]
    found = []
    for step in sorted({run.program.grid.step for run in runs}):
        alike = [r for r in runs if r.program.grid.step == step and r.history.data.shape[0] > 1]
        alike.sort(key=lambda run: -run.history.data.shape[0])
        lengths = np.array([run.history.data.shape[0] - 1 for run in alike])
        rows = np.empty((int(lengths[0]), len(alike), len(inputs)))
        for lane, run in enumerate(alike):
            given = run.history.data[:, [run.history.columns.index(name) for name in inputs]]
            rows[:, lane] = given[-1]
            rows[: lengths[lane], lane] = given[:-1]
        found.append(Flight(step, [start_of(run, inputs) for run in alike], rows, lengths))
    return found


def start_of(run: ConductedRun, inputs: list[str]) -> Start:
    return Start(run.program.engine, tuple(run.program.start.get(name, 0.0) for name in inputs))


def bare(flight: Flight, session: Session) -> float:
    """Processor seconds of the engine alone over one flight: every lane advanced to its own end, nothing kept."""
    said = session.hello()
    inputs, outputs = [[signal.name for signal in half] for half in (said.inputs, said.outputs)]
    began = time.process_time()
    session.initialise(flight.starts, flight.step, inputs, outputs)
    row, lanes = 0, len(flight.starts)
    while lanes:
        until = min(row + MOST_ROWS, int(flight.lengths[lanes - 1]))
        session.advance(range(lanes), flight.rows[row:until, :lanes])
        row = until
        while lanes and flight.lengths[lanes - 1] <= row:
            lanes -= 1
    return time.process_time() - began


def run_rows(sheet: str, repeats: int, scratch: Path) -> list[list[object]]:
    """The whole command against the bare loop."""
    folder = scratch / "record"
    ran(sheet, folder)
    stand = StandFile("bench", "reference engine", "reference_engine", target=sheet)
    session = mount(stand, defect=None).session
    flown = flights(folder, session)
    engine, whole, wall = [], [], []
    for _ in range(repeats):
        engine.append(sum(bare(flight, session) for flight in flown))
        spent, took = ran(sheet, folder)
        whole.append(spent)
        wall.append(took)
    e, w = median(engine), median(whole)
    steps = sum(int(flight.lengths.sum()) for flight in flown)
    allowed = 1.5 * e + 1.5
    return [
        [f"engine alone, {steps:,} lane-steps", f"{e:.2f} s", "", ""],
        [
            "whole command, processor",
            f"{w:.2f} s",
            f"<= {allowed:.2f} s (1.5 x engine + 1.5 s)",
            met(w <= allowed),
        ],
        ["whole command, wall", f"{median(wall):.2f} s", "<= 10 s on 2 cores", met(median(wall) <= 10.0)],
    ]


def stdio_rows(repeats: int, scratch: Path) -> list[list[object]]:
    """Batches against one row a request, over the standard streams of the C example."""
    compiler = shutil.which("cc")
    if compiler is None:
        return [["stdio batches", "no C compiler", "", ""]]
    folder = scratch / "c_engine"
    shutil.copytree(C_ENGINE, folder)
    stand = read_stand_file(str(folder / "stand.toml"))
    subprocess.run([compiler, *shlex.split(stand.build_hint)[1:]], check=True, cwd=folder)
    with mount(stand, defect=None) as mounted:
        session = mounted.session
        many = median(stdio_seconds(session, MOST_ROWS) for _ in range(repeats))
        single = median(stdio_seconds(session, 1) for _ in range(repeats))
    return [
        [f"stdio, {STDIO_ROWS:,} rows, {MOST_ROWS} a request", f"{many:.3f} s", "", ""],
        [f"stdio, {STDIO_ROWS:,} rows, 1 a request", f"{single:.3f} s", "", ""],
        ["stdio, batches save", f"{single / many:.1f} x", ">= 3.5 x", met(single >= 3.5 * many)],
    ]


def stdio_seconds(session: Session, size: int) -> float:
    """Wall seconds for a held lever at some power."""
    said = session.hello()
    inputs, outputs = [[signal.name for signal in half] for half in (said.inputs, said.outputs)]
    held = {"throttle": 0.5, "boost": 0.1, "propeller": 1.0, "mixture": 2.0, "true_airspeed": 150.0}
    row = tuple(held.get(name, 0.0) for name in inputs)
    session.reset()
    session.initialise([Start("running", row)], 1800, inputs, outputs)
    rows = np.tile(np.array(row), (STDIO_ROWS, 1, 1))
    began = time.perf_counter()
    for at in range(0, STDIO_ROWS, size):
        session.advance([0], rows[at : at + size])
    return time.perf_counter() - began


def help_rows(repeats: int) -> list[list[object]]:
    """``--help`` against an interpreter that does nothing, in turn."""
    pairs = [(wall([sys.executable, "-c", "pass"]), wall([*COMMAND, "--help"])) for _ in range(repeats)]
    nothing, said = (median(side) for side in zip(*pairs, strict=True))
    return [
        ["interpreter that does nothing", f"{1e3 * nothing:.0f} ms", "", ""],
        ["--help", f"{1e3 * said:.0f} ms", f"<= {3e3 * nothing:.0f} ms (3 x)", met(said <= 3.0 * nothing)],
    ]


def wall(command: list[str]) -> float:
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def met(yes: bool) -> str:
    return "yes" if yes else "NO"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sheet", default="corrie-18-early")
    parser.add_argument("--repeats", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        parts: list[Callable[[], list[list[object]]]] = [
            lambda: run_rows(asked.sheet, asked.repeats, Path(scratch)),
            lambda: stdio_rows(asked.repeats, Path(scratch)),
            lambda: help_rows(5 * asked.repeats),
        ]
        table = [row for part in parts for row in part()]
    print(tabulate(table, headers=["what", "measured", "aim", "met"], disable_numparse=True))


if __name__ == "__main__":
    main()
