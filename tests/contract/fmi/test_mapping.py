"""Channels, units and start values found in a unit's description, or refused with the nearest name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import InputError
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import StandFile, Start
from leverproof_adapters import fmi
from leverproof_adapters.fmi import opening

StandFor = Callable[..., StandFile]
Described = Callable[..., Path]
Mount = Callable[..., MountedStand]


@pytest.fixture
def refusal(monkeypatch: pytest.MonkeyPatch, no_remains: None) -> Callable[[StandFile], InputError]:
    def started(*_: object) -> None:
        raise AssertionError("a worker was started for a stand that must be refused")

    monkeypatch.setattr(opening, "open_worker", started)

    def refuse(stand: StandFile, defect: str | None = None) -> InputError:
        with pytest.raises(InputError) as caught:
            fmi.open_stand(stand, defect=defect)
        return caught.value

    return refuse


def channel(name: str, variable: str, more: str = "") -> str:
    return f'[channels.{name}]\nname = "{variable}"\n{more}\n'


@pytest.mark.parametrize(
    ("channels", "message", "hint"),
    [
        (channel("manifold_pressure", "mpa"), "no variable 'mpa' for manifold_pressure", "'map'"),
        (channel("throttle", "Throttle"), "no variable 'Throttle' for throttle", "'throttle'"),
        (channel("throttle", "map"), "'map' for throttle is of causality output, expected input", ""),
        (channel("manifold_pressure", "throttle"), "is of causality input, expected output", ""),
        (channel("boost", "lag"), "is of causality parameter, expected input", ""),
        (channel("boost", "note"), "is a String, not a number", ""),
        (channel("mixture", "hot"), "is true or false, and there are 4 states", ""),
        (channel("engine_speed", "map"), "engine_speed is in rpm (angular speed), 'map' in 'kPa' (pressure)", ""),
        (channel("manifold_pressure", "engine_speed", 'unit = "kPa"'), "'engine_speed' in '1/min' (angular speed)", ""),
        (channel("brake_power", "oil"), "'oil' for brake_power declares no unit", "unit = 'hp'"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused(
    lag_unit: Path,
    stand_for: StandFor,
    refusal: Callable[[StandFile], InputError],
    channels: str,
    message: str,
    hint: str,
) -> None:
    error = refusal(stand_for(lag_unit, channels=channels))
    assert message in error.message
    assert hint in error.hint
    assert ": channels." in error.where


@pytest.mark.parametrize(
    ("pieces", "message"),
    [
        ([('factor="1000"', 'factor="6894.757"')], "defines 'kPa' with the factor 6894.76"),
        (
            [('"kPa"', '"tsi"'), ('factor="1000"', 'factor="15444256"')],
            "in 'tsi', 1.54443e+07 times the SI unit",
        ),
        ([('name="1/min"', 'name="other"')], "in '1/min', which is no unit known here"),
    ],
)
def test_units_of_measure_that_mean_something_else(
    lag_unit: Path,
    version: int,
    stand_for: StandFor,
    described: Described,
    refusal: Callable[[StandFile], InputError],
    pieces: list[tuple[str, str]],
    message: str,
) -> None:
    if "other" in pieces[0][1]:
        # Without a definition of its own, the spelling decides.
        pieces = [('<Unit name="1/min">', '<Unit name="other">')]
        message = "engine_speed is in rpm (angular speed), 'engine_speed' in '1/min' (rate)"
    assert message in refusal(stand_for(described(lag_unit, version, *pieces))).message


def test_the_definition_of_a_unit_decides_not_its_spelling(
    lag_units: dict[int, Path], stand_for: StandFor, mounted: Mount
) -> None:
    facts = mounted(stand_for(lag_units[3])).facts()
    units = {entry["channel"]: entry["unit"] for entry in facts["outputs"]}
    assert units["engine_speed"] == "rpm"
    assert units["manifold_pressure"] == "kPa"
    assert facts["warnings"] == []
    assert facts["unmapped_outputs"] == ["cylinders", "length", "oil", "point"]


def test_a_variable_named_like_a_channel_with_another_causality_is_told(
    lag_units: dict[int, Path], stand_for: StandFor, described: Described, mounted: Mount
) -> None:
    unit = described(lag_units[2], 2, ('name="lag"', 'name="boost"'))
    warnings = mounted(stand_for(unit)).facts()["warnings"]
    assert warnings == [
        "'boost' for boost is of causality parameter, expected input; the variable is not used"
    ]


def test_what_the_validator_objects_to_is_a_warning(
    lag_units: dict[int, Path], stand_for: StandFor, described: Described, mounted: Mount
) -> None:
    unit = described(lag_units[2], 2, ('<Unknown index="4"/><Unknown index="5"/>', '<Unknown index="4"/>'))
    warnings = mounted(stand_for(unit)).facts()["warnings"]
    assert len(warnings) >= 1
    assert all(text.startswith("the validator says: ") for text in warnings)


def test_enumerations_and_booleans_become_states(lag_unit: Path, stand_for: StandFor, mounted: Mount) -> None:
    stand = mounted(stand_for(lag_unit))
    assert stand.states("mixture") == ("cut_off", "auto_lean", "auto_rich", "full_rich")
    assert stand.states("carburettor_heat") == ("cold", "hot")
    assert stand.states("turbo_overspeed_light") == ("off", "on")
    names = ("throttle", "mixture", "carburettor_heat")
    outputs = ("turbo_overspeed_light", "carburettor_air_temperature")
    first = stand.session.initialise([Start("running", (1.0, 0.0, 1.0))], 1800, names, outputs)
    assert first.tolist() == [[2.0, pytest.approx(40.0)]]
    rows = np.array([[[0.0, 3.0, 0.0]]])
    assert stand.session.advance([0], rows)[0, 0, 1] == pytest.approx(15.0)


def test_states_the_channel_does_not_have_are_refused(
    lag_units: dict[int, Path], stand_for: StandFor, described: Described, mounted: Mount
) -> None:
    unit = described(lag_units[3], 3, ("Auto lean", "Auto leen"))
    with pytest.raises(InputError, match="auto_leen") as caught:
        mounted(stand_for(unit))
    assert "auto_lean" in caught.value.hint


@pytest.mark.parametrize(
    ("options", "message", "hint"),
    [
        ("parameters = { lagg = 1.0 }", "no variable 'lagg'", "'lag'"),
        ("parameters = { map = 1.0 }", "is a continuous output: its start cannot be set", ""),
        ("parameters = { lag = true }", "is a", ""),
        ('parameters = { lag = "1 s" }', "'1 s' is none", ""),
        ("parameters = { bias = 1.5 }", "is no value for 'bias'", ""),
        ("parameters = { still = 1 }", "is a Boolean, 1 is none", ""),
        ("parameters = { note = 1 }", "is a String, 1 is none", ""),
        ('parameters = { mix = "Rich" }', "has no item 'Rich'", "rich"),
        ("parameters = 3", "parameters is not a table", ""),
        ("parametres = { lag = 1.0 }", "no option 'parametres'", "parameters"),
        ("lanes = 0", "lanes is 0, expected 1 to 256", ""),
        ('renewal = "never"', "unknown renewal 'never'", "fresh"),
    ],
)
def test_options_that_do_not_fit_are_refused(
    lag_units: dict[int, Path],
    stand_for: StandFor,
    refusal: Callable[[StandFile], InputError],
    options: str,
    message: str,
    hint: str,
) -> None:
    error = refusal(stand_for(lag_units[2], options=options))
    assert message in error.message
    assert hint in error.hint
    assert ": options." in error.where


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ("", "does not say how 'weak' is built"),
        ("defects = { weak = {} }", "either parameters or a target"),
        ("defects = { weak = { target = 1 } }", "target is not a file name"),
        ('defects = { weak = { target = "absent.fmu" } }', "no such file"),
        ("defects = { weak = { parameters = { bios = 3 } } }", "no variable 'bios'"),
    ],
)
def test_seeded_defects_that_cannot_be_built_in_are_refused(
    lag_units: dict[int, Path],
    stand_for: StandFor,
    refusal: Callable[..., InputError],
    options: str,
    message: str,
) -> None:
    error = refusal(stand_for(lag_units[3], options=options), "weak")
    assert message in error.message
    assert "options.defects" in error.where


def test_limits_of_a_parameter_hold(
    lag_units: dict[int, Path],
    stand_for: StandFor,
    described: Described,
    refusal: Callable[[StandFile], InputError],
) -> None:
    old = 'unit="s" start="2"'
    unit = described(lag_units[3], 3, (old, old + ' min="0.5" max="9"'))
    error = refusal(stand_for(unit, options="parameters = { lag = 10 }"))
    assert "10 is outside 0.5 .. 9 of 'lag'" in error.message


def test_a_unit_without_levers_is_refused(
    lag_units: dict[int, Path],
    stand_for: StandFor,
    described: Described,
    refusal: Callable[[StandFile], InputError],
) -> None:
    unit = described(lag_units[2], 2, ('causality="input"', 'causality="local"'))
    assert "no input that is a number" in refusal(stand_for(unit, channels="")).message
