"""A filled table judged: planned for the gauges that were read, turned into runs, judged as any runs are."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from leverproof.channels import CHANNELS
from leverproof.conduct.by_hand import plan_by_hand
from leverproof.conduct.card import Card
from leverproof.conduct.matcher_plan import as_flown, flown_points
from leverproof.conduct.model import ConductedRun
from leverproof.conduct.noted_load import Table
from leverproof.conduct.noted_runs import Invalid, runs_of
from leverproof.conduct.plan import Ground
from leverproof.judge.case import judge_case
from leverproof.judge.facts import MOVED
from leverproof.judge.model import Finding, SessionFacts
from leverproof.timegrid import CONTROL_TICKS, TimeGrid


@dataclass(frozen=True)
class Judged:
    """Findings, the rows that do not count, and what else has to be told of the tables."""

    findings: tuple[Finding, ...]
    invalid: tuple[Invalid, ...]
    told: tuple[str, ...]


def judge_tables(card: Card, tables: Sequence[Table]) -> Judged:
    """The findings of a card's case from one filled table or those of several flyers."""
    told: list[str] = []
    read = frozenset(name for table in tables for name in table.columns if CHANNELS[name].kind == "reading")
    if {"torque", "engine_speed"} <= read:
        read |= {"brake_power"}
    planned = plan_by_hand(card.case, card.sheet, read, seed=card.seed)
    noted = runs_of(planned, tables, card)
    ground = Ground(card.sheet, frozenset(), read, frozenset(), TimeGrid(CONTROL_TICKS), card.seed)
    planned = flown_points(planned, noted.runs, told.append)
    heights = {n: noted.divisions[n] for n in ("pressure_altitude",) if n in noted.divisions}
    planned = as_flown(planned, noted.runs, ground, heights)
    own = {(p.key[1], p.key[2]): noted.runs[p.key] for p in planned.programs}
    facts = SessionFacts(None, _live(noted.runs, tables, noted.divisions), recorded=True, noted=True)
    findings = judge_case(planned, own, facts)
    return Judged(tuple(findings), noted.invalid, tuple(told))


def _live(
    runs: Mapping[tuple[str, int, str], ConductedRun], tables: Sequence[Table], divisions: Mapping[str, float]
) -> frozenset[str]:
    """Channels whose readings, those elsewhere included, differ by more than 20 u, u that of the steadiness band or of
    the gauge's division as rectangular distributions, whichever is larger."""
    seen: dict[str, list[float]] = {}
    for run in runs.values():
        for reading in run.history.readings:
            for name, value in reading.values.items():
                seen.setdefault(name, []).append(value)
    for row in (row for table in tables for row in table.rows if row.row.index < 0 and row.steady):
        for name, value in row.values.items():
            seen.setdefault(name, []).append(value)
    live = set()
    for name, values in seen.items():
        division = divisions.get(name, 0.0)
        u = max(CHANNELS[name].band, division if math.isfinite(division) else 0.0) / math.sqrt(12.0)
        if max(values) - min(values) > (0.0 if CHANNELS[name].states else MOVED * u):
            live.add(name)
    return frozenset(live)
