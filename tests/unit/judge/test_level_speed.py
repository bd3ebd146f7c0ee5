"""Level speed between two readings: from power by the sheet's aeroplane, or as flown."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from leverproof.cases.model import AtEqual, Exercised, Ref, Value
from leverproof.conduct.airframe import resolved_level_speed
from leverproof.conduct.model import Expected
from leverproof.conduct.resolvability import resolvability
from leverproof.physics.level_flight.aeroplane import DATA, air_at
from leverproof.physics.level_flight.knots import speeds
from leverproof.quantities import parse
from leverproof.sheet.loader import load_sheet
from leverproof.sheet.model import EngineSheet

MAP, HP, RPM, DECK = "manifold_pressure", "brake_power", "engine_speed", "carburettor_deck_pressure"
TAS, ALTITUDE = "true_airspeed", "pressure_altitude"
FIRST, TOGETHER = Ref("first", "settled"), Ref("together", "settled")
SHEET = load_sheet("corrie-18-early")
ALOFT = {ALTITUDE: 15_000.0, "temperature_offset": 0.0}


def asked(make: Any, **fields: Any) -> Any:
    known = {"channel": HP, "more": FIRST, "less": (TOGETHER,), "basis": "physics"}
    return make.judgement("level_speed", **{**known, **fields})


def flight(make: Any, power: Any, **columns: Any) -> Any:
    """A run at rated rpm, 15,000 ft, 52 inHg; ``columns`` replaces or adds channels."""
    return make.history({HP: power, RPM: 2640.0, MAP: 52.0, DECK: 53.0, **ALOFT, **columns})


def judged(
    make: Any,
    asked: Any,
    first: Any,
    together: Any,
    *,
    sheet: EngineSheet = SHEET,
    session: Any = None,
    flies: bool = False,
    **values: Any,
) -> Any:
    resolved = resolved_level_speed(asked, sheet, ALOFT, flies=flies)
    return make.judge(asked, {"first": first, "together": together}, {**resolved, **values}, session=session)


def knots(power: float, rpm: float = 2640.0) -> float:
    data = {path: float(SHEET.data[path].value) for path in DATA}
    return float(speeds(data, power, rpm, air_at(15_000.0)).true_airspeed)


def changed(path: str, **fields: Any) -> EngineSheet:
    return replace(SHEET, data={**SHEET.data, path: replace(SHEET.data[path], **fields)})


@pytest.mark.parametrize(
    ("gain", "verdict"),
    [(100.0, "pass"), (10.0, "pass"), (0.0, "conditional fail"), (-10.0, "fail"), (-100.0, "fail")],
)
def test_the_sign_of_the_difference(make: Any, gain: float, verdict: str) -> None:
    finding = judged(make, asked(make), flight(make, 2000.0 + gain), flight(make, 2000.0), at_least=0.0)
    assert finding.verdict == verdict and finding.unit == "kt"
    assert finding.number == pytest.approx(knots(2000.0 + gain) - knots(2000.0), abs=1e-6)


def test_power_from_manifold_pressure_and_rpm_alone_fails(make: Any) -> None:
    """Both lever orders at 52 inHg and rated rpm give the same power then, whatever the turbo does."""
    exercised = Exercised(DECK, Value(), TOGETHER, FIRST)
    finding = judged(
        make,
        asked(make, exercised=exercised),
        flight(make, 40.0 * 52.0),
        flight(make, 40.0 * 52.0, **{DECK: 60.0}),
        at_least=0.0,
        exercised=2.0,
    )
    assert finding.verdict == "conditional fail"
    assert "not more than its own doubt" in finding.note


def test_a_deck_pressure_too_alike_is_not_exercised(make: Any) -> None:
    exercised = Exercised(DECK, Value(), TOGETHER, FIRST)
    finding = judged(
        make,
        asked(make, exercised=exercised),
        flight(make, 2100.0),
        flight(make, 2000.0, **{DECK: 54.9}),
        at_least=0.0,
        exercised=2.0,
    )
    assert finding.verdict == "not applicable" and finding.note.startswith("not exercised")


@pytest.mark.parametrize("channel", [HP, RPM, DECK])
@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_not_finite_is_an_invalid_run(make: Any, channel: str, bad: float) -> None:
    exercised = Exercised(DECK, Value(), TOGETHER, FIRST)
    columns = {HP: 2000.0, DECK: 60.0, channel: bad}
    with np.errstate(invalid="ignore"):
        broken = flight(make, columns.pop(HP), **columns)
    finding = judged(
        make, asked(make, exercised=exercised), flight(make, 2100.0), broken, at_least=0.0, exercised=2.0
    )
    assert finding.verdict == "invalid run"


def test_a_run_that_crashed_is_an_error(make: Any) -> None:
    gone = make.history({HP: 1.0}, readings={}, ending="crash", trouble="gone")
    assert judged(make, asked(make), flight(make, 2100.0), gone, at_least=0.0).verdict == "error"


@pytest.mark.parametrize(
    ("power", "words"), [(100.0, "does not carry"), (0.0, "above zero"), (9000.0, "blade tips")]
)
def test_power_that_holds_no_level_speed_is_inconclusive(make: Any, power: float, words: str) -> None:
    finding = judged(make, asked(make), flight(make, 2100.0), flight(make, power), at_least=0.0)
    assert finding.verdict == "inconclusive" and words in finding.note


def test_different_air_is_not_compared(make: Any) -> None:
    finding = judged(
        make, asked(make), flight(make, 2100.0), flight(make, 2000.0, **{ALTITUDE: 14_000.0}), at_least=0.0
    )
    assert finding.verdict == "invalid run" and "same air" in finding.note


def test_the_fastest_of_several_counts(make: Any) -> None:
    several = asked(make, less=(TOGETHER, Ref("other", "settled")))
    resolved = resolved_level_speed(several, SHEET, ALOFT, flies=False)
    runs = {"first": flight(make, 2100.0), "together": flight(make, 2000.0), "other": flight(make, 2050.0)}
    finding = make.judge(several, runs, {**resolved, "at_least": 0.0})
    assert finding.number == pytest.approx(knots(2100.0) - knots(2050.0), abs=1e-6)
    assert "other.settled" in finding.found


def test_comparison_at_equal_manifold_pressure(make: Any) -> None:
    """Half an inHg short at 40 hp an inHg: uncorrected both would fly alike."""

    def held(at: float, power: float) -> Any:
        pressure = np.where(make.times() < 27.0, at, at - 2.0)
        return make.history(
            {MAP: pressure, HP: power + 40.0 * (pressure - 52.0), RPM: 2640.0, **ALOFT},
            readings={"settled": 20.0, "below": 35.0},
        )

    equal = asked(make, at_equal=AtEqual(MAP, Value(), "below"))
    finding = judged(make, equal, held(51.5, 2020.0), held(52.0, 2000.0), at_least=0.0, at_equal=52.0)
    assert finding.verdict == "pass"
    assert finding.number == pytest.approx(knots(2020.0) - knots(2000.0), abs=2e-3)
    assert "corrected by 20 hp" in finding.note


def parts(finding: Any, part: str) -> list[float | None]:
    return [d.u for d in finding.points[0].doubts if d.part == part]


def test_doubt_in_power_goes_through_the_local_slope(make: Any) -> None:
    session = make.facts(step_u={HP: 5.0, RPM: 0.0})
    finding = judged(
        make, asked(make), flight(make, 2100.0), flight(make, 2000.0), session=session, at_least=0.0
    )
    wanted = [5.0 * (knots(p + 1.0) - knots(p - 1.0)) / 2.0 for p in (2100.0, 2000.0)]
    found = [u for u in parts(finding, "step study") if u]
    assert found == pytest.approx(wanted, rel=1e-3)


def test_doubt_in_engine_speed_enters(make: Any) -> None:
    session = make.facts(step_u={HP: 0.0, RPM: 10.0})
    finding = judged(
        make, asked(make), flight(make, 2100.0), flight(make, 2000.0), session=session, at_least=0.0
    )
    slope = abs(knots(2000.0, 2645.0) - knots(2000.0, 2635.0)) / 10.0
    assert max(u or 0.0 for u in parts(finding, "step study")) == pytest.approx(10.0 * slope, rel=0.02)


def test_doubt_in_the_aeroplane_is_small_in_the_difference_and_grows_with_it(make: Any) -> None:
    near, far = (
        judged(make, asked(make), flight(make, 2000.0 + gain), flight(make, 2000.0), at_least=0.0)
        for gain in (20.0, 200.0)
    )
    widths = [math.hypot(*[u or 0.0 for u in parts(f, "airframe")]) for f in (near, far)]
    assert 0.0 < 5.0 * widths[0] < widths[1] < 0.05 * far.number


def test_a_doubt_nobody_stated_spares_only_signs_of_physics(make: Any) -> None:
    sheet = changed("airframe.mass", doubt=None)
    runs = flight(make, 2100.0), flight(make, 2000.0)
    assert judged(make, asked(make), *runs, sheet=sheet, at_least=0.0).verdict == "pass"
    finding = judged(make, asked(make, basis="practice"), *runs, sheet=sheet, at_least=0.0)
    assert finding.verdict == "conditional pass" and "airframe" in finding.note


def test_a_datum_from_the_model_makes_the_finding_self_referential(make: Any) -> None:
    runs = flight(make, 2100.0), flight(make, 2000.0)
    assert not judged(make, asked(make), *runs, at_least=0.0).self_referential
    sheet = changed("airframe.zero_lift_drag", from_model=True)
    assert judged(make, asked(make), *runs, sheet=sheet, at_least=0.0).self_referential
    power = changed("takeoff.brake_power", from_model=True)
    assert not judged(make, asked(make), *runs, sheet=power, at_least=0.0).self_referential


@pytest.mark.parametrize(
    ("gain", "verdict"), [(300.0, "pass"), (250.0, "pass"), (100.0, "fail"), (500.0, "fail")]
)
def test_what_a_power_is_worth(make: Any, gain: float, verdict: str) -> None:
    worth = asked(make, worth=parse("300 hp"), tolerance=make.tolerance(percent=50.0), basis="practice")
    finding = judged(make, worth, flight(make, 1800.0 + gain), flight(make, 1800.0))
    assert finding.verdict == verdict
    wanted = knots(2090.0) - knots(1790.0)
    assert finding.points[0].expected == pytest.approx(wanted)
    (reference,) = parts(finding, "reference reading")
    assert reference is not None and 0.0 < reference < 0.05 * wanted


def test_at_least_what_a_power_is_worth(make: Any) -> None:
    least = asked(make, worth=parse("100 hp"))
    assert judged(make, least, flight(make, 2090.0), flight(make, 1970.0)).verdict == "pass"
    assert judged(make, least, flight(make, 2090.0), flight(make, 2010.0)).verdict == "fail"


def test_a_worth_that_cannot_be_known_is_inconclusive(make: Any) -> None:
    worth = asked(make, worth=parse("2000 hp"), tolerance=make.tolerance(percent=50.0))
    finding = judged(make, worth, flight(make, 2090.0), flight(make, 1900.0))
    assert finding.verdict == "inconclusive" and "2000 hp is worth" in finding.note


def test_airspeeds_as_flown_need_no_aeroplane(make: Any) -> None:
    """The powers say the opposite: where the stand flies, the airspeeds are what counts."""
    first, together = flight(make, 1900.0, **{TAS: 301.0}), flight(make, 2000.0, **{TAS: 296.0})
    values = {"flown": Expected(1.0), "at_least": 0.0}
    finding = make.judge(asked(make), {"first": first, "together": together}, values)
    assert finding.verdict == "pass" and finding.number == pytest.approx(5.0, abs=1e-4)
    assert make.judge(asked(make), {"first": together, "together": first}, values).verdict == "fail"


def test_an_airspeed_still_changing_is_no_level_speed(make: Any) -> None:
    values = {"flown": Expected(1.0), "at_least": 0.0}
    gaining = 290.0 + 0.1 * make.times()
    runs = {"first": flight(make, 2000.0, **{TAS: gaining}), "together": flight(make, 2000.0, **{TAS: 280.0})}
    finding = make.judge(asked(make), runs, values)
    assert finding.verdict == "invalid run" and "not steady" in finding.note


def test_what_is_seen_is_said_before_the_run(make: Any) -> None:
    sign = asked(make, resolves="a few hp")
    resolved = resolved_level_speed(sign, SHEET, {}, flies=False)
    by_hand, by_power = resolvability(make.plan(sign, {**resolved, "at_least": 0.0}))
    slope = 2.0 / (float_speed(2091.0) - float_speed(2089.0))
    assert by_hand["sees"] == pytest.approx(math.sqrt(2.0) * 3.0 * slope, rel=1e-4)
    assert by_hand["unit"] == by_power["unit"] == "hp"
    assert "a few hp" in str(by_hand["effect"]) and "by hand" in str(by_hand["effect"])
    assert by_power["sees"] == pytest.approx(4.0 * math.sqrt(2.0 / 3.0))
    aloft = resolved_level_speed(sign, SHEET, {}, flies=True)
    assert len(resolvability(make.plan(sign, {**aloft, "at_least": 0.0}))) == 1


def float_speed(power: float) -> float:
    data = {path: float(SHEET.data[path].value) for path in DATA}
    return float(speeds(data, power, 2640.0, air_at(0.0)).true_airspeed)


def test_a_plan_without_the_aeroplane_is_an_error(make: Any) -> None:
    runs = {"first": flight(make, 2100.0), "together": flight(make, 2000.0)}
    finding = make.judge(asked(make), runs, {"at_least": 0.0})
    assert finding.verdict == "error" and "airframe" in finding.note
