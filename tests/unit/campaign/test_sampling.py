"""Draws: of the stated distribution, inside its bounds, and each by itself."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from leverproof.campaign.model import Coefficient
from leverproof.campaign.sampling import drawn, place, quantile

SPREADS = {
    "uniform": (Coefficient("a", "uniform", 2.0, 5.0, "assumption"), stats.uniform(2.0, 3.0)),
    "normal": (
        Coefficient("a", "normal", 0.5, 2.0, "assumption", 1.0, 0.4),
        stats.truncnorm((0.5 - 1.0) / 0.4, (2.0 - 1.0) / 0.4, loc=1.0, scale=0.4),
    ),
    "triangular": (
        Coefficient("a", "triangular", -1.0, 3.0, "assumption", 0.0),
        stats.triang(0.25, loc=-1.0, scale=4.0),
    ),
    "triangular, peak at its end": (
        Coefficient("a", "triangular", 0.0, 1.0, "assumption", 1.0),
        stats.triang(1.0, loc=0.0, scale=1.0),
    ),
}


@pytest.mark.parametrize("name", SPREADS)
def test_quantiles_are_those_of_the_distribution(name: str) -> None:
    coefficient, law = SPREADS[name]
    for share in (1e-9, 0.01, 0.2, 0.25, 0.5, 0.77, 0.99, 1.0 - 1e-9):
        assert quantile(coefficient, share) == pytest.approx(float(law.ppf(share)), rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("name", SPREADS)
def test_two_thousand_draws_follow_the_distribution(name: str) -> None:
    coefficient, law = SPREADS[name]
    values = [drawn([coefficient], 5, sample)["a"] for sample in range(1, 2001)]
    assert stats.kstest(values, law.cdf).pvalue > 0.01


@given(st.integers(0, 10**9), st.integers(1, 10**6), st.text(max_size=20))
def test_a_place_lies_inside_and_is_always_the_same(seed: int, sample: int, name: str) -> None:
    assert 0.0 < place(seed, name, sample) < 1.0
    assert place(seed, name, sample) == place(seed, name, sample)


def test_draws_do_not_depend_on_each_other() -> None:
    one, _ = SPREADS["uniform"]
    other = Coefficient("b", "uniform", 0.0, 1.0, "assumption")
    assert drawn([one], 1, 7)["a"] == drawn([other, one], 1, 7)["a"]
    assert drawn([one], 1, 7) != drawn([one], 1, 8) != drawn([one], 2, 7)
    pairs = [drawn([one, other], 1, sample) for sample in range(1, 1001)]
    assert abs(stats.spearmanr([p["a"] for p in pairs], [p["b"] for p in pairs]).statistic) < 0.1


def test_the_nominal_sample_leaves_the_model_as_it_is() -> None:
    assert drawn([SPREADS["uniform"][0]], 1, 0) == {}
