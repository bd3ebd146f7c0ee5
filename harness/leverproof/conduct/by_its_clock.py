"""What a model's own clock showed in a run, kept with its history."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Protocol

from leverproof.conduct.model import ConductedRun
from leverproof.stand.mount import FREE_RUNNING, MountedStand


class Told(Protocol):
    """Takes an event for the record: its kind and what it says."""

    def __call__(self, kind: str, **data: object) -> None:
        """Keeps it."""
        ...


def by_its_clock(run: ConductedRun, mounted: MountedStand, told: Told) -> ConductedRun:
    """``run``, just ended, with the jitter of the clock it was flown by, which ``told`` hears of too; unchanged for a
    model that moves when told. The jitter is NaN where nothing was seen of the clock."""
    if mounted.capabilities.clock != FREE_RUNNING:
        return run
    seen = mounted.clock_seen() if run.history.data.shape[0] else None
    if seen is None:
        return replace(run, history=replace(run.history, jitter=math.nan))
    case, point, name = run.program.key
    told(
        "clock",
        case=case,
        point=point,
        run=name,
        jitter=seen.jitter,
        longest_gap=seen.gap,
        latest_tell=seen.late,
        rate=seen.rate,
        polls=seen.polls,
    )
    return replace(run, history=replace(run.history, jitter=seen.jitter))
