"""What the lanes of a batch were given and have shown so far: float32, in segments never copied while the lanes
fly, laid out lane by lane as a history is, so that a history within the first segment need not be copied at all."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from leverproof.history import Rows

SEGMENT_ROWS = 600
# Pages of the first segment that nobody writes to cost nothing; this many values bound what is asked for.
FIRST_SEGMENT_VALUES = 50_000_000

Values = NDArray[np.float64]
Lanes = NDArray[np.intp]


class _Segment:
    """Rows [first, first + filled] of the lanes that were active when it began, lane by lane in memory: the outputs
    at the beginning of each row and the inputs over it. The last row has no inputs yet."""

    __slots__ = ("filled", "first", "given", "lanes", "rows", "seen", "size", "slots")

    def __init__(self, first: int, lanes: Lanes, size: int, inputs: int, outputs: int) -> None:
        self.first = first
        self.filled = 0
        self.size = size
        self.lanes = lanes
        self.slots = {lane: slot for slot, lane in enumerate(lanes.tolist())}
        self.rows: Rows = np.empty((lanes.size, size + 1, inputs + outputs), np.float32)
        # The inputs of a row are one thing to move, and so are its outputs: number by number takes twice as long.
        parts = self.rows.view([("given", _whole(inputs)), ("seen", _whole(outputs))])[..., 0]
        self.given, self.seen = parts["given"], parts["seen"]


def _whole(numbers: int) -> str:
    """The type of so many float32 numbers as one item."""
    return f"V{4 * numbers}"


class Tape:
    """Inputs and outputs of every lane, row by row. ``first``: the outputs at t_0, shape (lanes, outputs);
    ``expected``: rows a lane will commonly take; lanes that take more go on in further segments."""

    def __init__(self, first: Rows, inputs: int, expected: int = SEGMENT_ROWS) -> None:
        self.first = first
        self._inputs = inputs
        lanes, outputs = first.shape
        most = FIRST_SEGMENT_VALUES // max(1, lanes * (inputs + outputs))
        self._size: int = max(SEGMENT_ROWS, min(expected, most))
        self._segments: list[_Segment] = []
        self._scratch: Rows = np.empty(0, np.float32)
        self._flags = np.empty(0, np.bool_)

    def room(self) -> int:
        """Rows that fit before the next segment begins."""
        if not self._segments:
            return self._size
        last = self._segments[-1]
        left = last.size - last.filled
        return left or SEGMENT_ROWS

    def put(self, lanes: Lanes, row: int, given: Values, seen: Values) -> bool:
        """Keep what the lanes were given from ``row`` on, shape (n, lanes, inputs), and what they showed, shape
        (n, lanes, outputs); returns whether all shown is finite."""
        segment = self._segment(lanes, row)
        begin, end = segment.filled, segment.filled + seen.shape[0]
        segment.filled = end
        whole = lanes.size == segment.lanes.size
        slots = slice(None) if whole else np.searchsorted(segment.lanes, lanes)
        # A value beyond float32 becomes infinite and is found as not finite: its ending, not a warning.
        with np.errstate(over="ignore", invalid="ignore"):
            kept = self._rounded(given)
            segment.given[slots, begin:end] = kept.view(_whole(kept.shape[2]))[..., 0].T
            kept = self._rounded(seen)
            segment.seen[slots, begin + 1 : end + 1] = kept.view(_whole(kept.shape[2]))[..., 0].T
            if math.isfinite(np.add.reduce(kept, axis=None)):
                # A sum is finite only where all its parts are; it is much the quicker to look at.
                return True
        finite = self._flags[: kept.size].reshape(kept.shape)
        return bool(np.isfinite(kept, out=finite).all())

    def _rounded(self, values: Values) -> Rows:
        """The values as float32, in memory that is used again and again: fresh memory costs more than what is done
        with it."""
        if self._scratch.size < values.size:
            self._scratch = np.empty(2 * values.size, np.float32)
            self._flags = np.empty(2 * values.size, np.bool_)
        rounded = self._scratch[: values.size].reshape(values.shape)
        np.copyto(rounded, values, casting="same_kind")
        return rounded

    def _segment(self, lanes: Lanes, row: int) -> _Segment:
        """The segment that takes the next row; a new one begins with what its lanes showed last."""
        outputs = self.first.shape[1]
        if not self._segments:
            new = _Segment(row, lanes.copy(), self._size, self._inputs, outputs)
            new.rows[:, 0, self._inputs :] = self.first[lanes]
        else:
            last = self._segments[-1]
            if last.filled < last.size:
                return last
            new = _Segment(row, lanes.copy(), SEGMENT_ROWS, self._inputs, outputs)
            new.rows[:, 0] = last.rows[np.searchsorted(last.lanes, lanes), last.size]
        self._segments.append(new)
        return new

    def seen(self, lane: int, since: int) -> Rows:
        """The lane's rows up to now, from ``since`` on at least, shape (rows, inputs + outputs): a view where one
        segment holds them."""
        last = self._segments[-1]
        if since >= last.first or len(self._segments) == 1:
            found: Rows = last.rows[last.slots[lane], : last.filled + 1]
            return found
        parts = [s.rows[s.slots[lane], : s.filled] for s in self._segments[:-1] if s.first + s.filled > since]
        return np.concatenate([*parts, last.rows[last.slots[lane], : last.filled + 1]])

    def history(self, lane: int, end: int) -> Rows:
        """The lane's history up to row ``end``, shape (end + 1, inputs + outputs). Inputs of the last row hold
        nothing when no row was flown from there."""
        begun = self._segments[0] if self._segments else self._segment(np.arange(self.first.shape[0]), 0)
        if end <= begun.filled:
            return begun.rows[begun.slots[lane], : end + 1]
        data = np.empty((end + 1, begun.rows.shape[2]), np.float32)
        for s in self._segments:
            if s.first > end or lane not in s.slots:
                break
            upto = min(end, s.first + s.filled)
            data[s.first : upto + 1] = s.rows[s.slots[lane], : upto + 1 - s.first]
        return data
