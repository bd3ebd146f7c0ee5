"""The file of known deviations: what is read from it, and that a file with a fault forgives nothing."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.errors import InputError, UsageError
from leverproof.judge.deferral_file import loosened, parse_deferrals, read_deferrals
from leverproof.judge.model import Deferral
from leverproof.judge.tolerance import Basis, allowance
from leverproof.report.case_page import render

TEXT = """\
format = 1

[[deferral]]
case = "take-off-boost-back"
judgement = "power"
owner = "A. Person"
reason = "the blower drive is being measured"
limit = "200 hp"
expires = 2026-12-31

[[deferral]]
case = "light-engine-stopped"
judgement = "light"
owner = "A. Person"
reason = "no lamp yet"
limit = "unmeasured"
expires = "2026-06-30"

[[loosening]]
case = "slam-and-chop"
judgement = "back-to-idle"
times = 2
owner = "B. Person"
reason = "our tachometer has steps of 50 rpm"
"""
TODAY = datetime.date(2026, 5, 1)


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def stopped_light(catalogue: Catalogue) -> str:
    return next(j.id for j in catalogue.case("light-engine-stopped").judgements if j.what == "state")


@pytest.fixture
def text(catalogue: Catalogue) -> str:
    return TEXT.replace('judgement = "light"', f'judgement = "{stopped_light(catalogue)}"')


def test_what_is_read(text: str, catalogue: Catalogue) -> None:
    found = parse_deferrals(text, "known.toml", catalogue)
    first, second = found.deferrals
    words = ("A. Person", "the blower drive is being measured", "2026-12-31", 200.0, "hp")
    assert first == Deferral("take-off-boost-back", "power", *words)
    assert (second.limit, second.unit, second.expires) == (None, "unmeasured", "2026-06-30")
    (wider,) = found.loosenings
    assert (wider.times, wider.owner) == (2.0, "B. Person")
    assert parse_deferrals("format = 1\n", "known.toml", catalogue).deferrals == ()


def test_a_limit_in_the_judged_unit_or_in_tolerances(text: str, catalogue: Catalogue) -> None:
    metric = parse_deferrals(text.replace('"200 hp"', '"149.14 kW"'), "known.toml", catalogue).deferrals[0]
    assert (metric.limit, metric.unit) == (pytest.approx(200.0, abs=0.01), "hp")
    counted = parse_deferrals(text.replace('"200 hp"', '"3 tolerances"'), "known.toml", catalogue).deferrals[0]
    assert (counted.limit, counted.unit) == (3.0, "tolerances")


def test_a_case_on_one_engine_of_several(text: str, catalogue: Catalogue) -> None:
    one = text.replace('"take-off-boost-back"', '"take-off-boost-back@2"')
    assert parse_deferrals(one, "known.toml", catalogue).deferrals[0].case == "take-off-boost-back@2"


FAULTS = {
    "not TOML": ("[[deferral]]", "[[deferral]", ":3", "TOML"),
    "format": ("format = 1", "format = 2", ":1", "1"),
    "no format": ("format = 1", "", "", "'format' is missing"),
    "unknown key": ("reason = ", "raeson = ", "", "'reason'"),
    "no owner": ('owner = "A. Person"', 'owner = "  "', "deferral[0].owner", "form"),
    "no reason": ('reason = "the blower drive is being measured"\n', "", "deferral[0]", "'reason' is missing"),
    "case": ("take-off-boost-back", "take-off-boots-back", ":4: deferral[0].case", "'take-off-boost-back'"),
    "judgement": ('"power"', '"powre"', ":5: deferral[0].judgement", "'power'"),
    "limit of another kind": ('"200 hp"', '"200 rpm"', ":8: deferral[0].limit", "power"),
    "limit of nothing": ('"200 hp"', '"0 hp"', ":8: deferral[0].limit", "above zero"),
    "limit below nothing": ('"200 hp"', '"-5 tolerances"', ":8: deferral[0].limit", "above zero"),
    "limit without end": ('"200 hp"', '"1e999 tolerances"', ":8: deferral[0].limit", ""),
    "limit in words": ('"200 hp"', '"a bit"', ":8: deferral[0].limit", ""),
    "limit of none": ('"200 hp"', '"unmeasured"', ":8: deferral[0].limit", "how far off"),
    "limit as number": ('"200 hp"', "200", "deferral[0].limit", "text"),
    "number for words": ('"unmeasured"', '"3 hp"', ":16: deferral[1].limit", "'unmeasured'"),
    "date": ("2026-12-31", '"31.12.2026"', ":9: deferral[0].expires", "2026-12-31"),
    "no such day": ("2026-12-31", '"2026-02-30"', ":9: deferral[0].expires", "no date"),
    "time of day": ("2026-12-31", "2026-12-31T08:00:00", ":9: deferral[0].expires", "no date"),
    "tightening": ("times = 2", "times = 0.5", ":22: loosening[0].times", "above 1"),
    "as it was": ("times = 2", "times = 1", ":22: loosening[0].times", "above 1"),
    "out of all bounds": ("times = 2", "times = 11", ":22: loosening[0].times", "at most 10"),
    "not finite": ("times = 2", "times = inf", "loosening[0].times", "finite"),
    "no tolerance": (
        'judgement = "back-to-idle"',
        'judgement = "no-hesitation"',
        "loosening[0].judgement",
        "no tolerance",
    ),
    "loosened without a reason": ('reason = "our tachometer has steps of 50 rpm"\n', "", "loosening[0]", "'reason'"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_are_refused(fault: str, text: str, catalogue: Catalogue) -> None:
    old, new, place, told = FAULTS[fault]
    assert old in text
    with pytest.raises(InputError) as caught:
        parse_deferrals(text.replace(old, new, 1), "known.toml", catalogue)
    assert caught.value.where.startswith("known.toml") and place in caught.value.where, caught.value
    assert told in f"{caught.value.message} {caught.value.hint}", caught.value


def test_one_deferral_a_judgement_and_none_for_advisory(text: str, catalogue: Catalogue) -> None:
    first = text[text.index("[[deferral]]") : text.index('case = "light-engine-stopped"') - len("[[deferral]]\n")]
    with pytest.raises(InputError, match="named twice"):
        parse_deferrals(text + "\n" + first, "known.toml", catalogue)
    case, asked = next((c, j) for c in catalogue.cases for j in c.judgements if j.weight == "advisory")
    advisory = first.replace("take-off-boost-back", case.id).replace('"power"', f'"{asked.id}"')
    with pytest.raises(InputError, match="advisory"):
        parse_deferrals("format = 1\n" + advisory, "known.toml", catalogue)


def test_a_loosened_case_says_so(text: str, catalogue: Catalogue) -> None:
    found = parse_deferrals(text, "known.toml", catalogue)
    cases = {c.id: c for c in loosened(catalogue.cases, found.loosenings)}
    changed = [c.id for c in catalogue.cases if cases[c.id] != c]
    assert changed == ["slam-and-chop"]
    asked = next(j for j in cases["slam-and-chop"].judgements if j.id == "back-to-idle")
    assert asked.tolerance is not None
    made = allowance(asked.tolerance, Basis("rpm", 0.0, 3000.0))
    assert made.value == 60.0 and "B. Person: our tachometer has steps" in made.text and "2 x (30 rpm)" in made.text
    assert "loosened to 2 times what the case states" in " ".join(render(cases["slam-and-chop"]).split())


def test_a_faulty_file_forgives_nothing(text: str, catalogue: Catalogue, tmp_path: Path) -> None:
    path = tmp_path / "known.toml"
    found = read_deferrals(str(path), TODAY, catalogue)
    assert (found.deferrals, len(found.problems)) == ((), 1)
    path.write_text(text.replace("times = 2", "times = 0"))
    found = read_deferrals(str(path), TODAY, catalogue)
    assert (found.deferrals, found.loosenings, len(found.problems)) == ((), (), 1) and "times = 0" in found.text
    path.write_text(text)
    assert len(read_deferrals(str(path), TODAY, catalogue).deferrals) == 2
    with pytest.raises(UsageError, match="what day it is"):
        read_deferrals(str(path), None, catalogue)
    assert read_deferrals(None, None, catalogue).problems == ()


@pytest.mark.parametrize("written", ["2026-12-31", "12:30:00", "2026-12-31T12:30:00"])
def test_a_date_where_a_text_stands_is_refused_with_its_key(written: str, catalogue: Catalogue) -> None:
    with pytest.raises(InputError, match="expected text, found the date or time") as caught:
        parse_deferrals(TEXT.replace('judgement = "power"', f"judgement = {written}", 1), "d.toml", catalogue)
    assert caught.value.where == "d.toml:5: deferral[0].judgement"
