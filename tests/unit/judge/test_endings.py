"""Endings of verdicts, exit codes, counts, and the ladder of subjects."""

from __future__ import annotations

from typing import Any

import pytest

from leverproof.judge.endings import ENDINGS, counts, exit_code, passed, unsupported_subjects
from leverproof.judge.ladder import block
from leverproof.judge.model import VERDICTS, Finding


def finding(verdict: str, *, weight: str = "required", subject: str = "boost control", **more: Any) -> Finding:
    known = {
        "case": "case",
        "judgement": "asked",
        "what": "value",
        "asked": "?",
        "basis": "physics",
        "source": "s",
    }
    return Finding(subject=subject, weight=weight, verdict=verdict, **{**known, **more})


def code(*findings: Finding, **more: bool) -> int:
    known = {"handshake": True, "input_errors": False, "interrupted": False, "internal": False}
    return exit_code(findings, **{**known, **more})


def test_every_verdict_has_an_ending() -> None:
    assert set(ENDINGS) == set(VERDICTS)


@pytest.mark.parametrize(
    ("verdict", "ok", "code_alone", "junit"),
    [("pass", True, 0, "pass"), ("conditional pass", True, 0, "pass"), ("conditional fail", False, 1, "failure"),
     ("fail", False, 1, "failure"), ("inconclusive", False, 1, "error"), ("invalid run", False, 1, "error"),
     ("error", False, 1, "error"), ("flaky", False, 1, "error"), ("blocked", False, 5, "skipped"),
     ("deferred", False, 0, "skipped"), ("not applicable", False, 5, "skipped"), ("not run", False, 5, "skipped")],
)  # fmt: skip
def test_endings(verdict: str, ok: bool, code_alone: int, junit: str) -> None:
    assert passed(finding(verdict)) == ok
    assert code(finding(verdict)) == code_alone
    assert ENDINGS[verdict].junit == junit
    beside = {1: 1, 0: 0, 5: 0}[code_alone]
    assert code(finding(verdict), finding("pass")) == code(finding("pass"), finding(verdict)) == beside
    assert code(finding(verdict), finding("fail")) == 1


def test_neither_passed_nor_failed() -> None:
    assert ENDINGS["not applicable"].passed is None and ENDINGS["not run"].passed is None
    assert ENDINGS["blocked"].passed is False and ENDINGS["deferred"].passed is False


def test_the_first_of_the_reasons_wins() -> None:
    bad = finding("fail")
    assert code(bad, internal=True, interrupted=True, handshake=False, input_errors=True) == 4
    assert code(bad, interrupted=True, handshake=False, input_errors=True) == 130
    assert code(bad, handshake=False, input_errors=True) == 3
    assert code(bad, input_errors=True) == 2
    assert code(finding("pass"), input_errors=True) == 2
    assert code(bad) == 1
    assert code() == 5


@pytest.mark.parametrize("verdict", VERDICTS)
def test_advice_never_changes_the_exit(verdict: str) -> None:
    advice = finding(verdict, weight="advisory")
    assert code(advice, finding("pass")) == 0
    assert code(advice, finding("fail")) == 1
    assert code(advice) == 5


def test_a_reference_to_itself_can_fail_but_not_pass() -> None:
    own = finding("pass", self_referential=True)
    assert not passed(own) and code(own) == 5 and code(own, finding("pass")) == 0
    assert code(finding("fail", self_referential=True)) == 1
    assert unsupported_subjects([own]) == ("boost control",)
    assert unsupported_subjects([own, finding("pass")]) == ()
    assert unsupported_subjects([finding("fail"), finding("pass", subject="idle")]) == ()


def test_counts_keep_the_three_kinds_apart() -> None:
    found = counts([
        finding("pass"), finding("fail"), finding("fail"), finding("pass", weight="advisory"),
        finding("pass", self_referential=True), finding("fail", self_referential=True),
    ])  # fmt: skip
    assert (found.required["pass"], found.required["fail"], found.advisory["pass"]) == (1, 3, 1)
    assert found.self_referential["pass"] == 1 and found.self_referential["fail"] == 0
    assert set(found.required) == set(found.advisory) == set(found.self_referential) == set(VERDICTS)


LADDER = {"boost control": ("turbo",), "turbo": ("surroundings",), "mixture": ("surroundings",)}


def verdicts(*findings: Finding) -> list[str]:
    return [f.verdict for f in block(findings, LADDER)]


def test_what_stands_on_a_failed_rung_is_blocked() -> None:
    root = finding("fail", subject="surroundings", case="ambient", judgement="pressure")
    found = block([finding("fail"), root, finding("pass"), finding("inconclusive", subject="mixture")], LADDER)
    assert [f.verdict for f in found] == ["blocked", "fail", "pass", "blocked"]
    assert "ambient/pressure (surroundings), would be: fail" in found[0].note


def test_the_lowest_failed_rung_is_named() -> None:
    low = finding("fail", subject="surroundings", judgement="low")
    middle = finding("fail", subject="turbo", judgement="middle")
    found = block([finding("fail"), middle, low], LADDER)
    assert [f.verdict for f in found] == ["blocked", "blocked", "fail"] and "/low" in found[0].note


def test_what_does_not_block() -> None:
    assert verdicts(finding("fail"), finding("fail", subject="surroundings", weight="advisory")) == [
        "fail",
        "fail",
    ]
    assert verdicts(finding("fail"), finding("invalid run", subject="surroundings")) == [
        "fail",
        "invalid run",
    ]
    assert verdicts(finding("fail"), finding("fail", subject="idle")) == ["fail", "fail"]
    assert verdicts(finding("fail"), finding("fail")) == ["fail", "fail"]


@pytest.mark.parametrize("verdict", ["pass", "conditional pass", "error", "deferred", "not applicable", "not run"])
def test_what_is_not_blocked(verdict: str) -> None:
    root = finding("conditional fail", subject="surroundings")
    assert verdicts(finding(verdict), root) == [verdict, "conditional fail"]
    assert verdicts(finding("fail", weight="advisory"), root) == ["fail", "conditional fail"]


def test_a_circle_of_subjects_ends() -> None:
    found = block([finding("fail", subject="a"), finding("fail", subject="b")], {"a": ("b",), "b": ("a",)})
    assert [f.verdict for f in found] == ["fail", "fail"]
