"""The decision rule against worked numbers and on its boundaries."""

from __future__ import annotations

import math

import pytest

from leverproof.judge.decision import at_least, beyond, guard_band, within
from leverproof.judge.model import Doubt

W4 = (Doubt("jitter", 0.2),)
NONE = (Doubt("jitter", 0.125), Doubt("step study", None))
NAN = math.nan


def test_guard_band_is_twice_the_root_sum_of_squares() -> None:
    assert guard_band((Doubt("jitter", 0.3), Doubt("step study", 0.4), Doubt("correction", None))) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("found", "verdict"),
    [(0.05, "pass"), (0.30, "conditional pass"), (0.55, "conditional fail"), (0.95, "fail")],
)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_four_verdicts_of_the_worked_example(found: float, verdict: str, side: float) -> None:
    assert within(10.0 + side * found, 10.0, 0.5, W4, unit="inHg").verdict == verdict


@pytest.mark.parametrize(
    ("found", "verdict"),
    [(0.25, "pass"), (0.375, "conditional pass"), (0.5, "conditional pass"), (0.625, "conditional fail"),
     (0.75, "conditional fail"), (0.8125, "fail")],
)  # fmt: skip
def test_two_sided_boundaries_belong_to_the_better_verdict(found: float, verdict: str) -> None:
    assert within(found, 0.0, 0.5, (Doubt("jitter", 0.125),), unit="1").verdict == verdict


@pytest.mark.parametrize("found", [0.0, 0.5, 40.0])
def test_doubt_as_large_as_the_tolerance_decides_nothing(found: float) -> None:
    ruling = within(found, 0.0, 0.5, (Doubt("jitter", 0.1), Doubt("step study", 0.25)), unit="inHg")
    assert ruling.verdict == "inconclusive"
    assert "largest part: step study" in ruling.note and "0.2291 inHg" in ruling.note
    assert ("beyond tolerance and doubt" in ruling.note) == (found == 40.0)


def test_inconclusive_at_equality_and_not_below_it() -> None:
    assert within(0.0, 0.0, 0.5, (Doubt("jitter", 0.25),), unit="1").verdict == "inconclusive"
    assert within(0.0, 0.0, 0.5, (Doubt("jitter", 0.2499),), unit="1").verdict == "pass"


def test_inconclusive_says_when_no_single_part_can_cure_it() -> None:
    ruling = within(0.0, 0.0, 0.5, (Doubt("jitter", 0.3), Doubt("step study", 0.3)), unit="1")
    assert "all parts together would have to fall below 0.25" in ruling.note


def test_zero_tolerance_without_doubt_is_inconclusive() -> None:
    assert within(0.0, 0.0, 0.0, (), unit="1").verdict == "inconclusive"


@pytest.mark.parametrize(
    ("excess", "verdict"),
    [(0.25, "pass"), (0.26, "conditional pass"), (0.5, "conditional pass"), (0.51, "conditional fail"),
     (0.75, "conditional fail"), (0.76, "fail"), (-5.0, "pass")],
)  # fmt: skip
def test_one_sided_boundaries_both_ways(excess: float, verdict: str) -> None:
    parts = (Doubt("jitter", 0.125),)
    assert beyond(8.0 + excess, 8.0, 0.5, parts, upper=True).verdict == verdict
    assert beyond(8.0 - excess, 8.0, 0.5, parts, upper=False).verdict == verdict


def test_far_inside_a_limit_passes_whatever_the_doubt() -> None:
    assert beyond(30.0, 52.0, 0.0, (Doubt("jitter", 5.0),), upper=True).verdict == "pass"


@pytest.mark.parametrize(
    ("difference", "verdict"),
    [(2.25, "pass"), (2.24, "conditional pass"), (2.0, "conditional pass"), (1.99, "conditional fail"),
     (1.75, "conditional fail"), (1.74, "fail")],
)  # fmt: skip
def test_least_difference_boundaries(difference: float, verdict: str) -> None:
    assert at_least(difference, 2.0, (Doubt("jitter", 0.125),), forgiving=False).verdict == verdict


def test_a_part_not_determined_allows_a_conditional_pass_at_best() -> None:
    assert within(0.0, 0.0, 0.5, NONE, unit="1").verdict == "conditional pass"
    assert beyond(0.0, 9.0, 0.5, NONE, upper=True).verdict == "conditional pass"
    assert at_least(9.0, 0.0, NONE, forgiving=False).verdict == "conditional pass"
    assert "step study" in at_least(9.0, 0.0, NONE, forgiving=False).note
    assert at_least(9.0, 0.0, NONE, forgiving=True).verdict == "pass"
    assert at_least(-9.0, 0.0, NONE, forgiving=True).verdict == "fail"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_never_judged(bad: float) -> None:
    assert within(bad, 0.0, 0.5, (), unit="1").verdict == "invalid run"
    assert within(0.0, bad, 0.5, (), unit="1").verdict == "invalid run"
    assert within(0.0, 0.0, 0.5, (Doubt("jitter", bad),), unit="1").verdict == "invalid run"
    assert beyond(bad, 9.0, 0.5, (), upper=True).verdict == "invalid run"
    assert beyond(bad, 9.0, 0.5, (), upper=False).verdict == "invalid run"
    assert at_least(bad, 0.0, (), forgiving=True).verdict == "invalid run"
