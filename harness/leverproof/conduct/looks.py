"""What pilots ask of the rows they have flown, worked out for all lanes that look at one instant.

Every lane is worked out on its own numbers only, in the same order of operations however many others look at the
same time; what is shared is the calling of the array library, which costs more than the arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from leverproof.conduct.forecast import ENDS, Forecast, forecasts
from leverproof.conduct.model import Block
from leverproof.history import Rows, unsteadiness, window_means


@dataclass(frozen=True, slots=True)
class AskSteady:
    """How many times over each watched channel is beyond being steady over the last ``window`` rows. ``columns`` of
    the history; ``bands`` and ``limits`` as in :func:`leverproof.history.unsteadiness`."""

    columns: NDArray[np.intp]
    bands: list[float]
    limits: list[float]
    window: int


class AskRest(NamedTuple):
    """Where one history ``column`` will come to rest: for each of ``looks`` (samples a third, samples ago), with
    ``rows`` known to be at rest."""

    column: int
    rows: int
    step_seconds: float
    looks: tuple[tuple[int, int], ...]


class AskMeans(NamedTuple):
    """Mean and half the spread of every one of ``columns`` over the last ``window`` rows."""

    columns: tuple[str, ...]
    window: int


Means = tuple[dict[str, float], dict[str, float]]
Ask = AskSteady | AskRest | AskMeans
Answer = list[float] | list[Forecast] | Means | None


class Leg(NamedTuple):
    """Blocks flown one after the other before the pilot looks, and what it wants to know then. Without blocks the
    pilot looks once more at the same instant. ``silence`` is how many seconds of wall time nothing is asked of the
    model before the blocks."""

    blocks: list[Block]
    ask: Ask | None
    silence: float = 0.0


Seen = tuple[Rows, Answer]
"""What a lane shows: its history rows up to this instant, the last ten seconds and the leg at least, whose last row
has no inputs yet; and the answer to what was asked (None when nothing was)."""


def answers(asks: Sequence[Ask | None], rows: Sequence[Rows]) -> list[Answer]:
    """The answers to what several lanes ask of their ``rows``, in order."""
    found: list[Answer] = [None] * len(asks)
    steady = [at for at, ask in enumerate(asks) if isinstance(ask, AskSteady)]
    if steady:
        _answer_steady([asks[at] for at in steady], [rows[at] for at in steady], steady, found)  # type: ignore[misc]
    rests = [at for at, ask in enumerate(asks) if isinstance(ask, AskRest)]
    if rests:
        _answer_rest([asks[at] for at in rests], [rows[at] for at in rests], rests, found)  # type: ignore[misc]
    means = [at for at, ask in enumerate(asks) if isinstance(ask, AskMeans)]
    if means:
        _answer_means([asks[at] for at in means], [rows[at] for at in means], means, found)  # type: ignore[misc]
    return found


def _answer_means(asks: Sequence[AskMeans], rows: Sequence[Rows], places: Sequence[int], found: list[Answer]) -> None:
    """One pass for all lanes, whose columns and windows are alike because their stand and their grid are one."""
    columns, window = asks[0]
    windows = np.empty((len(asks), len(columns), window))
    for at, seen in enumerate(rows):
        windows[at] = seen[-window - 1 : -1].T
    for place, means in zip(places, window_means(windows, columns), strict=True):
        found[place] = means


def _answer_steady(asks: Sequence[AskSteady], rows: Sequence[Rows], places: Sequence[int], found: list[Answer]) -> None:
    """One pass for all watched channels of all lanes, whose windows are of one length because their grid is one."""
    window = asks[0].window
    samples = np.concatenate([seen[-window - 1 : -1].T[ask.columns] for ask, seen in zip(asks, rows, strict=True)])
    bands = [band for ask in asks for band in ask.bands]
    limits = [limit for ask in asks for limit in ask.limits]
    times_over = unsteadiness(np.ascontiguousarray(samples, np.float64), bands, limits)
    begin = 0
    for place, ask in zip(places, asks, strict=True):
        end = begin + len(ask.bands)
        found[place] = times_over[begin:end]
        begin = end


def _answer_rest(asks: Sequence[AskRest], rows: Sequence[Rows], places: Sequence[int], found: list[Answer]) -> None:
    """One pass for all looks that take stretches of one length."""
    groups: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for at, ask in enumerate(asks):
        found[places[at]] = [Forecast(0.0, 0.0)] * len(ask.looks)
        for look, (third, ago) in enumerate(ask.looks):
            groups.setdefault((third, min(ask.rows - ago, ENDS)), []).append((at, look))
    for (third, ends), members in groups.items():
        width = max(3 * third, ends)
        traces = np.empty((len(members), width))
        for line, (at, look) in enumerate(members):
            ask = asks[at]
            last = rows[at].shape[0] - ask.looks[look][1]
            traces[line] = rows[at][last - width : last, ask.column]
        seen = forecasts(traces, third, ends, asks[members[0][0]].step_seconds)
        for (at, look), one in zip(members, seen, strict=True):
            answer: list[Forecast] = found[places[at]]  # type: ignore[assignment]
            answer[look] = one
