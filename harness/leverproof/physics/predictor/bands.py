"""Weighted medians and bands over samples, with the share of samples that have a number at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from leverproof.physics.predictor.coefficients import Array

LOW, HIGH = 0.05, 0.95
LEAST_SHARE = 0.05
"""Weight of solved samples below which no band is given."""


@dataclass(frozen=True, slots=True)
class Band:
    """Median and 5-95 % band over the samples that have a number; ``share`` is their weight, 0 to 1. All NaN when
    that is under :data:`LEAST_SHARE`."""

    median: float
    low: float
    high: float
    share: float


def quantiles(values: Array, weights: Array, levels: tuple[float, ...]) -> list[float]:
    """Weighted quantiles of finite ``values``, midpoint rule, both of shape (n,)."""
    order = np.argsort(values, kind="stable")
    heavy = weights[order]
    at = (np.cumsum(heavy) - 0.5 * heavy) / heavy.sum()
    return [float(np.interp(level, at, values[order])) for level in levels]


def band(values: Array, weights: Array) -> Band:
    """Band over samples, ``values`` and ``weights`` broadcast to one shape and flattened."""
    flat, heavy = (np.ravel(a) for a in np.broadcast_arrays(values, weights))
    good = np.isfinite(flat) & (heavy > 0.0)
    share = float(heavy[good].sum() / heavy.sum())
    if share < LEAST_SHARE:
        return Band(np.nan, np.nan, np.nan, share)
    median, low, high = quantiles(flat[good], heavy[good], (0.5, LOW, HIGH))
    return Band(median, low, high, share)
