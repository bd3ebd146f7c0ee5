"""The keys of a stand file that only a recording has: gauges, constants, words of a discrete column."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from leverproof.channels import Channel, position, state_index
from leverproof.errors import InputError
from leverproof.quantities import parse
from leverproof.stand.port import ChannelMap

RECORDING = "recording"
_OWN = ("states", "delay", "resolution", "constant")
_DIFFERENCES = ("temperature_offset",)


def needs_of_a_recording(document: dict[str, Any], where: str) -> None:
    """Returns when a stand file of kind ``recording`` names its file and its time column."""
    if "target" not in document:
        raise InputError(
            "kind 'recording' needs the key 'target'",
            where,
            'name the file beside the stand file, for example target = "flight.csv"',
            "missing_key",
        )
    if "recording" not in document:
        raise InputError(
            "kind 'recording' needs the table [recording]",
            where,
            'write for example [recording] and under it time = "Time" and time_unit = "s"',
            "missing_key",
        )


def gap_seconds(text: object, where: str) -> float:
    """The longest stretch without a value that is bridged, in seconds; raises :class:`InputError` for none such."""
    seconds = parse(text, where).to("s", where)
    if not 0.0 < seconds <= 60.0:
        raise InputError(f"a gap of {text!r} is not between 0 and 60 s", where, "write for example '2 s'", "gap")
    return seconds


def only_a_recording(document: dict[str, Any], at: Callable[..., str]) -> None:
    """Returns unless a stand has keys that only a recording has, or a recording one that only others have: nothing
    would obey them."""
    if document["kind"] == RECORDING:
        for name, entry in document.get("channels", {}).items():
            if "detents" in entry:
                where = at("channels", name, "detents")
                raise InputError("a recording has 'states' and no 'detents'", where, "write states", "unknown_key")
        return
    found: list[tuple[str, ...]] = [("recording",)] if "recording" in document else []
    for name, entry in document.get("channels", {}).items():
        found += [("channels", name, key) for key in _OWN if key in entry]
    if found:
        raise InputError(
            f"only a stand of kind 'recording' has {found[0][-1]!r}",
            at(*found[0]),
            "remove it",
            "unknown_key",
        )


def recorded_map(plain: ChannelMap, ours: Channel, entry: dict[str, Any], at: Callable[[str], str]) -> ChannelMap:
    """``plain`` with what a recording adds to it; ``at`` gives the place of a key in the file.

    Raises :class:`InputError` for an unknown state, a gauge on a channel that has none, a resolution or delay that is
    no amount, and a constant beside a column."""
    given = [key for key in _OWN if key in entry]
    if not given:
        return plain
    if "states" in entry and not ours.states:
        raise InputError(f"{ours.name} is not a discrete channel", at("states"), "remove 'states'", "state")
    if ours.states and "resolution" in entry:
        raise InputError(f"{ours.name} is a discrete channel", at("resolution"), "remove 'resolution'", "state")
    states = {word: _state(ours, state, at("states")) for word, state in entry.get("states", {}).items()}
    if plain.lit_now and "blinking" in states.values():
        raise InputError("a lamp that is lit or dark is not told as blinking", at("states"), "remove lit_now", "state")
    mapped = replace(plain, states=states)
    if "delay" in entry:
        mapped = replace(mapped, delay=_delay(ours, entry["delay"], at("delay")))
    if "resolution" in entry:
        mapped = replace(mapped, resolution=_resolution(ours, entry["resolution"], at("resolution")))
    if "constant" in entry:
        if set(entry) - {"constant"}:
            raise InputError(
                f"{ours.name} cannot be a constant and a column",
                at("constant"),
                "keep one of them",
                "constant",
            )
        mapped = replace(mapped, constant=_constant(ours, entry["constant"], at("constant")))
    return mapped


def _state(ours: Channel, state: str, where: str) -> str:
    state_index(ours.name, state, where)
    return state


def _delay(ours: Channel, text: object, where: str) -> float:
    seconds = parse(text, where).to("s", where)
    if not 0.0 <= seconds <= 60.0:
        raise InputError(f"a delay of {text!r} is not between 0 and 60 s", where, "write for example '0.3 s'", "delay")
    if ours.kind == "lever" and seconds:
        raise InputError(
            "levers are what everything else is timed by: they have no delay",
            where,
            "state the delay of the gauges against the levers",
            "delay",
        )
    return seconds


def _resolution(ours: Channel, text: object, where: str) -> float:
    amount = parse(text, where).difference_in(ours.unit, where)
    if not amount >= 0.0:
        raise InputError(
            f"a resolution of {text!r} is below zero",
            where,
            "write the smallest step of the gauge, such as '0.1 inHg', or leave it out",
            "resolution",
        )
    return amount


def _constant(ours: Channel, text: object, where: str) -> float:
    if ours.kind == "reading":
        raise InputError(
            f"{ours.name} is a reading: a constant in its place would be judged as if the model had shown it",
            where,
            "leave the channel out",
            "constant",
        )
    words = {*ours.states, *(name for name, _ in ours.positions)}
    if isinstance(text, str) and (ours.states or text in words):
        return position(ours.name, text, where)
    quantity = parse(text, where)
    return quantity.difference_in(ours.unit, where) if ours.name in _DIFFERENCES else quantity.to(ours.unit, where)
