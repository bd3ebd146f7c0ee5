"""The bracketed root finder: right roots, every point on its own, no number without a root."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof.physics.bracket import ABOVE, BELOW, SOLVED, UNCONVERGED, lower_roots, solve


def test_roots_of_many_shapes_at_once() -> None:
    target = np.array([[0.3, 1.0, 7.0], [20.0, 1e-3, 200.0]])
    found = solve(lambda x: np.log(x / target) + (x / target) ** 3 - 1.0, np.full((2, 3), 1e-6), np.full((2, 3), 1.0))
    assert np.all(found.ending == SOLVED)
    np.testing.assert_allclose(found.x, target, rtol=1e-11)


def test_a_point_without_a_root_is_nan_with_an_ending_and_disturbs_nobody() -> None:
    target = np.array([0.5, -1.0, 1e9])
    low, high = np.zeros(3), np.ones(3)
    found = solve(lambda x: x - target, low, high, stretches=3)
    assert found.ending.tolist() == [SOLVED, BELOW, ABOVE]
    assert np.isnan(found.x[1:]).all()
    alone = solve(lambda x: x - 0.5, np.zeros(1), np.ones(1), stretches=3)
    assert found.x[0] == alone.x[0]


def test_a_residual_that_is_not_a_number_is_never_solved() -> None:
    found = solve(lambda x: np.where(x > 0.4, np.nan, x - 0.6), np.zeros(1), np.ones(1))
    assert found.ending[0] == UNCONVERGED and np.isnan(found.x[0])


def test_an_iteration_limit_is_told() -> None:
    found = solve(lambda x: np.tanh(50.0 * (x - 0.123456789)), np.zeros(1), np.ones(1), limit=3)
    assert found.ending[0] == UNCONVERGED and np.isnan(found.x[0])


def test_a_steep_residual_costs_few_evaluations() -> None:
    found = solve(lambda x: x**9 - 1e-4, np.zeros(1000), np.full(1000, 2.0))
    assert found.x == pytest.approx(np.full(1000, 1e-4 ** (1 / 9)), rel=1e-11)
    assert found.evaluations < 40


def _humped(x: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Rises from below zero, has a summit of a height at 2, falls to a trough at 3 and rises again through about 4."""
    return height + (2.0 * x**3 - 15.0 * x**2 + 36.0 * x - 28.0)


def test_the_lowest_of_three_roots_is_found_however_low_the_hump() -> None:
    height = np.array([0.5, 1e-3, 1e-6, -1e-3])
    low = np.full(4, 1.0)
    top = solve(lambda x: _humped(x, height), np.full(4, 2.9), np.full(4, 6.0)).x
    found = lower_roots(lambda x: _humped(x, height), low, top)
    assert np.all(found.ending == SOLVED)
    assert np.all(found.x[:3] < 2.0) and found.x[3] == top[3]
    assert np.max(np.abs(_humped(found.x, height))) < 1e-9
    alone = lower_roots(lambda x: _humped(x, height[3:]), low[3:], top[3:])
    assert alone.x[0] == found.x[3]


def test_a_single_root_stays_what_it_was() -> None:
    root = np.array([3.0, 7.5])
    found = lower_roots(lambda x: x**3 - root**3, np.ones(2), root)
    assert np.array_equal(found.x, root) and np.all(found.ending == SOLVED)
