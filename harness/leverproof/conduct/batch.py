"""A batch: programs of one grid flown side by side, one lane each, in lockstep.

Blocks are expanded over all lanes at once and a pilot is resumed only when its own leg is done; that
happens on the control grid whatever the neighbours do, so a lane's numbers do not depend on them.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.conduct.hand import MEMORY, Steps, held
from leverproof.conduct.looks import Ask, Seen, answers
from leverproof.conduct.model import Block, ConductedRun, Program
from leverproof.conduct.pilot import Cut, PilotResult, pilot
from leverproof.conduct.tape import Tape
from leverproof.errors import StandError
from leverproof.history import History
from leverproof.stand.port import Session, Start
from leverproof.timegrid import TICKS_PER_SECOND

MOST_ROWS = 500


class Batch:
    """Flies ``programs`` on lanes 0, 1, ... of a session. ``most_rows`` and ``max_values`` bound one
    request; ``wait`` lets seconds of wall time pass in which nothing is asked."""

    def __init__(
        self,
        programs: Sequence[Program],
        session: Session,
        *,
        inputs: tuple[str, ...],
        outputs: tuple[str, ...],
        max_values: int,
        most_rows: int = MOST_ROWS,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        lanes = len(programs)
        self.programs = tuple(programs)
        self.row = 0
        self._session = session
        self._inputs, self._outputs = inputs, outputs
        self._max_values = max_values
        self._most_rows = most_rows
        self._wait = wait
        self._silence = 0.0
        self._pilots: list[Steps[PilotResult]] = [pilot(p, inputs, outputs) for p in programs]
        self._blocks: list[Block | None] = [None for _ in programs]
        self._ahead: list[list[Block]] = [[] for _ in programs]
        self._asks: list[Ask | None] = [None for _ in programs]
        self._leg_begin = [0 for _ in programs]
        self._memory = programs[0].grid.rows(MEMORY)
        self._begin = np.zeros(lanes, np.int64)
        self._until = np.zeros(lanes, np.int64)
        self._begun: list[tuple[int, Block]] = []
        self._start = np.zeros((lanes, len(inputs)))
        self._change = np.zeros((lanes, len(inputs)))
        self._moving = np.zeros(lanes, np.bool_)
        self._active = np.arange(lanes)
        self._names = self._active.tolist()
        # Programs come longest first, so the middle one is the common one.
        middle = programs[lanes // 2]
        common = middle.grid.rows(round(estimated_seconds(middle)) * TICKS_PER_SECOND)
        self._tape = Tape(np.empty((lanes, len(outputs)), np.float32), len(inputs), common)
        self._finished: list[ConductedRun] = []

    def unfinished(self) -> list[Program]:
        """Programs still under way."""
        return [self.programs[lane] for lane in self._names]

    def fly(self, tick: Callable[[int], None]) -> Iterator[ConductedRun]:
        """Fly until every program has ended, yielding each as it ends; ``tick`` is told the lane-rows flown
        after each request. Raises :class:`StandError` with the unfinished programs still under way."""
        self._begin_all()
        yield from self._take_finished()
        while self._names:
            tick(self._advance())
            yield from self._take_finished()

    def abandon(self, ending: str, trouble: str) -> list[ConductedRun]:
        """End what is still under way, keeping the data so far."""
        for lane in list(self._names):
            self._cut(lane, ending, trouble, self.row)
        return list(self._take_finished())

    def _take_finished(self) -> Iterator[ConductedRun]:
        if self._finished:
            self._active = np.array(self._names, np.intp)
        while self._finished:
            yield self._finished.pop(0)

    def _begin_all(self) -> None:
        starts = [
            Start(
                p.engine,
                tuple(held(name, p.start[name]) if name in p.start else 0.0 for name in self._inputs),
            )
            for p in self.programs
        ]
        first = self._session.initialise(starts, self.programs[0].grid.step, self._inputs, self._outputs)
        with np.errstate(over="ignore", invalid="ignore"):
            self._tape.first[...] = self._shaped(first, (len(starts), len(self._outputs)))
        for lane in list(self._names):
            self._resume(lane, None)
        self._place_blocks()
        for lane in list(self._names):
            bad = ~np.isfinite(self._tape.first[lane])
            if bad.any():
                self._cut_not_finite(lane, 0, int(bad.argmax()))

    def _shaped(self, reply: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.float64]:
        values = np.asarray(reply, dtype=np.float64)
        if values.shape != shape:
            raise StandError(f"the model answered with an array of shape {values.shape}, not {shape}", code="protocol")
        return values

    def _advance(self) -> int:
        """One request; returns lane-rows flown."""
        lanes, names = self._active, self._names
        widest = lanes.size * max(1, len(self._inputs), len(self._outputs))
        most = min(self._most_rows, max(1, self._max_values // widest), self._tape.room())
        until = self._until[lanes]
        count = min(int(until.min()) - self.row, most)
        given = self._expand(count)
        if self._silence:
            silence, self._silence = self._silence, 0.0
            self._wait(silence)
        reply = self._session.advance(names, given)
        seen = self._shaped(reply, (count, lanes.size, len(self._outputs)))
        finite = self._tape.put(lanes, self.row, given, seen)
        before, self.row = self.row, self.row + count
        flown = count * lanes.size
        if not finite:
            self._cut_all_not_finite(before)
        looking = []
        for lane in lanes[until == self.row].tolist():
            if self._ahead[lane]:
                self._take_block(lane)
            elif self._blocks[lane] is not None:
                looking.append(lane)
        self._show(looking)
        self._place_blocks()
        return flown

    def _show(self, lanes: list[int]) -> None:
        """Show pilots what their legs brought, and take their next ones; those that look again at this instant are
        answered together too."""
        memory = self.row - self._memory
        rows = [self._tape.seen(lane, min(self._leg_begin[lane], memory)) for lane in lanes]
        while lanes:
            found = answers([self._asks[lane] for lane in lanes], rows)
            again = [
                (lane, seen)
                for lane, seen, answer in zip(lanes, rows, found, strict=True)
                if self._resume(lane, (seen, answer))
            ]
            lanes, rows = [lane for lane, _ in again], [seen for _, seen in again]

    def _expand(self, count: int) -> NDArray[np.float64]:
        """Inputs of the next ``count`` rows of the active lanes, shape (count, lanes, inputs)."""
        lanes = self._active
        rows = np.empty((count, lanes.size, len(self._inputs)))
        rows[...] = self._start[lanes]
        places = self._moving[lanes].nonzero()[0]
        if places.size:
            moving = lanes[places]
            begin, whole = self._begin[moving], self._until[moving] - self._begin[moving]
            steps = np.arange(self.row, self.row + count)[:, None] - begin
            share = (steps + 0.5) / whole
            start, change = self._start[moving], self._change[moving]
            for column in np.nonzero(change.any(axis=0))[0].tolist():
                rows[:, places, column] = start[:, column] + change[:, column] * share
        return rows

    def _inputs_now(self, lane: int, block: Block) -> NDArray[np.float64]:
        """Inputs of the next row of one lane in its latest block; after that they stay."""
        if self.row >= self._until[lane]:
            return block.end
        share = (self.row - self._begin[lane] + 0.5) / block.rows
        place: NDArray[np.float64] = block.start + (block.end - block.start) * share
        return place

    def _resume(self, lane: int, seen: Seen | None) -> bool:
        """Wake a pilot and take its next leg; the first time there is nothing to show. Whether it looks again at
        once."""
        steps = self._pilots[lane]
        try:
            leg = next(steps) if seen is None else steps.send(seen)
        except StopIteration as done:
            self._finish(lane, done.value, self.row)
            return False
        self._asks[lane] = leg.ask
        if not leg.blocks:
            return True
        self._leg_begin[lane] = self.row
        self._ahead[lane] = leg.blocks[::-1]
        self._silence = max(self._silence, leg.silence)
        self._take_block(lane)
        return False

    def _take_block(self, lane: int) -> None:
        """Begin the next block of a lane's leg."""
        self._blocks[lane] = block = self._ahead[lane].pop()
        self._begun.append((lane, block))

    def _place_blocks(self) -> None:
        """Lay out the blocks that have begun at this row, all at once."""
        if not self._begun:
            return
        lanes = np.array([lane for lane, _ in self._begun], np.intp)
        self._begin[lanes] = self.row
        self._until[lanes] = [self.row + block.rows for _, block in self._begun]
        self._start[lanes] = [block.start for _, block in self._begun]
        self._moving[lanes] = [block.start is not block.end for _, block in self._begun]
        for lane, block in self._begun:
            if block.start is not block.end:
                self._change[lane] = block.end - block.start
        self._begun = []

    def _cut_all_not_finite(self, before: int) -> None:
        for lane in list(self._names):
            shown = self._tape.seen(lane, before)[before - self.row :, len(self._inputs) :]
            bad = ~np.isfinite(shown)
            if bad.any():
                first = int(bad.any(axis=1).argmax())
                self._cut_not_finite(lane, before + first + 1, int(bad[first].argmax()))

    def _cut_not_finite(self, lane: int, row: int, column: int) -> None:
        seconds = self.programs[lane].grid.seconds(row)
        name = self._outputs[column]
        self._cut(lane, "invalid", f"{name} is not finite at t = {seconds:g} s", row)

    def _cut(self, lane: int, ending: str, trouble: str, row: int) -> None:
        """End a lane's run from outside."""
        try:
            self._pilots[lane].throw(Cut(ending, trouble, row))
        except StopIteration as done:
            self._finish(lane, done.value, row)
        except Cut:
            # A pilot that had not begun, or that an interrupt has already torn down, has nothing to hand
            # back.
            self._finish(lane, PilotResult((), (), ending, trouble), row)

    def _finish(self, lane: int, result: PilotResult, row: int) -> None:
        """Take a lane out and keep its history."""
        program = self.programs[lane]
        columns = self._inputs + self._outputs
        block = self._blocks[lane]
        if block is None:
            data = np.empty((0, len(columns)), np.float32)
        else:
            data = self._tape.history(lane, row)
            if row == self.row:
                data[row, : len(self._inputs)] = self._inputs_now(lane, block)
        history = History(program.grid, columns, data, result.marks, result.readings, result.ending, result.trouble)
        self._blocks[lane] = None
        self._ahead[lane] = []
        self._names.remove(lane)
        self._finished.append(ConductedRun(program, history))


def estimated_seconds(program: Program) -> float:
    """Model time a program will about take: stated durations, and for steps that wait what they commonly take
    (assumption; used for progress and for putting programs of like length side by side)."""
    seconds = 8.0
    for step in program.steps:
        match step.do:
            case "move" | "hold":
                seconds += program.grid.seconds(program.grid.rows(step.duration))
            case "seek":
                seconds += min(45.0, program.grid.seconds(program.grid.rows(step.limit)))
            case "read":
                seconds += min(8.0, program.grid.seconds(program.grid.rows(step.limit)))
            case _:
                pass
    return seconds


def known_names(names: Sequence[str]) -> tuple[str, ...]:
    """The names that are channels of ours, in the order given."""
    return tuple(name for name in names if name in CHANNELS)
