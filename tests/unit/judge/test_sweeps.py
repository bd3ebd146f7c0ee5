"""Trends, crossings and exponents over a sweep."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import Ref, Sweep
from leverproof.history import Mark
from leverproof.judge.case import judge_case
from leverproof.quantities import Quantity

BOOST, CAT, HP = "boost_position", "carburettor_air_temperature", "brake_power"
ALTITUDES = (5000.0, 10000.0, 15000.0, 20000.0)
SWEEP = Sweep("altitude", tuple(Quantity(x, "ft") for x in ALTITUDES))


def trend(make: Any, direction: str, **fields: Any) -> Any:
    return make.judgement("trend", **{"channel": BOOST, "over": "altitude", "direction": direction, **fields})


def points(make: Any, values: list[float], channel: str = BOOST, **more: Any) -> list[Any]:
    return [make.history({channel: v}, **more) for v in values]


def judged(make: Any, asked: Any, values: list[float], **resolved: float) -> Any:
    at = ALTITUDES[: len(values)]
    return make.judge(asked, points(make, values, asked.channel), resolved, at=at, sweep=SWEEP)


UP, DOWN, FLAT = [0.1, 0.2, 0.3, 0.45], [0.45, 0.3, 0.2, 0.1], [0.2, 0.2, 0.2, 0.2]
BUMP, DIP = [0.1, 0.3, 0.25, 0.4], [0.4, 0.25, 0.3, 0.1]


@pytest.mark.parametrize(
    ("direction", "good", "bad"),
    [("rising", UP, BUMP), ("rising", UP, FLAT), ("falling", DOWN, DIP), ("falling", DOWN, FLAT),
     ("rising", UP, DOWN), ("falling", DOWN, UP)],
)  # fmt: skip
def test_strict_directions(make: Any, direction: str, good: list[float], bad: list[float]) -> None:
    assert judged(make, trend(make, direction), good, least_step=0.05).verdict == "pass"
    assert judged(make, trend(make, direction), bad, least_step=0.05).verdict == "fail"


@pytest.mark.parametrize(("least", "verdict"), [(0.0999, "pass"), (0.1001, "fail")])
@pytest.mark.parametrize(("direction", "values"), [("rising", UP), ("falling", DOWN)])
def test_every_step_must_reach_the_least(
    make: Any, direction: str, values: list[float], least: float, verdict: str
) -> None:
    assert judged(make, trend(make, direction), values, least_step=least).verdict == verdict


@pytest.mark.parametrize(
    ("direction", "values", "verdict"),
    [("never_falling", FLAT, "pass"), ("never_falling", UP, "pass"), ("never_falling", DOWN, "fail"),
     ("never_falling", BUMP, "fail"), ("never_rising", FLAT, "pass"), ("never_rising", DOWN, "pass"),
     ("never_rising", UP, "fail"), ("never_rising", DIP, "fail")],
)  # fmt: skip
def test_lenient_directions(make: Any, direction: str, values: list[float], verdict: str) -> None:
    assert judged(make, trend(make, direction), values, least_step=0.01).verdict == verdict
    assert judged(make, trend(make, direction), values, least_step=0.9).verdict == "pass"


@pytest.mark.parametrize(("spread", "verdict"), [(0.019, "pass"), (0.021, "fail")])
def test_constant(make: Any, spread: float, verdict: str) -> None:
    asked = trend(make, "constant", tolerance=make.tolerance("0.02"))
    assert judged(make, asked, [0.3, 0.3 + spread, 0.3, 0.3]).verdict == verdict


@pytest.mark.parametrize(("spread", "verdict"), [(0.029, "pass"), (0.031, "fail")])
def test_constant_within_a_share_of_the_mean(make: Any, spread: float, verdict: str) -> None:
    asked = trend(make, "constant", tolerance=make.tolerance(percent=10.0))
    values = [0.3 - spread / 2.0, 0.3 + spread / 2.0, 0.3, 0.3]
    finding = judged(make, asked, values)
    assert finding.verdict == verdict and finding.number == pytest.approx(spread)


@pytest.mark.parametrize(("basis", "verdict"), [("physics", "pass"), ("published", "conditional pass")])
def test_undetermined_doubt_spares_only_signs_of_physics(make: Any, basis: str, verdict: str) -> None:
    blind = make.facts(step_u=None)
    asked = trend(make, "rising", basis=basis)
    found = make.judge(asked, points(make, UP), {"least_step": 0.05}, at=ALTITUDES, session=blind)
    assert found.verdict == verdict


def test_a_falling_trend_tells_its_step_with_its_sign(make: Any) -> None:
    finding = judged(make, trend(make, "falling"), DOWN, least_step=0.05)
    assert finding.expected == "falling, each step at most -0.05" and finding.number == pytest.approx(-0.1)


def test_a_creeping_point_is_not_constant(make: Any) -> None:
    """The creep stays within the band, but what is still to come is more than a fifth of the tolerance."""
    creep = [make.history({BOOST: 0.3 + 0.0005 * (make.times() - 20.0)}) for _ in ALTITUDES]
    narrow, wide = (trend(make, "constant", tolerance=make.tolerance(text)) for text in ("0.02", "2"))
    assert make.judge(narrow, creep, {}, at=ALTITUDES).verdict == "invalid run"
    assert make.judge(wide, creep, {}, at=ALTITUDES).verdict == "pass"


def test_two_points_are_no_trend(make: Any) -> None:
    assert judged(make, trend(make, "rising"), UP[:2], least_step=0.05).verdict == "inconclusive"
    assert judged(make, trend(make, "rising"), UP[:3], least_step=0.05).verdict == "pass"


def test_an_unknown_direction_or_no_declared_step_is_an_error(make: Any) -> None:
    assert judged(make, trend(make, "sideways"), UP, least_step=0.05).verdict == "error"
    assert judged(make, trend(make, "rising"), UP).verdict == "error"
    assert judged(make, trend(make, "constant"), UP).verdict == "error"


def test_the_doubt_applies_to_each_change(make: Any) -> None:
    session = make.facts(step_u={BOOST: 0.02})
    histories = points(make, UP)
    asked = trend(make, "rising")
    found = make.judge(asked, histories, {"least_step": 0.05}, at=ALTITUDES, session=session)
    assert found.verdict == "conditional pass"
    assert found.w == pytest.approx(2.0 * 0.02 * math.sqrt(2.0))


def test_order_is_that_of_the_variable_and_off_points_count(make: Any) -> None:
    at = (5000.0, 20000.0, 10000.0, 10200.0)
    asked = trend(make, "rising")
    good = make.judge(asked, points(make, [0.1, 0.5, 0.2, 0.204]), {"least_step": 0.05}, at=at, off=(10200.0,))
    assert good.verdict == "pass"
    bad = make.judge(asked, points(make, [0.1, 0.5, 0.2, 0.19]), {"least_step": 0.05}, at=at, off=(10200.0,))
    assert bad.verdict == "fail" and "10,200 ft" in bad.found


def test_a_short_interval_asks_for_its_share_of_the_step(make: Any) -> None:
    at = (5000.0, 10000.0, 12500.0, 20000.0)
    for change, verdict in ((0.026, "pass"), (0.024, "fail")):
        values = [0.1, 0.2, 0.2 + change, 0.5]
        found = make.judge(trend(make, "rising"), points(make, values), {"least_step": 0.05}, at=at, off=(12500.0,))
        assert found.verdict == verdict


def test_span_restricts_the_variable(make: Any) -> None:
    asked = trend(make, "rising")
    values = [0.1, 0.2, 0.3, 0.2]
    assert judged(make, asked, values, least_step=0.05).verdict == "fail"
    assert judged(make, asked, values, least_step=0.05, high=15000.0).verdict == "pass"
    assert judged(make, asked, values, least_step=0.05, high=14999.0).verdict == "inconclusive"
    backwards = [0.4, 0.2, 0.3, 0.4]
    assert judged(make, asked, backwards, least_step=0.05, low=10000.0).verdict == "pass"
    assert judged(make, asked, backwards, least_step=0.05, low=10001.0).verdict == "inconclusive"
    assert judged(make, asked, backwards, least_step=0.05, low=90000.0).verdict == "not applicable"


def seeks(make: Any, values: list[float], endings: list[str]) -> list[Any]:
    return [
        make.history({BOOST: v}, marks=(
            Mark("seek", 0, 400, "s", "boost", e),
            Mark("seek", 600, 700, "after", "boost", "stop"),
        ))
        for v, e in zip(values, endings, strict=True)
    ]  # fmt: skip


def test_points_whose_seek_ended_otherwise_are_left_out(make: Any) -> None:
    asked = trend(make, "rising", while_ending=("reached",))
    histories = seeks(make, [0.1, 0.2, 0.3, 0.2], ["reached", "reached", "reached", "turbo_speed limit"])
    found = make.judge(asked, histories, {"least_step": 0.05}, at=ALTITUDES)
    assert found.verdict == "pass" and found.points[-1].verdict == "not applicable"
    none = seeks(make, UP, ["stop"] * 4)
    finding = make.judge(asked, none, {"least_step": 0.05}, at=ALTITUDES)
    assert finding.verdict == "not applicable" and finding.note.startswith("not exercised")
    limits = trend(make, "rising", while_ending=("limit",))
    found = make.judge(limits, seeks(make, UP, ["turbo_speed limit"] * 4), {"least_step": 0.05}, at=ALTITUDES)
    assert found.verdict == "pass"


@pytest.mark.parametrize(
    ("ending", "verdict"), [("crash", "error"), ("invalid", "invalid run"), ("not run", "not run")]
)
def test_a_lost_point_keeps_the_trend_from_passing(make: Any, ending: str, verdict: str) -> None:
    histories = points(make, UP)
    histories[1] = make.history({BOOST: 0.2}, readings={}, ending=ending, trouble="gone")
    asked = trend(make, "rising")
    assert make.judge(asked, histories, {"least_step": 0.05}, at=ALTITUDES).verdict == verdict
    histories[3] = make.history({BOOST: 0.0})
    assert make.judge(asked, histories, {"least_step": 0.05}, at=ALTITUDES).verdict == "fail"


def test_not_finite_never_passes_a_trend(make: Any) -> None:
    histories = points(make, UP)
    histories[2] = make.history({BOOST: math.nan})
    found = make.judge(trend(make, "rising"), histories, {"least_step": 0.05}, at=ALTITUDES)
    assert found.verdict == "invalid run"


def test_trend_over_readings(make: Any) -> None:
    stairs = np.floor(make.times() / 10.0) * 100.0 + 500.0
    refs = tuple(Ref("run", name) for name in ("a", "b", "c"))
    one = make.history({HP: stairs}, readings={"a": 6.0, "b": 16.0, "c": 26.0})
    up = trend(make, "rising", channel=HP, readings=refs)
    down = trend(make, "falling", channel=HP, readings=refs)
    assert make.judge(up, {"run": one}, {"least_step": 100.0}).verdict == "pass"
    assert make.judge(up, {"run": one}, {"least_step": 101.0}).verdict == "fail"
    assert make.judge(down, {"run": one}, {"least_step": 50.0}).verdict == "fail"
    gone = make.history({HP: stairs}, readings={"a": 6.0, "b": 16.0}, ending="hang")
    assert make.judge(up, {"run": gone}, {"least_step": 100.0}).verdict == "error"


def crossing(make: Any, width: str = "300 ft") -> Any:
    return make.judgement("crossing", channel="throttle_position", over="altitude", tolerance=make.tolerance(width))


def crossed(make: Any, values: list[float], expected: float, width: str = "300 ft") -> Any:
    histories = points(make, values, "throttle_position")
    resolved = {"at": 1.0, "expected": expected}
    return make.judge(crossing(make, width), histories, resolved, at=ALTITUDES, sweep=SWEEP)


def test_crossing_by_linear_interpolation(make: Any) -> None:
    found = crossed(make, [0.6, 0.9, 1.2, 1.5], 11666.7)
    assert found.verdict == "pass"
    assert found.number == pytest.approx(11666.7, abs=1.0) and found.unit == "ft"
    assert crossed(make, [0.6, 0.9, 1.2, 1.5], 12000.0).verdict == "fail"
    assert crossed(make, [1.5, 1.2, 0.9, 0.6], 13333.3).verdict == "pass"
    assert crossed(make, [0.4, 0.6, 0.8, 1.0], 20000.0).verdict == "pass"
    assert crossed(make, [1.0, 1.2, 1.4, 1.6], 5000.0).verdict == "pass"


@pytest.mark.parametrize(
    ("lever", "ending", "words"),
    [("boost", "stop", "seek of turbo speed with boost ended: stop (turbo speed 18,000 rpm, wastegate opening 0.25)"),
     ("boost", "reached", "ended: reached (turbo speed"), ("throttle", "stop", "")],
)  # fmt: skip
def test_a_crossing_says_what_stopped_the_boost_lever_beyond_it(make: Any, lever: str, ending: str, words: str) -> None:
    marks = (
        Mark("seek", 0, 50, "rpm", "propeller", "reached", 2500.0, "engine_speed"),
        Mark("seek", 50, 200, "up", lever, ending, 18_000.0, "turbo_speed"),
    )
    shown = {"turbo_speed": 18_000.0, "wastegate_opening": 0.25}
    histories = [make.history({"throttle_position": v, **shown}, marks=marks) for v in (0.6, 0.9, 1.2, 1.5)]
    resolved = {"at": 1.0, "expected": 11666.7}
    found = make.judge(crossing(make), histories, resolved, at=ALTITUDES, sweep=SWEEP)
    assert found.verdict in ("pass", "conditional pass")
    assert words in found.note
    assert ("ended" in found.note) is bool(words)
    assert "15,000" in found.note, "the point beyond the crossing"


def test_two_curves_cross_where_their_difference_passes_nought(make: Any) -> None:
    """Power in one gear stays, in the other it begins higher and falls: they are equal half-way up the second gap."""
    asked = make.judgement(
        "crossing", channel=HP, over="altitude", tolerance=make.tolerance("300 ft"), less=(Ref("low", "settled"),)
    )
    runs = {}
    for i, low in enumerate([1000.0, 940.0, 880.0, 820.0]):
        runs[i, "run"] = make.conducted(make.history({HP: 910.0}), index=i)
        runs[i, "low"] = make.conducted(make.history({HP: low}), index=i, run="low")
    planned = make.plan(asked, {"at": 0.0, "expected": 12500.0}, at=ALTITUDES, sweep=SWEEP)
    (found,) = judge_case(planned, runs, make.facts())
    assert found.number == pytest.approx(12500.0, abs=1.0) and found.verdict == "pass"


def test_never_passing_is_a_fail(make: Any) -> None:
    for values in ([0.1, 0.2, 0.3, 0.99], [1.01, 1.2, 1.3, 1.4]):
        found = crossed(make, values, 12000.0)
        assert found.verdict == "fail" and "never passes" in found.found
    assert crossed(make, [0.6, 1.0, 1.0, 1.0], 10000.0, "6000 ft").verdict == "pass"
    assert crossed(make, [1.0, 1.0, 1.2, 1.3], 5000.0).verdict == "inconclusive"


def test_a_value_to_be_passed_beyond_the_points_flown_is_not_exercised(make: Any) -> None:
    rising, falling = [0.6, 0.7, 0.8, 0.9], [1.4, 1.3, 1.2, 1.1]
    for values in (rising, falling):
        found = crossed(make, values, 24_000.0)
        assert found.verdict == "not applicable"
        assert "not exercised" in found.note and "24,000 ft" in found.note and "20,000 ft" in found.note
        assert crossed(make, values[::-1], 3_000.0).verdict == "not applicable"
        # The other way it comes no nearer, and so it should have passed where it was flown or beyond the other end.
        assert crossed(make, values, 3_000.0).verdict == "fail"
        assert crossed(make, values, 19_000.0).verdict == "fail"
        assert crossed(make, values, 19_000.0, "1500 ft").verdict == "inconclusive"
        assert crossed(make, values, 20_000.0).verdict == "inconclusive"


def test_curvature_is_doubt(make: Any) -> None:
    bent = crossed(make, [0.6, 0.9, 1.1, 1.2], 12500.0, "4000 ft")
    parts = {d.part: d.u for d in bent.points[0].doubts}
    assert parts["interpolation"] == pytest.approx(0.5 * 0.1 / (0.2 / 5000.0), rel=1e-4)
    lost = points(make, [0.9, 1.1], "throttle_position")
    two = make.judge(crossing(make), lost, {"at": 1.0, "expected": 7500.0}, at=ALTITUDES[:2], sweep=SWEEP)
    assert two.verdict == "conditional pass" and "interpolation" in two.note


def test_a_point_lost_keeps_a_crossing_from_passing(make: Any) -> None:
    histories = points(make, [0.6, 0.9, 1.2, 1.5], "throttle_position")
    histories[3] = make.history({"throttle_position": 1.0}, readings={}, ending="crash")
    found = make.judge(crossing(make), histories, {"at": 1.0, "expected": 11666.7}, at=ALTITUDES, sweep=SWEEP)
    assert found.verdict == "error"


def powers(make: Any, exponent: float, temperatures: list[float]) -> list[Any]:
    return [make.history({CAT: t, HP: 1500.0 * ((t + 273.15) / 300.0) ** exponent}) for t in temperatures]


def exponent(make: Any, width: str = "0.1") -> Any:
    return make.judgement("exponent", channel=HP, by=CAT, over="altitude", tolerance=make.tolerance(width))


@pytest.mark.parametrize(
    ("found", "verdict"), [(-0.5, "pass"), (-0.41, "pass"), (-0.39, "fail"), (-0.61, "fail"), (0.5, "fail")]
)
def test_exponent_in_kelvin(make: Any, found: float, verdict: str) -> None:
    runs = powers(make, found, [0.0, 10.0, 20.0, 40.0])
    finding = make.judge(exponent(make), runs, {"expected": -0.5}, at=ALTITUDES)
    assert finding.verdict == verdict and finding.number == pytest.approx(found, abs=1e-4)


def test_exponent_needs_three_points_and_a_spread(make: Any) -> None:
    few = make.judge(exponent(make), powers(make, -0.5, [0.0, 40.0]), {"expected": -0.5}, at=ALTITUDES[:2])
    assert few.verdict == "inconclusive"
    for top, verdict in ((8.1, "inconclusive"), (8.3, "pass")):
        runs = powers(make, -0.5, [0.0, 4.0, top])
        assert make.judge(exponent(make), runs, {"expected": -0.5}, at=ALTITUDES[:3]).verdict == verdict


def test_residuals_are_the_doubt_of_an_exponent(make: Any) -> None:
    runs = powers(make, -0.5, [0.0, 13.0, 26.0, 40.0])
    runs[1] = make.history({CAT: 13.0, HP: 1500.0})
    assert make.judge(exponent(make, "0.01"), runs, {"expected": -0.5}, at=ALTITUDES).verdict == "inconclusive"


def test_exponent_of_nothing_is_invalid(make: Any) -> None:
    runs = powers(make, -0.5, [0.0, 13.0, 26.0])
    for bad in (0.0, -5.0, math.nan):
        runs[1] = make.history({CAT: 13.0, HP: bad})
        found = make.judge(exponent(make), runs, {"expected": -0.5}, at=ALTITUDES[:3])
        assert {p.verdict for p in found.points} >= {"invalid run"} and found.verdict == "invalid run"


def test_doubt_at_the_nearer_point_is_turned_into_the_variable(make: Any) -> None:
    """0.01 of lever travel is worth 166.7 ft where the lever moves 0.3 in 5,000 ft."""
    histories = points(make, [0.6, 0.9, 1.2, 1.5], "throttle_position")
    resolved = {"at": 1.0, "expected": 11666.7}
    session = make.facts(step_u={"throttle_position": 0.01})
    found = make.judge(crossing(make, "600 ft"), histories, resolved, at=ALTITUDES, sweep=SWEEP, session=session)
    assert found.w == pytest.approx(2.0 * 0.01 * 5000.0 / 0.3, rel=1e-3)
    wobbling = np.where(np.arange(make.times().size) % 2, 0.9 + 0.001, 0.9 - 0.001)
    for i, doubtful in ((1, True), (2, False)):
        nearer = [*histories]
        nearer[i] = make.history({"throttle_position": wobbling + 0.3 * (i - 1)})
        found = make.judge(crossing(make), nearer, resolved, at=ALTITUDES, sweep=SWEEP)
        assert (found.w > 10.0) == doubtful


def test_crossing_within_a_share_of_the_sweep_and_the_first_of_several(make: Any) -> None:
    share = make.judgement(
        "crossing",
        channel="throttle_position",
        over="altitude",
        tolerance=make.tolerance(percent=40.0, of="range"),
    )
    back = points(make, [0.9, 1.1, 1.05, 0.95], "throttle_position")
    found = make.judge(share, back, {"at": 1.0, "expected": 7500.0}, at=ALTITUDES, sweep=SWEEP)
    assert found.limit == pytest.approx(6000.0) and "passes it 2 times" in found.note
    once = make.judge(share, back, {"at": 1.09, "expected": 9750.0}, at=(*ALTITUDES[:3], 30000.0), sweep=SWEEP)
    assert "times" in once.note
    single = crossed(make, [0.6, 0.9, 1.2, 1.5], 11666.7)
    assert "times" not in single.note and "between 10,000 ft and 15,000 ft" in single.note


def test_doubt_of_an_exponent_is_that_of_a_least_squares_slope(make: Any) -> None:
    runs = powers(make, -0.5, [0.0, 13.0, 26.0, 40.0])
    runs[1] = make.history({CAT: 13.0, HP: 1560.0})
    finding = make.judge(exponent(make, "2"), runs, {"expected": -0.5}, at=ALTITUDES)
    x = [math.log(r.readings[0].values[CAT] + 273.15) for r in runs]
    y = [math.log(r.readings[0].values[HP]) for r in runs]
    (slope, _), covariance = np.polyfit(x, y, 1, cov=True)
    assert finding.number == pytest.approx(slope, rel=1e-9)
    assert finding.w == pytest.approx(2.0 * math.sqrt(covariance[0, 0]), rel=1e-9)


@pytest.mark.parametrize(("gaps", "verdict"), [([40.0, 30.0, 20.0, 10.0], "pass"), ([40.0, 30.0, 35.0, 10.0], "fail")])
def test_a_trend_of_a_difference_subtracts_the_other_run(make: Any, gaps: list[float], verdict: str) -> None:
    """Both runs rise with height; what is judged is what lies between them."""
    asked = trend(make, "falling", channel="brake_power", less=(Ref("other", "settled"),))
    runs = {}
    for i, gap in enumerate(gaps):
        low = 1000.0 + 50.0 * i
        runs[i, "run"] = make.conducted(make.history({"brake_power": low + gap}), index=i)
        runs[i, "other"] = make.conducted(make.history({"brake_power": low}), index=i, run="other")
    planned = make.plan(asked, {"least_step": 1.0}, at=ALTITUDES[: len(gaps)], sweep=SWEEP)
    (finding,) = judge_case(planned, runs, make.facts())
    assert finding.verdict == verdict
