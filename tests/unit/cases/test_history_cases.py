"""Cases that judge a whole history: what is read from them, and what is refused."""

# ruff: noqa: E501 - inline tables of TOML stay on one line

from __future__ import annotations

import pytest

from leverproof.cases.loader import parse_case
from leverproof.errors import InputError
from leverproof.report.case_page import render

HISTORY = """
[[judgement]]
id = "history"
what = "history"
asked = "pressure as in the reference"
run = "one"
channel = "manifold_pressure"
since = "closing"
between = ["high", "low"]
measure = "tube"
tolerance = { percent = 5, of = "expected", tier = "validation", reason = "the chart" }
time_tolerance = { absolute = "0.2 s", reason = "the film" }
curve = { points = [["0 s", "40 inHg"], ["1 s", "30 inHg"], ["0.05 min", "80 kPa"]], doubt = "0.4 inHg" }
basis = "published"
source = "a report, figure 3"
weight = "required"
"""


def judged(sample: str, old: str = "", new: str = ""):  # type: ignore[no-untyped-def]
    assert old in HISTORY
    return parse_case(sample + (HISTORY.replace(old, new, 1) if old else HISTORY), "case.toml")


def test_a_curve_is_read_in_the_channel_s_unit(sample: str) -> None:
    asked = judged(sample).judgements[-1]
    assert asked.curve is not None and asked.curve.seconds == (0.0, 1.0, 3.0)
    assert asked.curve.values == (40.0, 30.0, pytest.approx(23.624, abs=1e-3))
    assert (asked.curve.doubt, asked.tolerance.tier) == (0.4, "validation")
    assert judged(sample, ', doubt = "0.4 inHg"').judgements[-1].curve.doubt is None


def test_the_page_tells_reference_width_and_tier(sample: str) -> None:
    page = " ".join(render(judged(sample)).split())
    assert "keeps to the same course as in a stored curve, both from the lever movement [closing]" in page
    assert "0.2 s early or late allowed (the film)" in page
    assert "the curve has 3 points over 3 s, from 40 to 23.62" in page and "its doubt is 0.4 inHg" in page
    assert "5 % of the reference's change, against data (validation tier) (the chart)" in page
    simulated = " ".join(render(judged(sample, 'tier = "validation"', 'tier = "simulation"')).split())
    assert "of which 40 % apply, because the reference is another simulation" in simulated


CURVE = 'curve = { points = [["0 s", "40 inHg"], ["1 s", "30 inHg"], ["0.05 min", "80 kPa"]], doubt = "0.4 inHg" }'
FAULTS = {
    "no reference": (CURVE, "", "judgement[9]", "against"),
    "two references": ('measure = "tube"', 'measure = "tube"\nagainst = "two"', "judgement[9]", "against"),
    "no tier": (', tier = "validation"', "", "tolerance.tier", "three tiers"),
    "unknown tier": ('tier = "validation"', 'tier = "validatoin"', "tier", "'validation'"),
    "a curve is not the model": ('tier = "validation"', 'tier = "regression"', "tolerance.tier", "not the model"),
    "the model is not data": (CURVE, 'against = "two"', "tolerance.tier", "the model itself"),
    "a baseline is the model": ('basis = "published"', 'basis = "baseline"', "tolerance.tier", "the model itself"),
    "a tube without width": ('time_tolerance = { absolute = "0.2 s", reason = "the film" }', "", "time_tolerance", "tube"),
    "a width of the wrong kind": ('absolute = "0.2 s"', 'absolute = "0.2 inHg"', "time_tolerance.absolute", "time"),
    "a width of nothing": ('absolute = "0.2 s"', 'absolute = "0 s"', "time_tolerance.absolute", "above zero"),
    "a width in per cent": ('absolute = "0.2 s"', 'percent = 3, of = "expected"', "time_tolerance", "absolute"),
    "a width for a score": ('measure = "tube"', 'measure = "area"', "time_tolerance", "'tube'"),
    "settling without a band": ('measure = "tube"', 'measure = "settling"', "time_tolerance", "'tube'"),
    "unknown measure": ('measure = "tube"', 'measure = "tub"', "measure", "'tube'"),
    "a score in per cent": (
        'measure = "tube"\ntolerance = { percent = 5, of = "expected", tier = "validation", reason = "the chart" }\ntime_tolerance = { absolute = "0.2 s", reason = "the film" }',
        'measure = "phase"\ntolerance = { percent = 5, of = "expected", tier = "validation", reason = "the chart" }',
        "tolerance.percent", "absolute",
    ),
    "two points": ('["1 s", "30 inHg"], ["0.05 min", "80 kPa"]', '["3 s", "80 kPa"]', "points", "at least 3"),
    "a late start": ('["0 s", "40 inHg"]', '["0.5 s", "40 inHg"]', "points", "0 s"),
    "times that fall": ('"0.05 min"', '"0.3 s"', "points", "rise"),
    "no increment": ('"80 kPa"', '"40 inHg"', "points", "increment"),
    "a curve in horsepower": ('"30 inHg"', '"30 hp"', "points", "pressure"),
    "a doubt below zero": ('doubt = "0.4 inHg"', 'doubt = "-0.4 inHg"', "doubt", "below zero"),
    "an unending value": ('"30 inHg"', '"1e999 inHg"', "points", ""),
    "since that is no movement": ('since = "closing"', 'since = "waiting"', "since", "is no move or set"),
    "since outside": ('between = ["high", "low"]', 'between = ["low", "high"]', "between", "before"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_are_refused(sample: str, fault: str) -> None:
    old, new, key, told = FAULTS[fault]
    index = sample.count("[[judgement]]")
    with pytest.raises(InputError) as caught:
        judged(sample, old, new)
    error = caught.value
    assert error.where.startswith("case.toml:") and key.replace("[9]", f"[{index}]") in error.where, error
    assert told in f"{error.message} {error.hint}", error


def test_two_runs_are_set_beside_one_another_by_one_movement(sample: str) -> None:
    own = HISTORY.replace(CURVE, 'against = "two"').replace('tier = "validation"', 'tier = "regression"')
    assert parse_case(sample + own, "case.toml").judgements[-1].against == "two"
    steps = 'name = "closing", throttle = 0.2, over = "2 s" },\n  { do = "read"'
    assert sample.count(steps) == 1
    with pytest.raises(InputError, match="not the same movement"):
        parse_case(sample.replace(steps, steps.replace("2 s", "3 s")) + own, "case.toml")
    with pytest.raises(InputError, match="no run 'thre'"):
        parse_case(sample + own.replace('against = "two"', 'against = "thre"'), "case.toml")
    with pytest.raises(InputError, match="named twice"):
        parse_case(sample + own.replace('against = "two"', 'against = "one"'), "case.toml")
