"""Roots of monotone rising residuals, a whole array of them at once, each in a bracket of its own."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Residual = Callable[[Array], Array]

SOLVED, BELOW, ABOVE, UNCONVERGED = 0, 1, 2, 3
"""Ending of a point: solved; residual positive already at the lower end; negative at the upper; not converged."""
RUNGS, LOWEST_RUNG, GOLDEN_STEPS = 24, 0.1, 20
"""Points tried under a root that may not be the lowest, from this share of its distance from the lower end; steps of
the search for a summit between them."""


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
        best = work.best()
        share = work.share(best, tolerance)
        done = work.done(share)
        ending[active & done] = SOLVED
        active &= ~done
        if not np.any(active):
            break
        x = work.next(share)
        work.take(x, residual(np.where(active, x, best)), active)
        count += 1
    best = np.where(ending == SOLVED, work.best(), np.nan)
    return Roots(best, ending, count + 1)


def lower_roots(residual: Residual, low: Array, root: Array) -> Roots:
    """The lowest crossing from below to above zero between ``low`` and a known ``root``, which stays where there is
    none; all of shape (points,).

    For residuals that may rise over zero, fall below it and rise again. :data:`RUNGS` points, in equal ratios of their
    distance from ``low``, are tried; between the neighbours of the first that stands above both, the summit is sought
    by golden section, to 1e-4 of its place. So one hump is found unless it hardly touches zero; of several, each needs
    a rung of its own.
    """
    shares = np.geomspace(LOWEST_RUNG, 1.0, RUNGS + 1)
    rungs = low + shares[:, None] * (root - low)
    values = np.stack([residual(rung) for rung in rungs[:-1]] + [np.zeros_like(root)])
    lane = np.arange(root.shape[0])
    summit = np.asarray((values[1:-1] >= values[:-2]) & (values[1:-1] > values[2:]))
    at = 1 + summit.argmax(axis=0)
    peak = _summit(residual, rungs[at - 1, lane], rungs[at + 1, lane], np.asarray(summit.any(axis=0)))
    rungs = np.concatenate([rungs, peak[None]])
    order = rungs.argsort(axis=0)
    rungs = np.take_along_axis(rungs, order, axis=0)
    positive = np.take_along_axis(np.concatenate([values, residual(peak)[None]]), order, axis=0) > 0.0
    known = ~positive.any(axis=0)
    over = positive.argmax(axis=0)
    under = np.where(over > 0, rungs[np.maximum(over - 1, 0), lane], low)
    found = solve(residual, under, np.where(known, root, rungs[over, lane]), stretches=0)
    x = np.where(known, root, found.x)
    ending = np.where(known, SOLVED, found.ending).astype(np.int8)
    return Roots(x, ending, found.evaluations + RUNGS + GOLDEN_STEPS)


def _summit(residual: Residual, a: Array, b: Array, wanted: NDArray[np.bool_]) -> Array:
    """Where the residual is greatest between a and b, by golden section; a where it is not wanted."""
    if not np.any(wanted):
        return a
    first, share = a, 0.5 * (math.sqrt(5.0) - 1.0)
    left, right = b - share * (b - a), a + share * (b - a)
    at_left, at_right = residual(left), residual(right)
    for _ in range(GOLDEN_STEPS):
        lower = at_left > at_right
        a, b = np.where(lower, a, left), np.where(lower, right, b)
        new = np.where(lower, b - share * (b - a), a + share * (b - a))
        at_new = residual(new)
        left, right = np.where(lower, new, right), np.where(lower, left, new)
        at_left, at_right = np.where(lower, at_new, at_right), np.where(lower, at_left, at_new)
    # an unwanted point keeps its first number whatever its neighbours want
    return np.where(wanted, np.where(at_left > at_right, left, right), first)


class _Work:
    """The three points of the method: b the newest, a the other side of the bracket, c the one before."""

    def __init__(self, b: Array, a: Array, fb: Array, fa: Array) -> None:
        self.a, self.b, self.c = a.copy(), b.copy(), a.copy()
        self.fa, self.fb, self.fc = fa.copy(), fb.copy(), fa.copy()
        self.t = np.full(a.shape, 0.5)

    def best(self) -> Array:
        return np.where(np.abs(self.fa) < np.abs(self.fb), self.a, self.b)

    def share(self, best: Array, tolerance: float) -> Array:
        """The tolerance as a share of the bracket."""
        with np.errstate(divide="ignore", invalid="ignore"):
            share: Array = tolerance * np.abs(best) / np.abs(self.b - self.a)
        return np.where(np.isfinite(share), share, 1.0)

    def done(self, share: Array) -> NDArray[np.bool_]:
        zero: NDArray[np.bool_] = (self.fa == 0.0) | (self.fb == 0.0)
        return zero | (share > 0.5)

    def next(self, share: Array) -> Array:
        share = np.minimum(share, 0.5)
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
