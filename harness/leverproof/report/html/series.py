"""Histories thinned for a plot: at most 480 points a channel, full resolution around judged instants.

A stretch of samples gives its least and its greatest value in the order in which they occur, so that no peak is lost
whatever its width; the page says so. All channels of a run share their instants.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leverproof.history import History, Rows
from leverproof.timegrid import TICKS_PER_SECOND

Timed = tuple[NDArray[np.float64], NDArray[np.float64]]
POINTS = 480
AROUND = 5 * TICKS_PER_SECOND
LEVELS = 65_534
MISSING = 65_535


@dataclass(frozen=True, slots=True)
class Thinned:
    """``rows`` says where on the time grid each point lies, ``data`` holds (points, channels); ``size`` samples make a
    stretch, ``whole`` are the stretches [first, last) kept sample by sample."""

    rows: NDArray[np.int64]
    data: Rows
    size: int
    whole: tuple[tuple[int, int], ...] = ()


def windows(history: History, instants: Iterable[int]) -> tuple[tuple[int, int], ...]:
    """The rows [first, last) within five seconds of each instant (a row), joined where they overlap."""
    reach = max(1, AROUND // history.grid.step)
    total = history.data.shape[0]
    out: list[tuple[int, int]] = []
    for row in sorted(instants):
        first, last = max(0, row - reach), min(total, row + reach + 1)
        if first >= last:
            continue
        if out and first <= out[-1][1]:
            out[-1] = (out[-1][0], max(last, out[-1][1]))
        else:
            out.append((first, last))
    return tuple(out)


def thinned(data: Rows, *, points: int = POINTS, keep: Sequence[tuple[int, int]] = ()) -> Thinned:
    """``data``, shape (rows, channels), as at most ``points`` instants (an even number), and every row of the
    stretches that touch ``keep`` beside."""
    total = data.shape[0]
    if total <= points:
        return Thinned(np.arange(total), data, 1)
    size = -(-total // (points // 2))
    count = -(-total // size)
    padded = np.concatenate([data, np.repeat(data[-1:], count * size - total, axis=0)])
    cut = padded.reshape(count, size, data.shape[1])
    least, greatest = cut.argmin(axis=1), cut.argmax(axis=1)
    early, late = np.minimum(least, greatest), np.maximum(least, greatest)
    pair = np.stack([early, late], axis=1)
    values = np.take_along_axis(cut, pair, axis=1)
    starts = np.arange(count) * size
    flagged = np.zeros(count, dtype=bool)
    for first, last in keep:
        flagged[first // size : -(-last // size)] = True
    rows = np.minimum(np.stack([starts, starts + size - 1], axis=1), total - 1)[~flagged].reshape(-1)
    full = (starts[flagged, None] + np.arange(size)).reshape(-1)
    full = full[full < total]
    everywhere = np.concatenate([rows, full])
    order = np.argsort(everywhere, kind="stable")
    together = np.concatenate([values[~flagged].reshape(-1, data.shape[1]), data[full]])
    return Thinned(everywhere[order], together[order], size, _stretches(flagged))


def _stretches(flagged: NDArray[np.bool_]) -> tuple[tuple[int, int], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flagged, [False]]).astype(np.int8)))
    return tuple((int(a), int(b)) for a, b in edges.reshape(-1, 2))


def packed(history: History, keep: Sequence[tuple[int, int]] = ()) -> dict[str, Any]:
    """A history for the page: per channel 16-bit numbers between its least and greatest value (one part in 65,534), in
    base64, little-endian; a channel that never moves is one number, a value that is not finite is missing."""
    drawn = thinned(history.data, keep=keep)
    step = history.grid.step / TICKS_PER_SECOND
    channels = {name: _channel(drawn.data[:, index]) for index, name in enumerate(history.columns)}
    return {
        "n": history.data.shape[0],
        "step": step,
        "size": drawn.size,
        "whole": drawn.whole,
        "channels": channels,
    }


def _channel(values: Rows) -> Any:
    finite = np.isfinite(values)
    if not finite.any():
        return {"flat": None}
    shown = values.astype(np.float64)
    low, high = float(shown[finite].min()), float(shown[finite].max())
    if low == high and finite.all():
        return {"flat": low}
    scale = LEVELS / (high - low) if high > low else 0.0
    levels = np.full(values.shape, MISSING, dtype="<u2")
    levels[finite] = np.rint((shown[finite] - low) * scale).astype("<u2")
    return {"low": low, "high": high, "b": base64.b64encode(levels.tobytes()).decode("ascii")}


def seconds_of(history: History) -> NDArray[np.float64]:
    """When each row of a history is, in seconds since its start."""
    return np.arange(history.data.shape[0], dtype=np.float64) * (history.grid.step / TICKS_PER_SECOND)


def difference(one: Timed, first: Timed) -> Timed:
    """``one`` less ``first`` at equal time, at the instants of the one with fewer, where both are known. Each is its
    seconds and its values."""
    times = (one if one[0].size <= first[0].size else first)[0]
    low, high = max(one[0][0], first[0][0]), min(one[0][-1], first[0][-1])
    times = times[(times >= low) & (times <= high)]
    return times, np.interp(times, *one) - np.interp(times, *first)
