"""Rank correlations against an independent computation, and the store of samples behind them."""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import rankdata, spearmanr  # type: ignore[import-untyped]

from leverproof.campaign.ranks import Samples, Sensitivity, rank_correlation, ranks

PAIRS = st.integers(3, 40).flatmap(
    lambda n: st.tuples(*(arrays(np.float64, n, elements=st.integers(-6, 6).map(float)) for _ in range(2)))
)


@given(PAIRS)
def test_ranks_and_their_correlation_are_scipys_ties_and_all(pair: tuple[np.ndarray, np.ndarray]) -> None:  # type: ignore[type-arg]
    one, other = pair
    assert ranks(one).tolist() == rankdata(one).tolist()
    told = rank_correlation(one, other)
    if len(set(one)) == 1 or len(set(other)) == 1:
        assert told is None
    else:
        assert told == pytest.approx(spearmanr(one, other).statistic, abs=1e-12)


Draw = tuple[str, int, float, dict[str, float]]


def draws(count: int, points: int = 3) -> list[Draw]:
    """What is found depends on ``filling``, at each point from another level; not on ``paint``."""
    drawn = random.Random(4)
    out: list[Draw] = []
    for sample in range(1, count + 1):
        coefficients = {"filling": drawn.random(), "paint": drawn.random()}
        for point in range(points):
            found = 1000.0 * point + 30.0 * coefficients["filling"] + drawn.gauss(0.0, 4.0)
            out.append((f"{point},000 ft", sample, found, coefficients))
    return out


def told(rows: Sequence[Draw], budget: int = 1_000_000) -> tuple[tuple[Sensitivity, ...], Samples]:
    samples = Samples(budget)
    for point, sample, found, coefficients in rows:
        samples.add(("Corrie", "sheet", "case", "power"), point, sample, found, coefficients)
    return samples.sensitivities(), samples


def test_points_are_correlated_each_by_itself_and_chance_is_told() -> None:
    rows = draws(60)
    found, _ = told(rows)
    assert [s.coefficient for s in found] == ["filling", "paint"]
    assert [s.beyond_chance for s in found] == [True, False]
    each = [
        spearmanr([r[3]["filling"] for r in rows if r[0] == p], [r[2] for r in rows if r[0] == p]).statistic
        for p in ("0,000 ft", "1,000 ft", "2,000 ft")
    ]
    assert found[0].correlation == pytest.approx(np.mean(each))
    assert (found[0].least, found[0].greatest) == pytest.approx((min(each), max(each)))
    assert (found[0].points, found[0].samples) == (3, 60)


def test_what_is_held_is_bounded_and_the_same_in_any_order() -> None:
    rows = draws(3000)
    mixed = list(rows)
    random.Random(9).shuffle(mixed)
    (one, held), (other, _) = told(rows, 3000), told(mixed, 3000)
    assert one == other
    assert held.limit < 512 and held._held <= 3000
    assert one[0].samples == held.limit - 1
    assert told(rows)[0][0].correlation == pytest.approx(one[0].correlation, abs=0.1)


def test_too_many_points_leave_the_last_out_in_any_order() -> None:
    rows = draws(40, points=200)
    mixed = list(rows)
    random.Random(9).shuffle(mixed)
    (one, held), (other, _) = told(rows, 5000), told(mixed, 5000)
    assert held.left_out and held.limit == 32
    assert one == other and one[0].points < 200


def test_few_samples_none_that_vary_and_numbers_that_are_none_say_nothing() -> None:
    assert told(draws(9))[0] == ()
    assert told([(p, s, float("nan"), c) for p, s, _, c in draws(30)])[0] == ()
    assert told([(p, s, f, {}) for p, s, f, _ in draws(30)])[0] == ()
    assert told([(p, s, f, {"filling": 0.5}) for p, s, f, _ in draws(30)])[0] == ()
