"""Discrete readings: at a reading, seen in a window, and the light against the sheet's table."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import Value
from leverproof.history import Mark

LIGHT, TURBO = "turbo_overspeed_light", "turbo_speed"
OFF, BLINKING, ON = 0.0, 1.0, 2.0
TABLE = {"blinking_above": 5000.0, "off_above": 8000.0, "on_above": 22000.0, "hysteresis": 200.0}


def asked(make: Any, **fields: Any) -> Any:
    return make.judgement("state", **{"channel": LIGHT, "run": "run", **fields})


@pytest.mark.parametrize(
    ("at", "verdict"), [(None, "pass"), (16.0, "fail"), (21.0, "fail"), (15.95, "pass"), (21.05, "pass")]
)
def test_the_state_must_hold_through_the_whole_reading(make: Any, at: float | None, verdict: str) -> None:
    light = np.where(np.isclose(make.times(), -1.0 if at is None else at), OFF, ON)
    held = asked(make, at_reading="settled", expected=Value(word="on"))
    finding = make.judge(held, {"run": make.history({LIGHT: light})}, {})
    assert finding.verdict == verdict and finding.expected == "on"
    assert ("off" in finding.found) == (verdict == "fail")


def test_the_wrong_state_and_a_number_that_is_none(make: Any) -> None:
    held = asked(make, at_reading="settled", expected=Value(word="on"))
    assert make.judge(held, {"run": make.history({LIGHT: BLINKING})}, {}).verdict == "fail"
    assert make.judge(held, {"run": make.history({LIGHT: 1.5})}, {}).verdict == "fail"
    assert make.judge(held, {"run": make.history({LIGHT: np.nan})}, {}).verdict == "invalid run"
    resolved = asked(make, at_reading="settled")
    assert make.judge(resolved, {"run": make.history({LIGHT: ON})}, {"expected": 2.0}).verdict == "pass"
    gone = make.history({LIGHT: ON}, readings={}, ending="crash")
    assert make.judge(held, {"run": gone}, {}).verdict == "error"
    assert make.judge(asked(make, channel=TURBO, seen="on"), {"run": make.history({TURBO: 1.0})}, {}).verdict == "error"


def test_seen_in_a_window(make: Any) -> None:
    t = make.times()
    one = make.history({LIGHT: np.where((t >= 10.0) & (t < 11.0), ON, OFF)}, marks=(Mark("hold", 300, 400, "later"),))
    assert make.judge(asked(make, seen="on"), {"run": one}, {}).verdict == "pass"
    assert make.judge(asked(make, seen="blinking"), {"run": one}, {}).verdict == "fail"
    assert make.judge(asked(make, seen="on", window=("later", "end")), {"run": one}, {}).verdict == "fail"
    ended = make.history({LIGHT: OFF}, ending="hang")
    assert make.judge(asked(make, seen="on"), {"run": ended}, {}).verdict == "error"
    broken = make.history({LIGHT: np.where(t > 30.0, np.nan, OFF)})
    assert make.judge(asked(make, seen="on"), {"run": broken}, {}).verdict == "invalid run"


def right(speed: Any) -> Any:
    return np.select([speed < 5000.0, speed < 8000.0, speed < 22000.0], [ON, BLINKING, OFF], ON)


def climb(make: Any) -> Any:
    """Turbo speed from 3,000 to 23,000 rpm at 500 rpm/s."""
    return 3000.0 + 500.0 * make.times()


def table(make: Any, speed: Any, light: Any, values: Any = None, **more: Any) -> Any:
    one = make.history({TURBO: speed, LIGHT: light}, **more)
    return make.judge(asked(make, table="light"), {"run": one}, values or TABLE)


def test_the_light_follows_its_table(make: Any) -> None:
    finding = table(make, climb(make), right(climb(make)))
    assert finding.verdict == "pass" and "4 of its 4 bands" in finding.found
    assert "blinking from 5,000 to 8,000 rpm" in finding.expected


def test_hysteresis_and_a_second_of_delay_are_allowed(make: Any) -> None:
    speed = climb(make)
    assert table(make, speed, right(speed - 200.0)).verdict == "pass"
    assert table(make, speed, right(speed + 200.0)).verdict == "pass"
    assert table(make, speed, right(speed - 690.0)).verdict == "pass"
    assert table(make, speed, right(speed - 800.0)).verdict == "fail"
    assert table(make, speed, right(speed + 240.0)).verdict == "fail"
    without = {k: v for k, v in TABLE.items() if k != "hysteresis"}
    assert table(make, speed, right(speed - 490.0), without).verdict == "pass"
    assert table(make, speed, right(speed + 50.0), without).verdict == "fail"


@pytest.mark.parametrize("stuck", [OFF, BLINKING, ON])
def test_a_stuck_light_fails_and_says_where(make: Any, stuck: float) -> None:
    finding = table(make, climb(make), stuck)
    assert finding.verdict == "fail" and "% of samples, first at" in finding.found and "rpm" in finding.found


def test_one_band_is_not_exercised_and_never_passes(make: Any) -> None:
    finding = table(make, 15000.0, OFF)
    assert finding.verdict == "fail" and "not exercised" in finding.note
    assert "from 8,000 to 22,000 rpm" in finding.note


def test_plain_light(make: Any) -> None:
    plain = {"on_above": 22000.0, "hysteresis": 200.0}
    speed = 18000.0 + 125.0 * make.times()
    assert table(make, speed, np.where(speed > 22000.0, ON, OFF), plain).verdict == "pass"
    assert table(make, speed, OFF, plain).verdict == "fail"


def test_early_end_nan_and_a_table_out_of_order(make: Any) -> None:
    speed = climb(make)
    assert table(make, speed, right(speed), ending="crash").verdict == "error"
    assert table(make, speed, OFF, ending="crash").verdict == "fail"
    assert table(make, np.where(make.times() > 30.0, np.nan, speed), right(speed)).verdict == "invalid run"
    assert table(make, speed, right(speed), {**TABLE, "off_above": 4000.0}).verdict == "error"
