"""Shares and their intervals, against an independent computation."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest  # type: ignore[import-untyped]

from leverproof.campaign.shares import Tally, decided, share, standing
from leverproof.judge.endings import ENDINGS


@given(st.integers(1, 100_000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_interval_is_wilsons(counted: tuple[int, int]) -> None:
    passed, judged = counted
    told = share(passed, judged)
    expected = binomtest(passed, judged).proportion_ci(0.95, method="wilson")
    assert told.low == pytest.approx(expected.low, abs=1e-12)
    assert told.high == pytest.approx(expected.high, abs=1e-12)


def test_nothing_judged_has_no_interval_and_impossible_counts_are_refused() -> None:
    assert share(0, 0).low is None and share(0, 0).high is None
    for passed, judged in ((2, 1), (-1, 3)):
        with pytest.raises(ValueError, match="cannot pass"):
            share(passed, judged)


def test_a_self_referential_pass_is_no_pass_but_its_failure_counts() -> None:
    assert standing("required", "pass", self_referential=True) == "self_referential"
    assert standing("required", "fail", self_referential=True) == "required"
    assert standing("advisory", "fail", self_referential=False) == "advisory"
    assert standing("advisory", "pass", self_referential=True) == "self_referential"


def test_what_counts_is_what_a_record_counts_but_for_what_was_blocked() -> None:
    assert {v: decided(v) for v in ENDINGS if v != "blocked"} == {
        v: e.passed for v, e in ENDINGS.items() if v != "blocked"
    }
    assert decided("blocked") is None


def test_a_tally_shares_required_outcomes_only() -> None:
    tally = Tally()
    for kind, verdict in (
        ("required", "pass"), ("required", "fail"), ("required", "error"), ("required", "not applicable"),
        ("required", "blocked"), ("advisory", "fail"), ("self_referential", "pass"),
    ):  # fmt: skip
        tally.add(kind, verdict)
    told = tally.share()
    assert (told.passed, told.judged) == (1, 3)
    assert tally.verdicts("required") == {"pass": 1, "fail": 1, "error": 1, "blocked": 1, "not applicable": 1}
    assert tally.verdicts("advisory") == {"fail": 1}
