"""The report as one JSON object, for programs; ``report.schema.json`` among the reference data describes it.

Numbers that are not finite are the strings ``NaN``, ``Infinity`` and ``-Infinity``.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from leverproof import CAUTION
from leverproof.cases.model import ReferenceCase
from leverproof.conduct.model import NotApplicable
from leverproof.engine_ids import case_and_engine
from leverproof.judge.endings import counts
from leverproof.judge.model import Finding, PointFinding
from leverproof.record.plain import to_plain
from leverproof.record.reader import Record
from leverproof.report.by_eye import Item
from leverproof.report.fold import (
    all_findings,
    fails,
    inapplicable,
    mounted,
    notices,
    repeat_command,
    resolvable,
    standing,
)

FORMAT = 1


def render(record: Record, *, by_eye: Sequence[Item] = ()) -> str:
    """The report as text, indented, ending with a line end."""
    return json.dumps(report_object(record, by_eye), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def report_object(record: Record, by_eye: Sequence[Item] = ()) -> dict[str, Any]:
    """The report as an object of plain data."""
    findings = all_findings(record)
    counted = counts(findings)
    by_case: dict[str, list[Finding]] = {}
    for finding in findings:
        by_case.setdefault(finding.case, []).append(finding)
    known = {planned.case.id: planned.case for planned in record.expectations}
    missing = dict(inapplicable(record))
    out: dict[str, Any] = {
        "format": FORMAT,
        "program": "leverproof",
        "version": str(record.header.get("version", "")),
        "caution": CAUTION,
        "run": {key.replace(" ", "_"): value for key, value in mounted(record).items()},
        "request": record.header.get("request", {}),
        "ending": {
            "word": record.ending,
            "exit": record.footer["exit"] if record.footer is not None else None,
            "complete": record.complete,
        },
        "counts": {
            "required": _occurring(counted.required),
            "self_referential": _occurring(counted.self_referential),
            "advisory": _occurring(counted.advisory),
            "loosened": _occurring(counted.loosened),
        },
        "notices": list(notices(record)),
        "resolvability": [line for _, line in resolvable(record)],
        "cases": [_case(record, case_id, known.get(case_id), some, missing) for case_id, some in by_case.items()],
    }
    if by_eye:
        out["by_eye"] = list(by_eye)
    plain: dict[str, Any] = to_plain(out)
    return plain


def _occurring(group: dict[str, int]) -> dict[str, int]:
    return {verdict: n for verdict, n in group.items() if n}


def _case(
    record: Record,
    case_id: str,
    case: ReferenceCase | None,
    findings: Sequence[Finding],
    missing: dict[str, NotApplicable],
) -> dict[str, Any]:
    found = [_finding(finding, missing.get(f"{case_id}/{finding.judgement}")) for finding in findings]
    return {
        "id": case_id,
        "engine": case_and_engine(case_id)[1],
        "subject": findings[0].subject,
        "title": case.title if case is not None else "",
        "question": case.question if case is not None else "",
        "caution": case.caution if case is not None else "",
        "repeat": repeat_command(record.header, case_id),
        "not_applicable": missing.get(case_id),
        "findings": found,
    }


def _finding(finding: Finding, why: NotApplicable | None) -> dict[str, Any]:
    return {
        "judgement": finding.judgement,
        "what": finding.what,
        "asked": finding.asked,
        "weight": finding.weight,
        "standing": standing(finding),
        "self_referential": finding.self_referential,
        "basis": finding.basis,
        "source": finding.source,
        "why": finding.why,
        "verdict": finding.verdict,
        "fails": fails(finding),
        "found": finding.found,
        "expected": finding.expected,
        "tolerance": finding.tolerance,
        "unit": finding.unit,
        "number": finding.number,
        "limit": finding.limit,
        "doubt": finding.w,
        "note": finding.note,
        "causes": finding.causes,
        "deferral": _deferral(finding),
        "loosened": finding.loosened,
        "not_applicable": why,
        "points": [_point(point) for point in finding.points],
    }


def _deferral(finding: Finding) -> dict[str, Any] | None:
    held = finding.deferral
    if held is None:
        return None
    return {
        "state": finding.deferral_state,
        "owner": held.owner,
        "reason": held.reason,
        "expires": held.expires,
        "limit": held.limit,
        "unit": held.unit,
    }


def _point(point: PointFinding) -> dict[str, Any]:
    return {
        "label": point.label,
        "verdict": point.verdict,
        "found": point.found,
        "found_text": point.found_text,
        "expected": point.expected,
        "expected_text": point.expected_text,
        "tolerance_text": point.tolerance_text,
        "unit": point.unit,
        "excess": point.excess,
        "limit": point.limit,
        "doubt": point.w,
        "doubt_parts": point.doubts,
        "note": point.note,
    }
