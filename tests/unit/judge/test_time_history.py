"""Histories judged against a run of the same case or a stored curve, in three tiers."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import AMOUNTS, SCORES, TIMES, Curve, Tolerance
from leverproof.history import Mark
from leverproof.quantities import Quantity

MAP = "manifold_pressure"
MOVE = 200
ENDS = {"before": 8.0, "after": 55.0}
WIDTH = Tolerance(Quantity(0.1, "s"), reason="two grid steps")
EVERY = (*TIMES, *SCORES, *AMOUNTS)


def lag(make: Any, tau: float = 2.0, *, a: float = 30.0, b: float = 36.0, late: float = 0.0, **more: Any) -> Any:
    """A first-order lag of manifold pressure, the lever moved at 10 s."""
    t = make.times(60.0) - 10.0 - late
    pressure = np.where(t < 0.0, a, b + (a - b) * np.exp(-np.maximum(t, 0.0) / tau))
    mark = Mark("move", MOVE, MOVE + 10, "push")
    return make.history({MAP: pressure}, seconds=60.0, readings=ENDS, marks=(mark,), **more)


def curve(tau: float = 2.0, *, a: float = 30.0, b: float = 36.0, doubt: float | None = 0.02) -> Curve:
    """The same lag as a curve of 400 points over 40 s."""
    t = np.linspace(0.0, 40.0, 401)
    return Curve(tuple(t), tuple(b + (a - b) * np.exp(-t / tau)), doubt)


def asked(make: Any, measure: str, *, tolerance: str = "", tier: str = "validation", **fields: Any) -> Any:
    usual = {"s": "0.25 s", "1": "0.05 1", "inHg": "0.3 inHg"}
    unit = "s" if measure in TIMES else "1" if measure in SCORES else "inHg"
    number, _, symbol = (tolerance or usual[unit]).partition(" ")
    known = {
        "channel": MAP, "run": "run", "since": "push", "between": ("before", "after"), "measure": measure,
        "tolerance": Tolerance(Quantity(float(number), symbol), reason="test", tier=tier),
        "time_within": WIDTH if measure == "tube" else None, "band": 0.05 if measure == "settling" else None,
    }  # fmt: skip
    if "against" not in fields:
        known["curve"] = curve()
    return make.judgement("history", **{**known, **fields})


@pytest.mark.parametrize("measure", EVERY)
def test_the_reference_itself_passes_everything(make: Any, measure: str) -> None:
    found = make.judge(asked(make, measure), {"run": lag(make)})
    assert found.verdict == "pass", found.note
    repeat = asked(make, measure, tier="regression", against="again")
    assert make.judge(repeat, {"run": lag(make), "again": lag(make)}).verdict == "pass"


@pytest.mark.parametrize("measure", EVERY)
def test_a_model_that_never_moves_fails_everything(make: Any, measure: str) -> None:
    """Scores of raw values would look good."""
    assert make.judge(asked(make, measure), {"run": lag(make, b=30.0)}).verdict == "fail"


@pytest.mark.parametrize(
    ("measure", "number"),
    [("inequality", 1.0), ("magnitude", -1.0), ("tube", 6.0), ("end", -6.0)],
)
def test_what_standing_still_scores(make: Any, measure: str, number: float) -> None:
    found = make.judge(asked(make, measure), {"run": lag(make, b=30.0)})
    assert found.number == pytest.approx(number, abs=1e-3)


@pytest.mark.parametrize("offset", [-5.0, 3.0])
@pytest.mark.parametrize("measure", EVERY)
def test_an_offset_of_the_gauge_is_no_increment(make: Any, measure: str, offset: float) -> None:
    one = make.judge(asked(make, measure), {"run": lag(make)})
    other = make.judge(asked(make, measure), {"run": lag(make, a=30.0 + offset, b=36.0 + offset)})
    assert other.verdict == "pass"
    assert other.number == pytest.approx(one.number, abs=1e-4)


@pytest.mark.parametrize(
    ("measure", "shown"),
    [("t10", 0.1054 * 3.0), ("t90", 2.3026 * 3.0), ("settling", math.log(20.0) * 3.0)],
)
def test_times_count_from_the_lever(make: Any, measure: str, shown: float) -> None:
    found = make.judge(asked(make, measure), {"run": lag(make, 3.0)})
    assert found.number == pytest.approx(shown, abs=0.051)
    assert found.verdict == ("pass" if measure == "t10" else "fail")


def test_a_delay_passes_within_the_time_of_the_tube_only(make: Any) -> None:
    """Six inches with a lag of 0.5 s: 12 inHg a second at first."""
    sharp = {"curve": curve(0.5)}
    assert make.judge(asked(make, "tube", **sharp), {"run": lag(make, 0.5, late=0.1)}).verdict == "pass"
    late = make.judge(asked(make, "tube", **sharp), {"run": lag(make, 0.5, late=0.3)})
    assert late.verdict == "fail" and 1.5 < late.number < 2.4
    assert "samples outside, at longest for" in late.note and "two grid steps" in late.tolerance


def test_the_split_tells_a_gain_from_a_lag(make: Any) -> None:
    gain = make.judge(asked(make, "inequality"), {"run": lag(make, b=39.0)}).note
    slow = make.judge(asked(make, "inequality"), {"run": lag(make, 6.0)}).note
    timing = [float(note.split("covariance (timing) ")[1].split(" ")[0]) for note in (gain, slow)]
    assert timing[0] < 5.0 < 30.0 < timing[1]
    assert "change 9 for 6 inHg" in gain and "t90 13.78 for 4.605 s" in slow


def test_end_says_where_the_model_s_own_error_lies(make: Any) -> None:
    """V&V interval of +/- 2 u around -1.2 inHg, u = 0.01 from the curve's U95."""
    found = make.judge(asked(make, "end"), {"run": lag(make, b=34.8)})
    assert found.verdict == "fail" and found.number == pytest.approx(-1.2, abs=1e-3)
    assert "between -1.22 and -1.18 inHg" in found.note and "probability of 0 %" in found.note


