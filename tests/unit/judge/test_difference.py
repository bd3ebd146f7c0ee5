"""Differences between readings, at equal conditions and where the effect is exercised."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import AtEqual, Exercised, Per, Ref, Value
from leverproof.history import Mark
from leverproof.quantities import Quantity

MAP, HP, DECK = "manifold_pressure", "brake_power", "carburettor_deck_pressure"
MORE, LESS = Ref("first", "settled"), Ref("coupled", "settled")
READINGS = {"settled": 20.0, "above": 35.0}


def asked(make: Any, **fields: Any) -> Any:
    return make.judgement("difference", **{"channel": HP, "more": MORE, "less": (LESS,), **fields})


def pair(make: Any, more: dict[str, Any], less: dict[str, Any]) -> dict[str, Any]:
    return {"first": make.history(more), "coupled": make.history(less)}


@pytest.mark.parametrize(("gain", "verdict"), [(30.0, "pass"), (20.0, "pass"), (19.5, "fail"), (-30.0, "fail")])
def test_least_difference(make: Any, gain: float, verdict: str) -> None:
    runs = pair(make, {HP: 1500.0 + gain}, {HP: 1500.0})
    finding = make.judge(asked(make), runs, {"at_least": 20.0})
    assert finding.verdict == verdict
    assert finding.number == pytest.approx(gain) and finding.expected == "at least 20 hp"


@pytest.mark.parametrize(
    ("gain", "verdict"),
    [(24.1, "pass"), (23.9, "conditional pass"), (19.0, "conditional fail"), (15.9, "fail")],
)
def test_doubts_of_both_readings_enter(make: Any, gain: float, verdict: str) -> None:
    runs = pair(make, {HP: 1500.0 + gain}, {HP: 1500.0})
    session = make.facts(step_u={HP: math.sqrt(2.0)})
    assert make.judge(asked(make), runs, {"at_least": 20.0}, session=session).verdict == verdict


def test_the_largest_of_several_counts(make: Any) -> None:
    runs = {**pair(make, {HP: 1530.0}, {HP: 1500.0}), "other": make.history({HP: 1525.0})}
    several = asked(make, less=(LESS, Ref("other", "settled")))
    finding = make.judge(several, runs, {"at_least": 20.0})
    assert (finding.verdict, finding.number) == ("fail", 5.0) and "other.settled" in finding.found


def test_two_sided_difference(make: Any) -> None:
    around = asked(make, tolerance=make.tolerance(percent=20.0))
    runs = pair(make, {HP: 1800.0}, {HP: 1500.0})
    assert make.judge(around, runs, {"expected": 260.0}).verdict == "pass"
    finding = make.judge(around, runs, {"expected": 240.0})
    assert finding.verdict == "fail" and "20 % of the expected value 240 hp" in finding.tolerance


def test_undetermined_doubt_spares_only_signs_of_physics(make: Any) -> None:
    runs, blind = pair(make, {HP: 1800.0}, {HP: 1500.0}), make.facts(step_u=None)
    assert make.judge(asked(make), runs, {"at_least": 0.0}, session=blind).verdict == "conditional pass"
    assert make.judge(asked(make, basis="physics"), runs, {"at_least": 0.0}, session=blind).verdict == "pass"
    sized = asked(make, basis="physics", tolerance=make.tolerance("50 hp"))
    assert make.judge(sized, runs, {"expected": 300.0}, session=blind).verdict == "conditional pass"


@pytest.mark.parametrize("which", ["first", "coupled"])
def test_not_finite_or_missing_never_passes(make: Any, which: str) -> None:
    runs = pair(make, {HP: 1800.0}, {HP: 1500.0})
    for bad in (math.nan, math.inf):
        with np.errstate(invalid="ignore"):
            broken = {**runs, which: make.history({HP: bad})}
        assert make.judge(asked(make), broken, {"at_least": 0.0}).verdict == "invalid run"
    crashed = {**runs, which: make.history({HP: 1.0}, readings={}, ending="crash", trouble="gone")}
    assert make.judge(asked(make), crashed, {"at_least": 0.0}).verdict == "error"


def held(
    make: Any, at: float, power: float, *, slope: float = 40.0, noise: float = 0.0, ending: str = "reached"
) -> Any:
    """A run that holds ``at`` inHg, then two inHg more; ``power`` is what it gives at exactly 52 inHg."""
    pressure = np.where(make.times() < 27.0, at, at + 2.0)
    ripple = noise * (np.arange(pressure.size) % 2 * 2.0 - 1.0)
    mark = Mark("seek", 0, 200, "up", "boost", ending, 52.0, MAP)
    columns = {MAP: pressure, HP: power + slope * (pressure - 52.0) + ripple, DECK: 40.0}
    return make.history(columns, readings=READINGS, marks=(mark,))


EQUAL = AtEqual(MAP, Value(), "above")


def test_comparison_is_corrected_to_the_exact_target(make: Any) -> None:
    """Half an inHg short hides 20 hp: uncorrected the difference would be 0."""
    runs = {"first": held(make, 51.5, 1520.0), "coupled": held(make, 52.0, 1500.0)}
    finding = make.judge(asked(make, at_equal=EQUAL), runs, {"at_least": 10.0, "at_equal": 52.0})
    assert finding.verdict == "pass"
    assert finding.number == pytest.approx(20.0, abs=0.01)
    assert "first.settled corrected by 20 hp" in finding.note and "to 52 inHg" in finding.note


def test_correction_has_its_own_doubt(make: Any) -> None:
    runs = {"first": held(make, 51.5, 1520.0, noise=1.5), "coupled": held(make, 52.0, 1500.0)}
    finding = make.judge(asked(make, at_equal=EQUAL), runs, {"at_least": 10.0, "at_equal": 52.0})
    parts = {d.part: d.u for d in finding.points[0].doubts if d.how.endswith("first.settled")}
    assert parts["correction"] == pytest.approx(0.25 * 1.5 * math.sqrt(2.0 / 3.0), rel=1e-3)
    assert not any(d.part == "seek residual" for d in finding.points[0].doubts)


@pytest.mark.parametrize(
    ("at", "verdict"),
    [(50.97, "pass"), (50.95, "not applicable"), (53.03, "pass"), (53.05, "not applicable")],
)
def test_a_run_that_never_got_near_is_not_exercised(make: Any, at: float, verdict: str) -> None:
    runs = {"first": held(make, 52.0, 1520.0), "coupled": held(make, at, 1500.0, ending="turbo_speed limit")}
    finding = make.judge(asked(make, at_equal=EQUAL), runs, {"at_least": 10.0, "at_equal": 52.0})
    assert finding.verdict == verdict
    if verdict != "pass":
        assert finding.note.startswith("not exercised") and "ended: turbo_speed limit" in finding.note
        assert ("short of" if at < 52.0 else "above") in finding.note


def test_without_a_measurable_slope_nothing_is_decided(make: Any) -> None:
    flat = make.history({MAP: 51.5, HP: 1500.0}, readings=READINGS)
    runs = {"first": held(make, 52.0, 1520.0), "coupled": flat}
    finding = make.judge(asked(make, at_equal=EQUAL), runs, {"at_least": 10.0, "at_equal": 52.0})
    assert finding.verdict == "inconclusive" and "no slope" in finding.note


def test_where_a_limit_ended_the_seek_its_lever_shows_no_slope(make: Any) -> None:
    """The seek of a little less found the limit passed and did not move: what the lever is worth there is unknown, and
    the comparison was not exercised."""
    mark = Mark("seek", 0, 200, "up", "boost", "turbo_speed limit", 52.0, MAP)
    flat = make.history({MAP: 51.5, HP: 1500.0}, readings=READINGS, marks=(mark,))
    runs = {"first": held(make, 52.0, 1520.0), "coupled": flat}
    finding = make.judge(asked(make, at_equal=EQUAL), runs, {"at_least": 10.0, "at_equal": 52.0})
    assert finding.verdict == "not applicable"
    assert "not exercised" in finding.note and "turbo_speed limit" in finding.note and "no slope" in finding.note


DECK_HIGHER = Exercised(DECK, Value(), more=LESS, less=MORE)


@pytest.mark.parametrize(("extra", "verdict"), [(2.0, "pass"), (1.99, "not applicable")])
def test_only_where_exercised(make: Any, extra: float, verdict: str) -> None:
    runs = pair(make, {HP: 1530.0, DECK: 40.0}, {HP: 1500.0, DECK: 40.0 + extra})
    values = {"at_least": 10.0, "exercised": 2.0}
    finding = make.judge(asked(make, exercised=DECK_HIGHER), runs, values)
    assert finding.verdict == verdict
    assert ("not exercised" in finding.note) == (verdict != "pass")
    assert ("is 1.99 inHg higher" in finding.note) == (verdict != "pass")


@pytest.mark.parametrize(("gain", "verdict"), [(10.0, "pass"), (9.9, "fail")])
def test_least_difference_grows_with_another(make: Any, gain: float, verdict: str) -> None:
    per = Per(DECK, Quantity(2.0, "hp/inHg"))
    runs = pair(make, {HP: 1500.0 + gain, DECK: 40.0}, {HP: 1500.0, DECK: 45.0})
    assert make.judge(asked(make, per=per), runs, {}).verdict == verdict
    assert make.judge(asked(make, per=per), runs, {"at_least": 15.0}).verdict == "fail"


@pytest.mark.parametrize(("gain", "verdict"), [(4.1, "conditional pass"), (3.9, "conditional fail")])
def test_a_difference_within_its_own_doubt_is_none(make: Any, gain: float, verdict: str) -> None:
    per = Per(DECK, Quantity(2.0, "hp/inHg"))
    runs = pair(make, {HP: 1500.0 + gain, DECK: 40.0}, {HP: 1500.0, DECK: 41.0})
    session = make.facts(step_u={HP: math.sqrt(2.0)})
    assert make.judge(asked(make, per=per), runs, {}, session=session).verdict == verdict


def test_no_difference_at_all_is_not_more_than_no_doubt(make: Any) -> None:
    per = Per(DECK, Quantity(2.0, "hp/inHg"))
    runs = pair(make, {HP: 1500.0, DECK: 40.0}, {HP: 1500.0, DECK: 40.0})
    assert make.judge(asked(make, per=per, basis="physics"), runs, {}).verdict == "conditional fail"


def test_a_rate_in_other_units(make: Any) -> None:
    per = Per(DECK, Quantity(2.0 / 1.3410220895950278 * 1.0, "1"))
    runs = pair(make, {HP: 1530.0, DECK: 40.0}, {HP: 1500.0, DECK: 45.0})
    finding = make.judge(asked(make, per=per), runs, {})
    assert finding.verdict == "error" and "hp/inHg" in finding.note


def test_a_run_with_an_unsteady_condition_is_invalid(make: Any) -> None:
    drifting = make.history({HP: 1500.0, DECK: 40.0 + 9.0 * np.exp(-make.times() / 9.0)}, watch={DECK: 0.1})
    runs = {"first": make.history({HP: 1530.0, DECK: 30.0}), "coupled": drifting}
    finding = make.judge(asked(make, exercised=DECK_HIGHER), runs, {"at_least": 0.0, "exercised": 2.0})
    assert finding.verdict == "invalid run"


@pytest.mark.parametrize(("gain", "verdict"), [(10.0, "pass"), (9.9, "fail")])
def test_a_bare_rate_is_in_the_channels_own_units(make: Any, gain: float, verdict: str) -> None:
    per = Per("turbo_speed", Quantity(0.01, "1"))
    runs = pair(make, {HP: 1500.0 + gain, "turbo_speed": 16000.0}, {HP: 1500.0, "turbo_speed": 17000.0})
    assert make.judge(asked(make, per=per), runs, {}).verdict == verdict


def test_a_difference_needs_two_sides(make: Any) -> None:
    runs = pair(make, {HP: 1800.0}, {HP: 1500.0})
    for lame in (asked(make, less=()), asked(make, more=None)):
        assert make.judge(lame, runs, {"at_least": 0.0}).verdict == "error"
    assert make.judge(asked(make), runs, {}).verdict == "error"


CAT = "carburettor_air_temperature"


@pytest.mark.parametrize(("lost", "verdict"), [(0.0, "conditional fail"), (30.0, "pass"), (-30.0, "fail")])
def test_at_one_charge_temperature_only_the_rest_of_a_loss_counts(make: Any, lost: float, verdict: str) -> None:
    """The coupled run is 30 K hotter: what the root law explains is put back, what is left must be the effect."""
    cold, hot = 283.15, 313.15
    explained = 1500.0 * math.sqrt(cold / hot)
    runs = pair(make, {HP: 1500.0, CAT: cold - 273.15}, {HP: explained - lost, CAT: hot - 273.15})
    finding = make.judge(asked(make, one_charge_temperature=True), runs, {"at_least": 5.0})
    assert finding.number == pytest.approx(lost * math.sqrt(hot / cold), abs=1e-3)
    doubt = (1500.0 - finding.number) * math.log(hot / cold) * 0.1 / math.sqrt(3.0)
    assert finding.w == pytest.approx(2.0 * doubt, rel=1e-4)
    assert finding.verdict == verdict
    assert "times 1.0516" in finding.note


def test_without_it_the_hotter_charge_counts_as_the_effect(make: Any) -> None:
    runs = pair(make, {HP: 1500.0, CAT: 10.0}, {HP: 1500.0 * math.sqrt(283.15 / 313.15), CAT: 40.0})
    assert make.judge(asked(make), runs, {"at_least": 5.0}).verdict == "pass"
