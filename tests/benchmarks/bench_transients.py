"""Transients of the embedded engine in lockstep lanes against the same equations in plain Python floats, one by one.

Each case is a transient of 20 s: throttle slam after 2 s, boost step after 10 s, at its own height, weather,
speed and mixture. First both must give the same readings: every reading of every row within 1e-9 of its value, or
of a thousandth of its span where it passes through nought (torque is what is left of large torques), also started
from rest, linked and chopped, cut off, in the stratosphere. Then processor time, in turn, medians of nine rounds, of
stepping alone (no starts), in blocks of half a second as the harness asks for them; memory for the readings of a whole
case is taken beforehand or used again, on both sides, because new pages cost more than numbers. The
scalar engine flies every tenth case. The row of 1,200 lanes is not judged; it shows what is left when a call of
NumPy is shared by more lanes.

Run: ``python tests/benchmarks/bench_transients.py``; exit code 1 below the least ratio at 300 lanes.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Sequence

import numpy as np
from plain_engine import PlainEngine
from scalar_engine import INPUTS, OUTPUTS, ScalarEngine
from scalar_start import Row
from tabulate import tabulate

from leverproof.channels import CHANNELS
from leverproof.stand.port import Array, Start
from leverproof_adapters.reference_engine.components import honest
from leverproof_adapters.reference_engine.parameters import parameter_set
from leverproof_adapters.reference_engine.session import ReferenceSession

LEAST, TOLERANCE, NOUGHT = 8.0, 1e-9, 1e-3
TICKS, ROWS, BLOCK = 1800, 400, 10
ROUNDS, CASES, EVERY = 9, 300, 10
SLAM, STEP = 40, 200
JUDGED = "vectorised, 300 lanes"
UNROLLED, PLAIN = "scalar, unrolled into one function", "scalar, a function for each component"
BUILD = honest(parameter_set("corrie-18-early"))


def transients(cases: int) -> Array:
    """Inputs of shape (ROWS + 1, cases, inputs); row 0 is the start."""
    at = {name: i for i, name in enumerate(INPUTS)}
    rng = np.random.default_rng(18)
    inputs = np.zeros((ROWS + 1, cases, len(INPUTS)))
    drawn = {
        "throttle": rng.uniform(0.1, 0.4, cases),
        "propeller": rng.uniform(0.6, 1.0, cases),
        "mixture": rng.integers(1, 4, cases),
        "intercooler_shutter": rng.uniform(0.0, 1.0, cases),
        "pressure_altitude": rng.uniform(0.0, 28_000.0, cases),
        "temperature_offset": rng.uniform(-15.0, 25.0, cases),
        "relative_humidity": rng.uniform(0.0, 1.0, cases),
        "true_airspeed": rng.uniform(60.0, 240.0, cases),
    }
    for name, values in drawn.items():
        inputs[:, :, at[name]] = values
    inputs[SLAM + 1 :, :, at["throttle"]] = rng.uniform(0.7, 1.0, cases)
    inputs[STEP + 1 :, :, at["boost"]] = rng.uniform(0.3, 0.9, cases)
    return inputs


def corners(inputs: Array) -> tuple[Array, list[str]]:
    """Cases that take the other branches, and how each starts."""
    at = {name: i for i, name in enumerate(INPUTS)}
    found = inputs[:, :6].copy()
    found[:, 0, at["lever_link"]] = 1.0
    found[STEP + 1 :, 0, at["throttle"]] = 0.0
    found[SLAM + 1 :, 1, at["mixture"]] = 0.0
    found[:, 2, at["pressure_altitude"]] = 40_000.0
    found[STEP + 1 :, 3, at["boost"]] = 1.0
    found[:, 3, at["pressure_altitude"]] = 27_000.0
    found[:, 3, at["true_airspeed"]] = 0.0
    found[:, 5, at["true_airspeed"]] = 0.0
    found[SLAM + 1 :, 5, at["mixture"]] = 0.0
    return found, ["running"] * 4 + ["stopped", "running"]


def vectorised(inputs: Array, starts: Sequence[str]) -> tuple[float, Array]:
    """Processor seconds of stepping all lanes together, and the readings."""
    session = ReferenceSession(BUILD, "benchmark")
    begun = [Start(engine, tuple(map(float, row))) for engine, row in zip(starts, inputs[0], strict=True)]
    readings = np.full((ROWS + 1, inputs.shape[1], len(OUTPUTS)), np.nan)
    readings[0] = session.initialise(begun, TICKS, INPUTS, OUTPUTS)
    lanes = list(range(inputs.shape[1]))
    blocks = [(i, np.ascontiguousarray(inputs[i : i + BLOCK])) for i in range(1, ROWS + 1, BLOCK)]
    began = time.process_time()
    for i, block in blocks:
        readings[i : i + BLOCK] = session.advance(lanes, block)
    return time.process_time() - began, readings


def scalar(
    inputs: Array, starts: Sequence[str], engine_of: type[ScalarEngine | PlainEngine] = ScalarEngine
) -> tuple[float, Array]:
    """Processor seconds of stepping one lane after the other, and the readings."""
    seconds, found = 0.0, []
    for lane, engine in enumerate(starts):
        rows: list[Row] = [tuple(row) for row in inputs[:, lane].tolist()]
        one = engine_of(BUILD, TICKS)
        readings = [one.initialise(rows[0], running=engine == "running")]
        blocks = [rows[i : i + BLOCK] for i in range(1, ROWS + 1, BLOCK)]
        began = time.process_time()
        for block in blocks:
            readings += one.advance(block)
        seconds += time.process_time() - began
        found.append(np.array(readings))
    return seconds, np.array(found).transpose(1, 0, 2)


def plain(inputs: Array, starts: Sequence[str]) -> tuple[float, Array]:
    """:func:`scalar` by the engine written a function for each component."""
    return scalar(inputs, starts, PlainEngine)


def largest_difference(
    inputs: Array, starts: Sequence[str], engine_of: type[ScalarEngine | PlainEngine]
) -> float:
    """Largest relative difference of any reading; raises AssertionError beyond the tolerance."""
    ours, theirs = vectorised(inputs, starts)[1], scalar(inputs, starts, engine_of)[1]
    size = np.maximum(np.abs(ours), np.abs(theirs))
    relative = np.abs(ours - theirs) / np.maximum(size, NOUGHT * np.array([CHANNELS[name].span for name in OUTPUTS]))
    row, lane, reading = np.unravel_index(int(np.argmax(relative)), relative.shape)
    worst = float(relative[row, lane, reading])
    where = f"{OUTPUTS[reading]}, row {row}, case {lane}: {ours[row, lane, reading]!r}, {theirs[row, lane, reading]!r}"
    if not worst <= TOLERANCE:
        raise AssertionError(f"the two engines differ by {worst:.1e}: {where}")
    return worst


def main() -> int:
    inputs = transients(CASES)
    few = np.ascontiguousarray(inputs[:, ::EVERY])
    worst = max(
        largest_difference(*cases, engine_of)
        for cases in ((few, ["running"] * few.shape[1]), corners(inputs))
        for engine_of in (ScalarEngine, PlainEngine)
    )
    print(f"same readings: largest relative difference {worst:.1e} ({TOLERANCE:.0e} allowed)")
    sides = {
        UNROLLED: (scalar, few),
        PLAIN: (plain, few[:, ::3]),
        "vectorised, 1 lane": (vectorised, inputs[:, :1]),
        "vectorised, 50 lanes": (vectorised, inputs[:, :50]),
        JUDGED: (vectorised, inputs),
        "vectorised, 1200 lanes": (vectorised, np.tile(inputs, (1, 4, 1))),
    }
    taken: dict[str, list[float]] = {name: [] for name in sides}
    for _ in range(ROUNDS):
        for name, (side, rows) in sides.items():
            lanes = rows.shape[1]
            taken[name].append(1e3 * side(rows, ["running"] * lanes)[0] / (lanes * ROWS))
    table: list[list[str]] = []
    faster: dict[str, dict[str, float]] = {}
    for name, times in taken.items():
        ratios = {o: [a / b for a, b in zip(taken[o], times, strict=True)] for o in (UNROLLED, PLAIN)}
        faster[name] = {opponent: statistics.median(found) for opponent, found in ratios.items()}
        middle, spread = statistics.median(times), f"{min(ratios[UNROLLED]):.2f}..{max(ratios[UNROLLED]):.2f}"
        cells = (faster[name][UNROLLED], spread, faster[name][PLAIN])
        table.append(
            [name, f"{middle:.5f}", f"{middle * ROWS:.2f}", f"{cells[0]:.2f}", cells[1], f"{cells[2]:.1f}"]
        )
    heads = [
        "engine",
        "ms a lane-step",
        "ms a case of 20 s",
        "times faster than unrolled",
        "of rounds",
        "than plain",
    ]
    print(tabulate(table, headers=heads, disable_numparse=True))
    for opponent, ratio in faster[JUDGED].items():
        met = "met" if ratio >= LEAST else "NOT met"
        print(f"at 300 lanes {ratio:.1f} times faster than {opponent}, at least {LEAST:g} asked: {met}")
    return 0 if min(faster[JUDGED].values()) >= LEAST else 1


if __name__ == "__main__":
    sys.exit(main())