@pytest.mark.parametrize(("tier", "limit"), [("validation", 0.3), ("simulation", 0.12)])
def test_forty_per_cent_where_the_reference_is_a_simulation(make: Any, tier: str, limit: float) -> None:
    found = make.judge(asked(make, "end", tier=tier), {"run": lag(make, b=36.2)})
    assert found.limit == pytest.approx(limit)
    assert found.verdict == ("pass" if tier == "validation" else "fail")
    assert f"{tier} tier" in found.tolerance


def test_percent_is_of_the_reference_s_change(make: Any) -> None:
    tolerance = Tolerance(percent=5.0, of="expected", reason="test", tier="regression")
    judged = replace(asked(make, "tube", against="again"), tolerance=tolerance)
    found = make.judge(judged, {"run": lag(make, b=36.2), "again": lag(make)})
    assert found.limit == pytest.approx(0.3, abs=1e-3) and "5 % of the reference's change of 6 inHg" in found.tolerance
    assert "the model against itself" in found.tolerance


def test_the_step_study_is_no_doubt_where_it_is_what_is_asked(make: Any) -> None:
    shaken = make.facts(step_u={MAP: 1.0})
    runs = {"run": lag(make), "again": lag(make)}
    itself = make.judge(asked(make, "tube", tier="regression", against="again"), runs, session=shaken)
    assert itself.verdict == "pass"
    assert make.judge(asked(make, "tube"), {"run": lag(make)}, session=shaken).verdict == "inconclusive"


def test_doubts_are_worth_what_they_do_to_the_measure(make: Any) -> None:
    """A shift of the curve's u = 0.01 inHg: as much in the tube, little in a score of 6 inHg."""
    tube = make.judge(asked(make, "tube"), {"run": lag(make, b=36.1)})
    assert tube.w == pytest.approx(0.02, rel=0.05)
    score = make.judge(asked(make, "magnitude"), {"run": lag(make)})
    assert 0.5 * 0.02 / 6.0 < score.w < 2.0 * 0.02 / 6.0


def test_a_doubt_nobody_stated_allows_no_plain_pass(make: Any) -> None:
    for measure in EVERY:
        found = make.judge(asked(make, measure, curve=curve(doubt=None)), {"run": lag(make)})
        assert (found.verdict, "not determined" in found.note) == ("conditional pass", True), measure


@pytest.mark.parametrize("doubt", [2.3, 2.5])
def test_a_reference_no_larger_than_five_of_its_doubts_scores_nothing(make: Any, doubt: float) -> None:
    found = make.judge(asked(make, "inequality", curve=curve(doubt=doubt), tolerance="0.9 1"), {"run": lag(make)})
    assert (found.verdict == "inconclusive") == (doubt > 2.4)


def test_a_reference_that_does_not_move_is_none(make: Any) -> None:
    runs = {"run": lag(make), "again": lag(make, b=30.0)}
    assert make.judge(asked(make, "tube", tier="regression", against="again"), runs).verdict == "inconclusive"


def test_early_end_not_finite_and_missing_steps(make: Any) -> None:
    short = make.history({MAP: 30.0}, seconds=60.0, readings={"before": 8.0}, ending="hang", trouble="5 s")
    broken = lag(make)
    broken.data[400, 0] = np.nan
    for measure in EVERY:
        assert make.judge(asked(make, measure), {"run": short}).verdict == "error"
        assert make.judge(asked(make, measure), {"run": broken}).verdict == "invalid run"
        assert make.judge(asked(make, measure, since="pull"), {"run": lag(make)}).verdict == "error"
    ahead = {"run": lag(make), "again": short}
    assert make.judge(asked(make, "t90", tier="regression", against="again"), ahead).verdict == "error"
    assert make.judge(asked(make, "t90", tier="regression", against="again"), {"run": lag(make)}).verdict == "not run"
    assert make.judge(asked(make, "shape", tolerance="0.3 inHg"), {"run": lag(make)}).verdict == "error"


def test_a_shorter_run_keeps_its_settled_value(make: Any) -> None:
    """The curve goes on for 100 s after the lever; the run was read 45 s after it."""
    t = np.linspace(0.0, 100.0, 1001)
    long = Curve(tuple(t), tuple(36.0 - 6.0 * np.exp(-t / 2.0)), 0.02)
    for measure in EVERY:
        assert make.judge(asked(make, measure, curve=long), {"run": lag(make)}).verdict == "pass", measure
