"""Roots of monotone rising residuals, a whole array of them at once, each in a bracket of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.physics.predictor.coefficients import Array

Residual = Callable[[Array], Array]

SOLVED, BELOW, ABOVE, UNCONVERGED = 0, 1, 2, 3
"""Ending of a point: solved; residual positive already at the lower end; negative at the upper; not converged."""


@dataclass(frozen=True, slots=True)
class Roots:
    """``x`` is NaN wherever ``ending`` is not :data:`SOLVED`; ``evaluations`` counts residual calls."""

    x: Array
    ending: NDArray[np.int8]
    evaluations: int


def widened(residual: Residual, low: Array, high: Array, *, factor: float, times: int) -> tuple[Array, Array, int]:
    """An upper end per point whose residual is positive, and that residual, by stretching the bracket."""
    value = residual(high)
    count = 1
    for _ in range(times):
        short = value < 0.0
        if not np.any(short):
            break
        high = np.where(short, low + (high - low) * factor, high)
        value = residual(high)
        count += 1
    return high, value, count


def solve(
    residual: Residual,
    low: Array,
    high: Array,
    *,
    tolerance: float = 1e-12,
    stretch: float = 2.0,
    stretches: int = 8,
    limit: int = 80,
) -> Roots:
    """Roots of a ``residual`` that rises with x, between ``low`` and ``high``, which is stretched where needed.

    Chandrupatla's method (T. R. Chandrupatla, Advances in Engineering Software 28, 1997): inverse quadratic where
    it is safe, else bisection, so no point ever leaves its bracket. ``tolerance`` is relative to x. A point that
    has converged is frozen: its number does not depend on its neighbours. Never raises for a point without a root.
    """
    low, high = np.broadcast_arrays(np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64))
    at_low = residual(low)
    high, at_high, count = widened(residual, low, high, factor=stretch, times=stretches)
    shape = np.broadcast_shapes(low.shape, np.shape(at_low))
    low, high, at_low, at_high = (np.array(np.broadcast_to(a, shape)) for a in (low, high, at_low, at_high))
    ending = np.where(at_low > 0.0, BELOW, np.where(at_high < 0.0, ABOVE, UNCONVERGED)).astype(np.int8)
    ending[~(np.isfinite(at_low) & np.isfinite(at_high))] = UNCONVERGED
    work = _Work(high, low, at_high, at_low)
    active = ending == UNCONVERGED
    active &= np.isfinite(at_low) & np.isfinite(at_high)
    for _ in range(limit):
        done = work.done(tolerance)
        ending[active & done] = SOLVED
        active &= ~done
        if not np.any(active):
            break
        x = work.next(tolerance)
        work.take(x, residual(np.where(active, x, work.best())), active)
        count += 1
    best = np.where(ending == SOLVED, work.best(), np.nan)
    return Roots(best, ending, count + 1)


class _Work:
    """The three points of the method: b the newest, a the other side of the bracket, c the one before."""

    def __init__(self, b: Array, a: Array, fb: Array, fa: Array) -> None:
        self.a, self.b, self.c = a.copy(), b.copy(), a.copy()
        self.fa, self.fb, self.fc = fa.copy(), fb.copy(), fa.copy()
        self.t = np.full(a.shape, 0.5)

    def best(self) -> Array:
        return np.where(np.abs(self.fa) < np.abs(self.fb), self.a, self.b)

    def _share(self, tolerance: float) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):
            share: Array = tolerance * np.abs(self.best()) / np.abs(self.b - self.a)
        return np.where(np.isfinite(share), share, 1.0)

    def done(self, tolerance: float) -> NDArray[np.bool_]:
        zero: NDArray[np.bool_] = (self.fa == 0.0) | (self.fb == 0.0)
        return zero | (self._share(tolerance) > 0.5)

    def next(self, tolerance: float) -> Array:
        share = np.minimum(self._share(tolerance), 0.5)
        t = np.clip(self.t, share, 1.0 - share)
        step: Array = self.a + t * (self.b - self.a)
        return step

    def take(self, x: Array, f: Array, active: NDArray[np.bool_]) -> None:
        same = np.sign(f) == np.sign(self.fa)
        c = np.where(same, self.a, self.b)
        fc = np.where(same, self.fa, self.fb)
        b = np.where(same, self.b, self.a)
        fb = np.where(same, self.fb, self.fa)
        for name, new in (("a", x), ("b", b), ("c", c), ("fa", f), ("fb", fb), ("fc", fc)):
            setattr(self, name, np.where(active, new, getattr(self, name)))
        self.t = self._ratio()

    def _ratio(self) -> Array:
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            xi = (self.a - self.b) / (self.c - self.b)
            phi = (self.fa - self.fb) / (self.fc - self.fb)
            safe = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
            quadratic = self.fa / (self.fb - self.fa) * self.fc / (self.fb - self.fc) + (self.c - self.a) / (
                self.b - self.a
            ) * self.fa / (self.fc - self.fa) * self.fb / (self.fc - self.fb)
        return np.where(safe & np.isfinite(quadratic), quadratic, 0.5)
