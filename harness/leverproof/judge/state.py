"""Judgement ``state``: a discrete reading at a reading, over a window, or against the sheet's light table."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from leverproof.cases.model import Ref
from leverproof.channels import CHANNELS, state_index
from leverproof.conduct.model import Expected
from leverproof.history import AFTER, BEFORE, History, Samples
from leverproof.judge.decision import plain
from leverproof.judge.evidence import (
    Evidence,
    WithheldError,
    early_end,
    finite,
    history_of,
    reading_of,
    samples_of,
    value_at,
)
from leverproof.judge.model import PointFinding
from leverproof.judge.result import worded
from leverproof.judge.window import window_of
from leverproof.judge.words import amount, number, spoken, state_word
from leverproof.timegrid import TICKS_PER_SECOND

THREE_STATE = (("blinking_above", "on"), ("off_above", "blinking"), ("on_above", "off"))
PLAIN = (("on_above", "off"),)
LAST_BAND = "on"
SPEED = "turbo_speed"


def state(evidence: Evidence) -> PointFinding:
    """One of three: the word during a whole reading window; the word somewhere in the window; the light
    table."""
    judgement = evidence.judgement
    if not CHANNELS[judgement.channel].states:
        raise WithheldError("error", f"{spoken(judgement.channel)} has no states")
    if judgement.table:
        return _table(evidence)
    return _seen(evidence) if judgement.seen else _held(evidence)


def _held(evidence: Evidence) -> PointFinding:
    judgement = evidence.judgement
    ref = judgement.reading or Ref(judgement.run, judgement.at_reading)
    history, reading = history_of(evidence, ref.run), reading_of(evidence, ref)
    if history.noted:
        samples = np.array([value_at(evidence, ref, judgement.channel)])
    else:
        first = max(0, reading.row - history.grid.rows(BEFORE))
        samples = samples_of(history, judgement.channel)[first : reading.row + history.grid.rows(AFTER) + 1]
    finite(samples, judgement.channel)
    word = judgement.expected.word if judgement.expected is not None else ""
    wanted = float(state_index(judgement.channel, word)) if word else evidence.expected("expected").value
    return worded(
        evidence.point.label,
        plain(bool(samples.size) and bool((samples == wanted).all())),
        found_text=_shares(judgement.channel, samples),
        expected_text=state_word(judgement.channel, wanted),
    )


def _late_rows(history: History) -> int:
    """The jitter of a model's own clock in rows; none where nobody saw it."""
    if not math.isfinite(history.jitter):
        return 0
    return math.ceil(history.jitter * TICKS_PER_SECOND / history.grid.step)


def _shares(channel: str, samples: Samples) -> str:
    """``on``, or the share of each state when there were several."""
    kinds, counts = np.unique(samples, return_counts=True)
    if kinds.size == 1:
        return state_word(channel, float(kinds[0]))
    parts = zip(kinds, counts, strict=True)
    return ", ".join(f"{state_word(channel, float(k))} {number(100.0 * n / samples.size)} %" for k, n in parts)


def _seen(evidence: Evidence) -> PointFinding:
    judgement = evidence.judgement
    window = window_of(evidence, judgement.run)
    samples = samples_of(window.history, judgement.channel)
    wanted = state_index(judgement.channel, judgement.seen)
    rows = np.flatnonzero(window.asked & (samples == wanted))
    if rows.size == 0:
        if not window.whole:
            raise WithheldError(window.verdict, f"the run ended within the window: {window.note}")
        finite(samples[window.asked], judgement.channel)
    found = f"first seen at {amount(window.history.grid.seconds(int(rows[0])), 's')}" if rows.size else "never seen"
    return worded(
        evidence.point.label,
        plain(rows.size > 0),
        found_text=f"{judgement.seen}: {found}",
        expected_text=f"{judgement.seen} seen",
    )


def _table(evidence: Evidence) -> PointFinding:
    """The light against the sheet's bands of turbo speed over the whole run. Either of two states is right
    within the hysteresis of their boundary and for 1 s after (harness choice), and as much longer as an instant may be
    off on a model's own clock."""
    judgement = evidence.judgement
    history = history_of(evidence, judgement.run)
    bounds, words = bands(evidence)
    light = finite(samples_of(history, judgement.channel), judgement.channel)
    speed = finite(samples_of(history, SPEED), SPEED)
    hysteresis = evidence.maybe("hysteresis")
    states = [state_index(judgement.channel, word) for word in words]
    ok = _right(
        light,
        speed,
        bounds,
        states,
        hysteresis.value if hysteresis else 0.0,
        history.grid.rows(TICKS_PER_SECOND) + _late_rows(history),
    )
    expected = ", ".join(f"{w} {_band_words(bounds, i)}" for i, w in enumerate(words))
    wrong = np.flatnonzero(~ok)
    if wrong.size:
        row = int(wrong[0])
        shown = state_word(judgement.channel, float(light[row]))
        found = (
            f"wrong in {number(100.0 * wrong.size / light.size)} % of samples, first at "
            f"{amount(history.grid.seconds(row), 's')}: {shown} at {amount(float(speed[row]), 'rpm')}"
        )
        return worded(evidence.point.label, plain(False), found_text=found, expected_text=expected)
    if history.ending != "completed":
        verdict, note = early_end(history)
        raise WithheldError(verdict, f"the run ended early: {note}")
    visited = np.unique(np.searchsorted(bounds, speed, side="right"))
    enough = visited.size >= 2
    note = "" if enough else f"not exercised: turbo speed stayed {_band_words(bounds, int(visited[0]))}"
    return worded(
        evidence.point.label,
        plain(enough),
        found_text=f"follows the table through {visited.size} of its {len(words)} bands",
        expected_text=expected,
        note=note,
    )


def bands(evidence: Evidence) -> tuple[list[float], list[str]]:
    """Boundaries of the light table in rising turbo speed (rpm) and the word for each band, one more."""
    layout = THREE_STATE if evidence.maybe("blinking_above") is not None else PLAIN
    found: list[Expected] = [evidence.expected(key) for key, _ in layout]
    bounds = [e.value for e in found]
    if bounds != sorted(bounds):
        raise WithheldError("error", "the light table's turbo speeds are not in rising order")
    return bounds, [*(word for _, word in layout), LAST_BAND]


def _band_words(bounds: list[float], band: int) -> str:
    if band == 0:
        return f"below {amount(bounds[0], 'rpm')}"
    if band == len(bounds):
        return f"above {amount(bounds[-1], 'rpm')}"
    return f"from {number(bounds[band - 1])} to {amount(bounds[band], 'rpm')}"


def _right(
    light: Samples, speed: Samples, bounds: list[float], states: list[int], hysteresis: float, rows: int
) -> NDArray[np.bool_]:
    """Whether each sample shows a state allowed at its turbo speed or at any in the second before it."""
    ok = np.zeros(light.size, dtype=bool)
    for index in set(states):
        allowed = np.zeros(light.size, dtype=bool)
        for band, state_of_band in enumerate(states):
            if state_of_band != index:
                continue
            low = bounds[band - 1] - hysteresis if band else -np.inf
            high = bounds[band] + hysteresis if band < len(bounds) else np.inf
            allowed |= (speed >= low) & (speed <= high)
        sums = np.concatenate(([0], np.cumsum(allowed)))
        ends = np.arange(1, light.size + 1)
        recent = sums[ends] - sums[np.maximum(ends - 1 - rows, 0)] > 0
        ok |= (light == index) & recent
    return ok
