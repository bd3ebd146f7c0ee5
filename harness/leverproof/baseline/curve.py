"""A channel of a run kept as few points, in blocks of at most 240: the samples lie within a third of its tolerance of
the lines between them.

Points are taken where the lines would be furthest from the samples, until they are near enough: where a channel rests
a point or two do, and a steep edge gets what it needs. (Recursive subdivision of polylines is common practice; no
published source.)
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence

import numpy as np

from leverproof.baseline.layout import BLOCKS, POINTS
from leverproof.baseline.model import Block
from leverproof.history import Samples

FIDELITY = 1.0 / 3.0
_ROUNDING = FIDELITY / 16.0


def thinned(samples: Samples, tolerance: float) -> tuple[tuple[Block, ...], float]:
    """``samples``, all finite, as blocks, and how far at most any of them lies from the lines between the points.

    That is at most a third of ``tolerance``, unless 960 points are not enough."""
    if samples.size == 0:
        return (), 0.0
    digits = _digits(tolerance)
    rows = _rows(samples, (FIDELITY - _ROUNDING) * tolerance)
    values = [_rounded(float(samples[row]), digits) for row in rows]
    lines = np.interp(np.arange(samples.size), rows, values)
    blocks = tuple(
        Block(tuple(rows[at : at + POINTS]), tuple(values[at : at + POINTS])) for at in range(0, len(rows), POINTS)
    )
    return blocks, float(np.abs(lines - samples).max())


def _digits(tolerance: float) -> int | None:
    """Decimals to which a value is written: rounding is worth less than a sixteenth of what the lines may be off."""
    return None if tolerance <= 0.0 else -math.floor(math.log10(2.0 * _ROUNDING * tolerance))


def _rounded(value: float, digits: int | None) -> float:
    found = value if digits is None else round(value, digits)
    return int(found) if found == math.floor(found) and abs(found) < 1e15 else found


def _rows(samples: Samples, near: float) -> list[int]:
    """Rows of the points, rising: the first and the last, and between them the furthest from the lines so far."""
    if float(np.ptp(samples)) <= near:
        return [0]
    rows = {0, samples.size - 1}
    waiting: list[tuple[float, int, int, int]] = []

    def look(first: int, last: int) -> None:
        apart, row = _furthest(samples, first, last)
        if apart > near:
            heapq.heappush(waiting, (-apart, first, row, last))

    look(0, samples.size - 1)
    while waiting and len(rows) < POINTS * BLOCKS:
        _, first, row, last = heapq.heappop(waiting)
        rows.add(row)
        look(first, row)
        look(row, last)
    return sorted(rows)


def _furthest(samples: Samples, first: int, last: int) -> tuple[float, int]:
    """How far the samples between two rows lie from the line between those, at most, and in which row."""
    if last - first < 2:
        return 0.0, first
    line = np.linspace(samples[first], samples[last], last - first + 1)
    apart = np.abs(samples[first : last + 1] - line)
    row = int(apart.argmax())
    # A line through equal numbers may be off in the last bit, which is nothing to keep a point for.
    floor = 1e-12 * max(1.0, float(np.abs(line[row])))
    return (float(apart[row]), first + row) if apart[row] > floor else (0.0, first)


def points(blocks: Sequence[Block]) -> tuple[Samples, Samples]:
    """Rows and values of a curve as arrays."""
    rows: Samples = np.array([row for block in blocks for row in block.rows], dtype=np.float64)
    values: Samples = np.array([value for block in blocks for value in block.values], dtype=np.float64)
    return rows, values
