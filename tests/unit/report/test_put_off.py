"""Known deviations and loosened tolerances are told in every report."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from junitparser import JUnitXml

from leverproof.judge.model import Deferral
from leverproof.record import Record
from leverproof.report import json_report, junit, markdown, terminal
from leverproof.schema import check

LOOSE = "loosened to 2 times what the case states, by B. Person: our gauge has wide steps"
STATES = {
    "holds": "deferred", "expired": "fail", "passes unexpectedly": "fail", "beyond its limit": "fail",
    "not used": "error",
}  # fmt: skip


@pytest.fixture
def record(session: Callable[..., Record], make: SimpleNamespace) -> Record:
    names = [state.replace(" ", "-") for state in STATES]
    asked = tuple(make.judgement(name) for name in (*names, "loose"))
    of = make.case("take-off-boost-back", "throttle", asked)
    found = []
    for judgement, (state, verdict) in zip(asked, STATES.items(), strict=False):
        held = Deferral(of.id, judgement.id, "A. Person", "a new map is measured", "2026-12-31", 1.5, "inHg")
        held = replace(held, limit=None, unit="unmeasured") if state == "not used" else held
        found.append(make.finding(judgement, of, verdict, deferral=held, deferral_state=state, note=f"so it {state}"))
    found.append(make.finding(asked[-1], of, "pass", loosened=LOOSE))
    header = {**make.header, "request": {**make.header["request"], "deferrals": "known deviations.toml"}}
    return session([make.plan(of)], found, header=header)


@pytest.mark.parametrize("render", [terminal.render, markdown.render])
def test_people_read_who_until_when_and_why(record: Record, render: Callable[[Record], str]) -> None:
    text = " ".join(render(record).replace("\\", "").split())
    assert text.count("A. Person until 2026-12-31, at most 1.5 inHg off: a new map is measured") == 4
    assert "A. Person until 2026-12-31, at most unmeasured off" in text
    for told in (
        "deferred (deferral holds)",
        "fail (deferral expired)",
        "fail (passes unexpectedly: remove the deferral)",
        "fail (beyond the limit of its deferral)",
        "error (deferral not used)",
    ):
        assert told in text
    assert f"take-off-boost-back/loose (pass): {LOOSE}" in text
    assert "of these loosened" in text and "--deferrals 'known deviations.toml'" in text


def test_programs_read_it_too(record: Record) -> None:
    text = json_report.render(record)
    document = json.loads(text)
    check(document, "report", "report.json")
    findings = {f["judgement"]: f for f in document["cases"][0]["findings"]}
    held = {"owner": "A. Person", "reason": "a new map is measured", "expires": "2026-12-31"}
    assert findings["holds"]["deferral"] == {**held, "state": "holds", "limit": 1.5, "unit": "inHg"}
    assert findings["not-used"]["deferral"]["limit"] is None
    assert (findings["loose"]["deferral"], findings["loose"]["loosened"]) == (None, LOOSE)
    assert document["counts"]["loosened"] == {"pass": 1}
    assert document["counts"]["required"]["deferred"] == 1


def test_continuous_integration_skips_what_is_deferred_and_fails_the_rest(record: Record) -> None:
    (suite,) = JUnitXml.fromstring(junit.render(record).encode())
    kinds: dict[str, Any] = {c.name.split("/")[1]: c.result for c in suite}
    names = ("holds", "expired", "passes-unexpectedly", "beyond-its-limit")
    ended = [type(kinds[name][0]).__name__ for name in names]
    assert ended == ["Skipped", "Failure", "Failure", "Failure"]
    assert kinds["holds"][0].message == (
        "deferred: A. Person until 2026-12-31, at most 1.5 inHg off: a new map is measured; so it holds"
    )
    assert "A. Person until 2026-12-31" in kinds["expired"][0].text and kinds["loose"] == []
    properties = [(p.name, p.value) for p in suite.properties()]
    assert ("tolerance loosened", f"take-off-boost-back/loose: {LOOSE}") in properties
    assert sum(name == "deferral" for name, _ in properties) == 5


def test_nothing_put_off_is_nothing_said(full: Record) -> None:
    for text in (terminal.render(full), markdown.render(full)):
        assert "Put off" not in text and "loosened" not in text.casefold()
