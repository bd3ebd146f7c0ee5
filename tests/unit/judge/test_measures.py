"""Measures of histories: published and worked values, and what must hold for any history."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from leverproof.judge.decision import within
from leverproof.judge.measures import (
    area_metric,
    comparison,
    from_sums,
    outside_tube,
    overshoot,
    probability_inside,
    settling_time,
    sprague_geers,
    theil,
)
from leverproof.judge.model import Doubt
from leverproof.judge.timing import first_crossing

NUMBERS = st.floats(-100.0, 100.0).filter(lambda x: x == 0.0 or abs(x) > 1e-3)


def histories(count: int = 2) -> st.SearchStrategy[tuple[np.ndarray, ...]]:
    return st.integers(2, 40).flatmap(lambda n: st.tuples(*[arrays(np.float64, n, elements=NUMBERS)] * count))


def of(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def test_comparison_error_and_validation_uncertainty() -> None:
    """ASME V&V 20-2009: 36.0 against 34.8 inHg with u_num 0.05, u_input 0.30, u_D 0.40."""
    found = comparison(36.0, 34.8, (0.05, 0.30, 0.40))
    assert found.error == pytest.approx(1.20)
    assert found.u == pytest.approx(0.502, abs=5e-4)
    assert (found.low, found.high) == (pytest.approx(0.20, abs=5e-3), pytest.approx(2.20, abs=5e-3))


@pytest.mark.parametrize(
    ("ours", "theirs", "area"),
    [((35.2,), (34.0,), 1.2), ((1, 2, 3), (1.5, 2.5, 3.5), 0.5), ((36, 38), (35, 36, 37), 1.0)],
)
def test_area_between_distributions(ours: tuple[float, ...], theirs: tuple[float, ...], area: float) -> None:
    """Areas of step functions computed by hand."""
    assert area_metric(of(*ours), of(*theirs)) == pytest.approx(area)
    assert area_metric(of(*theirs), of(*ours)) == pytest.approx(area)


@pytest.mark.parametrize(("error", "percent"), [(0.10, 97.6), (0.30, 84.1), (0.45, 59.9), (0.55, 40.1), (0.90, 2.3)])
def test_probability_of_being_inside(error: float, percent: float) -> None:
    """ILAC-G8:09/2019 with tolerance 0.5 and standard uncertainty 0.2, normal distribution."""
    assert 100.0 * probability_inside(error, 0.5, 0.2) == pytest.approx(percent, abs=0.05)


def test_risk_at_the_acceptance_limit() -> None:
    """At the limit less w = 2 u the risk of a wrong pass is 2.28 % (ILAC-G8:09/2019: below 2.5 %)."""
    assert 100.0 * (1.0 - probability_inside(0.5 - 0.1, 0.5, 0.05)) == pytest.approx(2.28, abs=0.01)
    assert (probability_inside(0.4, 0.5, 0.0), probability_inside(0.6, 0.5, 0.0)) == (1.0, 0.0)


@pytest.mark.parametrize(
    ("error", "verdict"),
    [(0.05, "pass"), (0.30, "conditional pass"), (0.55, "conditional fail"), (0.95, "fail")],
)
def test_four_verdicts_with_a_guard_band(error: float, verdict: str) -> None:
    """ILAC-G8:09/2019: tolerance 0.5, w 0.4; w = 0.5 leaves nothing that could pass."""
    assert within(error, 0.0, 0.5, (Doubt("gauge", 0.2),), unit="inHg").verdict == verdict
    assert within(error, 0.0, 0.5, (Doubt("gauge", 0.25),), unit="inHg").verdict == "inconclusive"


def test_sprague_geers_of_a_published_example() -> None:
    """Two published worked examples of the measure, given by their sums; the second to their five figures."""
    one = from_sums(143.50, 143.50, 77.00)
    assert (one.magnitude, one.phase) == (pytest.approx(0.0), pytest.approx(0.319714, abs=5e-7))
    assert 1.0 - one.combined == pytest.approx(0.680286, abs=5e-7)
    two = from_sums(6.67958, 13.9628, 9.59216)
    assert (two.magnitude, two.phase) == (pytest.approx(0.445811, abs=2e-6), pytest.approx(0.037025, abs=2e-6))


def test_sprague_geers_of_gain_and_lag() -> None:
    """Gain 1.1 and a lag of 18 degrees on whole periods of a sine."""
    angle = np.linspace(0.0, 6.0 * math.pi, 3000, endpoint=False)
    found = sprague_geers(1.1 * np.sin(angle - math.radians(18.0)), np.sin(angle))
    assert found.magnitude == pytest.approx(0.100) and found.phase == pytest.approx(0.100)
    assert found.combined == pytest.approx(0.1414, abs=1e-4)


@pytest.mark.parametrize("delay", [0.1, 0.5, 1.0, 2.0])
def test_phase_of_a_pure_delay(delay: float) -> None:
    """2 dt / T for a delay dt up to half a period T = 4 s."""
    t = np.arange(0.0, 12.0, 0.01)
    wave = np.sin(2.0 * math.pi * t / 4.0)
    late = np.sin(2.0 * math.pi * (t - delay) / 4.0)
    assert sprague_geers(late, wave).phase == pytest.approx(2.0 * delay / 4.0, abs=1e-6)


@pytest.mark.parametrize(
    ("ours", "inequality", "split"),
    [
        (of(12, 22, 32, 42), 0.03533, (1.0, 0.0, 0.0)),
        (of(11, 22, 33, 44), 0.1 / 2.1, (0.8333, 0.1667, 0.0)),
    ],
)
def test_theil_of_an_offset_and_of_a_gain(
    ours: np.ndarray, inequality: float, split: tuple[float, float, float]
) -> None:
    found = theil(ours, of(10, 20, 30, 40))
    assert found.inequality == pytest.approx(inequality, abs=5e-6)
    assert (found.bias, found.variance, found.covariance) == pytest.approx(split, abs=1e-4)


def test_raw_scores_hide_a_missed_step() -> None:
    """30 then 36 inHg, and a model that stays at 30: raw scores look good, increments do not."""
    reference, stuck = of(*[30.0] * 50, *[36.0] * 50), np.full(100, 30.0)
    assert theil(stuck, reference).inequality < 0.1
    raw = sprague_geers(stuck, reference)
    assert (raw.magnitude, raw.phase) == (pytest.approx(-0.095, abs=5e-4), pytest.approx(0.029, abs=5e-4))
    assert theil(stuck - 30.0, reference - 30.0).inequality == pytest.approx(1.0)
    assert sprague_geers(stuck - 30.0, reference - 30.0).magnitude == pytest.approx(-1.0)


@pytest.mark.parametrize("tau", [0.5, 2.0, 5.0])
def test_times_of_a_first_order_lag(tau: float) -> None:
    """t10 = 0.1054 tau and t90 = 2.3026 tau from the movement, t90 - t10 = 2.1972 tau."""
    t = np.arange(0.0, 40.0, 0.01)
    rows = [first_crossing(1.0 - np.exp(-t / tau), share, rising=True) for share in (0.1, 0.9)]
    t10, t90 = (0.01 * row for row in rows if row is not None)
    assert (t10, t90) == (pytest.approx(0.1054 * tau, abs=0.01), pytest.approx(2.3026 * tau, abs=0.01))
    assert t90 - t10 == pytest.approx(2.1972 * tau, abs=0.01)


def second_order(damping: float) -> tuple[np.ndarray, np.ndarray]:
    t = np.arange(0.0, 60.0, 0.002)
    w = math.sqrt(1.0 - damping**2)
    return t, 1.0 - np.exp(-damping * t) * (np.cos(w * t) + damping / w * np.sin(w * t))


@pytest.mark.parametrize("damping", [0.2, 0.5, 0.7])
def test_overshoot_and_settling_of_a_second_order_lag(damping: float) -> None:
    """Overshoot exp(-pi z / sqrt(1 - z^2)); inside the envelope exp(-z t) / sqrt(1 - z^2) it has settled (textbook
    step response of a second-order system of unit frequency)."""
    t, x = second_order(damping)
    share = math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    assert overshoot(7.0 * x, 7.0) == pytest.approx(share, abs=1e-4)
    assert overshoot(-7.0 * x, -7.0) == pytest.approx(share, abs=1e-4)
    settled = settling_time(t, x, 1.0, band=0.05)
    envelope = math.log(1.0 / (0.05 * math.sqrt(1.0 - damping**2))) / damping
    assert settled is not None and 0.5 * envelope < settled <= envelope
    assert np.abs(x[t >= settled] - 1.0).max() <= 0.05


def test_what_never_settles_and_what_never_moves() -> None:
    t = np.arange(5.0)
    assert settling_time(t, of(0, 1, 1, 1, 0), 1.0, band=0.1) is None
    assert settling_time(t, of(1, 1, 1, 1, 1), 1.0, band=0.1) == 0.0
    for measure in (lambda: overshoot(t, 0.0), lambda: settling_time(t, t, 0.0, band=0.1)):
        with pytest.raises(ValueError, match="no change"):
            measure()
    with pytest.raises(ValueError, match="does not move"):
        sprague_geers(t, np.zeros(5))
    assert sprague_geers(np.zeros(5), t).phase == 0.5


def edge(delay: float) -> tuple[np.ndarray, np.ndarray]:
    t = np.arange(0.0, 5.0, 0.05)
    return t, 10.0 * np.clip((t - 1.0 - delay) / 0.2, 0.0, 1.0)


def test_a_tube_forgives_delay_within_its_time_and_nothing_beyond() -> None:
    """An edge of 50 a second: 0.1 s late is 5 off in value, and nothing off within 0.1 s."""
    t, reference = edge(0.0)
    _, late = edge(0.1)
    assert outside_tube(t, late, t, reference, early_late=0.0).max() == pytest.approx(5.0)
    assert outside_tube(t, late, t, reference, early_late=0.1).max() == pytest.approx(0.0, abs=1e-9)
    assert outside_tube(t, late, t, reference, early_late=0.06).max() == pytest.approx(2.0)
    assert outside_tube(t, late + 0.3, t, reference, early_late=0.1).max() == pytest.approx(0.3)


def test_a_tube_over_a_peak_between_the_points() -> None:
    times, reference = of(0, 1, 1.01, 1.02, 9), of(0, 0, 5, 0, 0)
    t = np.arange(0.0, 3.0, 0.5)
    assert outside_tube(t, np.full(6, 4.0), times, reference, early_late=0.5).tolist() == [4.0, 4.0, 0.0, 0.0, 4.0, 4.0]


@given(histories())
def test_equal_histories_have_no_error(pair: tuple[np.ndarray, ...]) -> None:
    one, _ = pair
    t = np.arange(one.size, dtype=np.float64)
    assert theil(one, one).inequality == 0.0 and area_metric(one, one) == 0.0
    assert not outside_tube(t, one, t, one, early_late=0.0).any()
    if one.any():
        found = sprague_geers(one, one)
        assert found.magnitude == 0.0 and found.phase < 1e-7


@given(histories())
def test_theil_is_symmetric_bounded_and_split_whole(pair: tuple[np.ndarray, ...]) -> None:
    one, other = pair
    found, back = theil(one, other), theil(other, one)
    assert 0.0 <= found.inequality <= 1.0 + 1e-12
    assert back.inequality == pytest.approx(found.inequality)
    if found.inequality:
        shares = (found.bias, found.variance, found.covariance)
        assert sum(shares) == pytest.approx(1.0) and min(shares) >= -1e-9


@given(histories(), st.floats(0.01, 100.0))
def test_scores_do_not_depend_on_the_unit(pair: tuple[np.ndarray, ...], factor: float) -> None:
    one, other = pair
    assert theil(factor * one, factor * other).inequality == pytest.approx(theil(one, other).inequality)
    assert area_metric(factor * one, factor * other) == pytest.approx(factor * area_metric(one, other))
    if other.any():
        near, far = sprague_geers(one, other), sprague_geers(factor * one, factor * other)
        assert far.magnitude == pytest.approx(near.magnitude, abs=1e-9)
        assert far.phase == pytest.approx(near.phase, abs=1e-6)


@given(histories())
def test_phase_is_symmetric_and_magnitude_inverts(pair: tuple[np.ndarray, ...]) -> None:
    one, other = pair
    if one.any() and other.any():
        there, back = sprague_geers(one, other), sprague_geers(other, one)
        assert there.phase == pytest.approx(back.phase, abs=1e-9)
        assert (1.0 + there.magnitude) * (1.0 + back.magnitude) == pytest.approx(1.0)


@given(histories(), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_a_wider_tube_never_holds_less(pair: tuple[np.ndarray, ...], narrow: float, more: float) -> None:
    one, other = pair
    t = np.arange(one.size, dtype=np.float64)
    inner, outer = (outside_tube(t, one, t, other, early_late=w) for w in (narrow, narrow + more))
    assert (outer <= inner + 1e-12).all()
    assert (inner <= np.abs(one - other) + 1e-12).all()


@given(histories(3))
def test_area_obeys_the_triangle_inequality(three: tuple[np.ndarray, ...]) -> None:
    one, two, other = three
    assert area_metric(one, other) <= area_metric(one, two) + area_metric(two, other) + 1e-9


@given(st.floats(-50.0, 50.0), st.floats(0.01, 20.0), st.floats(0.01, 20.0))
def test_probability_is_between_nought_and_one_and_even(error: float, tolerance: float, u: float) -> None:
    found = probability_inside(error, tolerance, u)
    assert 0.0 <= found <= 1.0
    assert found == pytest.approx(probability_inside(-error, tolerance, u))
