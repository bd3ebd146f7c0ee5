"""Where a channel will come to rest, from what it does while the levers are still. Pure, plain floats: it is
called for every lane every second, where small arrays would cost more than the engine."""

from __future__ import annotations

import math
from typing import NamedTuple

# Of white noise the second difference has sqrt(6) times the standard deviation.
_SECOND_DIFFERENCE_SQUARED = 6.0
_SLOWEST_RATIO = 0.93


class Forecast(NamedTuple):
    """``end`` value and its ``doubt`` in the channel's unit; ``lag`` (s), NaN when no single lag shows."""

    end: float
    doubt: float
    lag: float = math.nan


def forecast(trace: list[float], third: int, step_seconds: float) -> Forecast:
    """End value of an exponential through the means of the last three stretches of ``third`` samples.

    Means of equal stretches of an exponential are a geometric series, so its limit is known from three of
    them (Aitken's delta-squared process). Where the series does not slow down the limit is not known and the
    doubt says so. Needs ``3 * third`` samples.
    """
    last = len(trace)
    a = sum(trace[last - 3 * third : last - 2 * third]) / third
    b = sum(trace[last - 2 * third : last - third]) / third
    c = sum(trace[last - third :]) / third
    if not math.isfinite(a + b + c):
        return Forecast(c, math.inf)
    ends = trace[-12:]
    square = sum([(p - 2.0 * q + r) ** 2 for p, q, r in zip(ends, ends[1:], ends[2:], strict=False)])
    square /= max(1, len(ends) - 2) * _SECOND_DIFFERENCE_SQUARED * third
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
    lag = -third * step_seconds / math.log(ratio)
    return Forecast(c + late * ratio / short, blur * (2.0 + 3.0 * spread), lag)
