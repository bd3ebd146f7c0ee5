"""The scheduler: puts programs on the lanes of a mounted model, and turns whatever the model does into
histories.

A model that crashes, hangs, chatters or answers NaN ends the one run that made it do so; the others go on.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Protocol

import numpy as np

from leverproof.conduct.batch import MOST_ROWS, Batch, estimated_seconds, known_names
from leverproof.conduct.model import ConductedRun, Program
from leverproof.errors import LeverproofError, StandError, last_words
from leverproof.history import History
from leverproof.stand.guard import SEE_TRACEBACK
from leverproof.stand.port import Session
from leverproof.timegrid import TICKS_PER_SECOND

REOPEN_ATTEMPTS = 3
EVIDENCE_TAIL = 2_000
_ENDINGS = ("crash", "hang", "protocol", "refused")

Progress = Callable[[float, float], None]


class Mounted(Protocol):
    """A model on its stand, whose session can be opened anew after the model has gone."""

    @property
    def session(self) -> Session:
        """The session, in our channel names and units."""
        ...

    def reopen(self) -> Session:
        """A fresh session; raises :class:`LeverproofError` when the model does not come up again."""
        ...


def conduct(
    programs: Sequence[Program],
    mounted: Mounted,
    *,
    on_finished: Callable[[ConductedRun], None] | None = None,
    on_warning: Callable[[str], None] | None = None,
    progress: Progress | None = None,
    clock: Callable[[], float] = time.monotonic,
    most_rows: int = MOST_ROWS,
    wait: Callable[[float], None] = time.sleep,
) -> list[ConductedRun]:
    """Fly all programs; returns one run for each, in the order given. Never raises :class:`StandError`.

    ``progress`` is told done and estimated lane-seconds, at most ten times a second; ``on_finished`` each run
    as it ends; ``on_warning`` what is odd about the stand but belongs to no run. ``wait`` lets seconds of wall time
    pass in a pause. Endings of a history beside
    those of the pilot: ``crash``, ``hang``, ``protocol``, ``refused`` of the model, ``not run`` when it could
    not be mounted again, ``interrupted`` after a keyboard interrupt (which is not raised again: the endings
    tell).
    """
    flight = _Flight(programs, mounted, on_finished, on_warning, _Meter(programs, progress, clock), most_rows, wait)
    try:
        flight.fly_all()
    except KeyboardInterrupt:
        flight.interrupt()
    return [flight.runs[index] for index in range(len(programs))]


class _Meter:
    """Lane-seconds done against the estimate of all."""

    def __init__(self, programs: Sequence[Program], report: Progress | None, clock: Callable[[], float]) -> None:
        self._report = report
        self._clock = clock
        self._next = clock() if report else 0.0
        self._done = 0.0
        # Nobody looks at an estimate that is not reported.
        self._total = sum(map(estimated_seconds, programs)) if report else 0.0

    def flown(self, lane_seconds: float) -> None:
        self._done += lane_seconds
        if self._report is None:
            return
        now = self._clock()
        if now >= self._next:
            self._next = now + 0.1
            self._report(self._done, max(self._total, self._done))

    def ended(self, run: ConductedRun) -> None:
        """An estimate becomes what it was."""
        if self._report is None:
            return
        history = run.history
        took = history.grid.seconds(max(0, history.data.shape[0] - 1))
        self._total += took - estimated_seconds(run.program)

    def last(self) -> None:
        if self._report is not None:
            self._report(self._done, self._done)


class _Flight:
    """All programs of one call; ``runs`` by index of the program."""

    def __init__(
        self,
        programs: Sequence[Program],
        mounted: Mounted,
        on_finished: Callable[[ConductedRun], None] | None,
        on_warning: Callable[[str], None] | None,
        meter: _Meter,
        most_rows: int,
        wait: Callable[[float], None],
    ) -> None:
        self.runs: dict[int, ConductedRun] = {}
        self._programs = programs
        self._index = {id(program): index for index, program in enumerate(programs)}
        self._mounted = mounted
        self._on_finished = on_finished
        self._on_warning = on_warning
        self._meter = meter
        self._most_rows = most_rows
        self._wait = wait
        self._batch: Batch | None = None
        self._used = False
        self._lost = ""
        hello = mounted.session.hello()
        self._capabilities = hello.capabilities
        self._inputs = known_names([signal.name for signal in hello.inputs])
        self._outputs = known_names([signal.name for signal in hello.outputs])

    def fly_all(self) -> None:
        columns = max(1, len(self._inputs), len(self._outputs))
        lanes = max(1, min(self._capabilities.lanes, self._capabilities.max_values // columns))
        for batch in batches(self._programs, lanes):
            self._fly(batch)
        self._meter.last()

    def interrupt(self) -> None:
        """Keep what is there and say of the rest that it was interrupted."""
        if self._batch is not None:
            for run in self._batch.abandon("interrupted", "interrupted by the user"):
                self._keep(run)
        self._keep_unflown("interrupted", "interrupted by the user")

    def _fly(self, programs: Sequence[Program]) -> None:
        """Fly some programs side by side; when the model goes down with several, one at a time."""
        waiting = list(programs)
        if self._used and not self._capabilities.reset and not self._lost:
            self._reopen()
        if self._lost:
            for program in waiting:
                self._keep(_unflown(program, self._columns(), "not run", self._lost))
            return
        self._used = True
        batch = self._batch = Batch(
            waiting,
            self._mounted.session,
            inputs=self._inputs,
            outputs=self._outputs,
            max_values=self._capabilities.max_values,
            most_rows=self._most_rows,
            wait=self._wait,
        )
        seconds = waiting[0].grid.step / TICKS_PER_SECOND
        try:
            for run in batch.fly(lambda lane_rows: self._meter.flown(lane_rows * seconds)):
                self._keep(run)
        except StandError as error:
            self._recover(batch, error)
        self._batch = None

    def _recover(self, batch: Batch, error: StandError) -> None:
        """Find whose doing a failure was, and mount the model again."""
        if len(batch.programs) == 1:
            ending = error.code if error.code in _ENDINGS else "crash"
            for run in batch.abandon(ending, _in_words(error)):
                self._keep(run)
            self._reopen()
            return
        unfinished = batch.unfinished()
        told = {id(batch.programs[lane]) for lane in error.lanes}
        suspects = [program for program in unfinished if id(program) in told] or unfinished
        others = [program for program in unfinished if id(program) not in told] if told else []
        self._batch = None
        self._reopen()
        if others:
            self._fly(others)
        for program in suspects:
            self._fly([program])
        if not self._lost and all(self._run(program).history.ending not in _ENDINGS for program in suspects):
            self._warn(
                f"the model failed with {len(batch.programs)} lanes ({_in_words(error)}) "
                "but with none of the same programs alone"
            )

    def _reopen(self) -> None:
        trouble = ""
        for _ in range(REOPEN_ATTEMPTS):
            try:
                self._mounted.reopen()
                return
            except LeverproofError as error:
                trouble = str(error)
        self._lost = f"the model could not be mounted again: {trouble}"

    def _run(self, program: Program) -> ConductedRun:
        return self.runs[self._index[id(program)]]

    def _columns(self) -> tuple[str, ...]:
        return self._inputs + self._outputs

    def _keep(self, run: ConductedRun) -> None:
        self.runs[self._index[id(run.program)]] = run
        self._meter.ended(run)
        if self._on_finished is not None:
            self._on_finished(run)

    def _keep_unflown(self, ending: str, trouble: str) -> None:
        for index, program in enumerate(self._programs):
            if index not in self.runs:
                self._keep(_unflown(program, self._columns(), ending, trouble))

    def _warn(self, words: str) -> None:
        if self._on_warning is not None:
            self._on_warning(words)


def batches(programs: Sequence[Program], lanes: int) -> list[list[Program]]:
    """Programs grouped by grid, the longest first, at most ``lanes`` together. Those with a pause fly apart: beside
    them a run without one would be kept waiting as well, and the two could not be told apart."""
    grids: dict[tuple[int, bool], list[Program]] = {}
    for program in programs:
        pauses = any(step.do == "pause" for step in program.steps)
        grids.setdefault((program.grid.step, pauses), []).append(program)
    found = []
    for alike in grids.values():
        ordered = sorted(alike, key=lambda program: -estimated_seconds(program))
        found += [ordered[at : at + lanes] for at in range(0, len(ordered), lanes)]
    return found


def _unflown(program: Program, columns: tuple[str, ...], ending: str, trouble: str) -> ConductedRun:
    """A run that left no row."""
    data = np.empty((0, len(columns)), np.float32)
    return ConductedRun(program, History(program.grid, columns, data, ending=ending, trouble=trouble))


def _in_words(error: StandError) -> str:
    if error.hint == SEE_TRACEBACK:
        return f"{error}\n{error.evidence.strip()[-EVIDENCE_TAIL:]}"
    ended, wrote = last_words(error.evidence)
    told = [str(error)]
    if ended and ended not in told[0]:
        told.append(f"its process: {ended}")
    if wrote:
        told.append(f"the model wrote: {wrote[-EVIDENCE_TAIL:]}")
    return "; ".join(told)
