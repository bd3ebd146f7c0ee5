"""How far sampled coefficients decide what is found: rank correlations, of samples held in a bounded store."""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from leverproof.campaign.bounded import Least

BUDGET = 1_000_000
"""Numbers held in all, 8 bytes each. Assumption: small beside the libraries a campaign loads."""
FEWEST, MOST = 32, 1 << 20
LEAST_SAMPLES = 10
"""With fewer a correlation of ranks says nothing: at ten, chance alone goes up to 0.65. Assumption."""

Floats = NDArray[np.float64]
Judged = tuple[str, str, str, str]
"""Model, sheet, case, judgement."""
Key = tuple[Judged, tuple[str, ...], str]
"""What was judged, the coefficients' names, the point."""


def ranks(values: Floats) -> Floats:
    """Ranks from 1; equal values share the mean of their ranks."""
    _, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    shared = last - (counts - 1) / 2.0
    out: Floats = shared[place].astype(np.float64)
    return out


def rank_correlation(one: Floats, other: Floats) -> float | None:
    """Spearman's coefficient: the correlation of the ranks; None where either does not vary, or fewer than two pairs.

    Source: C. Spearman, "The proof and measurement of association between two things", Am. J. Psychol. 15 (1904).
    """
    if len(one) < 2:
        return None
    a, b = ranks(one), ranks(other)
    a, b = a - a.mean(), b - b.mean()
    size = math.sqrt(float(a @ a) * float(b @ b))
    return None if size == 0.0 else max(-1.0, min(1.0, float(a @ b) / size))


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """One coefficient against what one judgement found: ``correlation`` is the mean over its points of their rank
    correlations, each weighted by its samples less one; ``least`` and ``greatest`` are those of single points.
    ``beyond_chance`` where the mean is larger than chance gives in any of all the correlations of the summary, at
    95 %."""

    model: str
    sheet: str
    case: str
    judgement: str
    coefficient: str
    correlation: float
    least: float
    greatest: float
    points: int
    samples: int
    beyond_chance: bool


class Samples:
    """Holds, for each judgement at each point, sample numbers, what was found and the coefficients. Where that is too
    much, only samples numbered below a limit are kept: as they are drawn independently, the first are as good as any,
    and which they are does not depend on the order."""

    def __init__(self, budget: int = BUDGET) -> None:
        self._budget, self._held, self.limit = budget, 0, MOST
        self._rows: Least[Key, array[float]] = Least(1 << 62, lambda: array("d"))

    @property
    def left_out(self) -> bool:
        """Whether points were left out for want of room."""
        return self._rows.left_out

    def add(self, judged: Judged, point: str, sample: int, found: float, coefficients: Mapping[str, float]) -> None:
        """Adds one outcome; one that is not finite, or without coefficients, tells nothing and is passed over."""
        if not coefficients or not math.isfinite(found) or not 0 <= sample < self.limit:
            return
        names = tuple(sorted(coefficients))
        row = self._rows.at((judged, names, point))
        if row is None:
            return
        row.append(float(sample))
        row.append(found)
        row.extend(coefficients[name] for name in names)
        self._held += 2 + len(names)
        while self._held > self._budget:
            self._shrink()

    def _shrink(self) -> None:
        if self.limit > FEWEST:
            self.limit //= 2
            self._held = sum(_cut(row, 2 + len(key[1]), self.limit) for key, row in self._rows.items())
        else:
            self._held -= len(self._rows.drop())

    def sensitivities(self) -> tuple[Sensitivity, ...]:
        """All correlations, the largest first."""
        found = [(key, i, self._points(rows, i)) for key, rows in self._grouped() for i in range(len(key[1]))]
        found = [(key, i, points) for key, i, points in found if points]
        if not found:
            return ()
        deviate = NormalDist().inv_cdf(1.0 - 0.025 / len(found))
        out = [_sensitivity(judged, names[i], points, deviate) for (judged, names), i, points in found]
        return tuple(sorted(out, key=_largest))

    def _grouped(self) -> Iterator[tuple[tuple[Judged, tuple[str, ...]], list[Floats]]]:
        """The rows of each judgement, a table a point, in order of the samples' numbers."""
        groups: dict[tuple[Judged, tuple[str, ...]], list[Floats]] = {}
        for (judged, names, _), row in self._rows.items():
            table = np.frombuffer(row, np.float64).reshape(-1, 2 + len(names))
            groups.setdefault((judged, names), []).append(table[np.argsort(table[:, 0], kind="stable")])
        yield from groups.items()

    def _points(self, tables: list[Floats], coefficient: int) -> list[tuple[int, float]]:
        """Samples and correlation of each point that has enough."""
        enough = [table for table in tables if len(table) >= LEAST_SAMPLES]
        told = ((len(t), rank_correlation(t[:, 2 + coefficient], t[:, 1])) for t in enough)
        return [(n, r) for n, r in told if r is not None]


def _cut(row: array[float], width: int, limit: int) -> int:
    """Leaves only samples numbered below ``limit``; how many numbers are left."""
    kept = array("d")
    for start in range(0, len(row), width):
        if row[start] < limit:
            kept.extend(row[start : start + width])
    row[:] = kept
    return len(row)


def _largest(s: Sensitivity) -> tuple[float, str, str, str, str, str]:
    return -abs(s.correlation), s.model, s.sheet, s.case, s.judgement, s.coefficient


def _sensitivity(judged: Judged, name: str, points: list[tuple[int, float]], deviate: float) -> Sensitivity:
    """Under no association Spearman's coefficient has the variance 1 / (n - 1) (M. G. Kendall, Rank Correlation
    Methods, ch. 5); points share their samples, so that several of them are worth no more than the fullest."""
    weights = [n - 1 for n, _ in points]
    mean = math.fsum(w * r for w, (_, r) in zip(weights, points, strict=True)) / sum(weights)
    values = [r for _, r in points]
    most = max(n for n, _ in points)
    return Sensitivity(
        *judged,
        name,
        mean,
        min(values),
        max(values),
        len(points),
        most,
        abs(mean) > deviate / math.sqrt(most - 1),
    )
