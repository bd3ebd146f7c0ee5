"""Expected values computed from the sheet: when, at which surroundings, how often, and what a refusal does."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from leverproof.cases.loader import parse_case
from leverproof.cases.model import ReferenceCase
from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.conduct.plan import Ground, plan_case
from leverproof.conduct.predictions import SAMPLES, SEED, Predictions
from leverproof.judge.case import judge_case
from leverproof.judge.model import SessionFacts
from leverproof.physics.predictor import expectations
from leverproof.physics.predictor.expectations import Conditions, predict
from leverproof.physics.predictor.names import AT_ALTITUDE, NAMES, PARTS
from leverproof.record.plain import from_plain, to_plain
from leverproof.sheet.loader import load_sheet, parse_sheet

Cases = Callable[..., ReferenceCase]
Grounds = Callable[..., Ground]
Made = list[tuple[tuple[float, ...], tuple[str, ...], Conditions]]
SMALL = '[geometry]\ndisplacement = { value = "900 in3", source = "s" }\n'
SWEEP = '[sweep.altitude]\npoints = ["5000 ft", "10000 ft", "15000 ft"]\n'


def body(channel: str, name: str, *, part: str = "median", tolerance: str = "absolute = {one}", more: str = "") -> str:
    """A judgement that compares a channel with a prediction."""
    unit = {"brake_power": "hp", "turbo_speed": "rpm", "wastegate_opening": ""}.get(channel, "inHg")
    one = f'"1 {unit}"' if unit else "0.1"
    return (
        f'what = "value"\nreading = "one.end of it"\nchannel = "{channel}"\n'
        f'expected = {{ predicted = "{name}", part = "{part}"{more} }}\n'
        f'tolerance = {{ {tolerance.format(one=one)}, reason = "r" }}'
    )


HEAD = """
format = 1
id = "made-up"
subject = "throttle"
title = "t"
question = "q"
consequence = "c"
caution = "A statement about a simulated engine."
applies = {{ lost = "all of it" }}
start = {{ engine = "running" }}
{sweep}
[surroundings]
pressure_altitude = {altitude}
temperature_offset = "0 K"
relative_humidity = 0
true_airspeed = "0 kt"
[[run]]
name = "one"
{extra}
steps = [ {{ do = "set", throttle = 0.3 }}, {{ do = "read", name = "end of it", limit = "60 s" }} ]
"""
JUDGEMENT = """
[[judgement]]
id = "{id}"
asked = "a question"
basis = "predicted"
source = "computed"
weight = "required"
{body}
"""


def predicted_case(
    judgements: dict[str, str], *, sweep: str = "", altitude: str = '"0 ft"', extra: str = ""
) -> ReferenceCase:
    """A case whose judgements have the basis ``predicted``."""
    text = HEAD.format(sweep=sweep, altitude=altitude, extra=extra)
    return parse_case(text + "".join(JUDGEMENT.format(id=i, body=b) for i, b in judgements.items()), "made-up.toml")


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Made:
    """Every prediction made from here on: altitudes, names, conditions."""
    calls: Made = []
    honest = expectations.predict

    def counted(sheet: Any, altitudes: Any, **more: Any) -> Any:
        calls.append((tuple(altitudes), tuple(more["names"]), more["conditions"]))
        return honest(sheet, altitudes, **more)

    monkeypatch.setattr(expectations, "predict", counted)
    return calls


def resolved(planned: PlannedCase, judgement: str, key: str = "expected", point: int = 0) -> Any:
    return planned.points[point].resolved[judgement][key]


def test_parts_are_those_of_the_predictor_at_the_runs_own_surroundings(
    ground_of: Grounds,
) -> None:
    extra = 'surroundings = { pressure_altitude = "12000 ft", true_airspeed = "200 kt", temperature_offset = "15 K" }'
    case = predicted_case(
        {part.replace("_", "-"): body("brake_power", "brake_power", part=part) for part in PARTS}, extra=extra
    )
    ground = ground_of()
    planned = plan_case(case, ground)
    air = Conditions(airspeed=200.0, offset=15.0)
    e = predict(ground.sheet, (12_000.0,), conditions=air, samples=SAMPLES, seed=SEED).expectations[
        "brake_power@12000ft"
    ]
    half = 0.5 * (e.high - e.low)
    wanted = {"median": e.median, "low": e.low, "high": e.high, "middle": e.low + half, "half_band": half}
    assert {part: resolved(planned, part.replace("_", "-")).value for part in PARTS} == pytest.approx(wanted, rel=1e-12)
    assert resolved(planned, "median").doubt == pytest.approx(half * 1.96 / 1.645)
    assert resolved(planned, "low").doubt == 0.0


def test_the_source_says_band_seed_and_what_was_missing(ground_of: Grounds) -> None:
    planned = plan_case(predicted_case({"a": body("brake_power", "power.climb")}), ground_of())
    words = resolved(planned, "a").source
    for part in (
        "computed by the predictor",
        "5-95 % band",
        "seed 1",
        "does not give",
        "geometry.displacement",
    ):
        assert part in words
    assert resolved(planned, "a").from_model is False
    assert "corrie" not in words, "a model that names its sheet as its origin is not the predictor"


def test_times_plus_and_the_unit_of_the_channel(ground_of: Grounds) -> None:
    judgements = {
        "plain": body("carburettor_deck_pressure", "deck_pressure"),
        "more": body("carburettor_deck_pressure", "deck_pressure", more=', times = 0.5, plus = "1 inHg"'),
    }
    planned = plan_case(predicted_case(judgements, altitude='"14000 ft"'), ground_of())
    plain, more = (resolved(planned, k) for k in judgements)
    assert more.value == pytest.approx(0.5 * plain.value + 1.0)
    assert more.doubt == pytest.approx(0.5 * plain.doubt)


def test_a_band_used_as_tolerance_does_not_count_as_doubt_again(ground_of: Grounds) -> None:
    band = 'percent = 100, of = {{ predicted = "power.climb", part = "half_band" }}'
    case = predicted_case({"a": body("brake_power", "power.climb", tolerance=band)})
    planned = plan_case(case, ground_of())
    assert resolved(planned, "a").doubt == 0.0
    assert 0.0 < resolved(planned, "a", "tolerance_of").value < 0.2 * resolved(planned, "a").value


def test_predictions_are_made_only_when_asked_and_once(case_of: Cases, ground_of: Grounds, made: Made) -> None:
    ground = ground_of()
    plan_case(case_of(), ground)
    assert made == [], "no case asks for a prediction"
    case = predicted_case({"a": body("brake_power", "power.climb"), "b": body("turbo_speed", "turbo_speed")},
                          sweep=SWEEP, altitude='{ sweep = "altitude" }')  # fmt: skip
    plan_case(case, ground)
    plan_case(case, ground)
    assert sorted(call[:2] for call in made) == sorted(
        [((), ("power.climb",)), *(((h,), ("turbo_speed",)) for h in (5_000.0, 10_000.0, 15_000.0))]
    ), "a rating does not depend on the run's height, a turbo speed does"


def test_naming_a_few_gives_the_numbers_of_the_whole(ground_of: Grounds) -> None:
    sheet = ground_of().sheet
    whole = predict(sheet, (15_000.0,), samples=200, seed=3).expectations
    assert {name.partition("@")[0] for name in whole} <= set(NAMES)
    for name in ("power.climb", "critical_altitude.takeoff", "turbo_speed", "split_lever_advantage",
                 "split_lever_advantage.procedure", "full_throttle_height.climb"):  # fmt: skip
        few = predict(sheet, (15_000.0,), samples=200, seed=3, names=(name,)).expectations
        full = f"{name}@15000ft" if name in AT_ALTITUDE else name
        assert few[full] == whole[full]
        assert len(few) < len(whole)


def test_data_taken_from_a_model_make_the_expectation_self_referential(ground_of: Grounds) -> None:
    text = 'brake_power = { value = "2090 hp", source = "s", doubt = "40 hp" }'
    ground = ground_of(replaced=((text, text.replace(" }", ", from_model = true }")),))
    planned = plan_case(predicted_case({"a": body("brake_power", "power.climb")}), ground)
    found = resolved(planned, "a")
    assert found.from_model is True
    assert "taken from a model: takeoff.brake_power" in found.source


@pytest.mark.parametrize(
    ("name", "altitude", "replaced", "words"),
    [
        ("power.takeoff", "0 ft", ('brake_power = { value = "2090 hp", source = "s", doubt = "40 hp" }', ""),
         "the sheet does not give takeoff.brake_power"),
        ("brake_power", "0 ft", ("[split_lever]", SMALL + "[split_lever]"), "contradicts"),
        ("split_lever_advantage", "40000 ft", ("", ""), "no prediction of split_lever_advantage: turbo speed limit"),
        ("split_lever_advantage.deck", "40000 ft", ("", ""), "of the samples"),
    ],
)  # fmt: skip
def test_a_refused_prediction_is_not_applicable_in_the_predictors_words(
    name: str, altitude: str, replaced: tuple[str, str], words: str, ground_of: Grounds
) -> None:
    channel = "manifold_pressure" if NAMES[name] == "inHg" else "brake_power"
    judgements = {"a": body(channel, name), "b": body("manifold_pressure", "manifold_pressure")}
    planned = plan_case(predicted_case(judgements, altitude=f'"{altitude}"'), ground_of(replaced=(replaced,)))
    refused = planned.inapplicable_judgements["a"]
    assert words in refused.missing and refused.lost == "a question"
    assert all("a" not in point.resolved for point in planned.points)


CALM = {
    "pressure_altitude": 10_000.0,
    "true_airspeed": 150.0,
    "temperature_offset": 0.0,
    "relative_humidity": 0.0,
}


def test_a_level_speed_that_is_not_given_names_the_missing_tables(ground_of: Grounds) -> None:
    told = Predictions().of(ground_of().sheet, "level_speed.throttle_first", CALM)
    assert told.found is None
    assert "does not give [airframe], [propeller]" in told.words
    assert {"[airframe]", "[propeller]"} <= set(told.missing)


def test_a_level_speed_names_the_one_datum_that_is_missing_and_the_hardware_only_when_none_is() -> None:
    whole = load_sheet("corrie-18-early").text
    line = next(row for row in whole.splitlines() if row.startswith("wing_area"))
    sheet = parse_sheet(whole.replace(line, ""), "made-up.toml")
    told = Predictions().of(sheet, "level_speed.throttle_first", CALM)
    assert told.words.endswith("the sheet does not give airframe.wing_area")
    # a geared engine has no boost lever whatever its sheet says of an aeroplane
    told = Predictions().of(load_sheet("corrie-14"), "split_lever_advantage", CALM)
    assert told.words.endswith("for this sheet (geared two speed)")


def test_a_point_whose_prediction_is_refused_is_not_applicable_alone(ground_of: Grounds) -> None:
    extra = 'surroundings = { true_airspeed = "150 kt" }'
    case = predicted_case({"a": body("brake_power", "split_lever_advantage")}, extra=extra,
                          sweep='[sweep.altitude]\npoints = ["14000 ft", "38000 ft"]\n',
                          altitude='{ sweep = "altitude" }')  # fmt: skip
    planned = plan_case(case, ground_of())
    low, high = (point.resolved["a"]["expected"] for point in planned.points)
    assert math.isfinite(low.value) and math.isnan(high.value)
    assert "no prediction of split_lever_advantage" in high.source
    again = from_plain(PlannedCase, to_plain(planned))
    runs: dict[tuple[int, str], ConductedRun] = {}
    (finding,) = judge_case(again, runs, SessionFacts(step_u=None, live=frozenset()))
    by_label = {point.label: point for point in finding.points}
    assert by_label["altitude 38,000 ft"].verdict == "not applicable"
    assert "no prediction" in by_label["altitude 38,000 ft"].note
    assert by_label["altitude 14,000 ft"].verdict == "not run"


def test_a_datum_that_must_be_absent(case_of: Cases, ground_of: Grounds) -> None:
    case = case_of(applies='without = ["split_lever.advantage"],')
    there = plan_case(case, ground_of()).inapplicable
    assert there is not None and "the sheet gives split_lever.advantage" in there.missing
    line = 'advantage = { value = "95 hp", source = "s", doubt = "15 hp", from_model = true }'
    assert plan_case(case, ground_of(replaced=((line, ""),))).inapplicable is None
