"""Single numbers at a reading, steadiness, and where their doubt comes from."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import Ref
from leverproof.conduct.model import Expected
from leverproof.history import Mark, Reading, Steadiness

MAP = "manifold_pressure"


def asked(make: Any, **fields: Any) -> Any:
    return make.judgement("value", **{"channel": MAP, "tolerance": make.tolerance("0.5 inHg"), **fields})


@pytest.mark.parametrize(
    ("found", "verdict"), [(30.0, "pass"), (30.5, "conditional pass"), (30.51, "fail"), (29.4, "fail")]
)
def test_value_against_expected(make: Any, found: float, verdict: str) -> None:
    finding = make.judge(asked(make), {"run": make.history({MAP: found})}, {"expected": 30.0})
    assert finding.verdict == ("pass" if found == 30.5 else verdict)
    assert finding.number == pytest.approx(found, abs=1e-5)
    assert finding.tolerance == "0.5 inHg" and finding.unit == "inHg" and finding.expected == "30 inHg"


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_value_that_is_not_finite_is_invalid(make: Any, bad: float) -> None:
    with np.errstate(invalid="ignore"):
        one = make.history({MAP: bad})
    assert make.judge(asked(make), {"run": one}, {"expected": 30.0}).verdict == "invalid run"


@pytest.mark.parametrize(
    ("ending", "verdict"),
    [("invalid", "invalid run"), ("crash", "error"), ("hang", "error"), ("protocol", "error"), ("refused", "error"),
     ("interrupted", "not run"), ("not run", "not run"), ("completed", "error")],
)  # fmt: skip
def test_a_missing_reading_takes_the_verdict_of_the_ending(make: Any, ending: str, verdict: str) -> None:
    one = make.history({MAP: 30.0}, readings={}, ending=ending, trouble="signal 11")
    finding = make.judge(asked(make), {"run": one}, {"expected": 30.0})
    assert finding.verdict == verdict
    assert ("signal 11" in finding.note) == (ending != "completed")


def test_a_run_never_made_and_a_channel_never_given(make: Any) -> None:
    assert make.judge(asked(make), {}, {"expected": 30.0}).verdict == "not run"
    other = make.history({"engine_speed": 2600.0})
    assert make.judge(asked(make), {"run": other}, {"expected": 30.0}).verdict == "error"
    assert make.judge(asked(make), {"run": make.history({MAP: 30.0})}, {}).verdict == "error"
    none = asked(make, tolerance=None)
    assert make.judge(none, {"run": make.history({MAP: 30.0})}, {"expected": 30.0}).verdict == "error"


def test_a_drift_is_invalid_not_fail(make: Any) -> None:
    drifting = make.history({MAP: 30.0 - 9.0 * np.exp(-make.times() / 10.0)}, watch={MAP: 0.1})
    finding = make.judge(asked(make), {"run": drifting}, {"expected": 99.0})
    assert finding.verdict == "invalid run" and "not steady" in finding.note


def test_a_limit_cycle_is_invalid_with_amplitude_and_period(make: Any) -> None:
    swinging = make.history({MAP: 30.0 + 0.2 * np.sin(2.0 * np.pi * make.times())}, watch={MAP: 0.1})
    finding = make.judge(asked(make), {"run": swinging}, {"expected": 30.0})
    assert finding.verdict == "invalid run"
    assert "oscillates with amplitude" in finding.note and "period 1" in finding.note


def test_remaining_change_is_held_against_a_fifth_of_the_own_tolerance(make: Any) -> None:
    """A slow creep within the band: 0.05 inHg in 5 s, no slowing down, so 10 windows more are to come."""
    creeping = {MAP: 30.0 + 0.01 * (make.times() - 20.0)}
    told = make.history(creeping, watch={MAP: 0.01})
    assert told.reading("settled").unsteady[MAP].kind == "drifting"
    wide = asked(make, tolerance=make.tolerance("10 inHg"))
    assert make.judge(wide, {"run": told}, {"expected": 30.0}).verdict == "pass"
    untold = make.history(creeping)
    assert make.judge(asked(make), {"run": untold}, {"expected": 30.0}).verdict == "invalid run"


def test_ratio_to_another_reading(make: Any) -> None:
    power = np.where(make.times() < 20.0, 1000.0, 800.0)
    one = make.history({"brake_power": power}, readings={"low": 10.0, "high": 30.0})
    ratio = make.judgement(
        "value", channel="brake_power", reading=Ref("run", "high"), relative_to=Ref("run", "low"),
        tolerance=make.tolerance("0.05"),
    )  # fmt: skip
    finding = make.judge(ratio, {"run": one}, {"expected": 0.82})
    assert (finding.verdict, finding.unit) == ("pass", "1")
    assert finding.number == pytest.approx(0.8)
    assert make.judge(ratio, {"run": one}, {"expected": 0.86}).verdict == "fail"
    stopped = make.history({"brake_power": 0.0}, readings={"low": 10.0, "high": 30.0})
    assert make.judge(ratio, {"run": stopped}, {"expected": 0.82}).verdict == "invalid run"


def test_doubt_in_the_expected_value_counts(make: Any) -> None:
    one = {"run": make.history({MAP: 30.2})}
    assert make.judge(asked(make), one, {"expected": Expected(30.0, 0.31)}).verdict == "conditional pass"
    assert make.judge(asked(make), one, {"expected": Expected(30.0, 0.29)}).verdict == "pass"
    assert make.judge(asked(make), one, {"expected": Expected(30.0, None)}).verdict == "conditional pass"
    finding = make.judge(asked(make), one, {"expected": Expected(30.0, 0.5)})
    assert finding.verdict == "inconclusive" and "reference reading" in finding.note


def test_step_study_counts_and_is_missed(make: Any) -> None:
    one = {"run": make.history({MAP: 30.2})}
    known = make.facts(step_u={MAP: 0.16})
    assert make.judge(asked(make), one, {"expected": 30.0}, session=known).verdict == "conditional pass"
    for unknown in (make.facts(step_u=None), make.facts(step_u={})):
        finding = make.judge(asked(make), one, {"expected": 30.0}, session=unknown)
        assert finding.verdict == "conditional pass" and "step study" in finding.note


def test_jitter_is_half_the_spread_over_root_three(make: Any) -> None:
    alternating = np.where(np.arange(make.times().size) % 2, 30.02, 29.98)
    finding = make.judge(asked(make), {"run": make.history({MAP: alternating})}, {"expected": 30.0})
    assert finding.w == pytest.approx(2.0 * 0.02 / math.sqrt(3.0), rel=1e-3)


def seek_run(make: Any, ending: str, *, held: float = 52.0) -> Any:
    """Manifold pressure sought from 40 to ``held`` in 10 s, power rising 40 hp with each inHg."""
    ramp = np.clip(40.0 + (held - 40.0) * make.times() / 10.0, 40.0, held)
    mark = Mark("seek", 0, 200, "up", "throttle", ending, 52.0, MAP)
    return make.history({MAP: ramp, "brake_power": 40.0 * (ramp - 40.0) + 1000.0}, marks=(mark,))


def test_seek_residual_is_worth_its_slope(make: Any) -> None:
    power = asked(make, channel="brake_power", tolerance=make.tolerance("50 hp"))
    found = make.judge(power, {"run": seek_run(make, "reached", held=51.98)}, {"expected": 1479.2})
    assert found.w == pytest.approx(2.0 * 0.02 * 40.0 / math.sqrt(3.0), rel=1e-3)
    short = make.judge(power, {"run": seek_run(make, "stop", held=51.98)}, {"expected": 1479.2})
    assert short.w == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("moved", ["throttle", "mixture", "pressure_altitude"])
def test_a_target_that_the_program_has_left_leaves_no_residual(make: Any, moved: str) -> None:
    """Sought, then moved on on purpose: how far the channel is from the old target is what the program wanted."""
    ramp = np.clip(40.0 + 12.0 * make.times() / 10.0, 40.0, 52.0) - np.where(make.times() > 12.0, 20.0, 0.0)
    inputs = dict.fromkeys(("throttle", "propeller", "mixture", "pressure_altitude"), 0.5)
    still = make.history({MAP: ramp, "brake_power": 40.0 * ramp, **inputs}, marks=sought())
    inputs[moved] = np.where(make.times() > 12.0, 0.2, 0.5)
    left = make.history({MAP: ramp, "brake_power": 40.0 * ramp, **inputs}, marks=sought())
    power = asked(make, channel="brake_power", tolerance=make.tolerance("50 hp"))
    assert make.judge(power, {"run": still}, {"expected": 1280.0}).verdict == "inconclusive"
    found = make.judge(power, {"run": left}, {"expected": 1280.0})
    assert found.verdict == "pass" and found.w == pytest.approx(0.0, abs=1e-6)


def test_a_later_seek_of_another_lever_leaves_the_target_in_force(make: Any) -> None:
    ramp = np.clip(40.0 + 11.9 * make.times() / 10.0, 40.0, 51.9)
    later = Mark("seek", 220, 300, "rpm", "propeller", "reached", 2600.0, "engine_speed")
    inputs = {"throttle": 0.5, "propeller": np.where(make.times() > 12.0, 0.2, 0.5)}
    columns = {MAP: ramp, "brake_power": 40.0 * ramp, "engine_speed": 2600.0, **inputs}
    power = asked(make, channel="brake_power", tolerance=make.tolerance("50 hp"))
    by_seek = make.judge(power, {"run": make.history(columns, marks=(*sought(), later))}, {"expected": 2076.0})
    assert by_seek.w == pytest.approx(2.0 * 0.1 * 40.0 / math.sqrt(3.0), rel=1e-2)
    by_hand = make.judge(power, {"run": make.history(columns, marks=sought())}, {"expected": 2076.0})
    assert by_hand.w == pytest.approx(0.0, abs=1e-6)


def sought() -> tuple[Mark, ...]:
    return (Mark("seek", 0, 200, "up", "throttle", "reached", 52.0, MAP),)


@pytest.mark.parametrize(("beyond", "verdict"), [(99, "invalid run"), (100, "pass")])
def test_a_window_ends_with_the_last_sample_of_the_pilots(make: Any, beyond: int, verdict: str) -> None:
    """4 s before to 1 s after at 0.05 s are 100 samples; the sample that follows is the next step's."""
    pressure = np.full(make.times().size, 30.0)
    pressure[400 - 80 + beyond :] += 0.5
    one = make.history({MAP: pressure})
    assert make.judge(asked(make), {"run": one}, {"expected": 30.0}).verdict == verdict


