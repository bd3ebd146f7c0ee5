"""A unit with variables of two engines: all of them are signals, and a name that is not there is refused."""

from __future__ import annotations

import pytest

from leverproof.errors import InputError
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters.fmi.description import NUMBERS, Description, Variable
from leverproof_adapters.fmi.mapping import map_channels

TEXT = """\
format = 1
title = "a twin as a unit"
kind = "fmi"
target = "twin.fmu"
engines = 2
[channels.throttle]
name = "Engine[{engine}].lever"
[channels.mixture]
name = "Engine[{engine}].mixture"
[channels.wastegate_opening]
name = "Engine[{engine}].gate"
"""
MIXTURES = (("full rich", 4), ("auto rich", 3), ("auto lean", 2), ("cut off", 1))


def description(major: int, engines: int = 2) -> Description:
    number = NUMBERS[major][0]
    found: list[Variable] = []

    def add(name: str, causality: str, kind: str = number, items: tuple[tuple[str, int], ...] = ()) -> None:
        unit = "1" if kind == number else ""
        found.append(Variable(name, len(found), kind, causality, "continuous", "exact", unit, items))

    for k in range(1, engines + 1):
        add(f"Engine[{k}].lever", "input")
        add(f"Engine[{k}].mixture", "input", "Enumeration", MIXTURES)
        add(f"Engine[{k}].gate", "local")
        add(f"throttle_position_{k}", "output")
    add("relative_humidity", "input")
    return Description(major, "m", "t", "twin", "1", "", False, None, {v.name: v for v in found}, {}, ())


@pytest.mark.parametrize("major", [2, 3])
def test_the_variables_of_every_engine_are_signals(major: int) -> None:
    stand = parse_stand_file(TEXT, "twin.stand.toml", kinds=("fmi",))
    mapped = map_channels(stand, description(major))
    assert [wire.name for wire in mapped.inputs] == [
        "Engine[1].lever", "Engine[1].mixture", "Engine[2].lever", "Engine[2].mixture", "relative_humidity",
    ]  # fmt: skip
    # A local variable is read only because the stand names it, for the second engine as for the first.
    assert [wire.name for wire in mapped.outputs] == [
        "Engine[1].gate", "throttle_position_1", "Engine[2].gate", "throttle_position_2",
    ]  # fmt: skip
    states = {wire.name: wire.states for wire in mapped.inputs if wire.states}
    assert states["Engine[1].mixture"] == states["Engine[2].mixture"] == (
        "full_rich", "auto_rich", "auto_lean", "cut_off",
    )  # fmt: skip
    assert mapped.set_channels == ("throttle", "mixture", "relative_humidity")
    assert mapped.warnings == ()


@pytest.mark.parametrize("major", [2, 3])
def test_an_engine_that_the_unit_does_not_have(major: int) -> None:
    stand = parse_stand_file(TEXT.replace("engines = 2", "engines = 3"), "twin.stand.toml", kinds=("fmi",))
    with pytest.raises(InputError, match=r"no variable 'Engine\[3\].lever' for throttle") as caught:
        map_channels(stand, description(major))
    assert "Engine[" in caught.value.hint
