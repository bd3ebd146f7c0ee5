"""What a check, an acceptance and a history say in every form."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from leverproof.baseline.accept import Wish, accept
from leverproof.baseline.check import check
from leverproof.baseline.checked import Checked
from leverproof.baseline.drift import Past, past
from leverproof.baseline.store import read_baseline, read_versions
from leverproof.report import baseline_accepted, baseline_check, baseline_history, baseline_machine, baseline_page
from leverproof.schema import check as fits

from .invented import Flight, Samples, write

HOSTILE = "</title><script>window.acted=1</script> & \x1b[31m\u202e"


def moved_by(amount: float) -> Callable[..., None]:
    def change(run: str, data: dict[str, Samples]) -> None:
        data["brake_power"] += amount

    return change


@pytest.fixture
def checked(tmp_path: Path) -> Callable[..., Checked]:
    """Checks a flight against the accepted model."""

    def against(name: str, why: str = "good", **more: object) -> Checked:
        flight = Flight(cases=("boost-up", "boost-down"))
        accept(write(tmp_path / f"{name}-was", flight), tmp_path / name, Wish("Ann", why))
        now = Flight(**({"cases": ("boost-up", "boost-down")} | more))
        return check(write(tmp_path / f"{name}-now", now), read_baseline(tmp_path / name))

    return against


def forms(found: Checked) -> tuple[str, str, dict[str, object], ET.Element]:
    document = json.loads(baseline_machine.render_json(found))
    fits(document, "baseline-check", "check")
    return (
        " ".join(baseline_check.render(found).split()),
        baseline_check.markdown(found),
        document,
        ET.fromstring(baseline_machine.render_junit(found)),
    )


def children(suite: ET.Element) -> Sequence[tuple[str | None, list[str]]]:
    return [(case.get("name"), [child.tag for child in case]) for case in suite.iter("testcase")]


def test_identical(checked: Callable[..., Checked]) -> None:
    text, page, document, junit = forms(checked("held"))
    assert "identical: every sample and every verdict is the accepted one (2 cases: 2 identical)" in text
    assert "version 1 of 2026-03-01T09:30:00+00:00, accepted by Ann: good" in text
    assert "**identical" in page and document["answer"] == "identical" and document["passed"] is True
    assert document["recognised_by_sum"] is True
    assert children(junit) == [("boost-up", []), ("boost-down", [])]


def test_moved(checked: Callable[..., Checked]) -> None:
    text, page, document, junit = forms(checked("held", change=moved_by(40.0)))
    assert "Moved first: brake power, in 4 of 4 runs that moved" in text
    assert "up: brake power at its first sample: 340 hp for 300 hp, " in text or "2,040 hp for 2,000 hp, " in text
    assert "leverproof baseline accept RECORD --by NAME --why TEXT" in text
    assert "## Moved first" in page and "| boost-up | 2 of 2 | brake power |" in page
    first = document["first"]
    assert isinstance(first, dict) and first["channel"] == "brake_power"
    assert first["places"][0]["doubts"] == pytest.approx(40.0 / first["places"][0]["doubt"])
    assert children(junit) == [("boost-up", ["failure"]), ("boost-down", ["failure"])]


def test_moved_inside_tolerance(checked: Callable[..., Checked]) -> None:
    text, _, document, junit = forms(checked("held", change=moved_by(1.0)))
    assert "within tolerance: numbers moved, none of them out of its tolerance" in text
    assert "Farthest from what was accepted" in text and "0.25 tolerances" in text
    assert document["passed"] is True and all(not tags for _, tags in children(junit))


def test_a_channel_that_is_gone_everywhere_is_named_at_the_head(checked: Callable[..., Checked]) -> None:
    def silent(run: str, data: dict[str, Samples]) -> None:
        del data["turbo_overspeed_light"]

    text, page, _, junit = forms(checked("held", change=silent))
    words = "In 4 of 4 runs that moved: the model gives no turbo overspeed light any more"
    assert words in text.partition("boost-up")[0] and words in page.partition("## Cases")[0]
    assert words in [told.get("value") for told in junit.iter("property")]


def test_what_differs_at_all_stands_beside_what_moved_first(checked: Callable[..., Checked]) -> None:
    def change(run: str, data: dict[str, Samples]) -> None:
        data["brake_power"] += 1.0  # a quarter of its tolerance, in every run
        if run == "up":
            data["manifold_pressure"] += 1.0

    text, _, document, _ = forms(checked("held", change=change))
    assert "Moved first: manifold pressure, in 2 of 2 runs that moved" in text
    assert "most readings that differ at all are of brake power: 4, and 2 of manifold pressure" in text
    assert "brake power in 4 readings, manifold pressure in 2 readings" in text
    runs = document["cases"][0]["runs"]  # type: ignore[index]
    assert {run["run"]: set(run["differing"]) for run in runs} == {
        "up": {"brake_power", "manifold_pressure"},
        "down": {"brake_power"},
    }


def test_a_check_of_nothing_is_no_green_suite(checked: Callable[..., Checked]) -> None:
    asked = {"request": {"cases": ["boost-new"], "subjects": [], "engine": None}}
    found = checked("held", cases=("boost-new",), header=asked)
    *cases, last = children(forms(found)[3])
    assert not found.passed and [tags for _, tags in cases] == [["skipped"]] * 3
    assert last == ("baseline/comparable", ["error"])


def test_a_verdict_alone(checked: Callable[..., Checked]) -> None:
    text, _, document, junit = forms(checked("held", verdict="fail", ending=("completed", 1)))
    assert "2 required findings that passed no longer do" in text
    assert "boost-up/pressure: pass, now fail" in text
    assert document["answer"] == "moved" and [tags for _, tags in children(junit)] == [["failure"], ["failure"]]


def test_not_comparable(checked: Callable[..., Checked]) -> None:
    text, page, document, junit = forms(checked("held", header={"suite": "9"}))
    assert "another suite of cases: version 1 was used, and now 9" in text and "Nothing could be compared" in page
    assert document["refused"] and children(junit) == [("baseline/comparable", ["error"])]


def test_cases_new_and_missing_and_asked_otherwise(checked: Callable[..., Checked]) -> None:
    text, _, _, junit = forms(checked("held", cases=("boost-up", "boost-new"), tolerance=3.0))
    assert "boost-up: its text is another: how it is judged" in text
    assert "boost-new: no run of it has been accepted" in text
    assert children(junit) == [("boost-up", ["error"]), ("boost-new", ["skipped"]), ("boost-down", ["error"])]


def test_words_of_others_stay_words(checked: Callable[..., Checked]) -> None:
    found = checked("held", why=HOSTILE, change=moved_by(40.0))
    text, page, junit = (
        baseline_check.render(found),
        baseline_check.markdown(found),
        baseline_machine.render_junit(found),
    )
    for told in (text, page, junit):
        assert "\x1b" not in told and "\u202e" not in told
    assert "<script>" not in page and "<script>" not in junit
    ET.fromstring(baseline_machine.render_junit(found))


@pytest.fixture
def history(tmp_path: Path) -> Past:
    for step in range(4):
        flight = Flight(change=moved_by(30.0 * step), date=f"2026-03-0{step + 1}T00:00:00+00:00")
        wish = Wish("Ann", f"step {step}" if step else HOSTILE)
        accept(write(tmp_path / str(step), flight), tmp_path / "held", wish)
    kept = read_baseline(tmp_path / "held")
    return past(kept, read_versions(kept))


def test_a_history_in_words_and_numbers(history: Past) -> None:
    text = " ".join(baseline_history.render(history).split())
    assert "4 versions" in text and "version 3, 2026-03-03T00:00:00+00:00, by Ann: step 2" in text
    assert "moved: boost-up" in text
    document = json.loads(baseline_history.render_json(history))
    fits(document, "baseline-history", "history")
    assert [series["key"] for series in document["judged"]] == ["boost-up/pressure/"]
    assert len(document["acceptances"]) == 4


def test_the_page_draws_every_number_and_needs_nothing(history: Past) -> None:
    page = baseline_page.render(history)
    assert page.count("<svg") == len(history.judged) + len(history.readings) == 2
    assert "<script" not in page and "http" not in page.replace("http-equiv", "")
    assert "&lt;script&gt;" in page and "\u202e" not in page and "\x1b" not in page
    ET.fromstring(page[page.index("<svg") : page.index("</svg>") + 6])


def test_an_acceptance_in_words(tmp_path: Path) -> None:
    first = accept(write(tmp_path / "one", Flight()), tmp_path / "held", Wish("Ann", "good"))
    assert "held: 1 case of 1 asked for, 2 runs, 2 readings, 10 curves" in baseline_accepted.render(first)
    again = accept(write(tmp_path / "one", Flight()), tmp_path / "held", Wish("Ann", "other"))
    assert "nothing was written" in baseline_accepted.render(again)
    failing = Flight(verdict="fail", ending=("completed", 1), change=moved_by(40.0))
    wish = Wish("Bob", "better", despite="the pump is missing")
    found = accept(write(tmp_path / "two", failing), tmp_path / "held", wish)
    text = " ".join(baseline_accepted.render(found).split())
    assert "2 of 10 numbers of its readings out of tolerance; moved: boost-up" in text
    assert "1 required finding fails, because: the pump is missing" in text
