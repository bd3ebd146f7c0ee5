"""The kill matrix: which reference case catches which seeded defect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from leverproof.record.reader import Record
from leverproof.report.fold import all_findings, fails
from leverproof.report.wording import count, fill, visible


@dataclass(frozen=True, slots=True)
class DefectRun:
    """A run with one seeded defect: the cases expected to fire, those that did, the exit code, and the cases that
    the defect brings within doubt of their limit (``borderline``: they may fire)."""

    defect: str
    size: str
    expected: frozenset[str]
    fired: frozenset[str]
    exit_code: int
    borderline: frozenset[str] = frozenset()


def fired_cases(record: Record) -> frozenset[str]:
    """The cases with at least one required judgement not passed."""
    return frozenset(finding.case for finding in all_findings(record) if fails(finding))


def render(runs: Sequence[DefectRun], *, width: int = 110) -> str:
    """The matrix (one row a defect, one numbered column a case that fires or should), the key to the
    columns with what each case catches alone, and every deviation from what was written beforehand."""
    if not runs:
        return "This engine has no seeded defects.\n"
    cases = sorted({case for run in runs for case in run.expected | run.fired})
    reach = max((len(run.defect) for run in runs), default=6)
    digits = len(str(len(cases)))
    head = " ".join(f"{index:>{digits}}" for index in range(1, len(cases) + 1))
    lines = [f"{'defect':<{reach}}  size   exit  {head}".rstrip()]
    for run in runs:
        marks = " ".join(f"{_mark(run, case):>{digits}}" for case in cases)
        lines.append(f"{visible(run.defect):<{reach}}  {run.size:<5}  {run.exit_code:>4}  {marks}".rstrip())
    lines += [
        "",
        "x caught as expected   ~ caught, borderline as expected   ! caught, not expected   o expected, not caught",
        "",
    ]
    lines += [_key(index, case, runs, width) for index, case in enumerate(cases, start=1)]
    strange = [line for run in runs for line in _deviations(run)]
    lines += [
        "",
        *([fill(line, width) for line in strange] or ["Every defect was caught by exactly the cases expected."]),
    ]
    return "\n".join(lines) + "\n"


def _mark(run: DefectRun, case: str) -> str:
    if case in run.fired:
        return "x" if case in run.expected else "~" if case in run.borderline else "!"
    return "o" if case in run.expected else "."


def _key(index: int, case: str, runs: Sequence[DefectRun], width: int) -> str:
    caught = [run for run in runs if case in run.fired]
    alone = [run.defect for run in caught if run.fired == {case}]
    text = f"{index:>3}  {case}: catches {count(len(caught), 'defect')}"
    return fill(text + (f", alone {', '.join(alone)}" if alone else ""), width, hang="     ")


def _deviations(run: DefectRun) -> list[str]:
    out = []
    if run.exit_code != 1:
        out.append(f"{run.defect}: ended with exit code {run.exit_code}, expected 1")
    for case in sorted(run.expected - run.fired):
        out.append(f"{run.defect}: {case} was expected to catch it and did not")
    for case in sorted(run.fired - run.expected - run.borderline):
        out.append(f"{run.defect}: {case} caught it and was not expected to")
    return out
