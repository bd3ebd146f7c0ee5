"""What an item works with: one freshly opened model, rows to give it, randomness and a clock."""

from __future__ import annotations

import time
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.stand.free_running import FreeRunningSession
from leverproof.stand.mount import FREE_RUNNING, MountedStand
from leverproof.stand.port import Array, Session, Start
from leverproof.stand.shakedown.programs import Program, drawn
from leverproof.stand.shakedown.watch import Watch, WatchedSession
from leverproof.stand.trouble import trouble
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid

OWN_PROCESS_GRACE = 4.0
"""Seconds left to an adapter for ending a process that missed its deadline: twice the polite end it allows
(assumption)."""
_IN_THE_PROCESS = ("in_process", "reference_engine")


class Bench:
    """A mounted model for one item called ``item``. Columns go in the model's own order, so that only the item
    about their order depends on it."""

    def __init__(
        self,
        mounted: MountedStand,
        item: str,
        *,
        seed: int,
        clock: Callable[[], float],
        watch: Watch,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.mounted = mounted
        self.rng = np.random.default_rng([seed, zlib.crc32(item.encode())])
        self.clock, self.sleep = clock, sleep
        self.watch = watch
        said = mounted.hello
        positions = [{signal.name: at for at, signal in enumerate(side)} for side in (said.inputs, said.outputs)]
        links = mounted.links
        self.inputs = tuple(sorted(links.inputs, key=lambda n: positions[0][links.inputs[n].signal.name]))
        self.outputs = tuple(sorted(links.outputs, key=lambda n: positions[1][links.outputs[n].signal.name]))
        self.step = TimeGrid.parse(mounted.stand.grid_step).step
        self.session: Session = WatchedSession(mounted.session, mounted.stand.deadlines, watch, paced=self.paced)
        self.states = {name: self._states(name) for name in (*self.inputs, *self.outputs)}

    @property
    def paced(self) -> bool:
        """Whether the model runs on its own clock, so that a row takes as long as it does."""
        return self.mounted.capabilities.clock == FREE_RUNNING

    @property
    def free_running(self) -> FreeRunningSession:
        """The session made of a model on its own clock, which can be asked past it, in its own names."""
        found: object = self.mounted.session
        while not isinstance(found, FreeRunningSession):
            found = getattr(found, "_session", None)
            if found is None:
                raise trouble("the model can neither be told nor polled", "protocol")
        return found

    @property
    def in_the_process(self) -> bool:
        """Whether the model runs inside the harness's own process."""
        return self.mounted.stand.kind in _IN_THE_PROCESS

    def _states(self, name: str) -> tuple[str, ...]:
        links = self.mounted.links
        link = links.inputs.get(name) or links.outputs[name]
        ours = CHANNELS[name].states
        if link.to_model:
            return tuple(state for state, theirs in zip(ours, link.to_model, strict=True) if theirs is not None)
        return ours

    def reopen(self) -> None:
        """A fresh model of the same stand."""
        deadlines = self.mounted.stand.deadlines
        with self.watch.within(deadlines.start + deadlines.request, "a new start"):
            session = self.mounted.reopen()
        self.session = WatchedSession(session, deadlines, self.watch, paced=self.paced)

    def rows(self, seconds: float) -> int:
        """Rows of the stand's grid in a time."""
        return round(seconds * TICKS_PER_SECOND / self.step)

    def draw(self, *, lanes: int = 1, rows: int = 40) -> Program:
        """A program drawn at random; see :func:`leverproof.stand.shakedown.programs.drawn`."""
        return drawn(self.rng, self.inputs, self.states, lanes=lanes, rows=rows)

    def begin(self, program: Program, *, step: int | None = None) -> Array:
        """Initialises its lanes; outputs at t_0, shape (lanes, outputs)."""
        return self.session.initialise(program.starts, step or self.step, program.inputs, self.outputs)

    def fly(self, program: Program, *, step: int | None = None, cuts: Sequence[int] = ()) -> Array:
        """The outputs of a program, shape (1 + n, lanes, outputs), the start first; ``cuts`` are the rows before
        which a new batch begins."""
        first = self.begin(program, step=step)
        lanes = range(len(program.starts))
        parts = [self.session.advance(lanes, part) for part in np.split(program.rows, list(cuts))]
        return np.concatenate([first[None], *parts])

    def fly_row(self, row: Sequence[float], engine: str = "running") -> Array:
        """Outputs at t_0 of one lane, shape (outputs)."""
        start = Start(engine, tuple(row))
        found: Array = self.session.initialise([start], self.step, self.inputs, self.outputs)[0]
        return found


@dataclass(frozen=True, slots=True)
class Difference:
    """Where two runs that should be the same part: words, and the largest difference as a share of the channel's
    range."""

    words: str
    share: float


def difference(first: Array, second: Array, outputs: Sequence[str]) -> Difference | None:
    """The largest difference between two runs of shape (rows, lanes, outputs), None when every bit is the same."""
    if np.array_equal(first, second, equal_nan=True):
        return None
    spans = np.array([CHANNELS[name].span for name in outputs])
    apart = np.abs(first - second) / spans
    apart[np.isnan(apart)] = np.inf
    apart[np.isnan(first) & np.isnan(second)] = 0.0
    row, lane, column = (int(at) for at in np.unravel_index(int(np.argmax(apart)), apart.shape))
    name = outputs[column]
    unit = "" if CHANNELS[name].unit == "1" else f" {CHANNELS[name].unit}"
    one, other = first[row, lane, column], second[row, lane, column]
    differing = int(np.count_nonzero(apart))
    words = (
        f"{name} {one:.9g}{unit} one time and {other:.9g}{unit} the other at row {row} of lane {lane}"
        f" ({differing} of {apart.size} numbers differ)"
    )
    return Difference(words, float(apart[row, lane, column]))
