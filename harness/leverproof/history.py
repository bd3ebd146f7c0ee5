"""Histories: every channel on the time grid, the readings taken from them, and the one steadiness rule.

Row ``i`` of a history holds the outputs at t_i and the inputs applied over [t_i, t_i+1). Values are float32,
rounded on receipt, so that judging again from a stored record is bit-identical; readings are float64 means of
those.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid

Rows = NDArray[np.float32]
Samples = NDArray[np.float64]

BEFORE = 4 * TICKS_PER_SECOND
AFTER = 1 * TICKS_PER_SECOND


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What a window of five seconds shows: ``kind`` is ``steady``, ``drifting``, ``oscillating`` or
    ``missing`` (a value that is not finite). ``spread`` and ``remaining`` in the channel's unit;
    ``amplitude`` and ``period`` (s) describe an oscillation."""

    kind: str
    spread: float
    remaining: float
    amplitude: float = 0.0
    period: float = 0.0


def steadiness(samples: Samples, step_seconds: float, *, band: float, remaining_limit: float) -> Steadiness:
    """Whether one channel is steady over a window.

    Steady is: spread (max - min) within ``band`` *and* estimated remaining change within ``remaining_limit``.
    The remaining change is the distance from the window's mean, which is what a reading takes, to the end of
    an exponential through the means of the window's thirds; where the thirds show no slowing down, the change
    over the next ten windows is taken instead. Changes between thirds that noise alone explains count as
    none. The window rule (4 s before to 1 s after) is the snapshot definition of 14 CFR Part 60, Appendix A;
    the remaining-change rule is our own.
    """
    if samples.size == 0 or not np.isfinite(samples).all():
        return Steadiness("missing", math.nan, math.nan)
    held = np.ascontiguousarray(samples)
    ((spread, means),) = _spreads_and_means(held[None, :])
    remaining = _remaining(means, _hidden(held)) if means else spread
    if spread <= band and remaining <= remaining_limit:
        return Steadiness("steady", spread, remaining)
    swings = _oscillation(samples, step_seconds)
    if swings is not None and spread > band:
        return Steadiness("oscillating", spread, remaining, *swings)
    return Steadiness("drifting", spread, remaining)


def unsteadiness(channels: Samples, bands: Sequence[float], remaining_limits: Sequence[float]) -> list[float]:
    """How many times over each row of ``channels``, shape (channels, samples), contiguous, is beyond being steady by
    the rule of :func:`steadiness`: steady is at most 1; infinite where a value is not finite or where nothing is
    allowed and something moves. One pass for all channels, because it is asked often; how noisy a channel is makes a
    difference only where it would otherwise not be steady, and is looked at only there."""
    found = []
    for row, (spread, means) in enumerate(_spreads_and_means(channels)):
        band, limit = bands[row], remaining_limits[row]
        remaining = _remaining(means, 0.0) if means else spread
        if not remaining <= limit and means:
            remaining = _remaining(means, _hidden(channels[row]))
        wide = spread / band if band > 0.0 else times_over(spread, band)
        far = remaining / limit if limit > 0.0 else times_over(remaining, limit)
        found.append(max(wide, far) if math.isfinite(wide + far) else math.inf)
    return found


def times_over(value: float, allowed: float) -> float:
    """``value`` as a multiple of what is allowed."""
    if allowed > 0.0:
        return value / allowed
    return 0.0 if value == 0.0 else math.inf


def _spreads_and_means(channels: Samples) -> list[tuple[float, Sequence[float]]]:
    """Spread, and means of the thirds, of each row of ``channels``, shape (channels, samples), contiguous. Where
    there are no three samples the means are such that all of the spread remains. Reductions are arrays, the few
    numbers left after them plain floats: that is fastest."""
    count, size = channels.shape
    spreads = (np.maximum.reduce(channels, axis=1) - np.minimum.reduce(channels, axis=1)).tolist()
    third = size // 3
    if third == 0:
        return [(spread, ()) for spread in spreads]
    parts = channels[:, size - 3 * third :].reshape(count, 3, third)
    means = (np.add.reduce(parts, axis=2) / third).tolist()
    return list(zip(spreads, means, strict=True))


def _hidden(samples: Samples) -> float:
    """The change between means of thirds that noise alone explains: white noise of standard deviation s gives second
    differences of standard deviation s * sqrt(6) and differences of stretch means of s * sqrt(2 / stretch), and three
    of the latter count as no change."""
    third = samples.size // 3
    bends = samples[2:] - 2.0 * samples[1:-1] + samples[:-2]
    square = float(np.einsum("i,i->", bends, bends))
    return math.sqrt(18.0 * square / (6.0 * max(1, samples.size - 2) * third))


def _remaining(means: Sequence[float], hidden: float) -> float:
    """Distance from a window's mean to where the channel will come to rest, from the means of its thirds.

    Means over equal stretches of an exponential are a geometric series; what is left of it after the last
    stretch follows from two differences. Changes of no more than ``hidden`` are noise.
    """
    first, middle, last = means
    hidden += 1e-7 * abs(last)
    early, late = middle - first, last - middle
    if abs(late) <= hidden and abs(early) <= hidden:
        return 0.0
    ratio = late / early if early else math.inf
    if ratio >= 0.95:
        return abs(late) * 30.0
    to_come = late * ratio / (1.0 - ratio) if ratio > 0.0 else 0.0
    return max(abs(last + to_come - (first + middle + last) / 3.0), abs(to_come))


