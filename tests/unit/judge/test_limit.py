"""Limits over windows, once settled, as changes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from leverproof.history import Mark

MAP, TURBO = "manifold_pressure", "turbo_speed"


def asked(make: Any, **fields: Any) -> Any:
    return make.judgement("limit", **{"channel": MAP, "run": "run", "tolerance": make.tolerance("0.5 inHg"), **fields})


def spike(make: Any, at: float, height: float, width: float = 1.0, base: float = 50.0) -> Any:
    t = make.times()
    return np.where((t >= at) & (t < at + width), height, base)


@pytest.mark.parametrize(("peak", "verdict"), [(52.4, "pass"), (52.6, "fail")])
def test_one_sample_beyond_is_beyond(make: Any, peak: float, verdict: str) -> None:
    one = make.history({MAP: spike(make, 17.0, peak, 0.05)})
    finding = make.judge(asked(make), {"run": one}, {"at_most": 52.0})
    assert finding.verdict == verdict
    assert finding.number == pytest.approx(peak, abs=1e-4) and "17 s" in finding.found


@pytest.mark.parametrize(("dip", "verdict"), [(27.6, "pass"), (27.4, "fail")])
def test_lower_limit(make: Any, dip: float, verdict: str) -> None:
    one = make.history({MAP: spike(make, 17.0, dip)})
    assert make.judge(asked(make), {"run": one}, {"at_least": 28.0}).verdict == verdict


def test_both_limits_the_worse_decides(make: Any) -> None:
    one = make.history({MAP: spike(make, 17.0, 27.0)})
    assert make.judge(asked(make), {"run": one}, {"at_most": 52.0, "at_least": 28.0}).verdict == "fail"
    assert make.judge(asked(make), {"run": one}, {"at_most": 52.0}).verdict == "pass"
    assert make.judge(asked(make), {"run": one}, {}).verdict == "error"


@pytest.mark.parametrize(
    ("at", "window", "verdict"),
    [(10.0, ("push", "end"), "fail"), (9.9, ("push", "end"), "pass"), (14.95, ("start", "push"), "fail"),
     (15.0, ("start", "push"), "pass"), (20.0, ("start", "settled"), "fail"), (20.05, ("start", "settled"), "pass"),
     (20.0, ("settled", "end"), "fail"), (19.95, ("settled", "end"), "pass")],
)  # fmt: skip
def test_window_between_steps_and_readings(make: Any, at: float, window: tuple[str, str], verdict: str) -> None:
    push = Mark("hold", 200, 300, "push")
    one = make.history({MAP: spike(make, at, 60.0, 0.04)}, marks=(push,))
    assert make.judge(asked(make, window=window), {"run": one}, {"at_most": 52.0}).verdict == verdict


def test_seek_blocks_are_left_out_unless_asked_for(make: Any) -> None:
    seek = Mark("seek", 200, 300, "up", "boost", "reached", 50.0, MAP)
    for at, left_out in ((10.0, "pass"), (9.95, "fail"), (14.95, "pass"), (15.0, "fail")):
        one = make.history({MAP: spike(make, at, 60.0, 0.04)}, marks=(seek,))
        assert make.judge(asked(make), {"run": one}, {"at_most": 52.0}).verdict == left_out
        assert make.judge(asked(make, include_seek=True), {"run": one}, {"at_most": 52.0}).verdict == "fail"


@pytest.mark.parametrize(("after", "verdict"), [(10.0, "pass"), (10.05, "fail"), (5.0, "pass")])
def test_once_settled_is_later_than_ten_seconds_after_a_lever_move(make: Any, after: float, verdict: str) -> None:
    throttle = np.where(make.times() < 15.0, 0.5, 1.0)
    one = make.history({"throttle": throttle, MAP: spike(make, 15.0 + after, 60.0, 0.04)})
    finding = make.judge(asked(make, once_settled=True), {"run": one}, {"at_most": 52.0})
    assert finding.verdict == verdict
    if verdict == "pass":
        assert "before settling it went to 60 inHg for 0.05 s (brief overshoot)" in finding.note


@pytest.mark.parametrize(("lasting", "word"), [(3.0, "brief"), (3.05, "sustained")])
def test_overshoot_is_classed_by_its_duration(make: Any, lasting: float, word: str) -> None:
    throttle = np.where(make.times() < 15.0, 0.5, 1.0)
    one = make.history({"throttle": throttle, MAP: spike(make, 16.0, 60.0, lasting - 0.01)})
    finding = make.judge(asked(make, once_settled=True), {"run": one}, {"at_most": 52.0})
    assert f"for {lasting:g} s ({word} overshoot)" in finding.note


def test_levers_that_never_rest_leave_nothing_to_judge(make: Any) -> None:
    one = make.history({"throttle": make.times() / 40.0, MAP: 50.0})
    finding = make.judge(asked(make, once_settled=True), {"run": one}, {"at_most": 52.0})
    assert finding.verdict == "invalid run" and "no sample" in finding.note


def test_a_surrounding_is_no_lever(make: Any) -> None:
    one = make.history({"throttle": 0.5, "pressure_altitude": 100.0 * make.times(), MAP: 50.0})
    assert make.judge(asked(make, once_settled=True), {"run": one}, {"at_most": 52.0}).verdict == "pass"


@pytest.mark.parametrize(("rise", "verdict"), [(2.4, "pass"), (2.6, "fail")])
def test_change_from_a_reading(make: Any, rise: float, verdict: str) -> None:
    steps = np.where(make.times() < 20.0, 30.0, 30.0 + rise)
    one = make.history({MAP: steps}, readings={"before": 10.0})
    change = asked(make, change_from="before")
    assert make.judge(change, {"run": one}, {"at_most": 2.0}).verdict == verdict
    dead = make.judge(change, {"run": make.history({MAP: 30.0}, readings={"before": 10.0})}, {"at_most": 2.0},
                      session=make.facts(live=frozenset()))  # fmt: skip
    assert dead.verdict == "fail" and "never moved in this session" in dead.note
    drifting = make.history(
        {MAP: 30.0 - 9.0 * np.exp(-make.times() / 9.0)}, readings={"before": 10.0}, watch={MAP: 0.1}
    )
    assert make.judge(change, {"run": drifting}, {"at_most": 20.0}).verdict == "invalid run"


@pytest.mark.parametrize(
    ("ending", "verdict"), [("crash", "error"), ("invalid", "invalid run"), ("interrupted", "not run")]
)
def test_an_early_end_is_no_pass_but_a_breach_stays_one(make: Any, ending: str, verdict: str) -> None:
    quiet = make.history({MAP: 50.0}, ending=ending, trouble="gone")
    assert make.judge(asked(make), {"run": quiet}, {"at_most": 52.0}).verdict == verdict
    loud = make.history({MAP: spike(make, 17.0, 60.0)}, ending=ending)
    assert make.judge(asked(make), {"run": loud}, {"at_most": 52.0}).verdict == "fail"


def test_a_window_that_closed_before_the_end_can_be_judged(make: Any) -> None:
    marks = (Mark("hold", 0, 400, "push"), Mark("hold", 400, 801, "last"))
    one = make.history({MAP: 50.0}, ending="interrupted", marks=marks)
    assert make.judge(asked(make, window=("start", "push")), {"run": one}, {"at_most": 52.0}).verdict == "pass"
    assert make.judge(asked(make, window=("start", "last")), {"run": one}, {"at_most": 52.0}).verdict == "not run"
    assert make.judge(asked(make, window=("later", "end")), {"run": one}, {"at_most": 52.0}).verdict == "not run"
    assert make.judge(asked(make, window=("start", "later")), {"run": one}, {"at_most": 52.0}).verdict == "not run"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_not_finite_anywhere_in_the_window_is_invalid(make: Any, bad: float) -> None:
    values = np.where(make.times() == 30.0, bad, 50.0)
    with np.errstate(invalid="ignore"):
        one = make.history({MAP: values})
    finding = make.judge(asked(make), {"run": one}, {"at_most": 52.0})
    assert finding.verdict == "invalid run"


def test_a_model_stuck_at_its_first_value_does_not_pass_on_raw_nearness(make: Any) -> None:
    """30 inHg where 36 are expected looks good as a raw score; as a change it is nothing at all."""
    one = make.history({MAP: 30.0}, readings={"before": 10.0})
    assert make.judge(asked(make, change_from="before"), {"run": one}, {"at_least": 5.0}).verdict == "fail"
