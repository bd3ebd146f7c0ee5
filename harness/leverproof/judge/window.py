"""Which samples of a run a window judgement looks at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import LEVERS
from leverproof.history import History
from leverproof.judge.evidence import Evidence, WithheldError, early_end, history_of
from leverproof.timegrid import TICKS_PER_SECOND

SETTLING = 10 * TICKS_PER_SECOND
BRIEF = 3.0

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Window:
    """``asked`` samples the judgement speaks of, and ``settled`` ones among them later than 10 s after the
    last lever move before them; ``whole`` is False when the run ended before the window did (``verdict``,
    ``note``)."""

    history: History
    asked: Mask
    settled: Mask
    whole: bool
    verdict: str = ""
    note: str = ""


def window_of(evidence: Evidence, run: str) -> Window:
    """The window of the judgement: from the first row of its first step (or the row of that reading) through
    the last row of its second; the whole run when none is stated. Seek blocks are left out unless asked
    for."""
    history = history_of(evidence, run)
    judgement = evidence.judgement
    rows = history.data.shape[0]
    first, last, whole = 0, rows - 1, history.ending == "completed"
    if judgement.window is not None:
        begin, finish = judgement.window
        first = _row(history, begin)
        ended = _found_row(history, finish)
        if ended is not None and (whole or ended < rows - 1):
            last, whole = min(ended, rows - 1), True
        elif whole:
            last = _row(history, finish)
    asked = np.zeros(rows, dtype=bool)
    asked[first : last + 1] = True
    if not judgement.include_seek:
        for mark in history.marks:
            if mark.kind == "seek":
                asked[mark.row : mark.end] = False
    verdict, note = ("", "") if whole else early_end(history)
    return Window(history, asked, asked & at_rest(history), whole, verdict, note)


def _found_row(history: History, name: str) -> int | None:
    reading = history.reading(name)
    if reading is not None:
        return reading.row
    mark = history.mark(name)
    return None if mark is None else mark.end - 1


def _row(history: History, name: str) -> int:
    """The row at which a step begins or a reading was taken; ``end`` is the last row."""
    if name == "start":
        return 0
    if name == "end":
        return int(history.data.shape[0]) - 1
    reading, mark = history.reading(name), history.mark(name)
    if reading is not None:
        return reading.row
    if mark is not None:
        return mark.row
    verdict, note = early_end(history)
    raise WithheldError(verdict, f"no step or reading {name!r}: {note}")


def at_rest(history: History) -> Mask:
    """True at rows later than 10 s after the last lever move before them.

    The levers of row i act over [t_i, t_i+1), so a difference between rows i-1 and i is a move at t_i. Rows
    before the first move count from the start of the run, when the levers were set.
    """
    rows = history.data.shape[0]
    levers = [i for i, name in enumerate(history.columns) if name in LEVERS]
    moved = np.zeros(rows, dtype=bool)
    moved[:1] = True
    if levers and rows > 1:
        moved[1:] = (np.diff(history.data[:, levers], axis=0) != 0.0).any(axis=1)
    last_move = np.maximum.accumulate(np.where(moved, np.arange(rows), 0))
    rest: Mask = (np.arange(rows) - last_move) > history.grid.rows(SETTLING)
    return rest


def longest(mask: Mask) -> int:
    """Length in rows of the longest unbroken run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0
