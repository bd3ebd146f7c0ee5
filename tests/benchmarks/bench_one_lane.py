"""What conducting costs a model in plain Python with one lane and a step of 50 microseconds.

    python tests/benchmarks/bench_one_lane.py [--programs 20] [--step 50] [--repeats 2] [--processes 15]

The model (``one_lane_model.py``) is mounted as any in-process model is, through the guard and the mapping of its
channels, and ``conduct()`` flies programs of some 600 rows on it one after the other: trim, hold, move, a seek that is
about half of the rows, a read. The bare loop steps the same engine with the inputs that the histories show, in plain
Python: lists of floats in, lists of floats kept. So the making of arrays that the port asks of a model in Python is
counted as overhead too. Pairs of the two in turn, one run a pair, in one process, processor time.

A tight Python loop may go 20 % faster or slower by nothing but where its process has its memory, and not alike for the
two sides. So the pairs are taken in several processes, and the medians of the processes are what counts.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from functools import partial

import numpy as np
from bench_overhead import GRID, START, s
from measurement import Row, command, of_pairs, over_processes, taken_in_turn, worked
from one_lane_model import INPUTS, OUTPUTS, OneLaneEngine, make

from leverproof.conduct.model import ConductedRun, PlannedStep, Program
from leverproof.conduct.scheduler import conduct
from leverproof.stand.mount import MountedStand, mount
from leverproof.stand.port import Session, StandFile, Start

MOST = 25.0


def inner_steps(cost: float) -> int:
    """Inner steps that make a step of the engine take ``cost`` seconds on this machine, best of five."""
    row = [START[name] for name in INPUTS]

    def step_seconds(inner: int) -> float:
        engine = OneLaneEngine(inner)
        engine.begin(row, 0.05)
        steps = 1_000
        return min(worked(lambda: [engine.step(row) for _ in range(steps)]) for _ in range(5)) / steps

    base, more = step_seconds(1), step_seconds(501)
    return max(1, 1 + round((cost - base) / (more - base) * 500))


def mounted(inner: int) -> MountedStand:
    """The model on its stand, guarded and mapped as ``leverproof run`` would have it; but not imported a second time,
    because two copies of one loop can differ in speed by more than what is to be measured."""
    stand = StandFile("bench", "one lane", "in_process", options={"inner": inner})

    def opened(stand: StandFile, *, defect: str | None) -> Session:
        return make(stand.options, defect)

    return mount(stand, defect=None, adapters={"in_process": opened})


def programs(count: int) -> list[Program]:
    """Runs of 490 to 620 rows that differ in the pressure sought."""
    watch = {"manifold_pressure": 0.02, "engine_speed": 2.0, "turbo_speed": 20.0, "brake_power": 1.0}

    def one(i: int) -> Program:
        seek = PlannedStep("seek", name="seek", lever="throttle", channel="manifold_pressure", value=28.0 + i % 7 * 0.5,
                           within=0.02, accept=("stop", "not reached"), rate=0.1, limit=s(90))  # fmt: skip
        steps = (
            PlannedStep("set", levers={"throttle": 0.3}),
            PlannedStep("hold", duration=s(2)),
            PlannedStep("move", levers={"throttle": 0.5, "propeller": 0.9}, duration=s(4)),
            seek,
            PlannedStep("read", name="settled", limit=s(40)),
        )
        return Program(("bench", i, "run"), "running", START, steps, GRID, watch)

    return [one(i) for i in range(count)]


def bare(inner: int, given: list[list[float]]) -> float:
    """Processor seconds of the engine alone over the inputs of one run, its readings kept."""
    engine = OneLaneEngine(inner)
    began = time.process_time()
    engine.begin(given[0], 0.05)
    kept = [engine.step(row) for row in given]
    taken = time.process_time() - began
    assert len(kept) == len(given)
    return taken


def at_once(stand: MountedStand, given: list[list[float]]) -> float:
    """Processor seconds of the mounted session asked for the same run in one request: the port's share of overhead."""
    rows = np.array(given)[:, None]
    session = stand.session
    began = time.process_time()
    session.initialise([Start("running", tuple(given[0]))], GRID.step, INPUTS, tuple(OUTPUTS))
    session.advance([0], rows)
    return time.process_time() - began


def inputs_of(run: ConductedRun) -> list[list[float]]:
    """What the model was given, row by row, as plain floats."""
    found: list[list[float]] = run.history.data[:-1, : len(INPUTS)].astype(float).tolist()
    return found


def of_one_process(asked: argparse.Namespace) -> Iterator[Row]:
    """The rows, as this process sees them."""
    count, step = (2, 5.0) if asked.quick else (asked.programs, asked.step)
    work, inner = programs(count), inner_steps(step * 1e-6)
    pairs, lengths = [], []
    with mounted(inner) as stand:
        for program, run in zip(work, conduct(work, stand), strict=True):
            given = inputs_of(run)
            lengths.append(len(given))
            sides = [
                partial(bare, inner, given),
                partial(worked, partial(conduct, [program], stand)),
                partial(at_once, stand, given),
            ]
            pairs += [(*one, len(given)) for one in taken_in_turn(sides, asked.repeats)]
    alone = [1e6 * plain / length for plain, _, _, length in pairs]
    yield of_pairs("a step of a one-lane Python model in a bare loop", alone, "us")
    what = "conducting a one-lane Python model"
    yield of_pairs(
        f"{what}, {asked.step:g} us a step, {min(lengths)}-{max(lengths)} rows a run",
        [100.0 * (flown / plain - 1.0) for plain, flown, _, _ in pairs], "%",
        "bare loop stepping the same model with the same inputs in plain Python", at_most=MOST,
    )  # fmt: skip
    yield of_pairs(
        f"{what}: above the bare loop", [1e6 * (flown - plain) / length for plain, flown, _, length in pairs],
        "us a row", "the same pairs",
    )  # fmt: skip
    yield of_pairs(
        f"{what}: its rows in one request, nobody looking",
        [100.0 * (one / plain - 1.0) for plain, _, one, _ in pairs], "%", "the same bare loop",
    )  # fmt: skip


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    if asked.quick or asked.processes == 1:
        yield from of_one_process(asked)
        return
    sizes = ["--programs", str(asked.programs), "--step", str(asked.step), "--repeats", str(asked.repeats)]
    yield from over_processes(__file__, sizes, asked.processes)


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--programs", type=int, default=20)
    parser.add_argument("--processes", type=int, default=15)
    parser.add_argument("--step", type=float, default=50.0, help="microseconds a step of the model")


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 2, options))
