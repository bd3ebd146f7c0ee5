"""What each kind of stand costs a step: one small engine in Python and in C, mounted every way, against a bare loop.

    python tests/benchmarks/bench_stands.py [--rows 600] [--batches 40] [--repeats 7]

Eight inputs and ten outputs, each output a lag of its own behind a mix of inputs: some microsecond a step in Python,
the weight of the engine that the aims were set with (a lighter engine has the same microseconds and larger ratios).
Each round runs all sides one after the other; ratios are to the bare loop of the same round, of processor time (both
processes together, which other work on the machine disturbs least). Then what mounting costs a step of the reference
engine, and how much faster two processes of a hard-working model are than one: by wall time, or where other work is
under way by the processor time along the longest path. Exits 1 when an aim is missed. Needs Linux, a C compiler and
the extra ``fast``.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import numpy as np
from measurement import MissingError, Row, command, of_pairs, taken_in_turn, worked

if "--plain" in sys.argv:
    sys.modules["orjson"] = None  # type: ignore[assignment]

import two_processes
from watched import quiet

from leverproof.stand import codec
from leverproof.stand.mount import mount
from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, StandFile, Start
from leverproof.stand.server import serve, serve_tcp
from leverproof_adapters import c_library, stdio, tcp

INPUTS = tuple(f"in_{k}" for k in range(8))
OUTPUTS = tuple(f"out_{k}" for k in range(10))
TWO_PROCESSES = 1.5
FRESH = ("stdio, frames", "TCP, frames", "C library in the worker")
AIMS = {
    "stdio, JSON, standard library": 25.0,
    "stdio, JSON, orjson": 8.0,
    "stdio, frames": 4.0,
    "C library in the worker": 0.3,
}

C_ENGINE = r"""
#include "leverproof.h"
#include <stdlib.h>
struct leverproof_model { double state[10], share[10]; };
static leverproof_signal in[8], out[10];
static const char *const ins[] = {"in_0","in_1","in_2","in_3","in_4","in_5","in_6","in_7"};
static const char *const outs[] = {"out_0","out_1","out_2","out_3","out_4","out_5","out_6","out_7","out_8","out_9"};
static const leverproof_description said = {"lag", "1", "a lag", 1, 1, 8, 10, in, out};
int32_t leverproof_interface(void) { return LEVERPROOF_INTERFACE; }
const leverproof_description *leverproof_describe(void) {
    for (int i = 0; i < 8; i++) { in[i].name = ins[i]; in[i].unit = "1"; }
    for (int i = 0; i < 10; i++) { out[i].name = outs[i]; out[i].unit = "1"; }
    return &said;
}
leverproof_model *leverproof_create(const char *defect) { return defect ? NULL : calloc(1, sizeof(leverproof_model)); }
void leverproof_destroy(leverproof_model *model) { free(model); }
int32_t leverproof_initialise(leverproof_model *m, int32_t ticks, int32_t lanes, const int32_t *running, int32_t ni,
                              const int32_t *i, int32_t no, const int32_t *o, const double *row, double *reply) {
    (void)lanes; (void)running; (void)ni; (void)i; (void)no; (void)o; (void)row;
    for (int k = 0; k < 10; k++) {
        m->share[k] = ticks / 36000.0 / (0.3 + 0.4 * k);
        reply[k] = m->state[k] = 30.0 + k;
    }
    return 0;
}
int32_t leverproof_advance(leverproof_model *m, int32_t lanes, const int32_t *lane, int32_t n, const double *rows,
                           double *reply) {
    (void)lanes; (void)lane;
    for (int32_t i = 0; i < n; i++, rows += 8, reply += 10)
        for (int k = 0; k < 10; k++) {
            double aim = 30.0 + 70.0 * rows[k % 8] + rows[(k + 1) % 8];
            reply[k] = m->state[k] += (aim - m->state[k]) * m->share[k];
        }
    return 0;
}
"""


class LagEngine:
    """The same engine in Python, with lists, as the bare loop and as a session."""

    def __init__(self) -> None:
        self.state = [0.0] * len(OUTPUTS)
        self.laws: list[tuple[float, int, int]] = []

    def begin(self, step: float) -> None:
        self.laws = [(step / (0.3 + 0.4 * k), k % 8, (k + 1) % 8) for k in range(len(OUTPUTS))]
        self.state = [30.0 + k for k in range(len(OUTPUTS))]

    def step(self, row: list[float]) -> list[float]:
        self.state = [
            old + (30.0 + 70.0 * row[one] + row[other] - old) * share
            for old, (share, one, other) in zip(self.state, self.laws, strict=True)
        ]
        return self.state

    def hello(self) -> Hello:
        inputs = tuple(Signal(name, "1") for name in INPUTS)
        return Hello(
            "lag", "1", inputs, tuple(Signal(name, "1") for name in OUTPUTS), Capabilities(), "a lag"
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.begin(step_ticks / 36000.0)
        return np.array([self.state])

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        step = self.step
        return np.array([step(row) for row in rows[:, 0].tolist()]).reshape(-1, 1, len(OUTPUTS))

    def reset(self) -> None:
        self.begin(0.0)

    def close(self) -> None:
        pass


@contextmanager
def chosen_codec(*, fast: bool) -> Iterator[None]:
    """The fast codec or the standard library on this side; the child is told by its command line."""
    kept = codec.write, codec.read
    if fast and not codec.FAST:
        raise MissingError("the extra fast: pip install 'leverproof[fast]'")
    codec.write, codec.read = (
        (codec.write_fast, codec.read_fast) if fast else (codec.write_plain, codec.read_plain)
    )
    try:
        yield
    finally:
        codec.write, codec.read = kept


def stands(folder: Path) -> dict[str, tuple[Callable[[], Session], bool]]:
    """Every way of mounting, by name, and whether its JSON is by the fast codec."""
    path = str(folder / "stand.toml")
    child = (sys.executable, str(Path(__file__).resolve()), "--serve")
    library = folder / "liblag.so"
    (folder / "lag.c").write_text(C_ENGINE, "utf-8")
    include = str(c_library.header().parent)
    words = [
        "cc",
        "-O2",
        "-ffp-contract=off",
        "-shared",
        "-fPIC",
        "-I",
        include,
        "-o",
        str(library),
        str(folder / "lag.c"),
    ]
    subprocess.run(words, check=True)

    def piped(frames: bool, *words: str) -> Callable[[], Session]:
        stand = StandFile(
            path, "bench", "stdio", command=(*child, *words), options={"float64_frames": frames}
        )
        return lambda: stdio.open_stand(stand, defect=None)

    def connected(frames: bool, *words: str) -> Callable[[], Session]:
        stand = StandFile(
            path,
            "bench",
            "tcp",
            "127.0.0.1:0",
            (*child, "--port", "{port}", *words),
            options={"float64_frames": frames},
        )
        return lambda: tcp.open_stand(stand, defect=None)

    in_worker = StandFile(path, "bench", "c_library", library.name)
    return {
        "in process": (LagEngine, True),
        "stdio, JSON, standard library": (piped(False, "--plain"), False),
        "stdio, JSON, orjson": (piped(False), True),
        "stdio, frames": (piped(True), True),
        "TCP, JSON, standard library": (connected(False, "--plain"), False),
        "TCP, JSON, orjson": (connected(False), True),
        "TCP, frames": (connected(True), True),
        "C library in the worker": (lambda: c_library.open_stand(in_worker, defect=None), True),
    }


def processor_time(group: int | None) -> float:
    """Seconds this process and the child that leads ``group`` have worked."""
    own = time.process_time()
    if group is None:
        return own
    return own + int(Path(f"/proc/{group}/schedstat").read_text("ascii").split()[0]) * 1e-9


def cost_of(work: Callable[[], object], group: int | None) -> float:
    """Processor seconds, of this process and the model's together."""
    return worked(work, partial(processor_time, group))