def _oscillation(samples: Samples, step_seconds: float) -> tuple[float, float] | None:
    """Amplitude and period (s) when the detrended window swings through its middle at least three times and
    the swing is more than half of what the channel does. The period is twice the mean time between
    passages."""
    index = np.arange(samples.size)
    flat = samples - np.polyval(np.polyfit(index, samples, 1), index)
    amplitude = float(flat.max() - flat.min()) / 2.0
    if amplitude == 0.0 or 4.0 * amplitude < float(samples.max() - samples.min()):
        return None
    clear = np.flatnonzero(np.abs(flat) >= 0.2 * amplitude)
    side = np.sign(flat[clear])
    turns = np.flatnonzero(side[1:] != side[:-1])
    if turns.size < 3:
        return None
    passages = (clear[turns] + clear[turns + 1]) / 2.0
    return amplitude, float(2.0 * step_seconds * (passages[-1] - passages[0]) / (turns.size - 1))


@dataclass(frozen=True, slots=True)
class Mark:
    """A named place in a history: the step ``kind`` that began at ``row`` and ended before ``end``; ``name``
    is the step's own name or "" ; ``lever`` and ``ending`` for a seek; ``note`` in plain words."""

    kind: str
    row: int
    end: int
    name: str = ""
    lever: str = ""
    ending: str = ""
    target: float = math.nan
    channel: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """A stabilised point: mean of every channel from 4 s before to 1 s after ``row`` (float64, canonical
    units).

    ``scatter`` is half the spread of each channel in that window; ``unsteady`` maps channels that were asked
    to be steady and were not to what was seen; ``gauge`` is the smallest step of each channel read off a gauge that
    has one; ``placing`` the standard uncertainty of each channel from levers set by hand beside their places, NaN
    where it could not be determined. Of numbers written down by a person: ``parts`` is further standard uncertainties
    of each channel by what they come from, ``lost`` why a channel has no number."""

    name: str
    row: int
    values: dict[str, float]
    scatter: dict[str, float]
    unsteady: dict[str, Steadiness] = field(default_factory=dict)
    gauge: dict[str, float] = field(default_factory=dict)
    placing: dict[str, float] = field(default_factory=dict)
    parts: dict[str, dict[str, float]] = field(default_factory=dict)
    lost: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class History:
    """Every channel of one run. ``columns`` names the columns of ``data`` (rows, columns), inputs first.

    ``ending`` is ``completed``, or why the run ended early: ``invalid`` (with ``trouble`` in words),
    ``crash``, ``hang``, ``protocol``, ``refused``, ``interrupted``, ``not run``. ``noted`` is true where a person wrote
    readings down: then there are readings and marks, and no rows.

    ``jitter`` is how far an instant may be from where its row says (s, half-width) where the model ran on its own
    clock; NaN where nobody saw that clock."""

    grid: TimeGrid
    columns: tuple[str, ...]
    data: Rows
    marks: tuple[Mark, ...] = ()
    readings: tuple[Reading, ...] = ()
    ending: str = "completed"
    trouble: str = ""
    jitter: float = 0.0
    noted: bool = False

    def column(self, name: str) -> Samples:
        """One channel over the run, float64, canonical unit. KeyError when the history does not hold it."""
        if name not in self.columns:
            raise KeyError(name)
        found: Samples = self.data[:, self.columns.index(name)].astype(np.float64)
        return found

    def has(self, name: str) -> bool:
        """Whether the history holds the channel."""
        return name in self.columns

    def seconds(self) -> Samples:
        """Times of the rows in seconds."""
        return np.arange(self.data.shape[0], dtype=np.float64) * (self.grid.step / TICKS_PER_SECOND)

    def reading(self, name: str) -> Reading | None:
        """The reading of that name, or None when the run ended before it."""
        return next((r for r in self.readings if r.name == name), None)

    def mark(self, name: str) -> Mark | None:
        """The mark of that name."""
        return next((m for m in self.marks if m.name == name), None)


def window_means(windows: Samples, columns: tuple[str, ...]) -> list[tuple[dict[str, float], dict[str, float]]]:
    """Mean and half the spread of every channel over each of several windows, shape (windows, columns, samples).

    The windows must be contiguous: the last bit of a mean depends on memory order, which must not depend on where the
    samples come from or how many windows are looked at together."""
    means = (np.add.reduce(windows, axis=2) / windows.shape[2]).tolist()
    halves = ((np.maximum.reduce(windows, axis=2) - np.minimum.reduce(windows, axis=2)) / 2.0).tolist()
    return [
        (dict(zip(columns, mean, strict=True)), dict(zip(columns, half, strict=True)))
        for mean, half in zip(means, halves, strict=True)
    ]


def take_reading(
    history_rows: Rows,
    columns: tuple[str, ...],
    grid: TimeGrid,
    row: int,
    *,
    name: str,
    watch: dict[str, float],
    at: int | None = None,
) -> Reading:
    """The reading at ``row``, which the history calls ``at`` where ``history_rows`` are a part of it; needs 4 s of
    rows before and 1 s after. ``watch`` maps each channel that must
    be steady to the largest remaining change allowed (canonical unit).

    The row 1 s after is not in the window: its inputs may already be those of the next step."""
    rows = history_rows[row - grid.rows(BEFORE) : row + grid.rows(AFTER)]
    window: Samples = np.ascontiguousarray(rows.T, dtype=np.float64)
    ((values, scatter),) = window_means(window[None], columns)
    step = grid.step / TICKS_PER_SECOND
    unsteady: dict[str, Steadiness] = {}
    for channel_name in [c for c in watch if c in columns]:
        seen = steadiness(
            window[columns.index(channel_name)],
            step,
            band=CHANNELS[channel_name].band,
            remaining_limit=watch[channel_name],
        )
        if seen.kind != "steady":
            unsteady[channel_name] = seen
    return Reading(name, row if at is None else at, values, scatter, unsteady)
