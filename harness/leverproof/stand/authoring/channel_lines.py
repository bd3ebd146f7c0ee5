"""One line of an author's about a channel: our name, and the model's name and unit where they differ."""

from __future__ import annotations

from leverproof.channels import OWN, Channel
from leverproof.errors import InputError, nearest
from leverproof.quantities import unit
from leverproof.stand.authoring.questions import SHAPE
from leverproof.stand.port import ChannelMap
from leverproof.stand.stand_file import check_dimension

ABBREVIATIONS = {
    "alt": "pressure_altitude",
    "bhp": "brake_power",
    "cat": "carburettor_air_temperature",
    "cht": "cylinder_head_temperature",
    "egt": "exhaust_gas_temperature",
    "ff": "fuel_flow",
    "map": "manifold_pressure",
    "mix": "mixture",
    "mp": "manifold_pressure",
    "oat": "ambient_temperature",
    "power": "brake_power",
    "prop": "propeller",
    "rpm": "engine_speed",
    "tas": "true_airspeed",
    "thr": "throttle",
    "turbo": "boost",
}
"""What gauges and levers are called for short (common practice, no published source). Only ever offered as a
suggestion: which of them a model means is its author's to say."""


def channel_line(line: str, kind: str, where: str = "") -> tuple[str, ChannelMap]:
    """Our name and the map of ``line``, which has the form ``SHAPE``; ``kind`` is that of a channel.

    Raises :class:`InputError` for an unknown channel or unit, with the nearest one, a channel of another kind, and a
    unit of the wrong dimension.
    """
    ours, equals, rest = (part.strip() for part in line.partition("="))
    theirs, comma, symbol = (part.strip() for part in rest.partition(","))
    if not ours or (equals and not theirs) or (comma and not symbol):
        raise InputError(f"{line.strip()!r} is not of the form expected", where, f"write {SHAPE}", "shape")
    known = _channel(ours, kind, where)
    if symbol:
        _unit(known, symbol, where)
    return known.name, ChannelMap(theirs or known.name, symbol or None)


def _channel(name: str, kind: str, where: str) -> Channel:
    found = OWN.get(name)
    if found is None:
        raise InputError(f"{name!r} is not one of our names", where, suggestion(name, kind), "channel")
    if found.kind != kind:
        raise InputError(
            f"{name} is a {found.kind}, asked for is a {kind}",
            where,
            f"name it with the {found.kind}s",
            "kind",
        )
    return found


def suggestion(name: str, kind: str) -> str:
    """Which of our channels of a kind a word may mean, and how to map it."""
    ours = [c.name for c in OWN.values() if c.kind == kind]
    meant = ABBREVIATIONS.get(name.casefold(), "")
    if meant in ours:
        return f"did you mean {meant!r}? Then write {meant} = {name}"
    if meant:
        return f"{name} usually is {meant}, a {OWN[meant].kind}"
    return nearest(name, ours)


def _unit(ours: Channel, symbol: str, where: str) -> None:
    if ours.states:
        raise InputError(
            f"{ours.name} is discrete: its states ({', '.join(ours.states)}) go by name", where, "leave the unit out",
            "unit",
        )  # fmt: skip
    unit(symbol, where)
    check_dimension(ours, symbol, where)
