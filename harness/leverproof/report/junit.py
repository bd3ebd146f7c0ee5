"""The report as JUnit XML for continuous integration: one suite a subject, one test case a judgement.

Each test case has at most one child that says how it ended. Properties stand on the suites only, because
several readers refuse them elsewhere: what was run, and every conditional pass. Attributes that the strictest of the
schemas in use asks for are there too; times are 0, because no judgement takes any that says something.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from junitparser import Error, Failure, JUnitXml, Skipped, TestCase, TestSuite

from leverproof import CAUTION
from leverproof.judge.endings import DISORDERLY
from leverproof.judge.model import Finding
from leverproof.record.reader import Record
from leverproof.report.by_eye import TITLE, Item, words
from leverproof.report.fold import (
    all_findings,
    by_subject,
    deferral_words,
    ending_words,
    failure_words,
    junit_child,
    mounted,
    notices,
    put_off,
    repeat_command,
    standing,
)
from leverproof.report.wording import visible

_KINDS = {"failure": Failure, "error": Error, "skipped": Skipped}


def render(record: Record, *, by_eye: Sequence[Item] = ()) -> str:
    """The XML document as text; every character in it is one that XML allows. What was judged ``by_eye`` is no test
    case but a property of the first suite."""
    document = JUnitXml("leverproof")
    head = {**mounted(record), "ending": ending_words(record), "caution": CAUTION}
    suites = [_suite(record, subject, found, head) for subject, found in by_subject(all_findings(record)).items()]
    if record.footer is None or record.footer["exit"] not in (0, 1) or record.ending == DISORDERLY:
        suites.append(_trouble(record))
    for told in words(by_eye) if suites else ():
        suites[0].add_property(TITLE, legal(told))
    for index, suite in enumerate(suites):
        _placed(suite, index, str(record.header.get("date", "")))
        document.append(suite)  # type: ignore[no-untyped-call]
    document.update_statistics()  # type: ignore[no-untyped-call]
    text: bytes = document.tostring()  # type: ignore[no-untyped-call]
    return '<?xml version="1.0" encoding="utf-8"?>\n' + text.decode("utf-8") + "\n"


def _placed(suite: TestSuite, index: int, date: str) -> None:
    """Number, time and host, as the strictest schema asks for them: a time without zone (UTC), and ``localhost`` where
    the host's name is nobody's business."""
    when = re.match(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d", date)
    suite.timestamp = when.group() if when else "1970-01-01T00:00:00"
    suite.hostname = "localhost"
    suite._elem.set("id", str(index))
    suite._elem.set("package", "leverproof")


def _trouble(record: Record) -> TestSuite:
    """A run that did not end in order must not look like one where everything was skipped."""
    suite = TestSuite("session")
    case = TestCase("session/ending", classname="session", time=0)
    child = Error(legal(ending_words(record)), "ending")
    child.text = "\n".join(legal(notice) for notice in notices(record))
    case.result = [child]
    suite.add_testcases([case])
    return suite


def _suite(record: Record, subject: str, findings: Sequence[Finding], head: dict[str, str]) -> TestSuite:
    suite = TestSuite(legal(subject))
    for key, value in head.items():
        suite.add_property(legal(key), legal(value))
    names: Counter[str] = Counter()
    cases = []
    for finding in findings:
        name = f"{finding.case}/{finding.judgement}"
        names[name] += 1
        unique = name if names[name] == 1 else f"{name} ({names[name]})"
        if finding.verdict == "conditional pass":
            suite.add_property("conditional pass", legal(unique))
        if finding.loosened:
            suite.add_property("tolerance loosened", legal(f"{unique}: {finding.loosened}"))
        if finding.deferral is not None:
            suite.add_property("deferral", legal(put_off([finding])[0]))
        cases.append(_case(record, unique, finding))
    suite.add_testcases(cases)
    return suite


def _case(record: Record, name: str, finding: Finding) -> TestCase:
    case = TestCase(legal(name), classname=legal(finding.subject), time=0)
    kind = junit_child(finding)
    if kind == "pass":
        return case
    message = f"{finding.verdict}: {failure_words(finding)}" if kind != "skipped" else _skipped(finding)
    child = _KINDS[kind](legal(message), legal(finding.verdict))
    told = [finding.asked, finding.note, finding.why, f"basis {finding.basis}: {finding.source}"]
    told += [f"because of {cause}" for cause in finding.causes]
    told += [deferral_words(finding), finding.loosened and f"tolerance {finding.loosened}"]
    told += [f"repeat: {repeat_command(record.header, finding.case)}"]
    child.text = "\n".join(legal(line) for line in told if line)
    case.result = [child]
    return case


def _skipped(finding: Finding) -> str:
    if standing(finding) == "self_referential":
        return f"{finding.verdict}, self-referential: never counts among the passed"
    if finding.weight != "required":
        return f"{finding.verdict}, advisory: {failure_words(finding)}"
    told = "; ".join(part for part in (deferral_words(finding), finding.note) if part)
    return f"{finding.verdict}: {told}" if told else finding.verdict


def legal(text: str) -> str:
    """``text`` without the characters that XML forbids: they are made visible."""
    return "".join(c if c not in "\ufffe\uffff" else f"\\u{ord(c):04x}" for c in visible(text))
