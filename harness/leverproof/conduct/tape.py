"""What the lanes of a batch have shown so far: float32, in segments never copied while the lanes fly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from leverproof.history import Rows

SEGMENT_ROWS = 600


class _Segment:
    """Rows [first, first + filled) of the lanes that were active when it began, lane by lane in memory."""

    __slots__ = ("filled", "first", "lanes", "seen", "slots")

    def __init__(self, first: int, lanes: NDArray[np.intp], outputs: int) -> None:
        self.first = first
        self.filled = 0
        self.lanes = lanes
        self.slots = {lane: slot for slot, lane in enumerate(lanes.tolist())}
        self.seen: Rows = np.empty((lanes.size, SEGMENT_ROWS, outputs), np.float32)


class Tape:
    """Outputs at t_i+1 of every lane, row by row; ``first`` the outputs at t_0."""

    def __init__(self, first: Rows) -> None:
        self.first = first
        self._segments: list[_Segment] = []

    def room(self) -> int:
        """Rows that fit before the next segment begins."""
        if not self._segments or self._segments[-1].filled == SEGMENT_ROWS:
            return SEGMENT_ROWS
        return SEGMENT_ROWS - self._segments[-1].filled

    def put(self, lanes: NDArray[np.intp], row: int, seen: NDArray[np.float64]) -> bool:
        """Keep rows from ``row`` on, shape (n, lanes, outputs); returns whether all are finite."""
        # A value beyond float32 becomes infinite and is found as not finite: its ending, not a warning.
        with np.errstate(over="ignore", invalid="ignore"):
            kept = seen.astype(np.float32)
        if not self._segments or self._segments[-1].filled == SEGMENT_ROWS:
            self._segments.append(_Segment(row, lanes.copy(), seen.shape[2]))
        segment = self._segments[-1]
        begin = segment.filled
        segment.filled += seen.shape[0]
        part = slice(begin, segment.filled)
        if lanes.size == segment.lanes.size:
            segment.seen[:, part] = kept.transpose(1, 0, 2)
        else:
            segment.seen[np.searchsorted(segment.lanes, lanes), part] = kept.transpose(1, 0, 2)
        return bool(np.isfinite(kept).all())

    def outputs(self, lane: int, begin: int, end: int) -> Rows:
        """Outputs of rows [begin, end) of a lane, shape (end - begin, outputs): a view where one segment
        holds them."""
        last = self._segments[-1]
        if begin >= last.first:
            return last.seen[last.slots[lane], begin - last.first : end - last.first]
        return np.concatenate(
            [
                s.seen[s.slots[lane], max(0, begin - s.first) : end - s.first]
                for s in self._spanning(begin, end)
            ]
        )

    def copy_outputs(self, lane: int, data: Rows) -> None:
        """Fill ``data``, shape (rows + 1, outputs), with the lane's outputs from t_0 on."""
        rows = data.shape[0] - 1
        data[0] = self.first[lane]
        for s in self._spanning(0, rows):
            end = min(rows, s.first + s.filled)
            data[s.first + 1 : end + 1] = s.seen[s.slots[lane], : end - s.first]

    def _spanning(self, begin: int, end: int) -> list[_Segment]:
        return [s for s in self._segments if s.first < end and s.first + s.filled > begin]
