"""Known deviations: what a deferral makes of each verdict."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Any

import pytest

from leverproof.judge.deferring import deferred
from leverproof.judge.endings import ENDINGS, counts, exit_code
from leverproof.judge.ladder import block
from leverproof.judge.model import VERDICTS, Deferral, Finding, PointFinding

DAY = datetime.date(2026, 6, 30)
HELD = Deferral("case", "power", "A. Person", "a new map is being measured", "2026-06-30", 60.0, "hp")


def point(excess: float | None = 50.0, verdict: str = "fail", **more: Any) -> PointFinding:
    known = {"label": "", "found": 950.0, "expected": 1000.0, "unit": "hp", "limit": 20.0, "w": 5.0}
    return PointFinding(**{**known, "excess": excess, "verdict": verdict, **more})


def finding(
    verdict: str = "fail", *points: PointFinding, judgement: str = "power", subject: str = "throttle"
) -> Finding:
    held = points or (point(verdict=verdict),)
    return Finding(
        "case", judgement, subject, "value", "power?", "required", "sheet", "the sheet", verdict, unit="hp",
        found="950 hp", note="told", points=held,
    )  # fmt: skip


def put_off(one: Finding, deferral: Deferral = HELD, today: datetime.date = DAY) -> Finding:
    (found,) = deferred([one], [deferral], today)
    assert found.deferral == deferral
    return found


def code(*findings: Finding) -> int:
    return exit_code(findings, handshake=True, input_errors=False, interrupted=False, internal=False)


@pytest.mark.parametrize("verdict", ["fail", "conditional fail"])
def test_a_deviation_within_its_limit_is_deferred(verdict: str) -> None:
    found = put_off(finding(verdict))
    assert (found.verdict, found.deferral_state) == ("deferred", "holds")
    assert found.note == f"would be: {verdict}; told"
    assert (ENDINGS[found.verdict].passed, ENDINGS[found.verdict].junit, code(found)) == (False, "skipped", 0)


@pytest.mark.parametrize(("today", "verdict"), [(DAY, "deferred"), (DAY + datetime.timedelta(1), "fail")])
def test_the_day_of_expiry_is_the_last(today: datetime.date, verdict: str) -> None:
    found = put_off(finding(), today=today)
    assert found.verdict == verdict
    if verdict == "fail":
        assert found.deferral_state == "expired" and "expired on 2026-06-30" in found.note and code(found) == 1


@pytest.mark.parametrize("verdict", ["pass", "conditional pass"])
@pytest.mark.parametrize("days", [0, 400])
def test_an_unexpected_pass_is_a_failure(verdict: str, days: int) -> None:
    found = put_off(finding(verdict), today=DAY + datetime.timedelta(days))
    assert (found.verdict, found.deferral_state, code(found)) == ("fail", "passes unexpectedly", 1)
    assert "no longer needed" in found.note


@pytest.mark.parametrize(
    ("limit", "unit", "verdict"),
    [(50.0, "hp", "deferred"), (49.0, "hp", "fail"), (2.5, "tolerances", "deferred"), (2.4, "tolerances", "fail")],
)
def test_beyond_its_limit_is_a_failure(limit: float, unit: str, verdict: str) -> None:
    found = put_off(finding(), replace(HELD, limit=limit, unit=unit))
    assert found.verdict == verdict
    if verdict == "fail":
        assert found.deferral_state == "beyond its limit" and "50 hp off, allowed" in found.note and code(found) == 1


def test_every_point_must_keep_the_limit() -> None:
    points = (point(10.0, "pass"), point(50.0), point(70.0, "conditional fail", label="9,000 ft"))
    found = put_off(finding("fail", *points))
    assert found.verdict == "fail" and "70 hp off at 9,000 ft, allowed 60 hp" in found.note
    assert put_off(finding("fail", *points[:2])).verdict == "deferred"


def test_what_has_no_number_keeps_no_limit() -> None:
    found = put_off(finding("fail", point(None, note="never goes through 90 %")))
    assert found.verdict == "fail" and "cannot be said: never goes through 90 %" in found.note
    assert put_off(finding("fail", point(None)), replace(HELD, limit=None, unit="unmeasured")).verdict == "deferred"
    other = put_off(finding("fail", point(unit="rpm")))
    assert other.verdict == "fail" and "the limit is in hp, the finding in rpm" in other.note


@pytest.mark.parametrize("verdict", sorted(set(VERDICTS) - {"pass", "conditional pass", "fail", "conditional fail"}))
@pytest.mark.parametrize("days", [0, 400])
def test_only_a_deviation_can_be_deferred(verdict: str, days: int) -> None:
    found = put_off(finding(verdict), today=DAY + datetime.timedelta(days))
    assert (found.verdict, found.deferral_state) == (verdict, "not used")


@pytest.mark.parametrize("verdict", ["error", "invalid run", "inconclusive"])
def test_a_crash_at_one_point_is_not_hidden_behind_a_deviation_at_another(verdict: str) -> None:
    found = put_off(finding("fail", point(), point(None, verdict, label="9,000 ft", note="crash")))
    assert (found.verdict, code(found)) == (verdict, 1) and "9,000 ft" in found.note


def test_others_are_left_as_they_are() -> None:
    other = finding(judgement="speed")
    assert deferred([other], [HELD], DAY) == [other]


def test_what_is_deferred_blocks_nothing_and_is_blocked_by_nothing() -> None:
    ladder = {"turbo": ("throttle",)}
    above = finding(judgement="lag", subject="turbo")
    assert [f.verdict for f in block([finding(), above], ladder)] == ["fail", "blocked"]
    assert [f.verdict for f in block([put_off(finding()), above], ladder)] == ["deferred", "fail"]
    assert [f.verdict for f in block([put_off(finding("pass")), above], ladder)] == ["fail", "fail"]


def test_loosened_findings_are_counted_among_the_others() -> None:
    loose = replace(finding("pass"), loosened="loosened to 2 times what the case states, by A. Person: because")
    found = counts([loose, finding("pass"), replace(loose, weight="advisory", verdict="fail")])
    assert (found.required["pass"], found.advisory["fail"]) == (2, 1)
    assert (found.loosened["pass"], found.loosened["fail"], sum(found.loosened.values())) == (1, 1, 2)


def test_of_several_engines_a_deferral_is_for_every_one_or_for_one() -> None:
    ids = ("case@1", "case@2")
    both = [replace(finding(), case=name) for name in ids]
    assert [f.verdict for f in deferred(both, [HELD], DAY)] == ["deferred", "deferred"]
    assert [f.verdict for f in deferred(both, [replace(HELD, case="case@2")], DAY)] == ["fail", "deferred"]
    strict = replace(HELD, case="case@1", limit=1.0)
    assert [f.deferral_state for f in deferred(both, [HELD, strict], DAY)] == ["beyond its limit", "holds"]
