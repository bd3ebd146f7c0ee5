"""Copied channels: an output that is another channel times a constant, at a fixed lag, in every run.

A model that feeds two gauges from one number would pass many single checks; over all runs of a session an
exact proportion between two moving channels is not how an engine behaves, except for the identities listed
here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.history import History
from leverproof.judge.words import amount, number
from leverproof.timegrid import TICKS_PER_SECOND

LONGEST_LAG = 2 * TICKS_PER_SECOND
SAME = 1e-4
SAMPLES_PER_RUN = 200
LEAST_SAMPLES = 50
WITHOUT_TURBO = ("unsupercharged", "geared_one_speed", "geared_two_speed")

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Match:
    """``copy`` = gain x ``source`` delayed by ``lag`` seconds, in all samples looked at."""

    copy: str
    source: str
    gain: float
    lag: float


@dataclass(frozen=True, slots=True)
class _Sampled:
    """Rows of a run to look at: places of the shared columns, the outputs there, and where those are finite."""

    history: History
    shared: NDArray[np.intp]
    rows: NDArray[np.intp]
    y: Matrix
    finite: NDArray[np.bool_]


def copied_channels(histories: Sequence[History], live: frozenset[str], arrangement: str) -> dict[str, str]:
    """Each copied output and what it is a copy of, in words. Only outputs that moved are looked at; an output
    that a legitimate identity explains is none. Of two equal outputs the one later in the list of channels is
    named."""
    matches = _matches(histories, live)
    explained = {m.copy for m in matches if legitimate(m.copy, m.source, arrangement)}
    found: dict[str, str] = {}
    for match in matches:
        if match.copy in explained or match.copy in found:
            continue
        if _is_output(match.source) and _rank(match.source) > _rank(match.copy):
            continue
        lag = f", lag {amount(match.lag, 's')}" if match.lag else ""
        found[match.copy] = f"{match.source} (gain {number(match.gain)}{lag})"
    return found


def legitimate(copy: str, source: str, arrangement: str) -> bool:
    """Whether the two may be proportional in an honest model: positions read back, the surroundings, torque
    at one crankshaft speed, and, where no turbo stands between them, what is open to the air."""
    pair = {copy, source}
    known = [
        {"throttle_position", "throttle"},
        {"boost_position", "boost"},
        {"torque", "brake_power"},
    ]
    if arrangement in WITHOUT_TURBO:
        open_air = ("carburettor_deck_pressure", "exhaust_back_pressure", "ambient_pressure")
        if pair <= set(open_air) or pair == {"carburettor_air_temperature", "ambient_temperature"}:
            return True
    return pair in known or copy.startswith("ambient_") or copy == "true_airspeed"


def _is_output(channel: str) -> bool:
    return CHANNELS[channel].kind == "reading" if channel in CHANNELS else True


def _rank(channel: str) -> int:
    """Place in the list of channels; what an engine only follows (the air, its levers read back) comes
    first."""
    if channel.startswith("ambient_") or channel.endswith("_position"):
        return -1
    return list(CHANNELS).index(channel) if channel in CHANNELS else len(CHANNELS)


def _matches(histories: Sequence[History], live: frozenset[str]) -> list[Match]:
    """All matches, shortest lag first, sources in column order.

    Every lag is first tried on the runs in which some output moves most; only a pair that fits there, with the
    residual allowed over all runs, is tried on all of them.
    """
    usable = [h for h in histories if h.data.shape[0] > 2 * h.grid.rows(LONGEST_LAG)]
    if not usable:
        return []
    shared = [c for c in usable[0].columns if all(h.has(c) for h in usable)]
    outputs = [c for c in shared if _is_output(c) and c in live and not _discrete(c)]
    if not outputs:
        return []
    sampled = [_sampled(h, shared, outputs) for h in usable]
    now = [_piece(s, 0)[1] for s in sampled]
    whole = np.concatenate(now)
    if whole.shape[0] < LEAST_SAMPLES:
        return []
    allowed = SAME * (whole.max(axis=0) - whole.min(axis=0))
    moved = np.array([y.max(axis=0) - y.min(axis=0) if y.size else np.zeros(len(outputs)) for y in now])
    telling = [sampled[i] for i in sorted(set(moved.argmax(axis=0).tolist()))]
    step = max(h.grid.step for h in usable)
    found: dict[tuple[str, str], Match] = {}
    for lag in range(0, LONGEST_LAG + 1, step):
        if any(lag % h.grid.step for h in usable) or not _at_lag(telling, shared, outputs, lag, allowed):
            continue
        for match in _at_lag(sampled, shared, outputs, lag, allowed):
            found.setdefault((match.copy, match.source), match)
    return list(found.values())


def _discrete(channel: str) -> bool:
    return channel in CHANNELS and bool(CHANNELS[channel].states)


def _at_lag(runs: Sequence[_Sampled], shared: list[str], outputs: list[str], lag: int, allowed: Matrix) -> list[Match]:
    """Pairs that fit at one lag with the least-squares gain; no residual may be beyond ``allowed``, by output."""
    pieces = [_piece(run, lag) for run in runs]
    # Run by run: products this small are left to one thread, which costs less and gives the same sum everywhere.
    xx, xy, yy = (sum(parts) for parts in zip(*(_products(x, y) for x, y in pieces), strict=True))
    gain = xy / np.where(xx > 0.0, xx, 1.0)[:, None]
    left = yy[None, :] - gain * xy
    near = left <= sum(y.shape[0] for _, y in pieces) * allowed[None, :] ** 2 + 1e-12 * yy[None, :]
    near &= allowed[None, :] > 0.0  # an output at rest in all of these runs is a multiple of anything else at rest
    found: list[Match] = []
    if not near.any():
        return found
    x, y = (np.concatenate(side) for side in zip(*pieces, strict=True))
    for i, j in np.argwhere(near):
        if shared[i] == outputs[j]:
            continue
        worst = float(np.abs(y[:, j] - gain[i, j] * x[:, i]).max(initial=0.0))
        if worst <= allowed[j]:
            found.append(Match(outputs[j], shared[i], float(gain[i, j]), lag / TICKS_PER_SECOND))
    return found


def _products(x: Matrix, y: Matrix) -> tuple[Matrix, Matrix, Matrix]:
    """Sums of squares and of products over the rows."""
    return np.einsum("ij,ij->j", x, x), x.T @ y, np.einsum("ij,ij->j", y, y)


def _sampled(history: History, shared: list[str], outputs: list[str]) -> _Sampled:
    """Some 200 evenly spaced rows of a run, with as much before the first as the longest lag."""
    first = history.grid.rows(LONGEST_LAG)
    rows = np.arange(first, history.data.shape[0], max(1, (history.data.shape[0] - first) // SAMPLES_PER_RUN))
    place = {name: column for column, name in enumerate(history.columns)}
    wanted = [place[c] for c in outputs]
    y = history.data[rows][:, wanted].astype(np.float64)
    return _Sampled(history, np.array([place[c] for c in shared]), rows, y, np.asarray(np.isfinite(y).all(axis=1)))


def _piece(run: _Sampled, lag: int) -> tuple[Matrix, Matrix]:
    """All shared columns ``lag`` ticks earlier, and the outputs."""
    x = run.history.data[run.rows - run.history.grid.rows(lag)][:, run.shared].astype(np.float64)
    whole = np.isfinite(x).all(axis=1) & run.finite
    return (x, run.y) if whole.all() else (x[whole], run.y[whole])
