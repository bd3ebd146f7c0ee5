"""Engine sheets: the shipped ones load, and each kind of fault is refused with file, line, key and advice."""

import re

import pytest

from leverproof.errors import InputError, UsageError
from leverproof.sheet.loader import find_sheet, load_sheet, parse_sheet, shipped_sheets
from leverproof.sheet.vocabulary import NUMBERS

SHEET = """\
format = 1
id = "corrie-test"
title = "A sample"
revision = "1"
caution = "A simulated engine of an invented family."

[hardware]
arrangement = { value = "two_stage", source = "invented for the demonstration" }
boost_acts_on = { value = "gate", source = "invented for the demonstration" }
light = { value = "three_state", source = "invented for the demonstration" }
overspeed_protection = { value = "none", source = "invented for the demonstration" }
link = { value = "none", source = "invented for the demonstration" }
takeoff_boost = { value = "back", source = "invented for the demonstration" }
coordination = { value = "none", source = "invented for the demonstration" }
full_rich = { value = "compensated", source = "invented for the demonstration" }
propeller = { value = "constant_speed", source = "invented for the demonstration" }
service = { value = "heavy", source = "invented for the demonstration" }
intercooler = { value = "none", source = "invented for the demonstration" }

[levers.throttle]
rate = { value = "6 1/min", source = "invented for the demonstration", doubt = "0.01 1/s" }
[levers.boost]
rate = { value = "0.05 1/s", source = "invented for the demonstration" }
[levers.mixture]

[takeoff]
manifold_pressure = { value = "176 kPa", source = "invented for the demonstration", doubt = "1 kPa" }
engine_speed = { value = "2600 rpm", source = "invented for the demonstration" }

[limits]
turbo_speed = { value = "18250 rpm", source = "common practice, no published source", from_model = true }
carburettor_air_temperature = { value = "104 degF", source = "invented for the demonstration", doubt = "9 degF" }

[light]
blinking_above = { value = "2500 rpm", source = "invented for the demonstration" }
off_above = { value = "9000 rpm", source = "invented for the demonstration" }
on_above = { value = "18250 rpm", source = "common practice, no published source" }
"""
SOURCE = ', source = "invented for the demonstration"'


def test_data_keep_unit_source_and_doubt() -> None:
    sheet = parse_sheet(SHEET, "s.toml")
    pressure = sheet.number("takeoff.manifold_pressure")
    assert pressure is not None
    assert (pressure.unit, pressure.source) == ("inHg", "invented for the demonstration")
    assert pressure.value == pytest.approx(51.972, abs=0.001)
    assert pressure.doubt == pytest.approx(0.2953, abs=0.0001)
    limit = sheet.number("limits.carburettor_air_temperature")
    assert limit is not None
    assert limit.value == pytest.approx(40.0)
    assert limit.doubt == pytest.approx(5.0)
    speed = sheet.number("limits.turbo_speed")
    assert speed is not None and speed.from_model and speed.doubt is None
    assert sheet.word("hardware.light") == "three_state"
    assert sheet.word("hardware.lamp") == ""
    assert sheet.word("limits.turbo_speed") == ""
    assert sheet.number("hardware.light") is None
    assert sheet.levers == {"throttle": pytest.approx(0.1), "boost": 0.05, "mixture": 0.0}


@pytest.mark.parametrize("name", [item.name.removesuffix(".toml") for item in shipped_sheets()])
def test_every_shipped_sheet_loads_and_sources_every_datum(name: str) -> None:
    sheet = load_sheet(name)
    assert sheet.id == name
    assert sheet.text == find_sheet(name)[0]
    known = {f"{section}.{key}" for section, keys in NUMBERS.items() for key in keys}
    assert {path for path in sheet.data if not path.startswith("hardware.")} <= known
    assert all(datum.source.strip() for datum in sheet.data.values())
    assert all(0.0 <= rate <= 10.0 for rate in sheet.levers.values())


