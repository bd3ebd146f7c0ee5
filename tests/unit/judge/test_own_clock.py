"""The jitter of a model's own clock is a part of the doubt in every number, and widens it as it should."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import Event, Value
from leverproof.conduct.by_its_clock import by_its_clock
from leverproof.history import Mark
from leverproof.stand.port import Capabilities, ClockSeen

HP, MAP, SPEED, LIGHT = "brake_power", "manifold_pressure", "turbo_speed", "turbo_overspeed_light"


def jitter_of(finding: Any) -> list[Any]:
    """The parts of doubt that a clock of the model's own brings."""
    parts = [d for d in finding.points[0].doubts if d.part == "jitter"]
    return [d for d in parts if "clock" in d.how or "polls" in d.how]


def drifting(make: Any, slope: float, jitter: float) -> Any:
    """A manifold pressure that goes up by ``slope`` a second."""
    return replace(make.history({MAP: 30.0 + slope * (make.times() - 20.0)}), jitter=jitter)


def value(make: Any) -> Any:
    return make.judgement("value", channel=MAP, tolerance=make.tolerance("1 inHg"))


@pytest.mark.parametrize(("jitter", "u"), [(0.2, 0.0004), (1.0, 0.002), (1000.0, 0.002 * 4.95 / 2.0)])
def test_what_an_instant_is_worth_in_a_reading(make: Any, jitter: float, u: float) -> None:
    """Slope times jitter, at most half the spread in the window."""
    one = drifting(make, 0.002, jitter)
    (found,) = jitter_of(make.judge(value(make), {"run": one}, {"expected": 30.0}))
    assert found.u == pytest.approx(u / math.sqrt(3.0), rel=0.02)
    assert f"{jitter:,g}"[:3] in found.how


def test_a_stepped_model_has_no_such_part(make: Any) -> None:
    assert jitter_of(make.judge(value(make), {"run": drifting(make, 0.01, 0.0)}, {"expected": 30.0})) == []


def test_a_clock_that_nobody_saw_never_passes_outright(make: Any) -> None:
    one = drifting(make, 0.0, math.nan)
    finding = make.judge(value(make), {"run": one}, {"expected": 30.0})
    assert (finding.verdict, finding.note) == ("conditional pass", "not determined: jitter")


def lagged(make: Any, jitter: float) -> Any:
    t = make.times(60.0) - 10.0
    power = np.where(t < 0.0, 200.0, 2000.0 - 1800.0 * np.exp(-np.maximum(t, 0.0) / 2.0))
    mark = Mark("move", 200, 210, "push")
    one = make.history({HP: power}, seconds=60.0, readings={"before": 8.0, "after": 55.0}, marks=(mark,))
    return replace(one, jitter=jitter)


@pytest.mark.parametrize(
    ("jitter", "verdict"), [(0.0, "pass"), (0.5, "conditional pass"), (math.nan, "conditional pass")]
)
def test_a_response_is_as_doubtful_as_its_clock(make: Any, jitter: float, verdict: str) -> None:
    asked = make.judgement(
        "response", channel=HP, run="run", since="push", between=("before", "after"), measure="t90",
        tolerance=make.tolerance("0.25 s"),
    )  # fmt: skip
    finding = make.judge(asked, {"run": lagged(make, jitter)}, {"at_most": 4.8})
    assert finding.verdict == verdict
    if jitter == jitter:
        assert finding.w == pytest.approx(2.0 * math.hypot(0.05, jitter) / math.sqrt(3.0), rel=0.01)


def test_the_order_of_two_events_closer_than_the_clock_is_sure_of(make: Any) -> None:
    events = tuple(Event(name, channel, "rising", Value()) for name, channel in (("pressure", MAP), ("power", HP)))
    t = make.times()
    steps = {MAP: np.where(t >= 15.0, 40.0, 30.0), HP: np.where(t >= 15.6, 900.0, 100.0)}
    known = {"event:pressure": 35.0, "event:power": 500.0, "least_gap": 0.2}
    verdicts = []
    for jitter in (0.0, 2.0):
        one = replace(make.history(steps), jitter=jitter)
        asked = make.judgement("order", run="run", events=events, least_gap=make.tolerance("0.2 s").absolute)
        verdicts.append(make.judge(asked, {"run": one}, known).verdict)
    assert verdicts == ["pass", "conditional pass"]


def test_a_peak_between_two_polls(make: Any) -> None:
    t = make.times()
    one = make.history({MAP: 50.0 + 2.0 * np.exp(-(((t - 20.0) / 0.5) ** 2))}, readings={})
    asked = make.judgement("limit", channel=MAP, run="run", tolerance=make.tolerance("0 inHg"))
    found = [make.judge(asked, {"run": replace(one, jitter=j)}, {"at_most": 52.5}) for j in (0.0, 1.0)]
    assert [f.verdict for f in found] == ["pass", "conditional pass"]
    assert jitter_of(found[1])[0].u == pytest.approx(1.0 / math.sqrt(3.0), rel=0.05)


def test_a_light_may_be_as_late_as_the_clock(make: Any) -> None:
    t = make.times()
    speed = np.where(t < 20.0, 12_000.0, 20_000.0)
    asked = make.judgement("state", channel=LIGHT, run="run", table=True)
    bounds = {"blinking_above": 5_000.0, "off_above": 10_000.0, "on_above": 18_000.0, "hysteresis": 100.0}
    verdicts = []
    for jitter in (0.0, 1.0):
        one = make.history({SPEED: speed, LIGHT: np.where(t < 21.5, 0.0, 2.0)}, readings={})
        verdicts.append(make.judge(asked, {"run": replace(one, jitter=jitter)}, bounds).verdict)
    assert verdicts == ["fail", "pass"]


class Mounted:
    """A stand of which only the clock is asked."""

    def __init__(self, clock: str, seen: ClockSeen | None) -> None:
        self.capabilities = Capabilities(clock=clock)
        self.clock_seen = lambda: seen


@pytest.mark.parametrize(
    ("clock", "seen", "jitter"),
    [
        ("stepped", None, 0.0),
        ("free_running", ClockSeen(0.3, 0.2, 0.15, 1.0, 80), 0.3),
        ("free_running", None, math.nan),
    ],
)
def test_a_run_keeps_what_its_clock_showed(make: Any, clock: str, seen: ClockSeen | None, jitter: float) -> None:
    told: list[dict[str, object]] = []
    run = make.conducted(make.history({MAP: 30.0}))
    found = by_its_clock(run, Mounted(clock, seen), lambda kind, **data: told.append(data))  # type: ignore[arg-type]
    assert found.history.jitter == pytest.approx(jitter, nan_ok=True)
    assert [(e["case"], e["jitter"], e["latest_tell"]) for e in told] == ([("case", 0.3, 0.15)] if seen else [])
