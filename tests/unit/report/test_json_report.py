"""The report for programs: one object, of its own schema, that loses nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from types import SimpleNamespace

import pytest
from jsonschema import Draft202012Validator

from leverproof.errors import InputError
from leverproof.record import Record
from leverproof.report import json_report
from leverproof.schema import check, load_schema


def test_the_schemas_are_schemas() -> None:
    for name in ("report", "record-line"):
        Draft202012Validator.check_schema(load_schema(name))


def test_the_report_fits_its_schema_and_holds_every_judgement_once(full: Record) -> None:
    report = json.loads(json_report.render(full))
    check(report, "report", "report.json")
    names = [(case["id"], f["judgement"]) for case in report["cases"] for f in case["findings"]]
    asked = [(p.case.id, j.id) for p in full.expectations for j in p.case.judgements]
    assert sorted(names) == sorted(asked)
    assert sum(sum(group.values()) for group in report["counts"].values()) == len(names)
    assert report["ending"] == {"word": "finished", "exit": 1, "complete": True}
    failing = [f["verdict"] for case in report["cases"] for f in case["findings"] if f["fails"]]
    assert sorted(failing) == sorted(
        ["conditional fail", "fail", "fail", "inconclusive", "invalid run", "error", "flaky"]
    )


def test_the_schema_refuses_a_surprise(full: Record) -> None:
    report = json.loads(json_report.render(full))
    report["cases"][0]["findings"][0]["verdict"] = "certain"
    with pytest.raises(InputError):
        check(report, "report", "report.json")


def test_numbers_that_are_not_finite_stay_valid_json(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = make.judgement("j")
    of = make.case("c", "take-off", (asked,))
    found = make.finding(asked, of, "invalid run", number=float("nan"), w=float("inf"))

    def refuse(word: str) -> None:
        raise AssertionError(word)

    report = json.loads(json_report.render(session([make.plan(of)], [found])), parse_constant=refuse)
    check(report, "report", "report.json")
    assert report["cases"][0]["findings"][0]["number"] == "NaN"
    assert report["cases"][0]["findings"][0]["doubt"] == "Infinity"


def test_an_incomplete_record_has_no_exit(session: Callable[..., Record], make: SimpleNamespace) -> None:
    of = make.case("c", "take-off", (make.judgement("j"),))
    report = json.loads(json_report.render(session([make.plan(of)], [], ending=None)))
    check(report, "report", "report.json")
    assert report["ending"] == {"word": "incomplete", "exit": None, "complete": False}
    assert report["cases"][0]["findings"][0]["verdict"] == "not run"