def test_residual_in_the_judged_channel_is_part_of_what_was_found(make: Any) -> None:
    finding = make.judge(asked(make), {"run": seek_run(make, "reached", held=51.98)}, {"expected": 52.0})
    assert finding.w == pytest.approx(0.0, abs=1e-6)


def test_a_seek_that_moved_nothing_leaves_its_residual_undetermined(make: Any) -> None:
    mark = Mark("seek", 0, 200, "up", "throttle", "reached", 30.01, MAP)
    one = make.history({MAP: 30.0, "brake_power": 1000.0}, marks=(mark,))
    power = asked(make, channel="brake_power", tolerance=make.tolerance("50 hp"))
    finding = make.judge(power, {"run": one}, {"expected": 1000.0})
    assert finding.verdict == "conditional pass" and "seek residual" in finding.note


def identity_run(make: Any, factor: float, **more: Any) -> Any:
    speed = 2400.0 + 2.0 * np.sin(make.times())
    power = 1500.0 + np.cos(make.times())
    torque = factor * power * 5252.113 / speed
    return make.history({"brake_power": power, "torque": torque, "engine_speed": speed}, **more)


@pytest.mark.parametrize(("factor", "verdict"), [(1.0, "pass"), (1.009, "pass"), (1.02, "fail"), (0.985, "fail")])
def test_identity_of_power_and_torque(make: Any, factor: float, verdict: str) -> None:
    same = make.judgement("identity", tolerance=make.tolerance("0.01"))
    assert make.judge(same, {"run": identity_run(make, factor)}, {}).verdict == verdict


