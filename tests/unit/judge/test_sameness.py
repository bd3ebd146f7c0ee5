"""Endings of seeks, runs equal bit for bit, and a coarse run against a finer one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from leverproof.history import Mark

MAP, HP = "manifold_pressure", "brake_power"


def ended(make: Any, sought: str, **more: Any) -> Any:
    return make.history(
        {MAP: 50.0}, marks=(Mark("seek", 100, 200, "up", "boost", sought, 52.0, MAP),), **more
    )


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
    return make.judge(
        make.judgement("same", runs=("first", "second")), {"first": first, "second": second}, {}
    )


def test_equal_runs_are_the_same(make: Any) -> None:
    assert same(make, *pair(make)).verdict == "pass"


@pytest.mark.parametrize(("kind", "verdict"), [("pause", "pass"), ("hold", "fail")])
def test_a_pause_is_what_one_of_two_equal_runs_may_have_more(make: Any, kind: str, verdict: str) -> None:
    values = {"throttle": 0.5, MAP: risen(make)}
    steps = (Mark("move", 0, 20), Mark("move", 20, 40))
    first = make.history(values, marks=steps)
    second = make.history(values, marks=(*steps, Mark(kind, 20, 20, "silence")))
    assert same(make, first, second).verdict == verdict


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


def risen(make: Any, *step: int) -> Any:
    """Manifold pressure that has moved, and then stays."""
    return np.where(make.times(40.0, *step) < 5.0, 30.0, 50.0)


def grid_pair(
    make: Any, off: float = 0.0, *, last: int = 400, kind: str = "seek", ending: str = "reached"
) -> Any:
    coarse = make.history(
        {MAP: risen(make), HP: 1000.0}, marks=(Mark(kind, 100, 200, "up", "boost", "reached"),)
    )
    marks = (Mark(kind, 200, last, "up", "boost", ending),)
    return coarse, make.history({MAP: risen(make, 900), HP: 1000.0 + off}, step=900, marks=marks)


def grid_step(make: Any, coarse: Any, fine: Any, **fields: Any) -> Any:
    known = {"tolerance": make.tolerance(percent=0.2, of="range"), "time_tolerance": 2.0}
    asked = make.judgement("grid_step", runs=("coarse", "fine"), **{**known, **fields})
    return make.judge(asked, {"coarse": coarse, "fine": fine}, {})


def test_runs_in_which_nothing_moved_show_nothing(make: Any) -> None:
    """The lever did: a gauge that is not connected is the same in every run."""
    dead = {"throttle": np.linspace(0.2, 0.8, make.times().size), MAP: 29.92}
    finer = {"throttle": np.linspace(0.2, 0.8, make.times(40.0, 900).size), MAP: 29.92}
    for finding in (
        same(make, make.history(dead), make.history(dead)),
        grid_step(make, make.history(dead), make.history(finer, step=900)),
    ):
        assert finding.verdict == "not applicable"
        assert "no reading moved" in finding.note
    off = make.history({**finer, MAP: 29.0}, step=900)
    assert grid_step(make, make.history(dead), off).verdict == "fail"


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
    assert (
        grid_step(make, make.history({MAP: 1.0}, readings={}), fine, time_tolerance=None).verdict
        == "invalid run"
    )
    assert grid_step(make, coarse, make.history({MAP: np.nan, HP: 1000.0}, step=900)).verdict != "pass"


def felt(make: Any, moved: dict[str, Any], still: dict[str, Any] | None = None, **more: Any) -> Any:
    """A run with another engine's throttle moved against one with it held."""
    asked = make.judgement(
        "unmoved", runs=("held", "moved"), tolerance=make.tolerance(percent=0.2, of="range"), basis="physics"
    )
    own = {"throttle": 0.5, MAP: 30.0, HP: 1000.0, "turbo_overspeed_light": 0.0}
    other = {"other_throttle": np.clip(make.times() / 20.0, 0.0, 1.0)}
    runs = {
        "held": make.history(own | {"other_throttle": 0.0} | (still or {})),
        "moved": make.history(own | other | moved, **more),
    }
    return make.judge(asked, runs, {})


def test_an_engine_that_feels_nothing(make: Any) -> None:
    finding = felt(make, {})
    assert finding.verdict == "pass" and finding.found == "3 readings, none apart anywhere"


@pytest.mark.parametrize(("apart", "verdict"), [(0.119, "pass"), (0.125, "fail"), (-0.125, "fail")])
def test_one_sample_apart_is_enough(make: Any, apart: float, verdict: str) -> None:
    blip = np.where(np.arange(make.times().size) == 300, 30.0 + apart, 30.0)
    finding = felt(make, {MAP: blip})
    assert finding.verdict == verdict
    assert finding.found.startswith("manifold pressure") and finding.found.endswith("at 15 s")
    assert finding.limit == pytest.approx(0.12)


def test_the_reading_farthest_out_is_named(make: Any) -> None:
    finding = felt(make, {MAP: 30.5, HP: 1200.0})
    assert (
        "brake power 1,200 hp" in finding.found and "1,000 hp with the other engines held" in finding.expected
    )


def test_a_light_that_follows_another_engine(make: Any) -> None:
    finding = felt(make, {"turbo_overspeed_light": np.where(make.times() >= 12.0, 2.0, 0.0)})
    assert finding.verdict == "fail"
    assert "turbo overspeed light on at 12 s" in finding.found and "off with" in finding.expected


def test_nothing_is_shown_when_no_other_lever_moved_or_a_run_ended_early(make: Any) -> None:
    assert felt(make, {"other_throttle": 0.0}).verdict == "error"
    assert felt(make, {}, ending="crash").verdict == "error"
    assert felt(make, {}, ending="invalid", trouble="not steady").verdict == "invalid run"
    assert felt(make, {}, ending="interrupted").verdict == "not run"
