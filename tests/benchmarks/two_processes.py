"""Two processes of a model that works hard against one, for ``bench_stands.py``; run as a script it is the model."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Signal, StandFile, Start
from leverproof.stand.processes import ProcessesSession, open_processes
from leverproof.stand.server import serve
from leverproof_adapters import stdio

LANES, ROWS = 8, 60
INNER = 800
"""Inner steps of a row: some 30 us a lane-row, the weight of an engine in plain Python."""


class HardWorker:
    """A lag in many inner steps, lane by lane."""

    def hello(self) -> Hello:
        return Hello(
            "hard worker", "1", (Signal("throttle", "1"),), (Signal("manifold_pressure", "inHg"),),
            Capabilities(lanes=LANES), "a lag",
        )  # fmt: skip

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.step = step_ticks / 36000.0 / INNER
        self.pressures = [10.0 for _ in starts]
        return np.array([self.pressures]).T

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        shown = []
        for row in rows[:, :, 0].tolist():
            for lane, throttle in zip(lanes, row, strict=True):
                pressure, share, aim = self.pressures[lane], self.step / 2.0, 10.0 + 20.0 * throttle
                for _ in range(INNER):
                    pressure += (aim - pressure) * share
                self.pressures[lane] = pressure
            shown.append([self.pressures[lane] for lane in lanes])
        return np.array(shown)[:, :, None]

    def reset(self) -> None:
        self.pressures = []

    def close(self) -> None:
        pass


@dataclass(frozen=True, slots=True)
class Took:
    """Seconds of wall time, and of processor time along the longest path: this process's and the busiest child's."""

    wall: float
    path: float


def processor_times(session: ProcessesSession) -> tuple[float, list[float]]:
    """Seconds this process and each child have worked."""
    children = [Path(f"/proc/{group}/schedstat").read_text("ascii").split()[0] for group in session.groups]
    return time.process_time(), [int(spent) * 1e-9 for spent in children]


def gains(pairs: int, repeats: int = 10) -> list[Took]:
    """How many times faster two processes are than one, for each interleaved pair of the same work."""
    words = (sys.executable, str(Path(__file__).resolve()))
    stand = StandFile(str(Path(__file__).with_name("stand.toml")), "hard worker", "stdio", command=words)
    make = partial(stdio.open_stand, stand, defect=None)
    sessions = [open_processes(make, count) for count in (1, 2)]
    rows = np.random.default_rng(1).random((ROWS, LANES, 1))

    def work(session: ProcessesSession) -> tuple[Took, bytes]:
        start = [Start("running", (0.5,)) for _ in range(LANES)]
        session.initialise(start, 1800, ("throttle",), ("manifold_pressure",))
        own, children = processor_times(session)
        began = time.perf_counter()
        for _ in range(repeats):
            reply = session.advance(range(LANES), rows)
        wall = time.perf_counter() - began
        own_after, after = processor_times(session)
        path = own_after - own + max(b - a for a, b in zip(children, after, strict=True))
        return Took(wall, path), reply.tobytes()

    try:
        for session in sessions:
            session.hello()
        if len({work(session)[1] for session in sessions}) != 1:
            raise SystemExit("one and two processes disagree about the numbers")
        taken = [(work(sessions[0])[0], work(sessions[1])[0]) for _ in range(pairs)]
    finally:
        for session in sessions:
            session.close()
    return [Took(one.wall / two.wall, one.path / two.path) for one, two in taken]


if __name__ == "__main__":
    serve(HardWorker())
