"""A run against a baseline for machines: one JSON object, and JUnit XML with one test case a case."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from junitparser import Error, Failure, JUnitXml, Skipped, TestCase, TestSuite

from leverproof import CAUTION, __version__
from leverproof.baseline.checked import (
    IDENTICAL,
    MISSING,
    MOVED,
    NEW,
    NOT_APPLICABLE,
    NOT_COMPARABLE,
    NOT_FLOWN,
    WITHIN,
    CaseChecked,
    Checked,
    FirstMove,
    Place,
    RunChecked,
)
from leverproof.baseline.words import begun_words, largest_of, run_words
from leverproof.record.plain import to_plain
from leverproof.report.baseline_check import accepted_words, answer, first_lines, otherwise
from leverproof.report.junit import legal

FORMAT = 1
_CHILD = {
    MOVED: Failure,
    MISSING: Error,
    NOT_COMPARABLE: Error,
    NEW: Skipped,
    NOT_FLOWN: Skipped,
    NOT_APPLICABLE: Skipped,
}


def render_json(found: Checked) -> str:
    """The answer as one object; ``baseline-check.schema.json`` among the schemas describes it."""
    document = {
        "format": FORMAT,
        "program": "leverproof",
        "version": __version__,
        "caution": CAUTION,
        "answer": found.standing,
        "passed": found.passed,
        "record": found.record,
        "baseline": found.against,
        "accepted": {
            "version": found.acceptance.version,
            "by": found.acceptance.by,
            "why": found.acceptance.why,
            "date": found.acceptance.origin.date,
        },
        "run": asdict(found.origin),
        "refused": list(found.refused),
        "remarks": list(found.remarks),
        "recognised_by_sum": found.same_samples,
        "first": None if found.first is None else _first(found.first),
        "cases": [_case(case) for case in found.cases],
    }
    return json.dumps(to_plain(document), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _first(first: FirstMove) -> dict[str, Any]:
    return {
        "channel": first.channel,
        "runs": first.runs,
        "of": first.of,
        "case": first.case,
        "run": run_words(first.run, ""),
        "point": first.point,
        "places": [_place(place) for place in first.places],
        "others": dict(first.others),
    }


def _case(case: CaseChecked) -> dict[str, Any]:
    return {
        "case": case.case,
        "answer": case.standing,
        "why": case.why,
        "negative": case.negative,
        "verdicts": [asdict(turn) for turn in case.turned],
        "runs": [_run(run) for run in case.runs],
    }


def _run(run: RunChecked) -> dict[str, Any]:
    return {
        "run": run_words(run.run, ""),
        "point": run.point,
        "answer": run.standing,
        "why": run.why,
        "told": list(run.told),
        "differing": dict(run.differing),
        "noted": list(run.noted),
        "first": [_place(place) for place in run.first],
        "readings": [_place(place) for place in run.readings],
        "curves": [_place(place) for place in run.curves],
        "farthest": None if run.largest is None else _place(run.largest),
    }


def _place(place: Place) -> dict[str, Any]:
    return asdict(place) | {"doubts": place.doubts, "tolerances": place.tolerances}


def render_junit(found: Checked) -> str:
    """The answer as one suite, ``baseline``, with one test case a case; moved is a failure, what cannot be compared or
    is missing an error, what is new skipped. Where nothing could be compared there is one error."""
    document, suite = JUnitXml("leverproof"), TestSuite("baseline")
    suite.add_property("answer", legal(answer(found)))
    suite.add_property("baseline", legal(f"{found.against}, {accepted_words(found.acceptance)}"))
    suite.add_property("caution", CAUTION)
    if found.first is not None:
        suite.add_property("moved first", legal("; ".join(first_lines(found))))
    for words in otherwise(found):
        suite.add_property("otherwise", legal(words))
    suite.add_testcases([_tested(case) for case in found.cases] if not found.refused else [_refused(found.refused)])
    if not (found.refused or found.passed or any(case.negative for case in found.cases)):
        # Nothing is held against anything, which must not look like a suite in which everything was skipped.
        suite.add_testcase(_refused([answer(found)]))
    when = re.match(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d", found.origin.date)
    suite.timestamp = when.group() if when else "1970-01-01T00:00:00"
    suite.hostname = "localhost"
    suite._elem.set("id", "0")
    suite._elem.set("package", "leverproof")
    document.append(suite)  # type: ignore[no-untyped-call]
    document.update_statistics()  # type: ignore[no-untyped-call]
    text: bytes = document.tostring()  # type: ignore[no-untyped-call]
    return '<?xml version="1.0" encoding="utf-8"?>\n' + text.decode("utf-8") + "\n"


def _refused(why: Sequence[str]) -> TestCase:
    case = TestCase("baseline/comparable", classname="baseline", time=0)
    case.result = [Error(legal("; ".join(why)), NOT_COMPARABLE)]
    return case


def _tested(case: CaseChecked) -> TestCase:
    tested = TestCase(legal(case.case), classname="baseline", time=0)
    lines = list(_lines(case))
    kind = _CHILD.get(case.standing)
    if case.negative and case.standing in (IDENTICAL, WITHIN):
        kind = Failure
    if kind is not None:
        child = kind(legal(lines[0] if lines else case.standing), case.standing)
        child.text = "\n".join(legal(line) for line in lines)
        tested.result = [child]
    return tested


def _lines(case: CaseChecked) -> list[str]:
    lines = [case.why] if case.why else []
    for run in case.runs:
        if run.standing == MOVED:
            name = run_words(run.run, run.point)
            lines += [f"{name}: first {begun_words(run.first)}"] if run.first else []
            lines += [f"{name}: {told}" for told in (*run.told, largest_of(run)) if told]
    return lines + [f"{turn.judgement}: {turn.was}, now {turn.now}" for turn in case.turned]
