"""What a whole session shows about the model's channels: step study, which are live, which are copies."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.model import ConductedRun
from leverproof.engine_ids import case_and_engine
from leverproof.history import History
from leverproof.judge.copies import copied_channels
from leverproof.judge.model import SessionFacts

SessionRuns = Mapping[tuple[str, int, str], ConductedRun]
STEP_STUDY = "half-grid-step"
MOVED = 20.0


def session_facts(
    runs: SessionRuns, *, arrangement: str = "", derived_from: str = "", jitter: float = 0.0, recorded: bool = False
) -> SessionFacts:
    """The facts of a session from all its runs, by (case id, point index, run name).

    ``arrangement`` is the sheet's (it decides which equal channels are legitimate); ``derived_from`` and
    ``jitter`` (s) come from the model's own description; ``recorded`` is true of a recording.
    """
    step_u = step_study(runs)
    live = live_channels([run.history for run in runs.values()], step_u)
    running = [run.history for run in runs.values() if run.program.engine == "running"]
    return SessionFacts(step_u, live, copied_channels(running, live, arrangement), jitter, derived_from, recorded)


def step_study(runs: SessionRuns) -> dict[str, float] | None:
    """Standard uncertainty from the grid step for each continuous channel: the largest |coarse - fine| over
    equal readings of the step-study runs, as a half-width, over sqrt(3). None when those runs were not made.

    Richardson extrapolation (from memory: ASME V&V 20 and Roache's grid convergence index) gives the fine
    grid's error as |f_coarse - f_fine| / (r^p - 1), which for halving and first order is the difference
    itself. A channel without an equal pair of finite values is left out: not determined.
    """
    pairs = {
        (point, name): run.history
        for (case, point, name), run in runs.items()
        if case_and_engine(case)[0] == STEP_STUDY and name in ("coarse", "fine")
    }
    largest: dict[str, float] = {}
    made = False
    for (point, name), coarse in pairs.items():
        fine = pairs.get((point, "fine"))
        if name != "coarse" or fine is None:
            continue
        made = True
        for one in coarse.readings:
            other = fine.reading(one.name)
            if other is None:
                continue
            for channel in one.values.keys() & other.values.keys():
                if channel in CHANNELS and not CHANNELS[channel].states:
                    apart = abs(one.values[channel] - other.values[channel])
                    largest[channel] = max(largest.get(channel, 0.0), apart) if apart == apart else math.inf
    if not made:
        return None
    return {channel: apart / math.sqrt(3.0) for channel, apart in largest.items() if math.isfinite(apart)}


def live_channels(histories: list[History], step_u: Mapping[str, float] | None) -> frozenset[str]:
    """Channels that moved by more than 20 u within a run; a discrete one that changed at all.

    u is the larger of the step study's and that of the channel's steadiness band as a rectangular
    distribution, band / sqrt(12), so that a channel with no step error still has to move visibly.
    """
    live: set[str] = set()
    for history in histories:
        finite = np.isfinite(history.data)
        usable = history.data if finite.all() else history.data[finite.all(axis=1)]
        if usable.shape[0] < 2:
            continue
        spread = usable.max(axis=0).astype(np.float64) - usable.min(axis=0).astype(np.float64)
        for channel, moved in zip(history.columns, spread, strict=True):
            if moved > MOVED * _u(channel, step_u):
                live.add(channel)
    return frozenset(live)


def _u(channel: str, step_u: Mapping[str, float] | None) -> float:
    known = CHANNELS.get(channel)
    if known is None or known.states:
        return 0.0
    stepped = (step_u or {}).get(channel, 0.0)
    return max(stepped, known.band / math.sqrt(12.0))
