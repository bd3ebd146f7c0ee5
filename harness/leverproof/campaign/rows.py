"""Findings turned into rows of results: one for each judgement at each point."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from leverproof.campaign.model import Item, Outcome
from leverproof.cases.model import Judgement, ReferenceCase
from leverproof.conduct.model import PlannedCase
from leverproof.judge.evidence import Runs
from leverproof.judge.model import Finding, PointFinding
from leverproof.judge.result import withheld

TROUBLES = ("error", "invalid run", "inconclusive", "not run", "not applicable", "flaky")
"""Verdicts whose note says why nothing was decided."""


class Rows:
    """Makes rows of one model; ``title`` is the model's, ``block`` where it is flown."""

    def __init__(self, title: str, block: str, coefficients: Mapping[str, float]) -> None:
        self._title, self._block = title, block
        self._coefficients = dict(coefficients)

    def of(
        self, item: Item, planned: PlannedCase, runs: Runs, findings: Sequence[Finding], stated: ReferenceCase
    ) -> list[Outcome]:
        """The rows of an item that was flown and judged, as ``planned`` at its surroundings. Where the model crashes,
        hangs, breaks the protocol or gives what is no number, rows have the weight that the case has ``stated``: which
        numbers hold away from its own surroundings is no question then."""
        surroundings = {p.label: p.surroundings for p in planned.points}
        common = planned.points[0].surroundings if len(planned.points) == 1 else dict(item.surroundings)
        readings = {p.label: _readings(p.index, planned, runs) for p in planned.points}
        judgements = {j.id: j for j in planned.case.judgements}
        weights = {j.id: j.weight for j in stated.judgements}
        broken = ("error", "invalid run") if _spews(runs) else ("error",)
        out: list[Outcome] = []
        for finding in findings:
            judgement = judgements[finding.judgement]
            for point in _points(finding):
                at = surroundings.get(point.label, common)
                told = readings.pop(point.label, None) or {}
                weighed = replace(judgement, weight=weights[judgement.id]) if point.verdict in broken else judgement
                out.append(self._row(item, planned.case, weighed, finding, point, at, told))
        return out

    def without(self, item: Item, case: ReferenceCase, verdict: str, words: str) -> list[Outcome]:
        """The rows of an item that could not be flown: each judgement with that verdict and the reason."""
        at = dict(item.surroundings)
        return [
            self._row(item, case, judgement, None, withheld("", verdict, words), at, {})
            for judgement in case.judgements
        ]

    def _row(
        self,
        item: Item,
        case: ReferenceCase,
        judgement: Judgement,
        finding: Finding | None,
        point: PointFinding,
        surroundings: Mapping[str, float],
        readings: dict[str, dict[str, float]],
    ) -> Outcome:
        measured = point.found is not None and point.excess is not None
        low, high = _limits(judgement, point) if measured else (None, None)
        return Outcome(
            item.id,
            self._block,
            self._title,
            item.sheet,
            case.id,
            case.subject,
            point.label,
            item.sample,
            dict(surroundings),
            self._coefficients,
            judgement.id,
            judgement.what,
            judgement.weight,
            judgement.basis,
            point.unit,
            point.verdict,
            point.found,
            point.expected,
            low,
            high,
            point.w if measured else None,
            _margin(point),
            finding.self_referential if finding is not None else False,
            point.note if point.verdict in TROUBLES else "",
            readings,
        )


def _spews(runs: Runs) -> bool:
    """Whether a run was cut because a reading was no finite number, which is then in its last row."""
    return any(run.history.data.size and not np.isfinite(run.history.data[-1]).all() for run in runs.values())


def _points(finding: Finding) -> Sequence[PointFinding]:
    """The points of a finding. One without points, or whose verdict comes from elsewhere than its points (a run that
    ended early), gives its own verdict."""
    if not finding.points:
        return [withheld("", finding.verdict, finding.note)]
    if finding.verdict in ("error", "invalid run", "not run") and all(
        point.verdict != finding.verdict for point in finding.points
    ):
        return [withheld(point.label, finding.verdict, finding.note) for point in finding.points]
    return finding.points


def _limits(judgement: Judgement, point: PointFinding) -> tuple[float | None, float | None]:
    """What lies between these passes, leaving doubt aside; None where there is no such side."""
    if point.expected is None or not math.isfinite(point.expected):
        return None, None
    low, high = point.expected - point.limit, point.expected + point.limit
    if judgement.expected is not None:
        return low, high
    upper = judgement.at_most is not None
    if upper and judgement.at_least is not None and point.found is not None and point.excess is not None:
        upper = (point.found > point.expected) == (point.excess > 0.0)
    if upper:
        return None, high
    return (low, None) if judgement.at_least is not None else (None, None)


def _margin(point: PointFinding) -> float | None:
    if point.excess is None or not point.limit > 0.0 or not math.isfinite(point.excess):
        return None
    return (point.limit - point.excess) / point.limit


def _readings(index: int, planned: PlannedCase, runs: Runs) -> dict[str, dict[str, float]]:
    """What was read at one point in every run: ``run/reading`` to channels."""
    out: dict[str, dict[str, float]] = {}
    for run in planned.case.runs:
        conducted = runs.get((index, run.name))
        if conducted is not None:
            for reading in conducted.history.readings:
                out[f"{run.name}/{reading.name}"] = {n: v for n, v in reading.values.items() if n not in reading.lost}
    return out
