"""The regression tier: one entry a channel with its reason, and files of one's own with the line of what is wrong."""

from __future__ import annotations

import pytest

from leverproof.baseline.tolerances import parse_tolerances, unit_of_doubt, usual_tolerances
from leverproof.channels import CHANNELS, LEVERS, READINGS
from leverproof.errors import InputError

USUAL = usual_tolerances()


def test_every_reading_and_lever_has_one_with_a_reason() -> None:
    assert {*READINGS, *LEVERS} <= set(USUAL)
    for name, held in USUAL.items():
        assert held.reason and held.source == "assumption" and held.time == 0.5
        assert (held.value == 0.0) == bool(CHANNELS[name].states), name
        assert held.unit == CHANNELS[name].unit
    assert USUAL["brake_power"].value == CHANNELS["brake_power"].band


def test_the_unit_of_doubt_is_the_larger_of_the_study_and_the_band() -> None:
    band = USUAL["turbo_speed"]
    assert unit_of_doubt("turbo_speed", band, {}) == pytest.approx(60.0 / 12.0**0.5)
    assert unit_of_doubt("turbo_speed", band, {"turbo_speed": 50.0}, {"turbo_speed": 90.0}) == 90.0
    assert unit_of_doubt("turbo_overspeed_light", USUAL["turbo_overspeed_light"], {}) == 0.0


def test_a_file_takes_the_place_of_what_it_names() -> None:
    text = 'format = 1\n[channel.brake_power]\nvalue = "8 hp"\ntime = "1 s"\nreason = "noise"\nsource = "our log"\n'
    found = parse_tolerances(text, "mine.toml", USUAL)
    assert found["brake_power"].value == 8.0 and found["brake_power"].time == 1.0
    assert (found["brake_power"].reason, found["brake_power"].source) == ("noise", "our log")
    assert found["torque"] == USUAL["torque"]
    kelvin = '[channel.manifold_temperature]\nvalue = "2 K"\nreason = "r"\n'
    assert parse_tolerances("format = 1\n" + kelvin, "m", USUAL)["manifold_temperature"].value == 2.0


@pytest.mark.parametrize(
    ("body", "told", "where"),
    [
        ('[channel.brake_powr]\nvalue = "8 hp"\nreason = "r"', "unknown channel", "mine.toml:2: channel.brake_powr"),
        ('[channel.brake_power]\nvalue = "8 hp"', "'reason' is missing", "channel.brake_power"),
        ('[channel.brake_power]\nreason = "r"', "", "channel.brake_power"),
        ('[channel.brake_power]\nvalue = "8 rpm"\nreason = "r"', "", "mine.toml:3: channel.brake_power.value"),
        ('[channel.brake_power]\nvalue = "-8 hp"\nreason = "r"', "a tolerance of -8", "channel.brake_power.value"),
        ('[channel.brake_power]\nvalue = "0 hp"\nreason = "r"', "a tolerance of 0", "channel.brake_power.value"),
        ('[channel.brake_power]\ntime = "-1 s"\nreason = "r"', "a tolerance of -1", "channel.brake_power.time"),
        ('[channel.turbo_overspeed_light]\nvalue = "1"\nreason = "r"', "states", "turbo_overspeed_light.value"),
        ('[chanel.brake_power]\nvalue = "8 hp"', "unknown key", "chanel"),
        ("[channel", "", "mine.toml"),
    ],
)
def test_what_is_wrong_in_a_file_is_told_with_its_place(body: str, told: str, where: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_tolerances(f"format = 1\n{body}\n", "mine.toml", USUAL)
    assert told in caught.value.message and where in caught.value.where
