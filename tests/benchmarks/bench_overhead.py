"""What conducting costs many lanes: conduct() against a bare loop that advances the same engine with the same inputs.

    python tests/benchmarks/bench_overhead.py [--lanes 300] [--repeats 3] [--processes 5] [--reference]

Each pair runs both sides in turn in one process, and there are several processes, because what one has where in memory
does not meet both sides alike; the bare loop in requests of the same sizes; processor time, which
other work on the machine disturbs least. *Beside the engine* is the same conducting against the engine's own share of
that very run: what else the machine does meets both alike, but the engine pays for the caches that conducting takes.
"""

from __future__ import annotations

import argparse
import ctypes
import statistics
import sys
import time
from collections.abc import Iterator, Sequence

import numpy as np
from measurement import Row, command, of_pairs, over_processes, taken_in_turn, worked

from leverproof.conduct.model import ConductedRun, PlannedStep, Program
from leverproof.conduct.scheduler import conduct
from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, StandFile, Start
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid

MOST = 10.0
GRID = TimeGrid(1800)
INPUTS = (
    "throttle", "boost", "propeller", "mixture", "intercooler_shutter",
    "pressure_altitude", "temperature_offset", "relative_humidity", "true_airspeed",
)  # fmt: skip
OUTPUTS = (
    "manifold_pressure", "engine_speed", "turbo_speed", "brake_power", "torque", "fuel_flow",
    "carburettor_air_temperature", "carburettor_deck_pressure", "exhaust_back_pressure", "manifold_temperature",
    "exhaust_gas_temperature", "cylinder_head_temperature", "wastegate_opening",
)  # fmt: skip
START = dict(zip(INPUTS, (0.4, 0.1, 1.0, 2.0, 1.0, 12_000.0, 0.0, 0.0, 180.0), strict=True))


class DummyEngine:
    """Lagged linear laws, and idle array work so that a grid step of all lanes costs about ``step_cost``
    seconds."""

    def __init__(self, lanes: int, step_cost: float) -> None:
        self.lanes = lanes
        self.state = np.zeros((lanes, len(OUTPUTS)))
        rng = np.random.default_rng(1)
        self.gains = (
            rng.uniform(5.0, 30.0, (len(INPUTS), len(OUTPUTS))) * (np.arange(len(INPUTS)) < 2)[:, None]
        )
        self.base = rng.uniform(20.0, 40.0, len(OUTPUTS))
        self.work = np.linspace(0.1, 1.0, lanes)
        self.loops = 1
        self.loops = max(1, round(step_cost / self._cost_of_a_loop()))

    def _cost_of_a_loop(self) -> float:
        self.loops = 4000
        began = time.process_time()
        self._work(self.work)
        return (time.process_time() - began) / 4000

    def _work(self, values: Array) -> Array:
        for _ in range(self.loops):
            values = np.sqrt(values * 0.9 + 0.05)
        return values

    def hello(self) -> Hello:
        return Hello(
            "dummy", "1",
            tuple(Signal(name, "1") for name in INPUTS), tuple(Signal(name, "1") for name in OUTPUTS),
            Capabilities(lanes=self.lanes, max_values=10_000_000),
        )  # fmt: skip

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        rows = np.array([start.row for start in starts])
        self.share = 1.0 - np.exp(-step_ticks / TICKS_PER_SECOND / 3.0)
        self.state = rows @ self.gains + self.base
        return self.state.copy()

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        chosen = slice(None) if len(lanes) == len(self.state) else np.array(lanes)
        state = self.state[chosen].copy()
        reply = np.empty((rows.shape[0], len(lanes), len(OUTPUTS)))
        for i, row in enumerate(rows):
            # Work in proportion to the lanes, as a vectorised engine does it.
            self._work(self.work[: len(lanes)])
            state += (row @ self.gains + self.base - state) * self.share
            reply[i] = state
        self.state[chosen] = state
        return reply

    def reset(self) -> None:
        self.state[:] = 0.0

    def close(self) -> None:
        pass


class Listening:
    """A stand that keeps what it was asked, so that the bare loop can ask the same."""

    def __init__(self, session: Session) -> None:
        self.inner = session
        self.starts: list[tuple[object, ...]] = []
        self.asked: list[tuple[list[int], Array]] = []
        self.keep = True
        self.inside = 0.0

    @property
    def session(self) -> Session:
        return self

    def reopen(self) -> Session:
        raise AssertionError("the benchmark's engine does not fail")

    def hello(self) -> Hello:
        return self.inner.hello()

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        if self.keep:
            self.starts.append((starts, step_ticks, inputs, outputs))
        return self.inner.initialise(starts, step_ticks, inputs, outputs)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        if self.keep:
            self.asked.append((list(lanes), rows.copy()))
        began = time.process_time()
        reply = self.inner.advance(lanes, rows)
        self.inside += time.process_time() - began
        return reply

    def reset(self) -> None:
        self.inner.reset()

    def close(self) -> None:
        self.inner.close()


def s(seconds: float) -> int:
    return round(seconds * TICKS_PER_SECOND)


