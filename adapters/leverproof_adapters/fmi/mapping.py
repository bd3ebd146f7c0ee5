"""The channels of a stand found among the variables of a unit; what does not fit is refused before it runs."""

from __future__ import annotations

import re
from dataclasses import dataclass

from leverproof.channels import OWN, Channel
from leverproof.errors import InputError, nearest
from leverproof.stand.engines import of_engine
from leverproof.stand.port import StandFile
from leverproof_adapters.fmi.description import NUMBERS, Description, Variable
from leverproof_adapters.fmi.plan import Wire
from leverproof_adapters.fmi.units import symbol_of

_SIDES = {"lever": ("input",), "reading": ("output",), "surrounding": ("input", "output")}
_READABLE = ("output", "local")
"""Causalities of a variable that can be read: the standards let a local variable be looked at, not connected."""


@dataclass(frozen=True, slots=True)
class Mapping:
    """The signals of a unit: inputs, outputs, the channels that are set, and what a person should know of
    variables passed over."""

    inputs: tuple[Wire, ...]
    outputs: tuple[Wire, ...]
    set_channels: tuple[str, ...]
    warnings: tuple[str, ...]


def map_channels(stand: StandFile, description: Description) -> Mapping:
    """All inputs and outputs that are scalar numbers, and the local variables that the stand reads.

    A variable in the stand's channel map must be there, be a number, have the causality of its channel and a unit of
    its dimension; one with the very name of a channel as well, if it has its causality. Raises :class:`InputError`.
    """
    wires: dict[str, Wire] = {}
    given: dict[str, None] = {}
    warnings: dict[str, None] = {}
    for engine in range(1, len(stand.engines) + 1):
        one = of_engine(stand, engine, description.variables)
        _map_engine(one, description, wires, given, warnings)
    inputs, outputs = _sides(stand, description, wires)
    return Mapping(inputs, outputs, tuple(given), tuple(warnings))


def _map_engine(
    stand: StandFile,
    description: Description,
    wires: dict[str, Wire],
    given: dict[str, None],
    warnings: dict[str, None],
) -> None:
    """Adds the channels of one engine to the wires, those that are set to ``given`` and what is odd to ``warnings``."""
    taken = {entry.name for name, entry in stand.channels.items() if entry.name != name}
    for channel in OWN.values():
        entry = stand.channels.get(channel.name)
        name = entry.name if entry else channel.name
        if (entry is None and name in taken) or (entry is None and name not in description.variables):
            continue
        where = f"{stand.path}: channels.{channel.name}.name"
        fault = _unfit(channel, description.variables.get(name), description.major)
        if fault is not None and entry is None:
            warnings[f"{fault}; the variable is not used"] = None
            continue
        if name not in description.variables:
            hint = nearest(name, _usable(channel, description)) or nearest(name, description.variables)
            raise InputError(f"the unit has no variable {name!r} for {channel.name}", where, hint, "unknown_signal")
        if fault is not None:
            hint = nearest(name, _usable(channel, description))
            raise InputError(fault, where, hint, "causality")
        variable = description.variables[name]
        place = f"{stand.path}: channels.{channel.name}.unit"
        symbol = symbol_of(channel, variable, description, entry.unit if entry else None, place)
        states, values = _states(channel, variable, where)
        if variable.causality == "input":
            given[channel.name] = None
        wires[name] = Wire(name, symbol, variable.reference, variable.type, states, values)


def _unfit(channel: Channel, variable: Variable | None, major: int) -> str | None:
    """Why ``variable`` cannot be ``channel``; None when it can."""
    if variable is None:
        return None
    what = f"{variable.name!r} for {channel.name}"
    if variable.type not in NUMBERS[major]:
        return f"{what} is a {variable.type}, not a number"
    if not variable.scalar:
        return f"{what} is an array"
    side = _SIDES[channel.kind]
    readable = "output" in side and variable.causality in _READABLE
    if variable.causality not in side and not readable:
        return f"{what} is of causality {variable.causality}, expected {' or '.join(side)}"
    return None


def _usable(channel: Channel, description: Description) -> list[str]:
    return [one.name for one in description.variables.values() if _unfit(channel, one, description.major) is None]


def _states(channel: Channel, variable: Variable, where: str) -> tuple[tuple[str, ...], tuple[int, ...]]:
    """States of a discrete channel as ``variable`` has them, and its values for them."""
    if not channel.states or variable.type not in ("Boolean", "Enumeration"):
        return (), ()
    if variable.type == "Boolean":
        if len(channel.states) > 3:
            raise InputError(
                f"{variable.name!r} for {channel.name} is true or false, and there are {len(channel.states)} states",
                where,
                "map the channel to a number or an enumeration",
                "state",
            )
        return (channel.states[0], channel.states[-1]), (0, 1)
    names = tuple(re.sub(r"[\s-]+", "_", name.strip().casefold()) for name, _ in variable.items)
    if len(set(names)) != len(names) or not names:
        raise InputError(f"the items of {variable.name!r} cannot be told apart", where, code="state")
    return names, tuple(value for _, value in variable.items)


def _sides(
    stand: StandFile, description: Description, wires: dict[str, Wire]
) -> tuple[tuple[Wire, ...], tuple[Wire, ...]]:
    inputs: list[Wire] = []
    outputs: list[Wire] = []
    numbers = NUMBERS[description.major]
    for variable in description.variables.values():
        wire = wires.get(variable.name)
        plain = variable.scalar and variable.type in numbers
        if wire is None and plain and variable.causality in ("input", "output"):
            wire = Wire(variable.name, variable.unit or "1", variable.reference, variable.type)
        if wire is not None:
            (inputs if variable.causality == "input" else outputs).append(wire)
    for side, found in (("input", inputs), ("output", outputs)):
        if not found:
            raise InputError(
                f"the unit has no {side} that is a number",
                f"{stand.path}: target",
                "a unit whose levers are parameters cannot be moved while it runs",
                "causality",
            )
    return tuple(inputs), tuple(outputs)