def advance_all(session: Session, schedule: Array, batches: int) -> None:
    """``batches`` requests of the whole schedule."""
    for _ in range(batches):
        session.advance([0], schedule)


def bare_loop(rows: list[list[float]], batches: int) -> None:
    engine = LagEngine()
    engine.begin(0.05)
    step = engine.step
    for _ in range(batches):
        replies = [step(row) for row in rows]
        assert len(replies) == len(rows)


def measure(length: int, batches: int, repeats: int, folder: Path) -> Iterator[Row]:
    """A step of every stand against the bare loop; all must give the same numbers to the last bit."""
    schedule = np.random.default_rng(1).random((length, 1, len(INPUTS)))
    start = Start("running", tuple(schedule[0, 0]))
    ways = stands(folder)
    sessions = {name: make() for name, (make, _) in ways.items()}
    plain = schedule[:, 0].tolist()

    def sides(name: str, session: Session) -> Callable[[], float]:
        def taken() -> float:
            with chosen_codec(fast=ways[name][1]):
                work = partial(advance_all, session, schedule, batches)
                return cost_of(work, getattr(session, "group", None))

        return taken

    try:
        numbers = set()
        for name, session in sessions.items():
            with chosen_codec(fast=ways[name][1]):
                session.hello()
                session.initialise([start], 1800, INPUTS, OUTPUTS)
                numbers.add(session.advance([0], schedule).tobytes())
        if len(numbers) != 1:
            raise ValueError("the stands disagree about the numbers")
        bare = partial(cost_of, partial(bare_loop, plain, batches), None)
        rounds = taken_in_turn([bare, *(sides(*one) for one in sessions.items())], repeats)
    finally:
        for session in sessions.values():
            session.close()
    steps = length * batches
    yield of_pairs("bare loop, a step of a Python engine", [1e6 * each[0] / steps for each in rounds], "us")
    for at, name in enumerate(sessions, 1):
        ratios = [each[at] / each[0] for each in rounds]
        note = f"{1e6 * sorted(each[at] for each in rounds)[len(rounds) // 2] / steps:.2f} us"
        yield of_pairs(f"a step, {name}", ratios, "x", "bare loop", at_most=AIMS.get(name), note=note)