def test_identity_is_not_exercised_without_power(make: Any) -> None:
    one = make.history({"brake_power": 0.0, "torque": 0.0, "engine_speed": 0.0})
    finding = make.judge(make.judgement("identity", tolerance=make.tolerance("0.01")), {"run": one}, {})
    assert finding.verdict == "not applicable" and finding.note.startswith("not exercised")


def test_an_oscillation_the_pilot_did_not_watch_has_its_period_in_seconds(make: Any) -> None:
    swinging = make.history({MAP: 30.0 + 0.2 * np.sin(2.0 * np.pi * make.times())})
    finding = make.judge(asked(make), {"run": swinging}, {"expected": 30.0})
    assert finding.verdict == "invalid run" and "period 1" in finding.note and finding.note.endswith(" s")


@pytest.mark.parametrize("row", [40, 790])
def test_without_a_whole_window_the_pilots_word_stands(make: Any, row: int) -> None:
    told = Steadiness("drifting", 0.01, 0.4)
    reading = Reading("settled", row, {MAP: 30.0}, {MAP: 0.0}, {MAP: told})
    one = replace(make.history({MAP: 30.0}, readings={}), readings=(reading,))
    wide = asked(make, tolerance=make.tolerance("9 inHg"))
    assert make.judge(wide, {"run": one}, {"expected": 30.0}).verdict == "invalid run"
    inside = replace(one, readings=(replace(reading, row=400),))
    assert make.judge(wide, {"run": inside}, {"expected": 30.0}).verdict == "pass"


@pytest.mark.parametrize(("end", "counts"), [(400, True), (420, True), (421, False)])
def test_only_seeks_that_ended_with_the_reading_leave_a_residual(make: Any, end: int, counts: bool) -> None:
    ramp = np.clip(40.0 + 1.2 * make.times(), 40.0, 51.98)
    mark = Mark("seek", 0, end, "up", "throttle", "reached", 52.0, MAP)
    one = make.history({MAP: ramp, "brake_power": 40.0 * ramp}, marks=(mark,))
    power = asked(make, channel="brake_power", tolerance=make.tolerance("50 hp"))
    finding = make.judge(power, {"run": one}, {"expected": 40.0 * 51.98})
    assert (finding.w > 0.5) == counts