def programs(
    lanes: int, targets: tuple[float, float], rate: float = 0.1, inputs: Sequence[str] = INPUTS
) -> list[Program]:
    """A mix of moves, holds, reads and seeks; the seeks take at least 30 % of lane time."""
    low, high = targets
    start = {name: START.get(name, 0.0) for name in inputs}
    found = []
    for i in range(lanes):
        target = low + (high - low) * (i % 37) / 37.0
        seek = PlannedStep("seek", name="seek", lever="throttle", channel="manifold_pressure", value=target,
                           within=0.02, accept=("stop", "not reached"), rate=rate, limit=s(90))  # fmt: skip
        steps = (
            PlannedStep("set", levers={"throttle": 0.3}),
            PlannedStep("hold", duration=s(5 + 5 * (i % 3))),
            PlannedStep("move", levers={"throttle": 0.5, "propeller": 0.9}, duration=s(10)),
            seek,
            PlannedStep("read", name="first", limit=s(40)),
            PlannedStep("move", levers={"throttle": 0.35}, duration=s(8)),
            PlannedStep("hold", duration=s(20)),
            PlannedStep("read", name="second", limit=s(40)),
        )
        watch = {"manifold_pressure": 0.02, "engine_speed": 2.0, "turbo_speed": 20.0, "brake_power": 1.0}
        found.append(Program(("bench", i, "run"), "running", start, steps, GRID, watch))
    return found


def seek_share(runs: Sequence[ConductedRun]) -> float:
    sought = sum(m.end - m.row for run in runs for m in run.history.marks if m.kind == "seek")
    return sought / sum(run.history.data.shape[0] for run in runs)


def measure(
    name: str, stand: Listening, work: list[Program], repeats: int, most: float | None
) -> Iterator[Row]:
    """The rows of one engine."""
    stand.keep = True
    runs = conduct(work, stand)
    stand.keep = False
    if endings := {run.history.ending for run in runs} - {"completed"}:
        raise ValueError(f"{name}: runs ended with {endings}")
    inside: list[float] = []

    def bare() -> float:
        began = time.process_time()
        for start in stand.starts:
            stand.inner.initialise(*start)  # type: ignore[arg-type]
        # Kept as whoever runs such a loop would: an answer nobody keeps is no use, and its memory costs nothing.
        answers = [stand.inner.advance(lanes, rows) for lanes, rows in stand.asked]
        taken = time.process_time() - began
        answers.clear()
        return taken

    def flown() -> float:
        stand.inside = 0.0
        taken = worked(lambda: conduct(work, stand))
        inside.append(taken / stand.inside)
        return taken

    pairs = taken_in_turn([bare, flown], repeats)
    steps = sum(rows.shape[0] for _, rows in stand.asked)
    alone = 1e3 * statistics.median(plain for plain, _ in pairs) / steps
    looks = sum(run.history.data.shape[0] for run in runs) / GRID.rows_per_control
    what = f"conducting {len(work)} lanes, {name}, {alone:.2f} ms a step"
    yield of_pairs(
        f"{what}, {100 * seek_share(runs):.0f} % of it in seeks",
        [100.0 * (more / plain - 1.0) for plain, more in pairs], "%",
        "bare loop advancing the same engine with the same inputs", at_most=most,
    )  # fmt: skip
    yield of_pairs(
        what, [100.0 * (ratio - 1.0) for ratio in inside], "%",
        "the engine's own time within the run",
    )  # fmt: skip
    yield of_pairs(
        f"{what}: above the bare loop", [1e6 * (more - plain) / looks for plain, more in pairs],
        "us a lane and 0.5 s", "the same pairs",
    )  # fmt: skip


def reference_stand() -> Session:
    from leverproof.stand.mount import mount

    stand = StandFile("bench", "reference engine", "reference_engine", target="corrie-18-early")
    return mount(stand, defect=None).session


def dummy(lanes: int, cost: float, repeats: int, most: float | None) -> Iterator[Row]:
    """The rows of the dummy engine with a step of ``cost`` seconds."""
    engine = DummyEngine(lanes, cost)
    gain = float(engine.gains[0, 0])
    low = float(engine.base[0] + np.array(tuple(START.values())) @ engine.gains[:, 0] - 0.4 * gain)
    work = programs(lanes, (low + 0.55 * gain, low + 0.9 * gain))
    yield from measure("dummy engine", Listening(engine), work, repeats, most)


def keep_memory() -> None:
    """Has freed memory stay with this process, where the C library can be told so. Otherwise it goes back to the system
    and, on a virtual machine, further; getting 50 MB again then takes between 3 and 90 ms, by what the neighbours do:
    more than all that is measured here, and no doing of either side."""
    tell = getattr(ctypes.CDLL(None), "mallopt", None) if sys.platform == "linux" else None
    if tell is not None:
        trim_threshold, mmap_threshold = -1, -3
        tell(mmap_threshold, 1 << 30)
        tell(trim_threshold, (1 << 31) - 1)


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    if not asked.quick and asked.processes > 1:
        sizes = ["--lanes", str(asked.lanes), "--repeats", str(asked.repeats)]
        sizes += ["--reference"] if asked.reference else []
        yield from over_processes(__file__, sizes, asked.processes)
        return
    keep_memory()
    lanes = 4 if asked.quick else asked.lanes
    yield from dummy(lanes, 1.2e-3 * lanes / 300.0, asked.repeats, MOST)
    yield from dummy(lanes, 0.3e-3 * lanes / 300.0, asked.repeats, None)
    if asked.reference and not asked.quick:
        stand = Listening(reference_stand())
        inputs = [signal.name for signal in stand.hello().inputs]
        work = programs(lanes, (30.0, 34.0), inputs=inputs)
        yield from measure("reference engine", stand, work, asked.repeats, None)


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--lanes", type=int, default=300)
    parser.add_argument("--processes", type=int, default=5)
    parser.add_argument("--reference", action="store_true", help="measure the reference engine too")


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 3, options))