def reference_rows(length: int, repeats: int) -> Iterator[Row]:
    """What mounting (guard, names, units) costs the reference engine, at one lane and at 300."""
    stand = StandFile("bench", "reference engine", "reference_engine", target="corrie-18-early")
    with mount(stand, defect=None) as mounted:
        raw = mounted.adapter(stand, defect=None)
        said = mounted.session.hello()
        inputs, outputs = ([signal.name for signal in half] for half in (said.inputs, said.outputs))
        held = {"throttle": 0.5, "propeller": 1.0, "mixture": 2.0, "true_airspeed": 150.0}
        row = tuple(held.get(name, 0.0) for name in inputs)
        for lanes in (1, 300):
            given = np.tile(np.array(row), (length, lanes, 1))

            def taken(session: Session, given: Array = given, lanes: int = lanes) -> float:
                session.reset()
                session.initialise([Start("running", row)] * lanes, 1800, inputs, outputs)
                return worked(lambda: session.advance(range(lanes), given))

            sides = [partial(taken, raw), partial(taken, mounted.session)]
            taken_in_turn(sides, 1)
            pairs = taken_in_turn(sides, repeats)
            plural = "lane" if lanes == 1 else "lanes"
            note = f"{1e6 * sorted(pair[1] for pair in pairs)[len(pairs) // 2] / length:.0f} us"
            yield of_pairs(
                f"a step, reference engine mounted, {lanes} {plural}", [b / a for a, b in pairs], "x",
                "the engine's own session", note=note,
            )  # fmt: skip
        raw.close()


def starting_rows(folder: Path, repeats: int) -> Iterator[Row]:
    """A fresh child for each case, and one child reset between cases."""
    row = Start("running", (0.5,) * len(INPUTS))
    for name, (make, _) in stands(folder).items():
        if name not in FRESH:
            continue
        fresh, reused = [], []
        for _ in range(repeats):
            began = time.perf_counter()
            session = make()
            session.initialise([row], 1800, INPUTS, OUTPUTS)
            fresh.append(1e3 * (time.perf_counter() - began))
            reused.append(1e3 * worked(partial(begun_again, session, row), time.perf_counter))
            session.close()
        note = f"the same child reset: {sorted(reused)[len(reused) // 2]:.2f} ms"
        yield of_pairs(f"a fresh child, {name}", fresh, "ms", clock="wall", note=note)


def begun_again(session: Session, row: Start) -> None:
    session.reset()
    session.initialise([row], 1800, INPUTS, OUTPUTS)


def two_processes_rows(pairs: int) -> Iterator[Row]:
    """How much two processes gain. Where other work is under way wall time cannot show it: there the processor time
    along the longest path is judged."""
    crowded = not quiet()
    gains = two_processes.gains(pairs)
    note = "beside other work" if crowded else "two processors at rest"
    for found, clock, judged in (
        ([gain.wall for gain in gains], "wall", not crowded),
        ([gain.path for gain in gains], "processor", crowded),
    ):
        what = "two processes of a hard-working model" + (
            ", along the longest path" if clock == "processor" else ""
        )
        least = TWO_PROCESSES if judged else None
        yield of_pairs(what, found, "x", "one process", clock=clock, at_least=least, note=note)


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    if shutil.which("cc") is None:
        raise MissingError("a C compiler")
    length, batches = (20, 1) if asked.quick else (asked.rows, asked.batches)
    with tempfile.TemporaryDirectory() as folder:
        yield from measure(length, batches, asked.repeats, Path(folder))
        yield from reference_rows(length, asked.repeats)
        if not asked.quick:
            yield from starting_rows(Path(folder), 3)
    yield from two_processes_rows(asked.repeats)


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--rows", type=int, default=600, help="rows in a request")
    parser.add_argument("--batches", type=int, default=40, help="requests in a round")


def served() -> None:
    """Be the child: an engine over the standard streams or a port; ``--plain`` keeps to the standard library."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--serve", action="store_true")
    parser.add_argument("--port", type=int)
    parser.add_argument("--plain", action="store_true")
    asked = parser.parse_args()
    serve(LagEngine()) if asked.port is None else serve_tcp(LagEngine(), asked.port)


if __name__ == "__main__":
    sys.exit(served() if "--serve" in sys.argv else command(rows, __doc__, 7, options))
