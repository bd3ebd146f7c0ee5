"""The keys of a stand file about a model of several engines: how many it has, which are tested, where the others are
held."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from leverproof.channels import LEVERS, channel, position
from leverproof.errors import InputError, nearest
from leverproof.quantities import parse
from leverproof.stand.recording_map import RECORDING

At = Callable[..., str]


@dataclass(frozen=True, slots=True)
class EngineNumbers:
    """``engines``, ``tested`` and ``held`` of :class:`leverproof.stand.port.StandFile`."""

    engines: tuple[str, ...] = ("1",)
    tested: tuple[int, ...] = (1,)
    held: dict[str, float] = field(default_factory=dict)


def engine_numbers(document: dict[str, Any], at: At) -> EngineNumbers:
    """What a stand file says of its engines; ``at`` gives the place of a key in the file.

    Without ``engine`` all of them are tested; without ``engines`` there are as many as the last one tested. Raises
    :class:`InputError` for an engine beyond those there are, one named twice, and a place no lever goes to."""
    said = document.get("engine")
    tested = tuple(said) if isinstance(said, list) else () if said is None else (said,)
    words = document.get("engines", max(tested, default=1))
    engines = tuple(words) if isinstance(words, list) else tuple(str(n) for n in range(1, words + 1))
    tested = tested or tuple(range(1, len(engines) + 1))
    beyond = [number for number in tested if number > len(engines)]
    if beyond:
        raise InputError(
            f"engine {beyond[0]} is tested and the model has {_counted(len(engines))}",
            at("engine"),
            f"name engines from 1 to {len(engines)}, or write how many there are under 'engines'",
            "no_such_engine",
        )
    return EngineNumbers(engines, tested, _held(document, len(engines), at))


def chosen(tested: tuple[int, ...], engines: tuple[str, ...], asked: int, where: str) -> tuple[int, ...]:
    """The one engine asked for in place of those the stand file names; refused when the model has no such engine."""
    if not 1 <= asked <= len(engines):
        named = f", of which {_listed(tested)} tested" if len(engines) > 1 else ""
        raise InputError(
            f"there is no engine {asked}: the stand file says that the model has {_counted(len(engines))}{named}",
            where,
            f"the nearest is engine {min(max(1, asked), len(engines))}",
            "no_such_engine",
        )
    return (asked,)


def _counted(count: int) -> str:
    return f"{count} engine{'s' if count > 1 else ''}"


def _listed(tested: tuple[int, ...]) -> str:
    return f"{', '.join(map(str, tested))} {'is' if len(tested) == 1 else 'are'}"


def _held(document: dict[str, Any], count: int, at: At) -> dict[str, float]:
    table = document.get("held", {})
    if table and (count == 1 or document["kind"] == RECORDING):
        why = "in a recording nothing is held" if count > 1 else "there is no other engine to hold"
        raise InputError(why, at("held"), "remove it, or write how many engines there are", "held")
    held = {}
    for name, entry in table.items():
        where = at("held", name)
        if name not in LEVERS:
            raise InputError(f"{name!r} is no lever", where, nearest(name, LEVERS), "channel")
        if isinstance(entry, str) and not entry[:1].isdigit():
            held[name] = position(name, entry, where)
            continue
        if channel(name).states:
            hint = "one of " + ", ".join(channel(name).states)
            raise InputError(f"{name} is held by a word", where, hint, "state")
        held[name] = parse(entry, where).to("1", where)
        if not 0.0 <= held[name] <= 1.0:
            raise InputError(
                f"{name} lies between 0 and 1, found {held[name]:g}",
                where,
                "write it as a part of the lever's whole travel",
                "range",
            )
    return held
