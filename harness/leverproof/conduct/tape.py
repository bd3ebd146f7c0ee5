"""What a batch of lanes has done so far: float32, in segments that are never copied while the lanes fly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from leverproof.history import Rows

SEGMENT_ROWS = 600


class _Segment:
    """Rows [first, first + filled) of the lanes that were active when it began, lane by lane in memory."""

    __slots__ = ("filled", "first", "given", "lanes", "seen", "slots")

    def __init__(self, first: int, lanes: NDArray[np.intp], columns: tuple[int, int]) -> None:
        self.first = first
        self.filled = 0
        self.lanes = lanes
        self.slots = {lane: slot for slot, lane in enumerate(lanes.tolist())}
        self.given: Rows = np.empty((lanes.size, SEGMENT_ROWS, columns[0]), np.float32)
        self.seen: Rows = np.empty((lanes.size, SEGMENT_ROWS, columns[1]), np.float32)


class Tape:
    """Inputs over [t_i, t_i+1) and outputs at t_i+1 of every lane, row by row; ``first`` the outputs at
    t_0."""

    def __init__(self, first: Rows, inputs: int) -> None:
        self.first = first
        self._columns = (inputs, first.shape[1])
        self._segments: list[_Segment] = []

    def room(self) -> int:
        """Rows that fit before the next segment begins."""
        if not self._segments or self._segments[-1].filled == SEGMENT_ROWS:
            return SEGMENT_ROWS
        return SEGMENT_ROWS - self._segments[-1].filled

    def put(
        self, lanes: NDArray[np.intp], row: int, given: NDArray[np.float64], seen: NDArray[np.float64]
    ) -> bool:
        """Keep rows from ``row`` on, shape (n, lanes, columns); returns whether all outputs are finite."""
        if not self._segments or self._segments[-1].filled == SEGMENT_ROWS:
            self._segments.append(_Segment(row, lanes.copy(), self._columns))
        segment = self._segments[-1]
        begin = segment.filled
        segment.filled += given.shape[0]
        part = slice(begin, segment.filled)
        # A value beyond float32 becomes infinite and is found as not finite: that is its ending, not a
        # warning.
        with np.errstate(over="ignore", invalid="ignore"):
            if lanes.size == segment.lanes.size:
                segment.given[:, part] = given.transpose(1, 0, 2)
                segment.seen[:, part] = seen.transpose(1, 0, 2)
                return bool(np.isfinite(segment.seen[:, part]).all())
            slots = np.searchsorted(segment.lanes, lanes)
            segment.given[slots, part] = given.transpose(1, 0, 2)
            kept = seen.transpose(1, 0, 2).astype(np.float32)
            segment.seen[slots, part] = kept
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

    def history(self, lane: int, rows: int, held: Sequence[float]) -> Rows:
        """The lane's history after ``rows`` rows, shape (rows + 1, inputs + outputs); ``held`` are the inputs
        at its end."""
        inputs = self._columns[0]
        data = np.empty((rows + 1, sum(self._columns)), np.float32)
        for s in self._spanning(0, rows):
            end = min(rows, s.first + s.filled)
            slot = s.slots[lane]
            data[s.first : end, :inputs] = s.given[slot, : end - s.first]
            data[s.first + 1 : end + 1, inputs:] = s.seen[slot, : end - s.first]
        data[0, inputs:] = self.first[lane]
        data[rows, :inputs] = held
        return data

    def _spanning(self, begin: int, end: int) -> list[_Segment]:
        return [s for s in self._segments if s.first < end and s.first + s.filled > begin]
