"""When things happen in a history: crossings between rows, states by their row."""

from __future__ import annotations

import math

import numpy as np

from leverproof.cases.model import Event, Ref
from leverproof.channels import CHANNELS
from leverproof.history import Samples
from leverproof.judge.evidence import (
    RECTANGULAR,
    Evidence,
    WithheldError,
    early_end,
    finite,
    history_of,
    reading_of,
    samples_of,
    value_at,
)
from leverproof.judge.model import Doubt
from leverproof.timegrid import TICKS_PER_SECOND


def first_crossing(samples: Samples, level: float, *, rising: bool, first: int = 0) -> float | None:
    """Row, with its fraction, at which the samples first go through ``level`` in that direction from row
    ``first`` on: from short of it to at or beyond it, linear between rows. None when they never do."""
    part = samples[first:] if rising else -samples[first:]
    mark = level if rising else -level
    hits = np.flatnonzero((part[:-1] < mark) & (part[1:] >= mark))
    if hits.size == 0:
        return None
    i = int(hits[0])
    return first + i + float((mark - part[i]) / (part[i + 1] - part[i]))


def event_time(evidence: Evidence, event: Event, run: str) -> float | None:
    """Seconds at which an event first happens in a run; None when it never does."""
    history = history_of(evidence, run)
    samples = finite(samples_of(history, event.channel), event.channel)
    row: float | None
    if event.state:
        wanted = CHANNELS[event.channel].states.index(event.state)
        is_there = samples == wanted
        begins = np.flatnonzero(is_there[1:] & ~is_there[:-1]) + 1
        row = float(begins[0]) if begins.size else None
    elif event.fraction is not None and event.between is not None:
        a, b = (value_at(evidence, Ref(run, name), event.channel) for name in event.between)
        start = reading_of(evidence, Ref(run, event.between[0])).row
        row = first_crossing(samples, a + event.fraction * (b - a), rising=b > a, first=start)
    elif event.direction in ("rising", "falling"):
        level = evidence.expected(f"event:{event.name}").value
        row = first_crossing(samples, level, rising=event.direction == "rising")
    else:
        raise WithheldError("error", f"the event {event.name!r} says neither what to cross nor which way")
    if row is None and history.ending != "completed":
        verdict, note = early_end(history)
        raise WithheldError(verdict, f"{event.name!r} had not happened when the run ended: {note}")
    return None if row is None else row * history.grid.step / TICKS_PER_SECOND


def grid_doubt(evidence: Evidence, run: str) -> tuple[Doubt, ...]:
    """Doubt of an instant: one grid step as a half-width, u = step / sqrt(3), and the jitter of the clock
    where the model keeps its own."""
    history = history_of(evidence, run)
    step = history.grid.step / TICKS_PER_SECOND
    grid = Doubt("grid step", step / RECTANGULAR, "one grid step")
    jitter = evidence.facts.jitter + history.jitter
    if jitter == 0.0:
        return (grid,)
    return (
        grid,
        Doubt("jitter", jitter / RECTANGULAR if math.isfinite(jitter) else None, "the model's clock"),
    )
