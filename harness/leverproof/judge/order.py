"""Judgement ``order``: events happen one after another, each at least a stated time after the one before."""

from __future__ import annotations

from itertools import pairwise

from leverproof.judge.decision import at_least, plain
from leverproof.judge.evidence import Evidence, WithheldError
from leverproof.judge.model import PointFinding
from leverproof.judge.result import measured, worded
from leverproof.judge.timing import event_time, grid_doubt
from leverproof.judge.words import amount


def order(evidence: Evidence) -> PointFinding:
    """The smallest gap between consecutive events against the stated least gap; an event that never happens
    fails."""
    judgement = evidence.judgement
    if judgement.least_gap is None or len(judgement.events) < 2:
        raise WithheldError("error", "an order needs two events and a least gap")
    least = judgement.least_gap.to("s", "least_gap")
    expected = " then ".join(event.name for event in judgement.events)
    times: list[tuple[str, float]] = []
    for event in judgement.events:
        seconds = event_time(evidence, event, judgement.run)
        if seconds is None:
            return worded(
                evidence.point.label,
                plain(False),
                found_text=f"{event.name!r} never happens",
                expected_text=expected,
            )
        times.append((event.name, seconds))
    gap, (before, after) = min(((b[1] - a[1], (a[0], b[0])) for a, b in pairwise(times)), key=lambda g: g[0])
    doubts = grid_doubt(evidence, judgement.run)
    told = ", ".join(f"{name} at {amount(seconds, 's')}" for name, seconds in times)
    return measured(
        evidence.point.label,
        at_least(gap, least, doubts, forgiving=judgement.basis == "physics"),
        found=gap,
        expected=least,
        unit="s",
        doubts=doubts,
        notes=(told,),
        found_text=f"{after} {amount(gap, 's')} after {before}",
        expected_text=f"{expected}, at least {amount(least, 's')} apart",
    )
