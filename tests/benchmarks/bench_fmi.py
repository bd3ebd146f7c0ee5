"""Steps of one C unit a second: in our worker process against the reader library's own simulate call.

    python tests/benchmarks/bench_fmi.py [--repeats 7]

Wall time, because the worker is another process; pairs in turn. The library's call is given the unpacked unit and its
parsed description, so that only its stepping counts. Exit code 1 below the least ratio.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import fmpy
import numpy as np
from fmpy.simulation import simulate_fmu
from measurement import MissingError, Row, command, of_pairs, taken_in_turn, worked

from leverproof.stand.port import Start
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters import fmi

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "models"))
import fmi_units

LEAST = 6.0
ROWS, TICKS = 2_000, 1800
STAND = 'format = 1\ntitle = "a lag"\nkind = "fmi"\ntarget = "unit.fmu"\n'
INPUTS = ("throttle", "mix", "hot")
OUTPUTS = ("map", "engine_speed", "lamp", "point", "oil", "cylinders", "length")


def ours(unit: Path) -> tuple[Callable[[], np.ndarray], Callable[[], None]]:
    """Runs the rows in the worker, and what ends it."""
    stand = parse_stand_file(STAND, str(unit.parent / "stand.toml"), kinds=["fmi"])
    session = fmi.open_stand(stand, defect=None)
    rows = np.zeros((ROWS, 1, len(INPUTS)))
    rows[:, 0, 0], rows[:, 0, 1] = np.linspace(0.0, 1.0, ROWS), 3.0

    def run() -> np.ndarray:
        session.initialise([Start("running", (0.0, 3.0, 0.0))], TICKS, INPUTS, OUTPUTS)
        return session.advance([0], rows)[:, 0]

    return run, session.close


def theirs(unit: Path, folder: Path) -> Callable[[], np.ndarray]:
    """Runs the same rows by the library's simulate call."""
    unpacked = fmpy.extract(str(unit), unzipdir=str(folder))
    described = fmpy.read_model_description(unpacked)
    step = TICKS / 36_000.0
    types = [("time", float), ("throttle", float), ("mix", np.int32), ("hot", bool)]
    rows = np.zeros(ROWS, dtype=types)
    rows["time"], rows["throttle"], rows["mix"] = np.arange(ROWS) * step, np.linspace(0.0, 1.0, ROWS), 3

    def run() -> np.ndarray:
        return simulate_fmu(
            unpacked, model_description=described, validate=False, stop_time=ROWS * step, step_size=step,
            output_interval=step, input=rows, output=list(OUTPUTS), fmi_type="CoSimulation",
        )  # fmt: skip

    return run


def stepping(version: int, folder: Path, repeats: int) -> Iterator[Row]:
    """Microseconds a step in the worker, and how many times the library's own rate that is."""
    unit = fmi_units.built(fmi_units.LAG_ENGINE, version, folder)
    mine, close = ours(unit)
    other = theirs(unit, folder / "unpacked")
    try:
        count = len(mine()), len(other()) - 1
        sides = [partial(worked, side, time.perf_counter) for side in (mine, other)]
        pairs = taken_in_turn(sides, repeats)
    finally:
        close()
    # Each call begins anew, so the start of an instance is in both times.
    what = f"FMI {version}.0, a step of a C unit in the worker"
    yield of_pairs(what, [1e6 * a / count[0] for a, _ in pairs], "us", clock="wall")
    faster = [b * count[0] / (a * count[1]) for a, b in pairs]
    yield of_pairs(
        f"{what}, as fast", faster, "x", "the reader library's simulate call", clock="wall", at_least=LEAST
    )


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    if shutil.which("cc") is None:
        raise MissingError("a C compiler")
    with tempfile.TemporaryDirectory() as folder:
        for version in (2, 3):
            yield from stepping(version, Path(folder, str(version)), asked.repeats)


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 7))
