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
    now = [_piece(h, shared, outputs, 0)[1] for h in usable]
    whole = np.concatenate(now)
    if whole.shape[0] < LEAST_SAMPLES:
        return []
    allowed = SAME * (whole.max(axis=0) - whole.min(axis=0))
    moved = np.array([y.max(axis=0) - y.min(axis=0) if y.size else np.zeros(len(outputs)) for y in now])
    telling = [usable[i] for i in np.unique(moved.argmax(axis=0))]
    step = max(h.grid.step for h in usable)
    found: dict[tuple[str, str], Match] = {}
    for lag in range(0, LONGEST_LAG + 1, step):
        if any(lag % h.grid.step for h in usable) or not _at_lag(telling, shared, outputs, lag, allowed):
            continue
        for match in _at_lag(usable, shared, outputs, lag, allowed):
            found.setdefault((match.copy, match.source), match)
    return list(found.values())


def _discrete(channel: str) -> bool:
    return channel in CHANNELS and bool(CHANNELS[channel].states)


def _at_lag(
    histories: Sequence[History], shared: list[str], outputs: list[str], lag: int, allowed: Matrix
) -> list[Match]:
    """Pairs that fit at one lag with the least-squares gain; no residual may be beyond ``allowed``, by output."""
    pieces = [_piece(h, shared, outputs, lag) for h in histories]
    x = np.concatenate([p[0] for p in pieces])
    y = np.concatenate([p[1] for p in pieces])
    xx, xy, yy = (x * x).sum(axis=0), x.T @ y, (y * y).sum(axis=0)
    gain = xy / np.where(xx > 0.0, xx, 1.0)[:, None]
    left = yy[None, :] - gain * xy
    near = left <= y.shape[0] * allowed[None, :] ** 2 + 1e-12 * yy[None, :]
    near &= allowed[None, :] > 0.0  # an output at rest in all of these runs is a multiple of anything else at rest
    found: list[Match] = []
    for i, j in np.argwhere(near):
        if shared[i] == outputs[j]:
            continue
        worst = float(np.abs(y[:, j] - gain[i, j] * x[:, i]).max(initial=0.0))
        if worst <= allowed[j]:
            found.append(Match(outputs[j], shared[i], float(gain[i, j]), lag / TICKS_PER_SECOND))
    return found


def _piece(history: History, shared: list[str], outputs: list[str], lag: int) -> tuple[Matrix, Matrix]:
    """Some 200 evenly spaced rows of a run: all shared columns ``lag`` ticks earlier, and the outputs."""
    first = history.grid.rows(LONGEST_LAG)
    rows = np.arange(first, history.data.shape[0], max(1, (history.data.shape[0] - first) // SAMPLES_PER_RUN))
    columns = [history.columns.index(c) for c in shared]
    wanted = [history.columns.index(c) for c in outputs]
    x = history.data[rows - history.grid.rows(lag)][:, columns].astype(np.float64)
    y = history.data[rows][:, wanted].astype(np.float64)
    whole = np.isfinite(x).all(axis=1) & np.isfinite(y).all(axis=1)
    return x[whole], y[whole]