def ripple(make: Any, mean: float, half: float) -> Any:
    return mean + half * (np.arange(make.times().size) % 2 * 2.0 - 1.0)


def test_doubt_of_a_ratio_is_propagated_from_both_readings(make: Any) -> None:
    power = np.where(make.times() < 20.0, ripple(make, 1000.0, 1.0), ripple(make, 800.0, 1.5))
    one = make.history({"brake_power": power}, readings={"low": 10.0, "high": 30.0})
    ratio = asked(
        make,
        channel="brake_power",
        reading=Ref("run", "high"),
        relative_to=Ref("run", "low"),
        tolerance=make.tolerance("0.05"),
    )
    finding = make.judge(ratio, {"run": one}, {"expected": 0.8})
    u = math.hypot(1.5 / 1000.0, 0.8 * 1.0 / 1000.0) / math.sqrt(3.0)
    assert finding.w == pytest.approx(2.0 * u, rel=1e-3)
    ramp = 800.0 + 0.3 * (make.times() - 30.0)
    creeping = np.where(make.times() < 20.0, 1000.0, ramp)
    late = make.history({"brake_power": creeping}, readings={"low": 10.0, "high": 30.0})
    assert make.judge(ratio, {"run": late}, {"expected": 0.8}).verdict == "invalid run"
    wide = replace(ratio, tolerance=make.tolerance("0.5"))
    assert make.judge(wide, {"run": late}, {"expected": 0.8}).verdict == "pass"


def test_jitter_of_an_identity_is_that_of_the_ratio(make: Any) -> None:
    torque = ripple(make, 1500.0, 1.5) * 5252.113 / 2400.0
    one = make.history({"brake_power": 1500.0, "torque": torque, "engine_speed": 2400.0})
    finding = make.judge(make.judgement("identity", tolerance=make.tolerance("0.01")), {"run": one}, {})
    assert finding.w == pytest.approx(2.0 * 0.001 / math.sqrt(3.0), rel=1e-2)
    lame = make.judgement("identity", tolerance=make.tolerance("0.01"), reading=None)
    assert make.judge(lame, {"run": one}, {}).verdict == "error"


def test_a_quotient_of_two_channels_is_judged_in_the_units_of_both(make: Any) -> None:
    one = make.history({"fuel_flow": 460.0, "brake_power": 1000.0})
    by = make.judgement(
        "value",
        channel="fuel_flow",
        by="brake_power",
        tolerance=replace(make.tolerance("0.09"), absolute=None, percent=20.0),
    )
    finding = make.judge(by, {"run": one}, {"expected": 0.46})
    assert finding.verdict == "pass" and finding.number == pytest.approx(0.46)
    assert "460 lb/h by 1,000 hp" in finding.found
    gallons = make.history({"fuel_flow": 460.0 / 6.0, "brake_power": 1000.0})
    assert make.judge(by, {"run": gallons}, {"expected": 0.46}).verdict == "fail"
    idle = make.history({"fuel_flow": 40.0, "brake_power": 1.0})
    assert make.judge(by, {"run": idle}, {"expected": 0.46}).verdict == "not applicable"


@pytest.mark.parametrize(
    ("fields", "expected", "verdict"),
    [
        ({}, 3.0, "inconclusive"),
        ({"basis": "predicted"}, 3.0, "pass"),
        ({}, 0.0, "pass"),
        ({}, 6.0, "pass"),
    ],
)
def test_a_tolerance_wider_than_the_value_it_got_from_the_sheet_decides_nothing(
    make: Any, fields: dict[str, Any], expected: float, verdict: str
) -> None:
    """The file could not be refused: only the sheet made the value 3 and the tolerance 5."""
    wide = asked(make, tolerance=make.tolerance("5 inHg"), **fields)
    finding = make.judge(wide, {"run": make.history({MAP: expected})}, {"expected": expected})
    assert finding.verdict == verdict, finding.note
    assert ("wider than the value" in finding.note) == (verdict == "inconclusive")


@pytest.mark.parametrize("what", ["limit", "difference"])
def test_neither_do_limits_and_differences(make: Any, what: str) -> None:
    own = {
        "limit": {"run": "run"},
        "difference": {"more": Ref("run", "end"), "less": (Ref("run", "end"),)},
    }[what]
    key = "at_most" if what == "limit" else "expected"
    wide = make.judgement(what, channel=MAP, tolerance=make.tolerance("5 inHg"), **own)
    finding = make.judge(wide, {"run": make.history({MAP: 3.0})}, {key: 3.0})
    assert finding.verdict == "inconclusive" and "wider than the value" in finding.note
