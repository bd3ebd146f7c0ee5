"""JUnit XML that another reader understands: unique names, one child each, no character XML forbids."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable
from types import SimpleNamespace

import pytest
from junitparser import JUnitXml

from leverproof.judge.endings import ENDINGS
from leverproof.judge.model import VERDICTS
from leverproof.record import Record
from leverproof.report import junit
from leverproof.report.fold import all_findings

CHILDREN = {"pass": [], "failure": ["failure"], "error": ["error"], "skipped": ["skipped"]}


def children(record: Record) -> dict[str, list[str]]:
    root = ET.fromstring(junit.render(record))
    return {case.attrib["name"]: [child.tag for child in case] for case in root.iter("testcase")}


def test_every_verdict_ends_as_the_table_says(full: Record) -> None:
    found = children(full)
    for verdict in VERDICTS:
        name = f"take-off-boost-back/{verdict.replace(' ', '-')}"
        assert found[name] == CHILDREN[ENDINGS[verdict].junit], verdict


def test_advisory_failures_and_self_referential_passes_are_skipped_not_passed(full: Record) -> None:
    found = children(full)
    assert found["split-lever-advantage/size"] == ["skipped"]
    assert found["split-lever-advantage/own-datum"] == ["skipped"]
    assert found["split-lever-advantage/power-sign"] == ["failure"]


def test_another_reader_counts_the_same(full: Record) -> None:
    document = JUnitXml.fromstring(junit.render(full).encode())
    kinds = Counter(tag for tags in children(full).values() for tag in tags)
    assert document.tests == len(all_findings(full))
    assert (document.failures, document.errors, document.skipped) == (
        kinds["failure"],
        kinds["error"],
        kinds["skipped"],
    )
    suites = {suite.name: suite for suite in document}
    assert set(suites) == {"take-off", "boost control", "overspeed light"}
    assert {case.classname for case in suites["boost control"]} == {"boost control"}


def test_properties_stand_on_suites_only_and_name_conditional_passes(full: Record) -> None:
    root = ET.fromstring(junit.render(full))
    assert root.findall("./testsuite/testcase//property") == []
    said = [p.attrib["value"] for p in root.iter("property") if p.attrib["name"] == "conditional pass"]
    assert said == ["take-off-boost-back/conditional-pass"]


def test_a_failure_says_what_was_found_and_how_to_repeat_it(full: Record) -> None:
    root = ET.fromstring(junit.render(full))
    failure = root.find(".//testcase[@name='split-lever-advantage/power-sign']/failure")
    assert failure is not None
    assert "found 12.3 hp, expected at least 40 hp" in failure.attrib["message"]
    assert "--case split-lever-advantage" in (failure.text or "")


def test_the_same_name_twice_becomes_two_names(session: Callable[..., Record], make: SimpleNamespace) -> None:
    asked = make.judgement("j")
    of = make.case("c", "take-off", (asked,))
    found = children(
        session([make.plan(of)], [make.finding(asked, of, "pass"), make.finding(asked, of, "fail")])
    )
    assert found == {"c/j": [], "c/j (2)": ["failure"]}


def test_characters_that_xml_forbids_are_made_visible(
    session: Callable[..., Record], make: SimpleNamespace
) -> None:
    bad = "".join(map(chr, range(32))) + "\x7f\x85\ufffe\uffff\ud800 & < > \" ' ]]>"
    asked = make.judgement("j", asked=bad)
    of = make.case("c", f"subject {bad}", (asked,))
    record = session([make.plan(of)], [make.finding(asked, of, "error", found=bad, note=bad)])
    text = junit.render(record)
    root = ET.fromstring(text.encode("utf-8"))
    assert "\\x00" in text
    error = root.find(".//error")
    assert error is not None
    assert "& < >" in error.attrib["message"]


@pytest.mark.parametrize(
    ("ending", "trouble"), [(("finished", 0), False), (None, True), (("interrupted", 130), True)]
)
def test_a_run_that_did_not_end_in_order_is_an_error(
    session: Callable[..., Record], make: SimpleNamespace, ending: tuple[str, int] | None, trouble: bool
) -> None:
    asked = make.judgement("j")
    of = make.case("c", "take-off", (asked,))
    found = children(session([make.plan(of)], [make.finding(asked, of, "pass")], ending=ending))
    assert ("session/ending" in found) is trouble
