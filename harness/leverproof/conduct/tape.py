"""What the lanes of a batch were given and have shown so far: float32, in segments never copied while the lanes
fly, laid out as a history is, so that a finished lane is copied in one piece a segment."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from leverproof.history import Rows

SEGMENT_ROWS = 600

Values = NDArray[np.float64]
Lanes = NDArray[np.intp]


class _Segment:
    """Rows [first, first + filled] of the lanes that were active when it began, lane by lane in memory: the outputs
    at the beginning of each row and the inputs over it. The last row has no inputs yet."""

    __slots__ = ("filled", "first", "lanes", "rows", "slots")

    def __init__(self, first: int, lanes: Lanes, columns: int) -> None:
        self.first = first
        self.filled = 0
        self.lanes = lanes
        self.slots = {lane: slot for slot, lane in enumerate(lanes.tolist())}
        self.rows: Rows = np.empty((lanes.size, SEGMENT_ROWS + 1, columns), np.float32)


class Tape:
    """Inputs and outputs of every lane, row by row; ``first`` the outputs at t_0, shape (lanes, outputs)."""

    def __init__(self, first: Rows, inputs: int) -> None:
        self.first = first
        self._inputs = inputs
        self._segments: list[_Segment] = []

    def room(self) -> int:
        """Rows that fit before the next segment begins."""
        if not self._segments or self._segments[-1].filled == SEGMENT_ROWS:
            return SEGMENT_ROWS
        return SEGMENT_ROWS - self._segments[-1].filled

    def put(self, lanes: Lanes, row: int, given: Values, seen: Values) -> bool:
        """Keep what the lanes were given from ``row`` on, shape (n, lanes, inputs), and what they showed, shape
        (n, lanes, outputs); returns whether all shown is finite."""
        segment = self._segment(lanes, row)
        begin, end = segment.filled, segment.filled + seen.shape[0]
        segment.filled = end
        rows, inputs = segment.rows, self._inputs
        whole = lanes.size == segment.lanes.size
        slots = slice(None) if whole else np.searchsorted(segment.lanes, lanes)
        # A value beyond float32 becomes infinite and is found as not finite: its ending, not a warning.
        with np.errstate(over="ignore", invalid="ignore"):
            kept = seen.astype(np.float32)
            rows[slots, begin:end, :inputs] = given.transpose(1, 0, 2)
        rows[slots, begin + 1 : end + 1, inputs:] = kept.transpose(1, 0, 2)
        return bool(np.isfinite(kept).all())

    def _segment(self, lanes: Lanes, row: int) -> _Segment:
        """The segment that takes the next row; a new one begins with what its lanes showed last."""
        last = self._segments[-1] if self._segments else None
        if last is not None and last.filled < SEGMENT_ROWS:
            return last
        new = _Segment(row, lanes.copy(), self._inputs + self.first.shape[1])
        if last is None:
            new.rows[:, 0, self._inputs :] = self.first[lanes]
        else:
            new.rows[:, 0] = last.rows[np.searchsorted(last.lanes, lanes), SEGMENT_ROWS]
        self._segments.append(new)
        return new

    def outputs(self, lane: int, begin: int, end: int) -> Rows:
        """What the lane showed at the ends of rows [begin, end), shape (end - begin, outputs): a view where one
        segment holds them."""
        last = self._segments[-1]
        if begin >= last.first:
            return last.rows[last.slots[lane], begin - last.first + 1 : end - last.first + 1, self._inputs :]
        return np.concatenate(
            [
                s.rows[s.slots[lane], max(0, begin - s.first) + 1 : min(end - s.first, s.filled) + 1, self._inputs :]
                for s in self._segments
                if s.first < end and s.first + s.filled > begin
            ]
        )

    def copy(self, lane: int, data: Rows) -> None:
        """Fill ``data``, shape (rows + 1, inputs + outputs), with the lane's history from t_0 on. Inputs of the last
        row are left out when no row was flown from there."""
        end = data.shape[0] - 1
        data[0, self._inputs :] = self.first[lane]
        for s in self._segments:
            if s.first > end or lane not in s.slots:
                break
            upto = min(end, s.first + s.filled)
            data[s.first : upto + 1] = s.rows[s.slots[lane], : upto + 1 - s.first]

