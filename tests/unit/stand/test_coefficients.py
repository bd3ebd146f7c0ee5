"""Coefficients that somebody sets from outside: which a stand takes, and how they reach the model."""

from __future__ import annotations

from dataclasses import replace

import pytest

from leverproof.errors import InputError
from leverproof.stand.coefficients import check_coefficients, known_coefficients, with_coefficients
from leverproof.stand.port import StandFile
from leverproof.stand.stand_file import parse_stand_file

PROGRAM = StandFile("s.toml", "program", "stdio", command=("./x", "-v"), coefficients={"friction": 1.0, "area[1]": 2.0})


def test_a_program_is_given_them_behind_its_command() -> None:
    told = with_coefficients(replace(PROGRAM, coefficient_argument="--set"), {"friction": 0.1 + 0.2, "area[1]": 2.0})
    assert told.command == ("./x", "-v", "--set", "friction=0.30000000000000004", "--set", "area[1]=2.0")


@pytest.mark.parametrize(("kind", "option"), [("in_process", "coefficients"), ("fmi", "parameters")])
def test_others_are_given_them_as_an_option_beside_their_own(kind: str, option: str) -> None:
    own = {"lanes": 3, option: {"friction": 5.0, "kept": 1.0}}
    told = with_coefficients(replace(PROGRAM, kind=kind, options=own), {"friction": 0.5})
    assert told.options == {"lanes": 3, option: {"friction": 0.5, "kept": 1.0}}
    assert own[option] == {"friction": 5.0, "kept": 1.0}


def test_nothing_set_leaves_a_stand_as_it_is() -> None:
    assert with_coefficients(PROGRAM, {}) is PROGRAM


def test_the_embedded_engine_knows_its_own() -> None:
    stand = StandFile("embedded", "e", "reference_engine", "rill-6")
    assert known_coefficients(stand)["friction_constant"] == 1.0
    with pytest.raises(InputError, match="no coefficient 'friction_constnt'") as caught:
        check_coefficients(stand, ["friction_constnt"], "plan")
    assert caught.value.hint == "did you mean 'friction_constant'?"


@pytest.mark.parametrize(
    ("stand", "why"),
    [
        (PROGRAM, "no coefficient_argument"),
        (replace(PROGRAM, kind="c_library"), "has no way to be given"),
        (replace(PROGRAM, kind="tcp", command=(), coefficient_argument="--set"), "starts no program"),
        (replace(PROGRAM, kind="in_process", coefficients={}), "declares no"),
    ],
)
def test_a_stand_that_takes_none_says_why(stand: StandFile, why: str) -> None:
    with pytest.raises(InputError, match=why):
        check_coefficients(stand, ["friction"], "plan")


def test_a_stand_file_declares_them() -> None:
    text = (
        'format = 1\ntitle = "x"\nkind = "stdio"\ncommand = ["./x"]\ncoefficient_argument = "--set"\n'
        '[coefficients]\nfriction = 1\n"area[1]" = 0.5\n'
    )
    stand = parse_stand_file(text, "s.toml")
    assert stand.coefficients == {"friction": 1.0, "area[1]": 0.5}
    with pytest.raises(InputError, match="coefficients"):
        parse_stand_file(text.replace("friction = 1", 'friction = "1"'), "s.toml")
