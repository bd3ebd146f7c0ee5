"""Steps of one C unit a second: in our worker process against the reader library's own simulate call.

Ratios of one run, interleaved, medians; the library's call is given the unpacked unit and its parsed description, so
that only its stepping counts. Run: ``python tests/benchmarks/bench_fmi.py``; exit code 1 below the least ratio.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import fmpy
import numpy as np
from fmpy.simulation import simulate_fmu

from leverproof.stand.port import Start
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters import fmi

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "models"))
import fmi_units

LEAST = 6.0
ROWS, ROUNDS, TICKS = 2_000, 7, 1800
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


def seconds(run: Callable[[], np.ndarray]) -> float:
    begun = time.perf_counter()
    run()
    return time.perf_counter() - begun


def ratio(version: int, folder: Path) -> float:
    """How many times the library's own rate the worker has."""
    unit = fmi_units.built(fmi_units.LAG_ENGINE, version, folder)
    mine, close = ours(unit)
    other = theirs(unit, folder / "unpacked")
    try:
        count = len(mine()), len(other())
        pairs = [(seconds(mine), seconds(other)) for _ in range(ROUNDS)]
    finally:
        close()
    # Each call begins anew, so the start of an instance is in both times.
    found = statistics.median(b * count[0] / (a * (count[1] - 1)) for a, b in pairs)
    rates = [statistics.median(ROWS / pair[side] for pair in pairs) for side in (0, 1)]
    print(f"FMI {version}: worker {rates[0]:,.0f}, library {rates[1]:,.0f} steps/s: {found:.1f} times")
    return found


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        ratios = [ratio(version, Path(folder, str(version))) for version in (2, 3)]
    return 0 if min(ratios) >= LEAST else 1


if __name__ == "__main__":
    sys.exit(main())
