"""The ledger of tolerances, and how sharp cases are by records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.judge.model import Finding, PointFinding
from leverproof.record import Record
from leverproof.report.ledger import document, entries, render
from leverproof.report.margins import Margin, deviation, margins, seen_in
from leverproof.schema import check

CASES = load_catalogue().cases


def test_every_tolerance_of_every_case_has_its_reason_source_and_tier() -> None:
    listed = entries(CASES)
    stated = [j for case in CASES for j in case.judgements if j.tolerance is not None]
    assert sum(e["key"] == "tolerance" for e in listed) == len(stated)
    assert all(e[key].strip() for e in listed for key in ("tolerance", "reason", "tier", "basis", "source"))
    assert {e["tier"].partition(":")[0] for e in listed} >= {"regression", "none stated"}
    page = " ".join(render(CASES, None, 0, width=110).split())
    for entry in listed:
        assert f"{entry['case']}/{entry['judgement']} ({entry['weight']})" in page
        assert " ".join(entry["reason"].split()) in page
    assert f"{len(listed)} tolerances in {len(CASES)} cases" in page


def test_the_tiers_say_what_they_do() -> None:
    told = {(e["case"], e["judgement"], e["key"]): e["tier"] for e in entries(CASES)}
    assert told["transient-at-half-step", "speed-tube", "tolerance"] == "regression: the model against itself"
    assert told["transient-at-half-step", "speed-tube", "time_tolerance"] == "as it is stated, in every tier"
    assert (
        told["split-lever-size", "predicted-size", "tolerance"] == "none stated: a prediction, whose own band this is"
    )
    asked = next(j for c in CASES for j in c.judgements if c.id == "slam-and-chop" and j.tolerance is not None)
    for tier, words in (("simulation", "40 % of it applies"), ("validation", "against data")):
        changed = replace(asked, tolerance=replace(asked.tolerance, tier=tier))  # type: ignore[arg-type]
        (entry,) = entries([replace(CASES[0], judgements=(changed,))])
        assert words in entry["tier"]


def point(excess: float | None, *, limit: float = 2.0, w: float = 0.5, verdict: str = "fail") -> PointFinding:
    return PointFinding("", 1.0, 0.0, "inHg", excess, limit, w, verdict)


def finding(make: SimpleNamespace, name: str, verdict: str, *points: PointFinding, **more: Any) -> Finding:
    asked = make.judgement(name)
    of = make.case("sample", "throttle", (asked,))
    found: Finding = make.finding(asked, of, verdict, points=points, **more)
    return found


@pytest.fixture
def told(session: Callable[..., Record], make: SimpleNamespace) -> Callable[..., Record]:
    """A record of one case as if from a folder of that name, honest or with a defect."""

    def write(name: str, found: list[Finding], defect: str | None = None) -> Record:
        header = {**make.header, "defect": defect}
        return replace(session([], found, header=header), folder=Path(name))

    return write


def margin(*records: Record) -> Margin:
    (found,) = margins(seen_in(records), ["sample"])
    return found


def test_deviation_is_the_farthest_point_in_tolerances_or_doubts(make: SimpleNamespace) -> None:
    far = deviation(finding(make, "a", "fail", point(1.0), point(5.0), point(None), point(float("nan"))), "x")
    assert far is not None and (far.amount, far.scale) == (2.5, "tolerances")
    sign = deviation(finding(make, "a", "pass", point(-3.0, limit=0.0)), "x")
    assert sign is not None and (sign.amount, sign.scale) == (-6.0, "doubts")
    assert deviation(finding(make, "a", "fail", point(None)), "x") is None
    assert deviation(finding(make, "a", "fail", point(1.0, limit=0.0, w=0.0)), "x") is None


@pytest.mark.parametrize(
    ("honest", "off", "standing"), [(0.4, 3.9, "sharp"), (1.0, 3.9, "blunt"), (-9.0, 2.9, "blunt")]
)
def test_a_case_is_blunt_under_one_and_a_half(
    honest: float, off: float, standing: str, told: Callable[..., Record], make: SimpleNamespace
) -> None:
    """Tolerance 2: the defect 1.95 off against 0.2, then against 0.5; then 1.45 off with honest engines far inside."""
    good = told("good", [finding(make, "a", "pass", point(honest, verdict="pass"))])
    bad = told("bad", [finding(make, "a", "fail", point(off))], "slip")
    found = margin(good, bad)
    assert (found.standing, found.engines, found.caught) == (standing, 1, 1)
    assert found.weakest is not None and found.weakest.apart == pytest.approx((off - max(0.0, honest)) / 2.0)


def test_the_weakest_defect_by_its_best_judgement_against_the_worst_engine(
    told: Callable[..., Record], make: SimpleNamespace
) -> None:
    def record(name: str, a: float, b: float, defect: str | None = None) -> Record:
        verdict = "pass" if defect is None else "fail"
        return told(name, [finding(make, "a", verdict, point(a)), finding(make, "b", verdict, point(b))], defect)

    found = margin(
        record("one", 0.2, 1.8), record("two", 0.6, 0.0),
        record("x", 20.0, 5.0, "large"), record("y", 4.6, 5.0, "small"),
    )  # fmt: skip
    assert found.honest is not None and (found.honest.of, found.honest.amount) == ("one", pytest.approx(0.9))
    assert found.weakest is not None and found.weakest.deviation is not None and found.weakest.honest is not None
    assert (found.weakest.defect, found.weakest.deviation.judgement) == ("small", "a")
    assert (found.weakest.honest.of, found.weakest.apart) == ("two", pytest.approx(2.0))


def test_what_has_no_number_is_caught_in_words(told: Callable[..., Record], make: SimpleNamespace) -> None:
    """A crash; a copied channel, whose finding fails although its number is right; and a defect not caught."""
    good = told("good", [finding(make, "a", "pass", point(0.1, verdict="pass"))])
    crash = told("c", [finding(make, "a", "error")], "crash")
    copied = told("d", [finding(make, "a", "fail", point(0.1, verdict="fail"))], "copied")
    missed = told("e", [finding(make, "a", "pass", point(0.1, verdict="pass"))], "missed")
    found = margin(good, crash, copied, missed)
    assert (found.standing, found.in_words, found.caught) == ("in words", ("crash", "copied"), 2)
    assert margin(good, missed).standing == "nothing caught"


def test_advisory_and_loosened_findings_do_not_count(told: Callable[..., Record], make: SimpleNamespace) -> None:
    good = told("good", [finding(make, "a", "pass", point(0.1, verdict="pass"))])
    loose = told("x", [finding(make, "a", "fail", point(9.0), loosened="loosened to 2 times")], "slip")
    aside = told("y", [replace(finding(make, "a", "fail", point(9.0)), weight="advisory")], "slip")
    seen = seen_in([good, loose, aside])
    assert (seen.left_out, seen.failing) == (1, {})
    assert "1 finding left out" in render([], margins(seen, ["sample"]), seen.left_out)


def test_the_table_names_what_is_blunt_and_why(told: Callable[..., Record], make: SimpleNamespace) -> None:
    good = told("good", [finding(make, "a", "pass", point(1.0, verdict="pass"))])
    bad = told("bad", [finding(make, "a", "fail", point(3.0))], "slip")
    measured = margins(seen_in([good, bad]), ["sample"])
    page = " ".join(render(CASES[:1], measured, 0).split())
    assert "sample blunt 1 0.50 1.50 1.00" in page
    assert "sample: slip is 1.50 off by a; good is 0.50 off by it; 1.00 apart, of 1 defect caught" in page


def test_the_object_fits_its_schema(told: Callable[..., Record], make: SimpleNamespace) -> None:
    good = told("good", [finding(make, "a", "pass", point(1.0, verdict="pass"))])
    bad = told("bad", [finding(make, "a", "fail", point(3.0))], "slip")
    for records in ([good], [good, bad], [bad]):
        check(document(CASES, margins(seen_in(records), ["sample"]), 0), "ledger", "ledger.json")
    check(document(CASES, None, 0), "ledger", "ledger.json")