# what is replaced, by what, key named, a part of message or hint
FAULTS = {
    "unknown section": ("[limits]", "[limit]", "limit", "'limits'"),
    "unknown datum": ("turbo_speed =", "turbo_sped =", "turbo_sped", "'turbo_speed'"),
    "unknown hardware": ("light = {", "lights = {", "lights", "'light'"),
    "unknown word": ('"two_stage"', '"two_stages"', "arrangement", "'two_stage'"),
    "unknown lever": ("[levers.boost]", "[levers.bost]", "bost", "'boost'"),
    "missing source": ('"2600 rpm"' + SOURCE, '"2600 rpm"', "engine_speed", "source"),
    "empty source": ('"2600 rpm"' + SOURCE, '"2600 rpm", source = ""', "source", "empty"),
    "blank source": ('"2600 rpm"' + SOURCE, '"2600 rpm", source = " "', "source", "form"),
    "bare datum": ('{ value = "2600 rpm"' + SOURCE + " }", '"2600 rpm"', "engine_speed", "table"),
    "unknown unit": ('"2600 rpm"', '"2600 rpn"', "engine_speed.value", "'rpm'"),
    "wrong dimension": ('"2600 rpm"', '"2600 inHg"', "engine_speed.value", "angular speed"),
    "no unit": ('"2600 rpm"', "2600", "engine_speed.value", "angular speed"),
    "wrong dimension of a doubt": ('doubt = "1 kPa"', 'doubt = "1 rpm"', "doubt", "pressure"),
    "negative doubt": ('doubt = "1 kPa"', 'doubt = "-1 kPa"', "doubt", "negative"),
    "nan": ('"2600 rpm"', "nan", "engine_speed.value", "finite"),
    "nan in words": ('"2600 rpm"', '"nan rpm"', "engine_speed.value", "cannot read"),
    "1e999": ('"2600 rpm"', '"1e999 rpm"', "engine_speed.value", "finite"),
    "overflowing conversion": ('"176 kPa"', '"1e307 psi"', "manifold_pressure.value", "too large"),
    "negative rating": ('"2600 rpm"', '"-2600 rpm"', "engine_speed.value", "greater than zero"),
    "zero rating": ('"2600 rpm"', '"0 rpm"', "engine_speed.value", "greater than zero"),
    "rate missing": ("[levers.boost]\nrate = {", "[levers.boost]\n[levers.propeller]\nrate = {", "levers.boost",
                     "needs its rate"),
    "rate zero": ('"0.05 1/s"', '"0 1/s"', "levers.boost.rate.value", "above 0"),
    "rate negative": ('"0.05 1/s"', '"-1 1/s"', "levers.boost.rate.value", "above 0"),
    "rate of another dimension": ('"0.05 1/s"', '"0.05 s"', "levers.boost.rate.value", "rate"),
    "doubt of a rate unread": ('doubt = "0.01 1/s"', 'doubt = "a little"', "levers.throttle.rate.doubt", "cannot read"),
    "boost lever that acts on nothing": ('"gate"', '"none"', "boost_acts_on", "contradict"),
    "no boost lever though it acts": ('[levers.boost]\nrate = { value = "0.05 1/s"' + SOURCE + " }\n", "",
                                      "boost_acts_on", "contradict"),
    "bands reversed": ('"2500 rpm"', '"9500 rpm"', "light", "rising order"),
    "bands equal": ('"2500 rpm"', '"9000 rpm"', "light", "rising order"),
    "plain light with bands of another": ('"three_state"', '"plain"', "light.blinking_above", "plain light"),
    "wrong format": ("format = 1", "format = 3", "format", "1"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_fault_is_named_with_file_line_key_and_advice(fault: str) -> None:
    old, new, key, words = FAULTS[fault]
    assert old in SHEET
    with pytest.raises(InputError) as caught:
        parse_sheet(SHEET.replace(old, new, 1), "own/sheet.toml")
    error = caught.value
    assert re.match(r"own/sheet\.toml:\d+: ", error.where), error.where
    assert key in error.where
    assert words in f"{error.message} ({error.hint})"


def without(section: str) -> str:
    return re.sub(rf"\[{section}\]\n(?:[^\[\n].*\n)*", "", SHEET)


@pytest.mark.parametrize(("section", "path"), [("takeoff", "takeoff"), ("limits", "limits.turbo_speed")])
def test_sheet_without_a_needed_datum(section: str, path: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_sheet(without(section), "s.toml")
    assert path in str(caught.value)


def test_optional_sections_may_be_left_out() -> None:
    assert parse_sheet(without("light"), "s.toml").number("light.on_above") is None


def test_sheet_of_an_unknown_name(tmp_path: object) -> None:
    with pytest.raises(UsageError, match="did you mean 'corrie-18-early'"):
        load_sheet("corrie-18-erly")
    with pytest.raises(InputError, match="no such file"):
        load_sheet(f"{tmp_path}/none.toml")


def test_a_height_outside_the_atmosphere_is_refused_where_it_stands() -> None:
    text = f'{SHEET}\n[link]\nabove = {{ value = "12200000 ft"{SOURCE} }}\n'
    with pytest.raises(InputError, match="outside the standard atmosphere here, -5000 to 20000 m") as caught:
        parse_sheet(text, "s.toml")
    assert caught.value.where.startswith("s.toml:") and caught.value.where.endswith(": link.above.value")


def test_a_name_that_no_file_can_have_is_a_sheet_that_is_not_there() -> None:
    with pytest.raises(UsageError, match="no sheet"):
        load_sheet("x" * 5_000)
