"""Samples taken whenever they were, onto a time grid, in stretches that no gap runs through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.stand.port import Array
from leverproof.stand.recording import Stretch
from leverproof.stand.recording_clean import LEAST_SECONDS, Samples
from leverproof.timegrid import CONTROL_TICKS, TICKS_PER_SECOND, TimeGrid

LONGEST_GAP = 2.0
OWN_STEP = (0.02, 0.5)
MOST_CELLS = 100_000_000
"""Harness choices: 2 s without a value are bridged where the stand file says nothing else; a recording's own step is
the grid where it is from 0.02 s to 0.5 s and divides 0.5 s; 100 million values are the most."""
_SAME_TIME = 1e-6


@dataclass(frozen=True)
class Gridded:
    """The stretches, the grid, how far an instant may be off (s, half-width) and what was cut, in words."""

    grid: TimeGrid
    stretches: tuple[Stretch, ...]
    jitter: float
    warnings: tuple[str, ...]


@dataclass
class _Cut:
    seconds: float = 0.0
    count: int = 0
    short: int = 0
    holes: dict[str, int] = field(default_factory=dict)


def gridded(
    samples: Samples,
    order: Sequence[str],
    *,
    fallback: TimeGrid,
    longest_gap: float,
    delays: Mapping[str, float],
    where: str,
) -> Gridded:
    """``samples`` as stretches whose columns are in ``order``. Continuous channels are interpolated in a straight line,
    discrete ones hold; neither across more than ``longest_gap`` s, where the stretch is cut. A stated delay is taken
    out. Stretches of less than a steadiness window are left out and said.

    Raises :class:`InputError` when the samples lie further apart than that, when nothing is left and when there
    is too much."""
    steps = np.diff(samples.times)[~samples.cuts[1:]]
    steps = steps[steps > 0.0]
    usual = float(np.median(steps)) if steps.size else 0.0
    if not 0.0 < usual <= longest_gap:
        raise InputError(
            f"the samples lie {usual:g} s apart, and nothing is bridged over more than {longest_gap:g} s",
            where,
            "record more often; a longer longest_gap in [recording] makes every instant as doubtful as it is long",
            "recording",
        )
    grid = _own_grid(steps, usual) or fallback
    cut = _Cut()
    stretches: list[Stretch] = []
    cells = 0
    for first, last in _parts(samples, longest_gap, cut):
        for begin, end in _covered(samples, order, (first, last), longest_gap, delays, cut):
            rows = int(np.floor((end - begin) * TICKS_PER_SECOND / grid.step + _SAME_TIME)) + 1
            cells += rows * len(order)
            if cells > MOST_CELLS:
                raise InputError(
                    f"more than {MOST_CELLS:,} values on a grid of {grid.step / TICKS_PER_SECOND:g} s",
                    where,
                    "split the recording into several files",
                    "recording",
                )
            if (rows - 1) * grid.step < LEAST_SECONDS * TICKS_PER_SECOND:
                cut.short += 1
                continue
            stretches.append(_stretch(samples, order, (first, last), (begin, rows), grid, delays))
    if not stretches:
        raise InputError(
            f"no stretch of {LEAST_SECONDS:g} s without a gap of more than {longest_gap:g} s",
            where,
            "record without interruption",
            "recording",
        )
    return Gridded(grid, tuple(stretches), _jitter(steps, grid), _words(cut, longest_gap))


def _own_grid(steps: Array, usual: float) -> TimeGrid | None:
    """The recording's own step where it is even and makes a grid."""
    ticks = round(usual * TICKS_PER_SECOND)
    if not OWN_STEP[0] <= usual <= OWN_STEP[1] or CONTROL_TICKS % ticks:
        return None
    own = ticks / TICKS_PER_SECOND
    even = np.abs(steps - own) <= 0.01 * own
    return TimeGrid(ticks) if float(even.mean()) >= 0.99 else None


def _jitter(steps: Array, grid: TimeGrid) -> float:
    """How much further apart than the grid the samples lie, in 99 of 100 cases: an instant between two of them is not
    known better than that (harness choice)."""
    beyond = float(np.quantile(steps, 0.99)) - grid.step / TICKS_PER_SECOND
    return beyond if beyond > _SAME_TIME else 0.0


