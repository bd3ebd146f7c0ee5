"""Order of events, and responses timed from the lever movement."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import Event, Value
from leverproof.history import Mark
from leverproof.quantities import Quantity

HP, MAP, LIGHT = "brake_power", "manifold_pressure", "turbo_overspeed_light"
MOVE = 200
ENDS = {"before": 8.0, "after": 55.0}


def lagged(make: Any, tau: float, *, step: int = 1800, a: float = 200.0, b: float = 2000.0, **more: Any) -> Any:
    """A first-order lag from a to b, the lever moved at 10 s."""
    t = make.times(60.0, step) - 10.0
    power = np.where(t < 0.0, a, b + (a - b) * np.exp(-np.maximum(t, 0.0) / tau))
    row = MOVE * 1800 // step
    mark = Mark("move", row, row + 10, "push")
    return make.history({HP: power}, seconds=60.0, step=step, readings=ENDS, marks=(mark,), **more)


def response(make: Any, measure: str, **fields: Any) -> Any:
    known = {"channel": HP, "run": "run", "since": "push", "between": ("before", "after"), "measure": measure}
    return make.judgement("response", **{**known, "tolerance": make.tolerance("0.25 s", 10.0), **fields})


@pytest.mark.parametrize(("measure", "share"), [("t10", 0.1054), ("t90", 2.3026)])
@pytest.mark.parametrize("tau", [0.7, 2.0, 4.0])
@pytest.mark.parametrize("step", [900, 1800])
def test_first_order_lag_within_one_sample(make: Any, measure: str, share: float, tau: float, step: int) -> None:
    finding = make.judge(response(make, measure), {"run": lagged(make, tau, step=step)}, {"at_most": 99.0})
    assert finding.verdict == "pass"
    assert finding.number == pytest.approx(share * tau, abs=step / 36_000.0)


def test_falling_responses_are_timed_alike(make: Any) -> None:
    one = lagged(make, 2.0, a=2000.0, b=200.0)
    assert make.judge(response(make, "t90"), {"run": one}, {"at_most": 9.0}).number == pytest.approx(4.605, abs=0.05)


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [(4.5, "pass"), (4.19, "conditional pass"), (4.16, "conditional fail"), (4.0, "fail")],
)
def test_longest_time(make: Any, limit: float, verdict: str) -> None:
    """t90 4.605 s against limit + 10 %, doubt one grid step."""
    finding = make.judge(response(make, "t90"), {"run": lagged(make, 2.0)}, {"at_most": limit})
    assert finding.verdict == verdict and "10 % of the expected value" in finding.tolerance
    assert finding.w == pytest.approx(0.1 / math.sqrt(3.0), rel=0.01)


def test_shortest_time_and_no_limit(make: Any) -> None:
    one = {"run": lagged(make, 2.0)}
    assert make.judge(response(make, "t90"), one, {"at_least": 4.0}).verdict == "pass"
    assert make.judge(response(make, "t90"), one, {"at_least": 6.0}).verdict == "fail"
    assert make.judge(response(make, "t90"), one, {"at_least": 4.0, "at_most": 3.0}).verdict == "fail"
    assert make.judge(response(make, "t90"), one, {}).verdict == "error"
    assert make.judge(response(make, "t50"), one, {"at_most": 9.0}).verdict == "error"


@pytest.mark.parametrize(("gap", "verdict"), [("4.4 s", "pass"), ("4.65 s", "conditional fail"), ("4.8 s", "fail")])
def test_longer_than_another_run(make: Any, gap: str, verdict: str) -> None:
    number, unit = gap.split()
    asked = response(make, "t90", longer_than="low", least_gap=Quantity(float(number), unit))
    runs = {"run": lagged(make, 4.0), "low": lagged(make, 2.0)}
    assert make.judge(asked, runs, {}).verdict == verdict
    assert make.judge(asked, {"run": runs["low"], "low": runs["run"]}, {}).verdict == "fail"
    assert make.judge(response(make, "t90", longer_than="low"), runs, {}).verdict == "error"


def test_no_change_is_nothing_to_time(make: Any) -> None:
    stuck = lagged(make, 2.0, b=200.0)
    assert make.judge(response(make, "t90"), {"run": stuck}, {"at_most": 9.0}).verdict == "inconclusive"
    small = lagged(make, 2.0, b=210.0)
    for u, verdict in ((1.41, "pass"), (1.42, "inconclusive")):
        asked = response(make, "t10", tolerance=make.tolerance("5 s"))
        found = make.judge(asked, {"run": small}, {"at_most": 9.0}, session=make.facts(step_u={HP: u}))
        assert found.verdict == verdict


def test_early_end_and_missing_step(make: Any) -> None:
    ended = make.history({HP: 200.0}, seconds=60.0, readings={"before": 8.0}, ending="hang", trouble="5 s")
    assert make.judge(response(make, "t90"), {"run": ended}, {"at_most": 9.0}).verdict == "error"
    assert (
        make.judge(response(make, "t90", since="pull"), {"run": lagged(make, 2.0)}, {"at_most": 9.0}).verdict == "error"
    )


def test_not_finite_never_passes(make: Any) -> None:
    one = lagged(make, 2.0)
    one.data[300, 0] = np.nan
    for measure in ("t10", "t90", "monotone"):
        assert make.judge(response(make, measure), {"run": one}, {"at_most": 9.0}).verdict == "invalid run"


def dipping(make: Any, depth: float, at: float) -> Any:
    """A straight rise over 20 s with one sample ``depth`` of the change low."""
    t = make.times(60.0) - 10.0
    power = 200.0 + 1800.0 * np.clip(t / 20.0, 0.0, 1.0)
    power[round((10.0 + at) / 0.05)] -= depth * 1800.0
    return make.history({HP: power}, seconds=60.0, readings=ENDS, marks=(Mark("move", MOVE, 210, "push"),))


@pytest.mark.parametrize(
    ("depth", "at", "verdict"),
    [
        (0.0, 5.0, "pass"),
        (0.021, 5.0, "pass"),
        (0.024, 5.0, "fail"),
        (0.3, 18.0, "fail"),
        (0.3, 22.0, "pass"),
    ],
)
def test_hesitation_is_a_back_step_of_more_than_two_per_cent(make: Any, depth: float, at: float, verdict: str) -> None:
    """The rise itself makes up 0.25 % between samples; after 98 % of the change it is no hesitation."""
    finding = make.judge(response(make, "monotone"), {"run": dipping(make, depth, at)}, {})
    assert finding.verdict == verdict


def events_run(make: Any, **more: Any) -> Any:
    """Manifold pressure through 40 at 12.02 s, power through half its change at 20 s, light on at 25 s."""
    t = make.times()
    pressure = np.where(t < 12.0, 30.0, np.where(t < 12.05, 30.0, 55.0))
    pressure = np.interp(t, [0.0, 12.0, 12.05, 40.0], [30.0, 30.0, 55.0, 55.0])
    power = np.interp(t, [0.0, 15.0, 25.0, 40.0], [100.0, 100.0, 900.0, 900.0])
    light = np.where(t >= 25.0, 2.0, 0.0)
    return make.history({MAP: pressure, HP: power, LIGHT: light}, readings={"a": 8.0, "b": 35.0}, **more)


PRESSURE = Event("pressure", MAP, "rising", Value())
HALF = Event("half power", HP, fraction=0.5, between=("a", "b"))
LIT = Event("light on", LIGHT, state="on")


def order(make: Any, *events: Event, gap: float = 0.0, **fields: Any) -> Any:
    least = fields.pop("least_gap", Quantity(gap, "s"))
    return make.judgement("order", run="run", events=events, least_gap=least, **fields)


AT = {"event:pressure": 40.0}


def test_order_of_three_kinds_of_event(make: Any) -> None:
    one = {"run": events_run(make)}
    finding = make.judge(order(make, PRESSURE, HALF, LIT), one, AT)
    assert finding.verdict == "pass" and finding.number == pytest.approx(5.0, abs=1e-3)
    assert "pressure at 12.02 s" in finding.note and "half power at 20 s" in finding.note
    for wrong in ((HALF, PRESSURE, LIT), (PRESSURE, LIT, HALF)):
        assert make.judge(order(make, *wrong), one, AT).verdict == "fail"


@pytest.mark.parametrize(
    ("gap", "verdict"), [(4.9, "pass"), (4.95, "conditional pass"), (5.01, "conditional fail"), (5.1, "fail")]
)
def test_each_gap_must_be_long_enough(make: Any, gap: float, verdict: str) -> None:
    finding = make.judge(order(make, PRESSURE, HALF, LIT, gap=gap), {"run": events_run(make)}, AT)
    assert finding.verdict == verdict
    assert finding.w == pytest.approx(0.1 / math.sqrt(3.0))
    jumpy = make.judge(
        order(make, PRESSURE, HALF, LIT, gap=4.9),
        {"run": events_run(make)},
        AT,
        session=make.facts(jitter=0.5),
    )
    assert jumpy.verdict == "conditional pass"


def test_an_event_that_never_happens_fails_by_name(make: Any) -> None:
    one = {"run": events_run(make)}
    for never in (Event("blink", LIGHT, state="blinking"), Event("dark", LIGHT, state="off")):
        finding = make.judge(order(make, PRESSURE, never), one, AT)
        assert finding.verdict == "fail" and f"{never.name!r} never happens" in finding.found
    falling = Event("pressure", MAP, "falling", Value())
    assert make.judge(order(make, falling, LIT), one, AT).verdict == "fail"
    gone = {"run": events_run(make, ending="crash")}
    assert make.judge(order(make, PRESSURE, Event("blink", LIGHT, state="blinking")), gone, AT).verdict == "error"


def test_an_order_needs_its_gap_stated(make: Any) -> None:
    one = {"run": events_run(make)}
    assert make.judge(order(make, PRESSURE, LIT, least_gap=None), one, AT).verdict == "error"
    assert make.judge(order(make, PRESSURE), one, AT).verdict == "error"
    vague = Event("vague", MAP)
    assert make.judge(order(make, vague, LIT), one, AT).verdict == "error"


def test_an_event_on_a_broken_channel_is_invalid(make: Any) -> None:
    one = events_run(make)
    one.data[700, :] = np.nan
    assert make.judge(order(make, PRESSURE, LIT), {"run": one}, AT).verdict == "invalid run"


def test_doubt_of_the_ends_is_worth_its_time(make: Any) -> None:
    """9 hp at each end where power rises 90 hp/s (a tenth of 1,800 hp in 2 s at 90 %)."""
    known = make.facts(step_u={HP: 9.0})
    finding = make.judge(response(make, "t90"), {"run": lagged(make, 2.0)}, {"at_most": 9.0}, session=known)
    worth = math.hypot(9.0, 9.0) / 90.0
    assert finding.w == pytest.approx(2.0 * math.hypot(worth, 0.05 / math.sqrt(3.0)), rel=0.03)


def test_an_undetermined_clock_spares_only_physics(make: Any) -> None:
    one, blind = {"run": events_run(make)}, make.facts(jitter=math.inf)
    asked = {basis: order(make, PRESSURE, HALF, LIT, basis=basis) for basis in ("physics", "practice")}
    assert make.judge(asked["physics"], one, AT, session=blind).verdict == "pass"
    assert make.judge(asked["practice"], one, AT, session=blind).verdict == "conditional pass"
