"""Endings of seeks, runs equal bit for bit, and a coarse run against a finer one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from leverproof.history import Mark

MAP, HP = "manifold_pressure", "brake_power"


def ended(make: Any, sought: str, **more: Any) -> Any:
    return make.history({MAP: 50.0}, marks=(Mark("seek", 100, 200, "up", "boost", sought, 52.0, MAP),), **more)


@pytest.mark.parametrize(
    ("ending", "accepted", "verdict"),
    [("reached", ("reached",), "pass"), ("stop", ("reached",), "fail"), ("stop", ("reached", "stop"), "pass"),
     ("turbo_speed limit", ("turbo_speed limit",), "pass"), ("turbo_speed limit", ("limit",), "pass"),
     ("stop", ("limit",), "fail")],
)  # fmt: skip
def test_ending_of_a_seek(make: Any, ending: str, accepted: tuple[str, ...], verdict: str) -> None:
    asked = make.judgement("ending", run="run", seek="up", endings=accepted)
    finding = make.judge(asked, {"run": ended(make, ending)}, {})
    assert finding.verdict == verdict and f"boost ended: {ending}" in finding.found


def test_a_seek_that_never_ended(make: Any) -> None:
    asked = make.judgement("ending", run="run", seek="up", endings=("reached",))
    assert make.judge(asked, {"run": make.history({MAP: 1.0}, ending="hang")}, {}).verdict == "error"
    assert make.judge(asked, {"run": ended(make, "", ending="invalid")}, {}).verdict == "invalid run"
    assert make.judge(asked, {"run": ended(make, "not reached", ending="invalid")}, {}).verdict == "fail"


def pair(make: Any) -> tuple[Any, Any]:
    values = {"throttle": 0.5, MAP: 30.0 + np.sin(make.times()), HP: 1000.0}
    return make.history(values), make.history(values)


def same(make: Any, first: Any, second: Any) -> Any:
    return make.judge(make.judgement("same", runs=("first", "second")), {"first": first, "second": second}, {})


def test_equal_runs_are_the_same(make: Any) -> None:
    assert same(make, *pair(make)).verdict == "pass"


def test_the_first_differing_bit_is_named(make: Any) -> None:
    first, second = pair(make)
    second.data[400, 1] = np.nextafter(second.data[400, 1], np.float32(99.0))
    finding = same(make, first, second)
    assert finding.verdict == "fail"
    assert "manifold pressure at 20 s" in finding.found and repr(float(first.data[400, 1])) in finding.found


def test_other_differences(make: Any) -> None:
    first, _ = pair(make)
    longer = make.history({"throttle": 0.5, MAP: 30.0 + np.sin(make.times(50.0)), HP: 1000.0}, seconds=50.0)
    assert "rows" in same(make, first, longer).found
    assert same(make, first, make.history({MAP: 30.0})).verdict == "fail"
    assert same(make, first, make.history({MAP: 30.0, HP: 1.0, "throttle": 0.5}, step=900)).verdict == "fail"
    assert same(make, ended(make, "reached"), ended(make, "stop")).verdict == "fail"
    zero = make.history({MAP: 0.0}), make.history({MAP: -0.0})
    assert same(make, *zero).verdict == "fail"


def test_equal_failures_are_no_pass(make: Any) -> None:
    crashed = make.history({MAP: 30.0}, ending="crash")
    assert same(make, crashed, crashed).verdict == "error"
    broken = make.history({MAP: np.nan})
    assert same(make, broken, broken).verdict == "invalid run"
    assert make.judge(make.judgement("same", runs=("first",)), {"first": broken}, {}).verdict == "error"


def grid_pair(make: Any, off: float = 0.0, *, last: int = 400, kind: str = "seek", ending: str = "reached") -> Any:
    coarse = make.history({MAP: 50.0, HP: 1000.0}, marks=(Mark(kind, 100, 200, "up", "boost", "reached"),))
    marks = (Mark(kind, 200, last, "up", "boost", ending),)
    return coarse, make.history({MAP: 50.0, HP: 1000.0 + off}, step=900, marks=marks)


def grid_step(make: Any, coarse: Any, fine: Any, **fields: Any) -> Any:
    known = {"tolerance": make.tolerance(percent=0.2, of="range"), "time_tolerance": 2.0}
    asked = make.judgement("grid_step", runs=("coarse", "fine"), **{**known, **fields})
    return make.judge(asked, {"coarse": coarse, "fine": fine}, {})


@pytest.mark.parametrize(
    ("off", "verdict"), [(0.0, "pass"), (4.9, "pass"), (-4.9, "pass"), (5.1, "fail"), (-5.1, "fail")]
)
def test_end_values_within_a_share_of_the_range(make: Any, off: float, verdict: str) -> None:
    finding = grid_step(make, *grid_pair(make, off))
    assert finding.verdict == verdict
    if verdict == "fail":
        assert "brake power" in finding.found and "range of brake power" in finding.tolerance


@pytest.mark.parametrize(
    ("kind", "last", "verdict"),
    [
        ("seek", 420, "pass"),
        ("seek", 421, "fail"),
        ("seek", 380, "pass"),
        ("move", 404, "pass"),
        ("move", 406, "fail"),
    ],
)
def test_steps_last_equally_long(make: Any, kind: str, last: int, verdict: str) -> None:
    """A seek may end one control step apart, a move 2 % of its 5 s."""
    assert grid_step(make, *grid_pair(make, last=last, kind=kind)).verdict == verdict
    assert grid_step(make, *grid_pair(make, last=last, kind=kind), time_tolerance=None).verdict == "pass"


def test_grid_step_needs_both_runs_whole_and_alike(make: Any) -> None:
    coarse, fine = grid_pair(make)
    assert grid_step(make, *grid_pair(make, ending="stop")).verdict == "fail"
    assert grid_step(make, fine, coarse).verdict == "error"
    assert grid_step(make, coarse, coarse).verdict == "error"
    assert grid_step(make, coarse, make.history({MAP: 50.0}, step=900, readings={})).verdict == "invalid run"
    assert grid_step(make, coarse, make.history({MAP: 50.0}, step=900, ending="hang")).verdict == "error"
    assert grid_step(make, make.history({MAP: 1.0}, readings={}), fine, time_tolerance=None).verdict == "invalid run"
    assert grid_step(make, coarse, make.history({MAP: np.nan, HP: 1000.0}, step=900)).verdict != "pass"
