"""The kill matrix: what catches what, and what deviates from what was written beforehand."""

from __future__ import annotations

from leverproof.record import Record
from leverproof.report.kill_matrix import DefectRun, fired_cases, render


def run(defect: str, expected: set[str], fired: set[str], code: int = 1) -> DefectRun:
    return DefectRun(defect, "large", frozenset(expected), frozenset(fired), code)


def test_marks_keys_and_deviations() -> None:
    text = render(
        [run("a", {"one", "two"}, {"one", "three"}), run("b", {"one"}, {"one"}), run("c", {"two"}, set(), 0)]
    )
    rows = {
        line.split()[0]: line.split()[3:]
        for line in text.splitlines()
        if line[:1] in "abc" and "large" in line
    }
    assert rows == {"a": ["x", "!", "o"], "b": ["x", ".", "."], "c": [".", ".", "o"]}
    assert "  1  one: catches 2 defects, alone b" in text
    assert "a: two was expected to catch it and did not" in text
    assert "a: three caught it and was not expected to" in text
    assert "c: ended with exit code 0, expected 1" in text


def test_nothing_strange_is_said_in_a_sentence() -> None:
    assert "Every defect was caught by exactly the cases expected." in render([run("a", {"one"}, {"one"})])


def test_only_required_failures_fire(full: Record) -> None:
    assert fired_cases(full) == {"take-off-boost-back", "split-lever-advantage"}


def test_no_defects_is_not_called_a_success() -> None:
    assert render([]) == "This engine has no seeded defects.\n"
