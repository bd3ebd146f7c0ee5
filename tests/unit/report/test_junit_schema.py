"""The JUnit XML against the schemas in common use: their elements, order, attributes and types, written down here.

SOURCE: from memory, the schema that build servers take from Ant's writer of JUnit reports, and its later form with
``skipped``. No authority keeps one, so the strictest demands of each are put together."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from leverproof.record import Record
from leverproof.report import junit

NUMBER, WHOLE = r"\d+(\.\d+)?", r"\d+"
TIME = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d"
ATTRIBUTES: dict[str, dict[str, str]] = {
    "testsuites": {"name": ".*", "tests": WHOLE, "failures": WHOLE, "errors": WHOLE, "skipped": WHOLE, "time": NUMBER},
    "testsuite": {
        "name": ".+", "tests": WHOLE, "failures": WHOLE, "errors": WHOLE, "skipped": WHOLE, "time": NUMBER,
        "timestamp": TIME, "hostname": r"[\w.-]+", "id": WHOLE, "package": r"\w+",
    },
    "testcase": {"name": ".+", "classname": ".+", "time": NUMBER},
    "property": {"name": ".+", "value": ".*"},
    "failure": {"message": ".+", "type": ".+"},
    "error": {"message": ".+", "type": ".+"},
    "skipped": {"message": ".+", "type": ".+"},
}  # fmt: skip
CHILDREN = {
    "testsuites": ["testsuite"],
    "testsuite": ["properties", "testcase"],
    "properties": ["property"],
    "testcase": ["skipped", "error", "failure"],
}


def hold(element: ET.Element) -> None:
    """Every element has what the schemas ask for, and nothing else; sequences are in order."""
    asked = ATTRIBUTES.get(element.tag, {})
    assert set(element.attrib) == set(asked), element.tag
    for name, form in asked.items():
        assert re.fullmatch(form, element.attrib[name], re.DOTALL), (element.tag, name, element.attrib[name])
    allowed = CHILDREN.get(element.tag, [])
    places = [allowed.index(child.tag) for child in element]
    assert places == sorted(places), element.tag
    for child in element:
        hold(child)


def totals(element: ET.Element) -> dict[str, int]:
    cases = list(element.iter("testcase"))
    tags = Counter(child.tag for case in cases for child in case)
    return {
        "tests": len(cases),
        "failures": tags["failure"],
        "errors": tags["error"],
        "skipped": tags["skipped"],
    }


def check(text: str) -> ET.Element:
    root = ET.fromstring(text.encode("utf-8"))
    hold(root)
    for element in (root, *root):
        assert {name: int(element.attrib[name]) for name in totals(element)} == totals(element)
    cases = list(root.iter("testcase"))
    assert all(len(case) <= 1 for case in cases)
    names = [(case.attrib["classname"], case.attrib["name"]) for case in cases]
    assert len(set(names)) == len(names) and len({name for _, name in names}) == len(names)
    suites = [suite.attrib["name"] for suite in root]
    assert len(set(suites)) == len(suites)
    return root


def test_every_verdict_is_of_the_schemas(full: Record) -> None:
    assert len(list(check(junit.render(full)).iter("testcase"))) > 12


@pytest.mark.parametrize("ending", [None, ("interrupted; what was finished is kept", 130), ("finished", 5)])
def test_a_run_that_did_not_end_in_order_is_too(
    ending: tuple[str, int] | None, session: Callable[..., Record], make: SimpleNamespace
) -> None:
    asked = make.judgement("j")
    of = make.case("c", "take-off", (asked,))
    header = make.header | {"date": "2026-11-25T17:38:24+00:00"}
    record = session([make.plan(of)], [make.finding(asked, of, "not run")], ending=ending, header=header)
    root = check(junit.render(record))
    assert root.find("./testsuite[@name='session']/testcase/error") is not None
    assert {suite.attrib["timestamp"] for suite in root} == {"2026-11-25T17:38:24"}


def test_hostile_texts_do_not_break_it(session: Callable[..., Record], make: SimpleNamespace) -> None:
    bad = "<![CDATA[ ]]> \x00\n\r\t\u202e & \" '"
    asked = (make.judgement("j"), make.judgement("k"))
    of = make.case("c", f"s {bad}", asked)
    found = [
        make.finding(j, of, v, note=bad, why=bad, found=bad)
        for j, v in zip(asked, ("fail", "error"), strict=True)
    ]
    check(junit.render(session([make.plan(of)], found, header=make.header | {"date": bad})))
