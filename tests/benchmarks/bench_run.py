"""What the whole command costs beside the engine, and what batches over stdio save.

    python tests/benchmarks/bench_run.py [--sheet corrie-18-early] [--repeats 5]

*Run*: ``leverproof run`` on the embedded engine in a process of its own, against a bare loop that advances the same
engine over the same lane-steps with the inputs of the record that the command left; both in processor seconds, taken in
turn. *Batches*: the C example over stdio, wall seconds, requests of 500 rows against one row a request.
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
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from bench_start import PROGRAM
from measurement import MissingError, Row, by_both_clocks, command, of_pairs, taken_in_turn
from watched import quiet

from leverproof.conduct.model import ConductedRun
from leverproof.record.reader import read_record
from leverproof.stand.mount import mount
from leverproof.stand.port import Array, Session, StandFile, Start
from leverproof.stand.stand_file import read_stand_file

MOST_ROWS = 500
STDIO_ROWS = 2_000
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


def ran(words: list[str], folder: Path) -> tuple[float, float]:
    """Processor and wall seconds of the whole command; it must end well."""
    spent, began = children_seconds(), time.perf_counter()
    subprocess.run([*PROGRAM, "run", *words, "--out", str(folder)], check=True, stdout=subprocess.DEVNULL)
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


def run_rows(sheet: str, words: list[str], repeats: int, scratch: Path) -> Iterator[Row]:
    """The whole command against the bare loop."""
    folder = scratch / "record"
    ran(words, folder)
    stand = StandFile("bench", "reference engine", "reference_engine", target=sheet)
    wall: list[float] = []
    crowded = not quiet(1)

    def whole() -> float:
        spent, took = ran(words, folder)
        wall.append(took)
        return spent

    with mount(stand, defect=None) as mounted:
        session = mounted.session
        flown = flights(folder, session)
        pairs = taken_in_turn([lambda: sum(bare(flight, session) for flight in flown), whole], repeats)
    steps = sum(int(flight.lengths.sum()) for flight in flown)
    yield of_pairs(f"the embedded engine alone, {steps:,} lane-steps", [engine for engine, _ in pairs], "s")
    what = "leverproof run of the library"
    allowed = [took / (1.5 * engine + 1.5) for engine, took in pairs]
    yield of_pairs(what, allowed, "x", "1.5 x the engine alone and 1.5 s", at_most=1.0)
    yield from by_both_clocks(f"{what}, waited for", wall, [took for _, took in pairs], 10.0, crowded=crowded)


def stdio_row(repeats: int, scratch: Path) -> Row:
    """Batches against one row a request, over the standard streams of the C example."""
    compiler = shutil.which("cc")
    if compiler is None:
        raise MissingError("a C compiler")
    folder = scratch / "c_engine"
    shutil.copytree(C_ENGINE, folder)
    stand = read_stand_file(str(folder / "stand.toml"))
    subprocess.run([compiler, *shlex.split(stand.build_hint)[1:]], check=True, cwd=folder)
    with mount(stand, defect=None) as mounted:
        sides = [partial(stdio_seconds, mounted.session, size) for size in (MOST_ROWS, 1)]
        pairs = taken_in_turn(sides, repeats)
    return of_pairs(
        f"stdio, C, {STDIO_ROWS:,} rows: batches of {MOST_ROWS} save", [one / many for many, one in pairs], "x",
        "one row a request", clock="wall", at_least=3.5,
    )  # fmt: skip


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


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    words = ["--sheet", asked.sheet, *(["--case", "idle-speed"] if asked.quick else [])]
    with tempfile.TemporaryDirectory() as scratch:
        yield from run_rows(asked.sheet, words, asked.repeats, Path(scratch))
        yield stdio_row(asked.repeats, Path(scratch))


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--sheet", default="corrie-18-early")


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 5, options))
