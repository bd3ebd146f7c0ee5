"""Transients of the embedded engine in lockstep lanes against the same equations in plain Python floats, one by one.

Each case is a transient of 20 s: throttle slam after 2 s, boost step after 10 s, at its own height, weather,
speed and mixture. First both must give the same readings: every reading of every row within 1e-9 of its value, or
of a thousandth of its span where it passes through nought (torque is what is left of large torques), also started
from rest, linked and chopped, cut off, in the stratosphere. Then processor time, in turn, medians of nine rounds, of
stepping alone (no starts), in blocks of half a second as the harness asks for them; memory for the readings of a whole
case is taken beforehand or used again, on both sides, because new pages cost more than numbers. The
scalar engine flies every tenth case. The row of 1,200 lanes is not judged; it shows what is left when a call of
NumPy is shared by more lanes.

    python tests/benchmarks/bench_transients.py [--repeats 9]

Exit code 1 below the least ratio at 300 lanes.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np
from measurement import Row, command, of_pairs, taken_in_turn
from plain_engine import PlainEngine
from scalar_engine import INPUTS, OUTPUTS, ScalarEngine
from scalar_start import Row as Floats

from leverproof.channels import CHANNELS
from leverproof.stand.port import Array, Start
from leverproof_adapters.reference_engine.components import honest
from leverproof_adapters.reference_engine.parameters import parameter_set
from leverproof_adapters.reference_engine.session import ReferenceSession

LEAST, TOLERANCE, NOUGHT = 8.0, 1e-9, 1e-3
TICKS, ROWS, BLOCK = 1800, 400, 10
CASES, EVERY = 300, 10
SLAM, STEP = 40, 200
LANES = (1, 50, 300, 1_200)
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
        rows: list[Floats] = [tuple(row) for row in inputs[:, lane].tolist()]
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
    spans = np.array([CHANNELS[name].span for name in OUTPUTS])
    relative = np.abs(ours - theirs) / np.maximum(size, NOUGHT * spans)
    row, lane, reading = np.unravel_index(int(np.argmax(relative)), relative.shape)
    worst = float(relative[row, lane, reading])
    where = f"{OUTPUTS[reading]}, row {row}, case {lane}: {ours[row, lane, reading]!r}, {theirs[row, lane, reading]!r}"
    if not worst <= TOLERANCE:
        raise AssertionError(f"the two engines differ by {worst:.1e}: {where}")
    return worst


def a_lane_step(side: Callable[[Array, Sequence[str]], tuple[float, Array]], inputs: Array) -> float:
    """Milliseconds."""
    lanes = inputs.shape[1]
    return 1e3 * side(inputs, ["running"] * lanes)[0] / (lanes * ROWS)


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    every, most = (60, (1, 4)) if asked.quick else (EVERY, LANES)
    inputs = transients(CASES)
    few = np.ascontiguousarray(inputs[:, ::every])
    worst = max(
        largest_difference(*cases, engine_of)
        for cases in ((few, ["running"] * few.shape[1]), corners(inputs))
        for engine_of in (ScalarEngine, PlainEngine)
    )
    sides = [partial(a_lane_step, scalar, few), partial(a_lane_step, plain, few[:, ::3])]
    many = np.tile(inputs, (1, 4, 1))
    sides += [partial(a_lane_step, vectorised, many[:, :lanes]) for lanes in most]
    rounds = taken_in_turn(sides, asked.repeats)
    unrolled, by_component = (
        "plain floats unrolled into one function",
        "plain floats, a function for each component",
    )
    note = f"same readings to {worst:.0e}"
    for at, lanes in enumerate(most, 2):
        faster = [each[0] / each[at] for each in rounds]
        what = f"transients of the embedded engine, {lanes:,} {'lane' if lanes == 1 else 'lanes'}, as fast"
        least = LEAST if lanes == 300 else None
        yield of_pairs(what, faster, "x", unrolled, at_least=least, note=note if lanes == 300 else "")
        if lanes == 300:
            yield of_pairs(what, [each[1] / each[at] for each in rounds], "x", by_component, at_least=LEAST)


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 9))
