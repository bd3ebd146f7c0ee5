"""Every kind of fault a person can write into a case is refused, with file, line, key and advice."""

# ruff: noqa: E501 - inline tables of TOML stay on one line

import re
from collections.abc import Callable

import pytest

from leverproof.cases.loader import parse_case
from leverproof.errors import InputError

Spoilt = Callable[[str, str], str]

# what is replaced, by what, key named in the error, a part of message or hint
FAULTS = {
    "unknown key": ('weight = "required"', 'wieght = "required"\nweight = "required"', "wieght", "'weight'"),
    "unknown key in a step": ('for = "10 s"', 'fro = "10 s", for = "10 s"', "fro", "'for'"),
    "unknown judgement": ('what = "value"', 'what = "valeu"', "what", "'value'"),
    "unknown step": ('do = "hold"', 'do = "hodl"', "do", "'hold'"),
    "missing source": ('source = "invented for the demonstration"\n', "", "judgement[0]", "'source' is missing"),
    "empty source": ('source = "from memory"', 'source = "  "', "source", "form"),
    "unknown basis": ('basis = "sheet"', 'basis = "sheets"', "basis", "'sheet'"),
    "misspelt channel": ('channel = "manifold_pressure", value', 'channel = "manifold_presure", value', "channel",
                         "'manifold_pressure'"),
    "misspelt judged channel": ('channel = "brake_power"\nmore', 'channel = "break_power"\nmore', "channel",
                                "'brake_power'"),
    "lever as a reading": ('channel = "brake_power"\nmore', 'channel = "boost"\nmore', "channel", "not a reading"),
    "surrounding as a reading": ('channel = "manifold_pressure", value', 'channel = "true_airspeed", value',
                                 "channel", "not a reading"),
    "light as a number": ('channel = "brake_power"\nmore', 'channel = "turbo_overspeed_light"\nmore', "channel",
                          "states"),
    "number as a light": ('channel = "turbo_overspeed_light"', 'channel = "brake_power"', "channel", "not states"),
    "misspelt lever set": ("throttle = 0.3", "throtle = 0.3", "throtle", "'throttle'"),
    "misspelt lever sought": ('lever = "throttle"', 'lever = "throtle"', "lever", "'throttle'"),
    "stepped lever sought": ('lever = "throttle"', 'lever = "mixture"', "lever", "cannot move"),
    "misspelt state": ('mixture = "auto_rich"', 'mixture = "auto_reach"', "mixture", "'auto_rich'"),
    "state as a number": ('mixture = "auto_rich"', "mixture = 2", "mixture", "one of"),
    "misspelt position": ('propeller = "rated"', 'propeller = "ratd"', "propeller", "'rated'"),
    "misspelt light": ('expected = "off"', 'expected = "of"', "expected", "'off'"),
    "misspelt run": ('run = "one"\nchannel = "manifold_pressure"', 'run = "onne"\nchannel = "manifold_pressure"',
                     "run", "'one'"),
    "misspelt run of a reading": ('reading = "one.high"', 'reading = "on.high"', "reading", "'one'"),
    "misspelt reading": ('reading = "one.high"', 'reading = "one.hihg"', "reading", "'high'"),
    "misspelt step": ('since = "closing"', 'since = "clsing"', "since", "'closing'"),
    "misspelt sweep": ('{ sweep = "altitude" }', '{ sweep = "altitud" }', "pressure_altitude", "'altitude'"),
    "misspelt sweep judged": ('over = "altitude"', 'over = "altitud"', "over", "'altitude'"),
    "misspelt sweep in a judgement": ('at_least = "5 hp"', 'at_least = { sweep = "hight" }', "at_least", "sweep"),
    "sweep of another dimension": ('at_least = "5 hp"', 'at_least = { sweep = "altitude" }', "at_least", "power"),
    "lever set by a height": ("throttle = 0.2, over", 'throttle = { sweep = "altitude" }, over', "throttle",
                              "ratio"),
    "misspelt datum": ('{ sheet = "takeoff.manifold_pressure" }', '{ sheet = "takeof.manifold_pressure" }',
                       "at_most", "'takeoff.manifold_pressure'"),
    "misspelt datum asked": ('data = ["takeoff.manifold_pressure"]', 'data = ["takeoff.manifold"]', "data",
                             "'takeoff.manifold_pressure'"),
    "misspelt sheet word": ('["two_stage"]', '["two_stages"]', "sheet", "'two_stage'"),
    "misspelt sheet path": ('"hardware.arrangement"', '"hardware.arangement"', "sheet", "'hardware.arrangement'"),
    "misspelt prediction": ('at_least = "5 hp"', 'at_least = { predicted = "split_lever_advantag" }', "predicted",
                            "'split_lever_advantage'"),
    "misspelt part of a prediction": ('at_least = "5 hp"', 'at_least = { predicted = "power.climb", part = "medium" }',
                                      "part", "'median'"),
    "prediction of another dimension": ('at_least = "5 hp"', 'at_least = { predicted = "turbo_speed" }', "predicted",
                                        "power"),
    "prediction on another basis": ('at_least = "5 hp"', 'at_least = { predicted = "power.climb" }', "basis",
                                    "basis = 'predicted'"),
    "basis without its prediction": ('at_least = "5 hp"\nbasis = "physics"', 'at_least = "5 hp"\nbasis = "predicted"',
                                     "basis", "{ predicted = ... }"),
    "lever set by a prediction": ("throttle = 0.2, over", 'throttle = { predicted = "throttle_opening" }, over',
                                  "throttle", "flown"),
    "height set by a prediction": ('pressure_altitude = "2000 ft"',
                                   'pressure_altitude = { predicted = "critical_altitude.climb" }',
                                   "pressure_altitude", "flown"),
    "sought by a prediction": ('value = { sheet = "takeoff.manifold_pressure", times = 0.8 }, within',
                               'value = { predicted = "manifold_pressure" }, within', "value", "flown"),
    "guarded by a prediction": ('within = "0.05 inHg", or',
                                'within = "0.05 inHg", guard = { turbo_speed = { predicted = "turbo_speed" } }, or',
                                "guard.turbo_speed", "flown"),
    "misspelt datum to be absent": ('data = ["takeoff.manifold_pressure"]', 'without = ["takeoff.manifold"]', "without",
                                    "'takeoff.manifold_pressure'"),
    "there and not there": ('data = ["takeoff.manifold_pressure"]',
                            'data = ["takeoff.manifold_pressure"], without = ["takeoff.manifold_pressure"]', "without",
                            "not be there"),
    "misspelt capability": ('capabilities = ["stepped"]', 'capabilities = ["steped"]', "capabilities",
                            "'stepped'"),
    "unknown unit": ('at_least = "5 hp"', 'at_least = "5 hpp"', "at_least", "'hp'"),
    "wrong dimension": ('at_least = "5 hp"', 'at_least = "5 inHg"', "at_least", "power"),
    "datum of another dimension": ('at_least = "5 hp"', 'at_least = { sheet = "takeoff.engine_speed" }', "at_least",
                                   "power"),
    "no unit": ('at_least = "5 hp"', "at_least = 5", "at_least", "power"),
    "wrong dimension of a tolerance": ('absolute = "0.5 inHg"', 'absolute = "0.5 rpm"', "absolute", "pressure"),
    "no time at all": ('at_most = "8 s"', 'at_most = "0 s"', "at_most", "above zero"),
    "a time before the lever": ('at_most = "8 s"', 'at_least = "-8 s"', "at_least", "above zero"),
    "wrong dimension of a time": ('at_most = "8 s"', 'at_most = "8 rpm"', "at_most", "time"),
    "nan": ("relative_humidity = 0", "relative_humidity = nan", "relative_humidity", "finite"),
    "infinite": ("percent = 2", "percent = inf", "percent", "finite"),
    "nan in words": ('at_least = "5 hp"', 'at_least = "nan hp"', "at_least", "cannot read"),
    "1e999": ('at_least = "5 hp"', 'at_least = "1e999 hp"', "at_least", "finite"),
    "overflowing float": ("relative_humidity = 0", "relative_humidity = 1e999", "relative_humidity", "finite"),
    "overflowing conversion": ('at_most = "8 s"', 'at_most = "1e306 h"', "at_most", "too large"),
    "huge whole number": ("percent = 2", "percent = 1" + "0" * 400, "percent", "at most"),
    "duration off the half second": ('for = "10 s"', 'for = "10.2 s"', "for", "0.5 s"),
    "move off the half second": ('over = "2 s"', 'over = "1.7 s"', "over", "0.5 s"),
    "limit off the half second": ('limit = "90 s"', 'limit = "90.1 s"', "limit", "0.5 s"),
    "no duration": ('for = "10 s"', 'for = "0 s"', "for", "0.5 s"),
    "endless duration": ('for = "10 s"', 'for = "1e999 s"', "for", "finite"),
    "programme too long": ('for = "10 s"', 'for = "300 s"', "steps", "240 s"),
    "pause off the half second": ('do = "hold", name = "waiting", for = "10 s"',
                                  'do = "pause", name = "waiting", for = "0.7 s"', "for", "0.5 s"),
    "pause too long": ('{ do = "hold", name = "waiting", for = "10 s" },',
                       '{ do = "pause", for = "1.5 s" }, { do = "pause", for = "1 s" },', "for", "at most 2 s"),
    "pause before anything": ('{ do = "seek", name = "up"', '{ do = "pause", for = "0.5 s" },\n  { do = "seek", name = "up"',
                              "steps[1]", "middle of a run"),
    "pause after everything": ('{ do = "read", name = "low", limit = "40 s" },\n]',
                               '{ do = "read", name = "low", limit = "40 s" },\n  { do = "pause", for = "0.5 s" },\n]',
                               "steps[6]", "middle of a run"),
    "reading without time": ('name = "high", limit = "40 s"', 'name = "high", limit = "2 s"', "limit", "5 s"),
    "percent of nothing": (', of = "expected"', "", "of", "what it is of"),
    "of without percent": ('absolute = "0.3 inHg", ', 'absolute = "0.3 inHg", of = "range", ', "of", "percent"),
    "percent of zero": ('of = "expected"', 'of = "0 inHg"', "of", "above zero"),
    "no tolerance": ('absolute = "0.3 inHg", ', "", "tolerance", "no default"),
    "zero tolerance": ('absolute = "0.3 inHg"', 'absolute = "0 inHg"', "absolute", "above zero"),
    "negative tolerance": ('absolute = "0.3 inHg"', 'absolute = "-0.3 inHg"', "absolute", "above zero"),
    "negative percent": ("percent = 2", "percent = -2", "percent", "above"),
    "tolerance without reason": (', reason = "a needle\'s width"', "", "judgement[1].tolerance", "'reason' is missing"),
    "zero accuracy": ('within = "0.05 inHg"', 'within = "0 inHg"', "within", "above zero"),
    "reversed span": ('span = ["0 ft", "10000 ft"]', 'span = ["10000 ft", "0 ft"]', "span", "reversed"),
    "span of another dimension": ('span = ["0 ft", "10000 ft"]', 'span = ["0 s", "10 s"]', "span", "length"),
    "reversed interval": ('between = ["1000 ft", "9000 ft"]', 'between = ["9000 ft", "1000 ft"]', "between",
                          "reversed"),
    "empty interval": ('between = ["1000 ft", "9000 ft"]', 'between = ["9000 ft", "9000 ft"]', "between", "empty"),
    "points out of order": ('points = ["0 ft", "5000 ft",', 'points = ["6000 ft", "5000 ft",', "points", "rise"),
    "off-points without interval": ('between = ["1000 ft", "9000 ft"]\n', "", "altitude", "together"),
    "trend with two points": ('points = ["0 ft", "5000 ft", "10000 ft"]\nbetween = ["1000 ft", "9000 ft"]\noff_points = 2',
                              'points = ["0 ft", "10000 ft"]', "judgement[3]", "three points"),
    "trend with one point in its span": ('span = ["0 ft", "10000 ft"]', 'span = ["4000 ft", "6000 ft"]',
                                         "judgement[3]", "three points"),
    "trend without step": ('least_step = "1 hp"\n', "", "least_step", "least step"),
    "trend with a step backwards": ('least_step = "1 hp"', 'least_step = "-1 hp"', "least_step", "above zero"),
    "unused sweep": ('{ sweep = "altitude" }', '"0 ft"', "altitude", "nothing is set"),
    "reversed window": ('window = ["closing", "end"]', 'window = ["low", "closing"]', "window", "reversed"),
    "empty window": ('window = ["closing", "end"]', 'window = ["end", "end"]', "window", "empty"),
    "window of a seek": ('window = ["closing", "end"]', 'window = ["up", "up"]', "window", "no time"),
    "window to nowhere": ('window = ["closing", "end"]', 'window = ["closing", "ned"]', "window", "'one'"),
    "reversed between": ('between = ["high", "low"]\nmeasure', 'between = ["low", "high"]\nmeasure', "between",
                         "before"),
    "duplicate run": ('name = "two"', 'name = "one"', "run[1]", "duplicate"),
    "duplicate judgement": ('id = "limit"', 'id = "pressure"', "judgement[1]", "duplicate"),
    "duplicate step": ('name = "waiting"', 'name = "closing"', "steps", "duplicate"),
    "duplicate event": ('name = "lever", channel', 'name = "pressure", channel', "events", "twice"),
    "compared with itself": ('less = "one.low"', 'less = "one.high"', "less", "twice"),
    "limit of nothing": ('at_most = { sheet = "takeoff.manifold_pressure" }\n', "", "judgement[1]", "at_most"),
    "unknown ending": ('or = ["stop", ', 'or = ["stopp", ', "or", "'stop'"),
    "limit nobody states": ('"turbo_speed limit"]', '"engine_speed limit"]', "or", "guard"),
    "unknown ending judged": ('while_ending = ["reached"]', 'while_ending = ["reachd"]', "while_ending",
                              "'reached'"),
    "state without a word": ('expected = "off"\n', "", "judgement[5]", "together"),
    "no set at the start": ('{ do = "set", throttle = 0.3, boost = "back", propeller = "rated", mixture = "auto_rich" },\n  { do = "seek"',
                            '{ do = "seek"', "steps[0]", "begins with a set"),
    "set of nothing": ('{ do = "set", throttle = 0.3, boost = "back", propeller = "rated", mixture = "auto_rich" }',
                       '{ do = "set" }', "steps[0]", "no lever"),
    "lever beyond its stop": ("throttle = 0.3", "throttle = 1.2", "throttle", "between 0 and 1"),
    "humidity beyond saturation": ("relative_humidity = 0", "relative_humidity = 3", "relative_humidity",
                                   "between 0 and 1"),
    "height beyond the atmosphere": ('pressure_altitude = "2000 ft"', 'pressure_altitude = "90 km"',
                                     "pressure_altitude", "ft"),
    "negative airspeed": ('"150 kt"', '"-150 kt"', "true_airspeed", "kt"),
    "swept beyond the atmosphere": ('"10000 ft"]\nbetween', '"100000 ft"]\nbetween', "pressure_altitude", "ft"),
    "event with two conditions": ('crosses = "20 inHg",', 'crosses = "20 inHg", fraction = 0.5,', "events[1]", "one of"),
    "crossing without direction": (', direction = "falling" }', " }", "direction", "rising or falling"),
    "waits without end": ('name = "high", limit = "40 s"', 'name = "high", limit = "1000000000 s"', "limit",
                          "at most 1,800 s"),
    "waits together without end": ('within = "0.05 inHg", or = ["stop", "turbo_speed limit"], limit = "90 s"',
                                   'within = "0.05 inHg", or = ["stop", "turbo_speed limit"], limit = "1790 s"',
                                   "steps[2].limit", "at most 1,800 s"),
    "less than there can be": ('at_most = { sheet = "takeoff.manifold_pressure" }', 'at_least = "-1 inHg"', "at_least",
                               "cannot fail"),
    "more than there can be": ('at_most = { sheet = "takeoff.manifold_pressure" }', 'at_most = "1e9 inHg"', "at_most",
                               "no reading of manifold_pressure is above 600 inHg"),
    "more change than there can be": ('at_most = { sheet = "takeoff.manifold_pressure" }',
                                      'at_most = "601 inHg"\nchange_from = "high"', "at_most", "no difference"),
    "less gained than there can be": ('at_least = "5 hp"', 'at_least = "-27501 hp"', "at_least", "cannot fail"),
    "tolerance of everything": ('at_most = { sheet = "takeoff.manifold_pressure" }\ntolerance = { absolute = "0.3 inHg"',
                                'at_most = "0 inHg"\ntolerance = { absolute = "61 inHg"', "absolute", "whole range"),
    "wrong type": ('steps = [', 'steps = 3\nstepz = [', "stepz", "'steps'"),
    "wrong format": ("format = 1", "format = 2", "format", "1"),
    "id that is no id": ('id = "sample-case"', 'id = "../sample"', "id", "hyphens"),
    "surroundings missing": ("relative_humidity = 0\n", "", "surroundings", "'relative_humidity' is missing"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_fault_is_named_with_file_line_key_and_advice(fault: str, spoilt: Spoilt) -> None:
    old, new, key, words = FAULTS[fault]
    with pytest.raises(InputError) as caught:
        parse_case(spoilt(old, new), "own/sample.toml")
    error = caught.value
    assert re.match(r"own/sample\.toml:\d+: ", error.where), error.where
    assert key in error.where
    assert words in f"{error.message} ({error.hint})"


def test_line_is_the_line_of_the_key(spoilt: Spoilt) -> None:
    text = spoilt('at_least = "5 hp"', 'at_least = "5 inHg"')
    with pytest.raises(InputError) as caught:
        parse_case(text, "c.toml")
    line = int(caught.value.where.split(":")[1])
    assert text.splitlines()[line - 1] == 'at_least = "5 inHg"'


def test_not_toml_names_line_and_column(spoilt: Spoilt) -> None:
    with pytest.raises(InputError, match=r"c\.toml:1:\d+"):
        parse_case(spoilt("format = 1", "format ="), "c.toml")


def test_sample_itself_loads(sample: str) -> None:
    case = parse_case(sample, "c.toml")
    assert [j.what for j in case.judgements] == [
        "value", "limit", "difference", "trend", "order", "state", "response",
    ]  # fmt: skip
    assert case.runs[0].steps[1].limit == 90 * 36_000
    assert case.sweep is not None
    assert [p.value for p in case.sweep.points] == [0.0, 5000.0, 10000.0]


def test_sweep_is_kept_in_the_trades_unit(spoilt: Spoilt) -> None:
    text = spoilt(
        'points = ["0 ft", "5000 ft", "10000 ft"]\nbetween = ["1000 ft", "9000 ft"]',
        'points = ["0 km", "1.524 km", "10000 ft"]\nbetween = ["1 km", "9000 ft"]',
    )
    sweep = parse_case(text, "c.toml").sweep
    assert sweep is not None and sweep.low is not None
    assert [p.unit for p in (*sweep.points, sweep.low)] == ["ft"] * 4
    assert [p.value for p in sweep.points] == pytest.approx([0.0, 5000.0, 10000.0])


def test_span_is_kept_in_the_unit_of_the_sweep(spoilt: Spoilt) -> None:
    case = parse_case(spoilt('span = ["0 ft", "10000 ft"]', 'span = ["0 km", "4 km"]'), "c.toml")
    span = next(j.span for j in case.judgements if j.span)
    assert span[1].quantity is not None
    assert span[1].quantity.unit == "ft"
    assert span[1].quantity.value == pytest.approx(13123.36, abs=0.01)


def test_a_prediction_of_air_that_the_run_changes(spoilt: Spoilt) -> None:
    text = spoilt('at_least = "5 hp"\nbasis = "physics"', 'at_least = { predicted = "power.climb" }\nbasis = "predicted"')
    assert parse_case(text, "case.toml").judgements[2].at_least is not None
    still = '{ do = "hold", name = "waiting", for = "10 s" }'
    moved = text.replace(still, '{ do = "set", name = "waiting", true_airspeed = "90 kt" }', 1)
    with pytest.raises(InputError, match="the run changes true_airspeed") as caught:
        parse_case(moved, "case.toml")
    assert caught.value.where.endswith("judgement[2].at_least")
