"""The numbers that are followed from version to version: what required judgements found, and the readings they use."""

from __future__ import annotations

import math
from collections.abc import Iterator

from leverproof.baseline.layout import FORMAT, PROGRAM, digest
from leverproof.baseline.model import Baseline, HeldCase, Tracked, Version
from leverproof.cases.model import Judgement
from leverproof.judge.model import Finding, PointFinding
from leverproof.record.plain import to_plain
from leverproof.record.reader import Record

_FIGURES = 7


def numbers_of(record: Record, baseline: Baseline) -> Version:
    """The numbers of a record that is held as ``baseline``."""
    judged = {
        key: one
        for finding in record.findings
        if finding.weight == "required" and finding.case in baseline.cases
        for key, one in _judged(finding, _judgement(record, finding))
    }
    readings = {key: one for name, held in baseline.cases.items() for key, one in _readings(name, held)}
    asked = {name: digest(to_plain(held.asked)) for name, held in baseline.cases.items() if held.findings}
    channels = sorted({key.rpartition("/")[2] for key in readings})
    origin = baseline.origin
    return Version(
        FORMAT,
        PROGRAM,
        baseline.version,
        origin.date,
        origin.sheet.sha256,
        asked,
        {name: baseline.tolerances[name].value for name in channels},
        judged,
        readings,
    )


def _judgement(record: Record, finding: Finding) -> Judgement | None:
    planned = record.planned(finding.case)
    held = planned.judgements if planned is not None else ()
    return next((j for j in held if j.id == finding.judgement), None)


def _judged(finding: Finding, judgement: Judgement | None) -> Iterator[tuple[str, Tracked]]:
    for point in finding.points:
        found = _finite(point.found)
        if found is not None:
            yield (
                "/".join((finding.case, finding.judgement, point.label)),
                Tracked(
                    found,
                    point.unit,
                    _finite(point.expected),
                    _finite(point.limit),
                    _side(point, judgement),
                    point.verdict,
                ),
            )


def _finite(value: float | None) -> float | None:
    return float(f"{value:.{_FIGURES}g}") if value is not None and math.isfinite(value) else None


def _side(point: PointFinding, judgement: Judgement | None) -> str:
    """From which side a number is held: what is less than nothing beyond an expectation is held from one side only."""
    if point.excess is None or point.expected is None or point.found is None:
        return ""
    if point.excess < 0.0:
        return "upper" if point.found < point.expected else "lower"
    if judgement is None or judgement.expected is not None:
        return ""
    return "upper" if point.found > point.expected else "lower"


def _readings(name: str, held: HeldCase) -> Iterator[tuple[str, float]]:
    """The readings of a case that a required judgement uses, at every point."""
    wanted = sorted({use for finding in held.findings.values() if finding.weight == "required" for use in finding.uses})
    for key, run in held.runs.items():
        for use in wanted:
            own, reading, channel = use.rsplit("/", 2)
            found = _finite(run.readings.get(reading, {}).get(channel)) if key.partition("/")[2] == own else None
            if found is not None:
                yield "/".join((name, key, reading, channel)), found
