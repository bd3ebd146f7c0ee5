"""What the gauges of a recording can show: their smallest step, and how late a lever's own read-back is."""

from __future__ import annotations

import numpy as np

from leverproof.stand.port import Array

LEAST_LEVELS = 8
LATEST = 5.0
READ_BACKS = (("throttle", "throttle_position"), ("boost", "boost_position"))
"""At least eight different values before a step is believed, a read-back at most 5 s late: harness choices."""


def smallest_step(values: Array) -> float:
    """The smallest step between values, in their unit, when all of them lie on one ladder of equal steps; 0 when they
    do not or there are too few different ones to tell. Apart by less than 1e-9 of the span counts as equal."""
    seen = np.unique(values[np.isfinite(values)])
    if seen.size < LEAST_LEVELS:
        return 0.0
    gaps = np.diff(seen)
    gaps = gaps[gaps > 1e-9 * (seen[-1] - seen[0])]
    if gaps.size < LEAST_LEVELS - 1:
        return 0.0
    step = float(gaps.min())
    steps = gaps / step
    on_ladder = bool((np.abs(steps - np.round(steps)) < 1e-3 * np.maximum(1.0, steps)).all())
    return step if on_ladder else 0.0


def lateness(lever: Array, read_back: Array, step_seconds: float) -> float | None:
    """Seconds by which a read-back follows its lever: the shift of least squares between the two; None when the lever
    hardly moves or no shift brings them together. Looks at nothing but the lever's own channels."""
    most = min(round(LATEST / step_seconds), lever.size // 2)
    good = np.isfinite(read_back)
    if most < 1 or float(np.ptp(lever)) < 0.1 or not good.all():
        return None
    errors = [float(np.mean((lever[: lever.size - shift] - read_back[shift:]) ** 2)) for shift in range(most + 1)]
    best = int(np.argmin(errors))
    if errors[best] > 0.5 * errors[0] and best:
        return None
    return best * step_seconds
