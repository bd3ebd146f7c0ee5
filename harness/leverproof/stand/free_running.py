"""A model that runs on its own clock, as a session: it is told its levers and polled, and its outputs are put on the
time grid.

Row i of a run begins at the model's own time t_0 + i steps, where t_0 is the stamp of the first poll after the start
values were told. A row's inputs are told when the model's time has reached its start, and only where they changed; a
row that is over before it could be told is left out. Outputs lie on a straight line between polls, those of discrete
outputs are the last ones polled.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np

from leverproof.stand.own_clock import LONGEST_GAP, ClockWatch
from leverproof.stand.port import Array, ClockSeen, Deadlines, Hello, OwnClock, Start
from leverproof.stand.trouble import trouble
from leverproof.timegrid import TICKS_PER_SECOND

CLOCK = "free_running"
_FIRST_PAUSE = 0.001
_SHORTEST_PAUSE = 0.0002
"""Seconds of ours before the next poll while the rate is not known, and after a poll that showed nothing new."""
_LONGEST_PAUSE = 0.05
_SHARE_OF_GAP = 0.25
"""A pause is at most this many seconds of ours, and this share of the longest gap allowed, so that a rate misjudged
breaks nothing."""


class FreeRunningSession:
    """``model``, which may be asked past it, behind the port; one lane. ``discrete`` names outputs that are never
    interpolated beside those that have states; ``longest_gap`` is in seconds of the model's time."""

    def __init__(
        self,
        model: OwnClock,
        deadlines: Deadlines,
        *,
        discrete: Collection[str] = (),
        longest_gap: float = LONGEST_GAP,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.model, self._deadlines = model, deadlines
        self._discrete, self._longest_gap = frozenset(discrete), longest_gap
        self._clock, self._sleep = clock, sleep
        self._said: Hello | None = None
        self._watch: ClockWatch | None = None
        self._inputs: tuple[str, ...] = ()
        self._outputs: tuple[str, ...] = ()
        self._held = np.zeros(0, np.bool_)
        self._step = 0
        self._told = np.zeros(0)
        self._told_since_poll = self._new = True
        self._origin, self._holds_from = 0.0, -math.inf
        self._row = 0
        self._times: list[float] = []
        self._samples: list[Array] = []

    def hello(self) -> Hello:
        """The model's description: one lane, and never the same run twice."""
        if self._said is None:
            said = self.model.hello()
            if said.capabilities.clock == CLOCK:
                said = replace(said, capabilities=replace(said.capabilities, lanes=1, deterministic=False))
            self._said = said
            self._watch = ClockWatch(
                declared=said.capabilities.rate,
                patience=self._deadlines.request,
                longest_gap=self._longest_gap,
                clock=self._clock,
            )
        return self._said

    @property
    def told(self) -> dict[str, float]:
        """The inputs in force, by the model's names."""
        return dict(zip(self._inputs, self._told.tolist(), strict=True))

    @property
    def farewell(self) -> str:
        """What was wrong with how the model ended when it was told to close, as far as it tells."""
        return str(getattr(self.model, "farewell", ""))

    @property
    def group(self) -> int | None:
        """The id of the model's process group, as far as it tells."""
        found: int | None = getattr(self.model, "group", None)
        return found

    def clock_seen(self) -> ClockSeen:
        """What the model's clock showed since the run began."""
        return self._clock_watch().seen()

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (1, outputs). A model that can be reset is put back to its beginning; any other goes
        on from where it is, and cannot be asked for an engine that stands still."""
        said, watch = self.hello(), self._clock_watch()
        (start,) = starts
        if start.engine != "running" and not said.capabilities.reset:
            raise trouble(
                "a model on its own clock that cannot be reset has no stopped engine to begin with", "refused"
            )
        discrete = {signal.name for signal in said.outputs if signal.states} | self._discrete
        self._inputs, self._outputs, self._step = tuple(inputs), tuple(outputs), step_ticks
        self._held = np.array([name in discrete for name in outputs], np.bool_)
        self._told = np.array(start.row, dtype=np.float64)
        values = dict(zip(self._inputs, self._told.tolist(), strict=True))
        watch.begin(step_ticks / TICKS_PER_SECOND, anew=said.capabilities.reset)
        self._times, self._samples, self._row = [], [], 0
        self._holds_from = -math.inf
        if said.capabilities.reset:
            self.model.begin(start.engine, values)
            self._told_since_poll, since = True, -math.inf
        else:
            since = self._tell(values)
        while not self._look() or watch.last < since:
            self._sleep(_FIRST_PAUSE)
        self._origin = watch.last
        self._times, self._samples = self._times[-1:], self._samples[-1:]
        return np.array(self._samples, dtype=np.float64)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, 1, outputs), when the model's clock has passed the end of the last row."""
        watch = self._clock_watch()
        given = np.asarray(rows, dtype=np.float64)[:, 0]
        count = given.shape[0]
        starts = self._origin + (self._row + np.arange(count + 1)) * (self._step / TICKS_PER_SECOND)
        next_row = 0
        while True:
            reached = int(np.searchsorted(starts[:count], watch.last, side="right"))
            if reached > next_row:
                self._bring(given[next_row:reached], starts[next_row:reached])
                next_row = reached
            if watch.last >= starts[count] and next_row == count:
                break
            self._pause(float(starts[min(next_row, count)]))
            self._look()
        out = self._on_grid(starts[1:])
        self._row += count
        self._forget_before(float(starts[count]))
        return out[:, None]

    def reset(self) -> None:
        """Nothing is kept of a run; a model that can be reset is at the next start."""
        self._times, self._samples = [], []

    def close(self) -> None:
        """End the model; never raises."""
        self.model.close()

    def _clock_watch(self) -> ClockWatch:
        if self._watch is None:
            self.hello()
        assert self._watch is not None
        return self._watch

    def _bring(self, rows: Array, starts: Array) -> None:
        """Tells the inputs of the last of ``rows``, all of which have begun, where they differ from those told."""
        watch = self._clock_watch()
        other = (rows != self._told) & ~(np.isnan(rows) & np.isnan(self._told))
        moved = np.flatnonzero(other.any(axis=1))
        if not moved.size:
            return
        due = float(starts[moved[0]])
        changed = np.flatnonzero(other[-1])
        if not changed.size:
            # A move there and back again within one poll never reached the model.
            watch.arrived(watch.last, due)
            return
        self._told = rows[-1].copy()
        stamp = self._tell({self._inputs[at]: float(rows[-1, at]) for at in changed})
        watch.told(stamp, due)

    def _tell(self, values: dict[str, float]) -> float:
        stamp = self._holds_from = self.model.tell(values)
        self._told_since_poll = True
        return stamp

    def _pause(self, until: float) -> None:
        """Sleeps until the model's clock should have reached ``until``."""
        watch = self._clock_watch()
        rate = watch.rate
        if rate is None:
            self._sleep(_FIRST_PAUSE)
            return
        due = watch.polled_at + min(until - watch.last, _SHARE_OF_GAP * self._longest_gap) / rate
        left = due - self._clock()
        if left > 0.0:
            self._sleep(min(left, _LONGEST_PAUSE))
        elif not self._new:
            self._sleep(_SHORTEST_PAUSE)

    def _look(self) -> bool:
        """Polls once; whether it showed a new instant."""
        watch = self._clock_watch()
        asked = self._clock()
        polled = self.model.poll()
        sample = np.array([polled.values[name] for name in self._outputs], dtype=np.float64)
        new = watch.polled(polled.time, asked)
        if self._holds_from > polled.time + self._longest_gap:
            raise trouble(
                f"a tell is stamped {self._holds_from:g} s, and a poll after it {polled.time:g} s",
                "protocol",
                hint="both are seconds of one clock, the model's own",
            )
        if new:
            self._times.append(polled.time)
            self._samples.append(sample)
        elif not self._told_since_poll and not np.array_equal(sample, self._samples[-1], equal_nan=True):
            raise trouble(
                f"two replies to poll are stamped {polled.time:g} s and differ, although nothing was told between them",
                "protocol",
                hint="stamp every reply with the time the equations have reached",
            )
        elif self._samples:
            self._samples[-1] = sample
        self._told_since_poll, self._new = False, new
        return new

    def _on_grid(self, at: Array) -> Array:
        """Outputs at the times ``at``, shape (len(at), outputs)."""
        times, samples = np.array(self._times), np.array(self._samples)
        out = np.empty((at.size, len(self._outputs)))
        last = np.searchsorted(times, at, side="right") - 1
        for column, held in enumerate(self._held.tolist()):
            y = samples[:, column]
            out[:, column] = y[last] if held else np.interp(at, times, y)
        return out

    def _forget_before(self, instant: float) -> None:
        """Keeps the last sample up to ``instant`` and those after it."""
        keep = max(0, int(np.searchsorted(self._times, instant, side="right")) - 1)
        del self._times[:keep], self._samples[:keep]
