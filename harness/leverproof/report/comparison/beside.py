"""Findings of several records beside each other, and whether they tell the models apart at all.

Two numbers are told apart only where they differ by more than the root sum of squares of their doubts (U95 each), as
in the GUM for independent results; everything else is a tie and is called one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from leverproof.cases.model import Judgement
from leverproof.engine_ids import case_and_engine
from leverproof.judge.endings import ENDINGS, counts
from leverproof.judge.model import Finding, PointFinding
from leverproof.record.reader import Record
from leverproof.report.comparison.model import (
    FAILS,
    PASSES,
    SELF_REFERENTIAL,
    UNDECIDED,
    UNTESTABLE,
    Held,
    Judged,
    Row,
    Subject,
)
from leverproof.report.fold import all_findings, fails, failure_words, standing, with_tolerance
from leverproof.report.wording import amount, count, doubt_words

Key = tuple[str, str]
_MISSING = 160
_SWEEP = "over the sweep"


def judged_beside(records: Sequence[Record]) -> list[Judged]:
    """Every judgement that any record holds, by subject and case in the order of the first record that has it."""
    held = [{(f.case, f.judgement): f for f in all_findings(record)} for record in records]
    asked = [_judgements(record) for record in records]
    keys = list(dict.fromkeys(key for found in held for key in found))
    subjects = list(dict.fromkeys(found[key].subject for key in keys for found in held if key in found))
    rows = [_judged(key, [found.get(key) for found in held], [a.get(key) for a in asked]) for key in keys]
    order = {subject: index for index, subject in enumerate(subjects)}
    return sorted(rows, key=lambda row: order[row.subject])


def _judgements(record: Record) -> dict[Key, Judgement]:
    return {(planned.case.id, j.id): j for planned in record.expectations for j in planned.case.judgements}


def _judged(key: Key, found: Sequence[Finding | None], asked: Sequence[Judgement | None]) -> Judged:
    first = next(finding for finding in found if finding is not None)
    relation, words = _relation(found, asked)
    return Judged(
        *key,
        first.subject,
        first.asked,
        first.weight,
        tuple(with_tolerance(finding) if finding is not None else "" for finding in found),
        tuple(_held(finding) for finding in found),
        relation,
        words,
    )


def _held(finding: Finding | None) -> Held:
    if finding is None:
        return Held("", note="the record does not ask this")
    verdict = finding.verdict + (" (self-referential)" if finding.self_referential else "")
    doubt = doubt_words(finding.w, finding.unit) if finding.w and finding.found else ""
    note = failure_words(finding) if fails(finding) else finding.note
    return Held(verdict, finding.found, doubt, note)


def _relation(found: Sequence[Finding | None], asked: Sequence[Judgement | None]) -> tuple[str, str]:
    """Whether the models are told apart, and in which words."""
    there = [f for f in found if f is not None and ENDINGS[f.verdict].passed is not None]
    if len(there) < 2:
        return "one only", "at most one of them could be judged"
    if len({_as_asked(j) for j in asked if j is not None}) > 1:
        return "asked differently", "their records ask this differently: other case, tolerance or basis"
    spread = _spread(there)
    passing = {ENDINGS[f.verdict].passed for f in there}
    if spread is not None and spread[0]:
        return "apart", spread[1]
    if len(passing) > 1:
        # Close numbers on two sides of a limit: the verdicts differ, the models are not told apart.
        words = spread[1] if spread is not None else "one passes and one does not"
        return ("tie" if spread is not None else "apart"), (
            f"verdicts differ, but {words}" if spread is not None else words
        )
    return "tie", spread[1] if spread is not None else "same verdict, and no number to tell them apart"


def _as_asked(judgement: Judgement) -> str:
    return repr(judgement)


def _spread(there: Sequence[Finding]) -> tuple[bool, str] | None:
    """Whether numbers at common points are told apart, with the words for the widest; None without numbers."""
    points = [{p.label: p for p in finding.points if _finite(p)} for finding in there]
    common = [label for label in points[0] if all(label in other for other in points[1:])] if points else []
    widest: tuple[float, float, PointFinding] | None = None
    apart = 0
    for label in common:
        some = sorted((other[label] for other in points), key=lambda p: p.found or 0.0)
        low, high = some[0], some[-1]
        differ = (high.found or 0.0) - (low.found or 0.0)
        doubt = math.hypot(_doubt(low), _doubt(high))
        apart += differ > doubt
        if widest is None or differ - doubt > widest[0] - widest[1]:
            widest = (differ, doubt, low)
    if widest is None:
        return None
    differ, doubt, point = widest
    at = {"": "", _SWEEP: f" {_SWEEP}"}.get(point.label, f" at {point.label}")
    told = f"{amount(differ, point.unit)}{at}, doubt {doubt_words(doubt, point.unit)}"
    if 0.0 < point.limit < math.inf:
        told += f", tolerance {amount(point.limit, point.unit)}"
    if apart:
        places = f", told apart at {apart} of {count(len(common), 'point')}" if len(common) > 1 else ""
        return True, f"differ by {told}{places}"
    return False, f"differ by {told}: within doubt"


def _finite(point: PointFinding) -> bool:
    return point.found is not None and math.isfinite(point.found)


def _doubt(point: PointFinding) -> float:
    return point.w if math.isfinite(point.w) else math.inf


def matrix(records: Sequence[Record], judged: Sequence[Judged]) -> list[Row]:
    """One row a subject, in the order of the ladder as the records have it."""
    found = [all_findings(record) for record in records]
    subjects = dict.fromkeys(str(s) for record in records for s in record.header.get("subjects") or ())
    subjects |= dict.fromkeys(row.subject for row in judged)
    rows = []
    for subject in subjects:
        own = [[f for f in findings if f.subject == subject] for findings in found]
        if not any(own):
            continue
        relations = Counter(row.relation for row in judged if row.subject == subject)
        shared = relations["apart"] + relations["tie"]
        rows.append(Row(subject, tuple(_subject(findings) for findings in own), relations["apart"], shared))
    return rows


def _subject(findings: Sequence[Finding]) -> Subject:
    required = [f for f in findings if f.weight == "required"]
    told = {verdict: n for verdict, n in counts(required).required.items() if n}
    if any(fails(f) or f.verdict == "blocked" for f in required):
        return Subject(FAILS, told)
    kinds = {standing(f) for f in required if ENDINGS[f.verdict].passed}
    if "required" in kinds:
        return Subject(PASSES, told)
    if "self_referential" in kinds:
        return Subject(SELF_REFERENTIAL, told)
    untestable = [f for f in required if f.verdict == "not applicable"]
    if len(untestable) == len(required):
        reasons = list(dict.fromkeys(f.note for f in untestable if f.note))
        missing = reasons[0][:_MISSING] if reasons else "nothing was asked"
        return Subject(UNTESTABLE, told, missing)
    return Subject(UNDECIDED, told)


def own_id(case_id: str) -> str:
    """A case's id without the engine it was flown on."""
    return case_and_engine(case_id)[0]
