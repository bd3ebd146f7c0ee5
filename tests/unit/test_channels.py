"""The one list of channels."""

from __future__ import annotations

import re

import pytest

from leverproof import channels
from leverproof.channels import (
    CHANNELS,
    LEVERS,
    OTHER_LEVERS,
    READINGS,
    SURROUNDINGS,
    Channel,
    channel,
    position,
    state_index,
)
from leverproof.errors import InputError
from leverproof.quantities import UNITS

ALL = sorted(CHANNELS)
DISCRETE = [(name, state) for name in ALL for state in CHANNELS[name].states]
PLACES = [(name, word, value) for name in ALL for word, value in CHANNELS[name].positions]


@pytest.mark.parametrize("name", ALL)
def test_a_channel_is_complete(name: str) -> None:
    found = channel(name)
    assert found.name == name and re.fullmatch(r"[a-z]+(_[a-z]+)*", name)
    assert found.kind in ("lever", "surrounding", "reading", "other lever")
    assert found.unit in UNITS
    assert found.meaning
    assert found.span > 0.0 and 0.0 <= found.band < found.span


@pytest.mark.parametrize("name", READINGS)
def test_a_continuous_reading_can_be_steady(name: str) -> None:
    found = channel(name)
    assert found.states or found.band > 0.0


@pytest.mark.parametrize("name", LEVERS)
def test_a_lever_is_a_ratio_or_has_states(name: str) -> None:
    found = channel(name)
    assert found.unit == "1"
    assert not (found.states and found.positions)
    if not found.states:
        assert dict(found.positions) and {value for _, value in found.positions} == {0.0, 1.0}


def test_the_kinds_share_out_the_whole_list() -> None:
    kinds = (*LEVERS, *SURROUNDINGS, *READINGS, *OTHER_LEVERS.values())
    assert sorted(kinds) == ALL and len(set(kinds)) == len(kinds)
    assert {"throttle", "boost", "propeller", "mixture"} <= set(LEVERS)
    assert set(SURROUNDINGS) == {
        "pressure_altitude",
        "temperature_offset",
        "relative_humidity",
        "true_airspeed",
    }
    assert {"manifold_pressure", "turbo_overspeed_light"} <= set(READINGS)


@pytest.mark.parametrize("name", ALL)
def test_no_name_carries_its_unit(name: str) -> None:
    words = set(name.split("_"))
    assert words.isdisjoint(
        {symbol.lower() for symbol in UNITS if symbol.isalpha()} | {"inhg", "feet", "knots"}
    )


@pytest.mark.parametrize(("name", "state"), DISCRETE)
def test_every_state_has_its_number_on_the_wire(name: str, state: str) -> None:
    index = state_index(name, state)
    assert CHANNELS[name].states[index] == state
    if CHANNELS[name].kind in ("lever", "other lever"):
        assert position(name, state) == float(index)


@pytest.mark.parametrize(("name", "word", "value"), PLACES)
def test_every_position_has_its_number(name: str, word: str, value: float) -> None:
    assert position(name, word) == value


def test_the_published_order_of_states_is_kept() -> None:
    # Models written elsewhere rely on these numbers.
    assert channel("mixture").states == ("cut_off", "auto_lean", "auto_rich", "full_rich")
    assert channel("carburettor_heat").states == ("cold", "hot")
    assert channel("blower_gear").states == ("low", "high")
    assert channel("lever_link").states == channel("coordination").states == ("off", "on")
    assert channel("starter").states == ("off", "engaged")
    assert channel("turbo_overspeed_light").states == ("off", "blinking", "on")


@pytest.mark.parametrize(
    ("call", "code", "hint"),
    [
        (lambda: channel("manifold_presure", "here"), "channel", "manifold_pressure"),
        (lambda: channel("trottle", "here"), "channel", "throttle"),
        (lambda: state_index("mixture", "auto_ritch", "here"), "state", "auto_rich"),
        (lambda: state_index("throttle", "open", "here"), "state", ""),
        (lambda: position("mixture", "rich", "here"), "state", "rich"),
        (lambda: position("throttle", "opne", "here"), "position", "open"),
        (lambda: position("thottle", "open", "here"), "channel", "throttle"),
    ],
)
def test_a_wrong_word_is_refused_with_the_nearest(call: object, code: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        call()  # type: ignore[operator]
    assert caught.value.code == code and caught.value.where == "here"
    assert hint in caught.value.hint


def test_a_reading_has_no_lever_position() -> None:
    with pytest.raises(InputError):
        position("manifold_pressure", "open")


def test_a_channel_cannot_be_altered() -> None:
    with pytest.raises(AttributeError):
        channels.channel("throttle").unit = "%"  # type: ignore[misc]
    assert isinstance(channel("throttle"), Channel)


def test_farthest_reaches_beyond_the_normal_range_and_stops_where_nature_does() -> None:
    assert CHANNELS["fuel_flow"].farthest == (0.0, 20_000.0)
    assert CHANNELS["ambient_temperature"].farthest == (-273.15, 1_000.0)
    assert CHANNELS["brake_power"].farthest == (-2_500.0, 25_000.0)
    assert CHANNELS["wastegate_opening"].farthest == (0.0, 1.0)