def _parts(samples: Samples, longest_gap: float, cut: _Cut) -> list[tuple[int, int]]:
    """Index ranges [first, last] between which the clock has no gap."""
    steps = np.diff(samples.times)
    gaps = steps > longest_gap + _SAME_TIME
    cut.count += int((gaps & ~samples.cuts[1:]).sum())
    cut.seconds += float(steps[gaps & ~samples.cuts[1:]].sum())
    ends = np.flatnonzero(gaps | samples.cuts[1:])
    firsts = [0, *(ends + 1).tolist()]
    lasts = [*ends.tolist(), samples.times.size - 1]
    return [(a, b) for a, b in zip(firsts, lasts, strict=True) if b > a]


def _covered(
    samples: Samples,
    order: Sequence[str],
    part: tuple[int, int],
    longest_gap: float,
    delays: Mapping[str, float],
    cut: _Cut,
) -> list[tuple[float, float]]:
    """Times between which every channel has values no further apart than ``longest_gap``."""
    times = samples.times[part[0] : part[1] + 1]
    begin, end = float(times[0]), float(times[-1])
    holes: list[tuple[float, float]] = []
    for name in order:
        known = times[~np.isnan(samples.values[name][part[0] : part[1] + 1])] - delays.get(name, 0.0)
        if not known.size:
            cut.holes[name] = cut.holes.get(name, 0) + 1
            return []
        begin, end = max(begin, float(known[0])), min(end, float(known[-1]))
        wide = np.flatnonzero(np.diff(known) > longest_gap + _SAME_TIME)
        holes += [(float(known[i]), float(known[i + 1])) for i in wide]
        if wide.size:
            cut.holes[name] = cut.holes.get(name, 0) + int(wide.size)
    found = []
    for left, right in sorted(holes):
        if left > begin:
            found.append((begin, min(left, end)))
        begin = max(begin, right)
    found.append((begin, end))
    return [(a, b) for a, b in found if b > a]


def _stretch(
    samples: Samples,
    order: Sequence[str],
    part: tuple[int, int],
    span: tuple[float, int],
    grid: TimeGrid,
    delays: Mapping[str, float],
) -> Stretch:
    begin, rows = span
    at = begin + np.arange(rows, dtype=np.float64) * (grid.step / TICKS_PER_SECOND)
    data = np.empty((rows, len(order)), dtype=np.float64)
    times = samples.times[part[0] : part[1] + 1]
    for column, name in enumerate(order):
        values = samples.values[name][part[0] : part[1] + 1]
        known = ~np.isnan(values)
        x, y = times[known] - delays.get(name, 0.0), values[known]
        data[:, column] = _held(at, x, y) if CHANNELS[name].states else _straight(at, x, y)
    return Stretch(begin, data)


def _held(at: Array, x: Array, y: Array) -> Array:
    index: NDArray[np.intp] = np.searchsorted(x, at + _SAME_TIME, side="right") - 1
    found: Array = y[np.maximum(index, 0)]
    return np.where(np.isfinite(found), found, np.nan)


def _straight(at: Array, x: Array, y: Array) -> Array:
    """Linear between samples; no number wherever one of the two samples is none."""
    good = np.isfinite(y)
    found: Array = np.interp(at, x, np.where(good, y, 0.0))
    if good.all():
        return found
    spoiled = np.interp(at, x, np.where(good, 0.0, 1.0)) > 1e-9
    return np.where(spoiled, np.nan, found)


def _words(cut: _Cut, longest_gap: float) -> tuple[str, ...]:
    said = []
    if cut.count:
        said.append(f"{cut.count} gaps of more than {longest_gap:g} s, {cut.seconds:.6g} s in all: cut there")
    for name, count in cut.holes.items():
        said.append(f"{name} has no value for more than {longest_gap:g} s in {count} places: cut there")
    if cut.short:
        said.append(f"{cut.short} stretches of less than {LEAST_SECONDS:g} s were left out")
    return tuple(said)
