"""Where a channel will come to rest, from what it does while the levers are still. Pure. Sums are taken over arrays
for many lanes at once, what is left of each lane after them is worked out in plain floats: that is fastest."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

# The last samples, as many as this, say how noisy a channel is.
ENDS = 12
# Of white noise the second difference has sqrt(6) times the standard deviation.
_SECOND_DIFFERENCE_SQUARED = 6.0
_SLOWEST_RATIO = 0.93
# Fewer different values than this say nothing of a ladder: assumption.
_RUNGS = 5


class Forecast(NamedTuple):
    """``end`` value and its ``doubt`` in the channel's unit; ``lag`` (s), NaN when no single lag shows."""

    end: float
    doubt: float
    lag: float = math.nan


def forecast(trace: Sequence[float], third: int, step_seconds: float) -> Forecast:
    """:func:`forecasts` of one channel. Needs ``3 * third`` samples."""
    samples = np.array([trace], dtype=np.float64)
    return forecasts(samples, third, min(ENDS, len(trace)), step_seconds)[0]


def forecasts(traces: NDArray[np.float64], third: int, ends: int, step_seconds: float) -> list[Forecast]:
    """End values of exponentials through the means of the last three stretches of ``third`` samples of each of
    ``traces``, shape (traces, samples); the last ``ends`` samples show the noise.

    Means of equal stretches of an exponential are a geometric series, so its limit is known from three of
    them (Aitken's delta-squared process). Where the series does not slow down the limit is not known and the
    doubt says so.
    """
    count, size = traces.shape
    sums = np.add.reduce(traces[:, size - 3 * third :].reshape(count, 3, third), axis=2).tolist()
    last = traces[:, size - ends :]
    bends = last[:, :-2] - 2.0 * last[:, 1:-1] + last[:, 2:]
    squares = np.add.reduce(np.square(bends), axis=1).tolist()
    share = max(1, ends - 2) * _SECOND_DIFFERENCE_SQUARED * third
    stretch = third * step_seconds
    return [
        _end(a / third, b / third, c / third, square / share, stretch)
        for (a, b, c), square in zip(sums, squares, strict=True)
    ]


def _end(a: float, b: float, c: float, square: float, stretch: float) -> Forecast:
    """The limit of means ``a``, ``b``, ``c`` of stretches of ``stretch`` seconds, of which noise leaves the variance
    ``square``."""
    if not math.isfinite(a + b + c):
        return Forecast(c, math.inf)
    blur = math.sqrt(square) + 1e-7 * abs(c)
    early, late = b - a, c - b
    if abs(late) <= 4.0 * blur and abs(early) <= 4.0 * blur:
        return Forecast(c, 2.0 * blur)
    ratio = late / early if early else math.inf
    if ratio <= 0.0:
        return Forecast(c, max(abs(early), abs(late)) + 2.0 * blur)
    if ratio >= _SLOWEST_RATIO:
        return Forecast(c + 3.0 * late, 12.0 * abs(late))
    short = 1.0 - ratio
    spread = 2.0 * ratio / (short * short)
    return Forecast(c + late * ratio / short, blur * (2.0 + 3.0 * spread), -stretch / math.log(ratio))


def finer(trace: Sequence[float], step: float) -> bool:
    """Whether two samples in a row are different and no more than ``step`` apart: then no ladder has longer steps, and
    none need be looked for, which costs far more."""
    return any(0.0 < abs(later - earlier) <= step for earlier, later in pairwise(trace))


def ladder_step(trace: Sequence[float]) -> float | None:
    """The distance between the rungs where all samples lie on one ladder of equal steps, as those of a gauge that only
    shows multiples do; 0 where they do not; None where there are too few different ones to tell."""
    levels = sorted(set(trace))
    if len(levels) < _RUNGS or not math.isfinite(levels[-1] - levels[0]):
        return None
    gaps = [high - low for low, high in pairwise(levels)]
    step = min(gaps)
    return step if all(abs(gap - round(gap / step) * step) <= 0.01 * step for gap in gaps) else 0.0


def finest_step(trace: list[float]) -> float:
    """Smallest distance between the few levels that a coarse gauge shows; infinite when it shows one, or so
    many that it is not coarse."""
    if len(set(trace[:14])) > 12:
        return math.inf
    levels = set(trace)
    if len(levels) > 12:
        return math.inf
    return min([b - a for a, b in pairwise(sorted(levels))], default=math.inf)
