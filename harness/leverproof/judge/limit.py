"""Judgement ``limit``: a channel never above or below a value in a window, also *once settled* or as a
change.

"Never exceeded once settled" means in no sample later than 10 s after the last lever move; an overshoot
before that is told and classed by how long it lasts (up to 3 s brief: harness choice, no published source).
"""

from __future__ import annotations

import math

import numpy as np

from leverproof.cases.model import Ref
from leverproof.history import History, Samples
from leverproof.judge.decision import beyond
from leverproof.judge.evidence import (
    Evidence,
    WithheldError,
    clock_jitter,
    doubts_of,
    finite,
    gauge_of,
    reference_doubt,
    samples_of,
    settled,
    step_study,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import measured, worst
from leverproof.judge.value import allowed, refuse_wider
from leverproof.judge.window import BRIEF, Window, longest, window_of
from leverproof.judge.words import amount, spoken, unit_of
from leverproof.timegrid import TICKS_PER_SECOND


def limit(evidence: Evidence) -> PointFinding:
    """The worst sample of the window against ``at_most`` and/or ``at_least``."""
    window = window_of(evidence, evidence.judgement.run)
    sides = [upper for key, upper in (("at_most", True), ("at_least", False)) if evidence.maybe(key) is not None]
    if not sides:
        raise WithheldError("error", "the plan holds neither 'at_most' nor 'at_least'")
    decided = worst([_side(evidence, window, upper=upper) for upper in sides])
    if decided is None:
        raise WithheldError("error", "nothing was judged")
    if not window.whole and decided.verdict not in ("fail", "conditional fail"):
        raise WithheldError(window.verdict, f"the run ended within the window: {window.note}")
    return decided


def _side(evidence: Evidence, window: Window, *, upper: bool) -> PointFinding:
    judgement = evidence.judgement
    unit = unit_of(judgement.channel)
    bound = evidence.expected("at_most" if upper else "at_least")
    kept = window.settled if judgement.once_settled else window.asked
    if not kept.any():
        after = " later than 10 s after a lever move" if judgement.once_settled else ""
        if not window.whole:
            raise WithheldError(window.verdict, f"the run ended within the window: {window.note}")
        raise WithheldError("invalid run", f"the window holds no sample{after}")
    samples = samples_of(window.history, judgement.channel)
    finite(samples[window.asked], judgement.channel)
    doubts: tuple[Doubt, ...] = (
        step_study(evidence.facts, judgement.channel),
        *gauge_of(window.history, judgement.channel),
        reference_doubt(bound),
    )
    if judgement.change_from:
        origin = Ref(judgement.run, judgement.change_from)
        samples = samples - settled(evidence, origin, judgement.channel)
        doubts = (*doubts_of(evidence, origin, judgement.channel), reference_doubt(bound))
    row = int(np.flatnonzero(kept)[_extreme(samples[kept], upper)])
    doubts = (*doubts, *clock_jitter(window.history, judgement.channel, _about(row, window.history)))
    found = float(samples[row])
    tolerance = allowed(evidence, unit=unit, expected=bound.value, channel=judgement.channel)
    refuse_wider(evidence, tolerance, unit=unit, expected=bound.value)
    ruling = beyond(found, bound.value, tolerance.value, doubts, upper=upper)
    overshoot = _overshoot(window, samples, bound.value, unit, upper=upper) if judgement.once_settled else ""
    return measured(
        evidence.point.label,
        ruling,
        found=found,
        expected=bound.value,
        unit=unit,
        doubts=doubts,
        notes=(overshoot,),
        tolerance=tolerance.text,
        found_text=(
            f"{'highest' if upper else 'lowest'} {'change of ' if judgement.change_from else ''}"
            f"{spoken(judgement.channel)} {amount(found, unit)} at "
            f"{amount(window.history.grid.seconds(row), 's')}"
        ),
        expected_text=f"{'at most' if upper else 'at least'} {amount(bound.value, unit)}",
    )


def _about(row: int, history: History) -> slice:
    """The rows that an extreme at ``row`` may really belong to."""
    seconds = history.jitter if math.isfinite(history.jitter) else 0.0
    rows = math.ceil(seconds * TICKS_PER_SECOND / history.grid.step) + 1
    return slice(max(0, row - rows), row + rows + 1)


def _extreme(samples: Samples, upper: bool) -> int:
    return int(samples.argmax() if upper else samples.argmin())


def _overshoot(window: Window, samples: Samples, bound: float, unit: str, *, upper: bool) -> str:
    """The overshoot before settling in words; empty when there was none."""
    over = window.asked & ~window.settled & (samples > bound if upper else samples < bound)
    if not over.any():
        return ""
    peak = float(samples[over].max() if upper else samples[over].min())
    seconds = window.history.grid.seconds(longest(over))
    kind = "brief" if seconds <= BRIEF else "sustained"
    return f"before settling it went to {amount(peak, unit)} for {amount(seconds, 's')} ({kind} overshoot)"
