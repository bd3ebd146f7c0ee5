"""Which column of a recorded file is which of our channels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from leverproof.channels import OWN, SURROUNDINGS, Channel
from leverproof.errors import InputError, nearest
from leverproof.quantities import unit
from leverproof.stand.engines import names_of_others, of_engine
from leverproof.stand.lamp import OFF, ON
from leverproof.stand.port import StandFile

_DIFFERENCES = ("temperature_offset",)
NEEDED = ("pressure_altitude", "temperature_offset", "true_airspeed")
"""Without these nobody can tell whether a stretch was flown where a case asks for it."""


@dataclass(frozen=True, slots=True)
class Column:
    """One of our channels in a file: canonical = scale * theirs + offset; ``states`` maps each word of a discrete
    column, in small letters, to the index of our state."""

    channel: str
    name: str
    scale: float = 1.0
    offset: float = 0.0
    delay: float = 0.0
    states: Mapping[str, float] | None = None
    resolution: float | None = None


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns to read: ``time`` with its unit, ``channels`` in the order of our list, ``constants`` for what was
    not recorded because it never changed; ``ignored`` are not read."""

    time: str
    time_unit: str
    channels: tuple[Column, ...]
    constants: Mapping[str, float]
    ignored: tuple[str, ...]


def find_columns(stand: StandFile, header: Sequence[str]) -> Columns:
    """The columns of ``header`` that the stand file speaks of.

    Raises :class:`InputError` for two columns of one name, a column that the stand file names and the file does not
    have, one column for two channels, a number without a unit, a surrounding that nobody states, and a column that
    nothing speaks of."""
    twice = next((name for name in header if list(header).count(name) > 1), None)
    if twice is not None:
        raise InputError(f"two columns are called {twice!r}", stand.target, "rename one of them", "column")
    others = names_of_others(stand, stand.engine, header)
    stand = of_engine(stand, stand.engine, header)
    time = stand.recording["time"]
    _present(time, header, stand, "recording.time")
    constants = {n: m.constant for n, m in stand.channels.items() if m.constant is not None}
    taken = {time: "the time"}
    found = []
    mapped = {entry.name for entry in stand.channels.values() if entry.constant is None}
    for ours in OWN.values():
        column = _column(ours, stand, header, mapped)
        if column is None or ours.name in constants:
            continue
        if column.name in taken:
            raise InputError(
                f"the column {column.name!r} stands for {taken[column.name]} and for {ours.name}",
                f"{stand.path}: channels.{ours.name}.name",
                "map each column to one channel",
                "mapping",
            )
        taken[column.name] = ours.name
        found.append(column)
    _surroundings({c.channel for c in found} | set(constants), stand)
    ignored = _ignored(stand, [name for name in header if name not in others], set(taken))
    return Columns(time, stand.recording["time_unit"], tuple(found), constants, ignored)


def _present(name: str, header: Sequence[str], stand: StandFile, key: str) -> None:
    if name not in header:
        raise InputError(
            f"{stand.target} has no column {name!r}",
            f"{stand.path}: {key}",
            nearest(name, header),
            "unknown_column",
        )


def _column(ours: Channel, stand: StandFile, header: Sequence[str], mapped: set[str]) -> Column | None:
    entry = stand.channels.get(ours.name)
    where = f"{stand.path}: channels.{ours.name}"
    if entry is None:
        if ours.name not in header or ours.name in mapped or ours.name == stand.recording["time"]:
            return None
        if ours.states:
            return Column(ours.name, ours.name, states=_words(ours, {}))
        if ours.unit != "1":
            raise _no_unit(ours, where)
        return Column(ours.name, ours.name)
    if entry.constant is not None:
        return None
    _present(entry.name, header, stand, f"channels.{ours.name}.name")
    if ours.states:
        words = _words(ours, entry.states, lit_now=entry.lit_now)
        return Column(ours.name, entry.name, delay=entry.delay, states=words)
    symbol = entry.unit or ours.unit
    if entry.unit is None and ours.unit != "1":
        raise _no_unit(ours, where)
    theirs, canonical = unit(symbol, where), unit(ours.unit)
    shift = 0.0 if ours.name in _DIFFERENCES else (theirs.offset - canonical.offset) / canonical.scale
    scale = 1.0 if theirs == canonical else theirs.scale / canonical.scale
    shift = 0.0 if theirs == canonical else shift
    return Column(
        ours.name,
        entry.name,
        entry.scale * scale,
        entry.scale * shift + entry.offset,
        entry.delay,
        None,
        entry.resolution,
    )


def _no_unit(ours: Channel, where: str) -> InputError:
    return InputError(
        f"nothing says which unit the column for {ours.name} is in",
        where,
        f"write for example unit = {ours.unit!r} under [channels.{ours.name}]",
        "unit",
    )


def _words(ours: Channel, given: Mapping[str, str], *, lit_now: bool = False) -> dict[str, float]:
    """Every word a cell of a discrete column may hold. Numbers mean our order only where no words are given; those of
    a lamp that is lit or dark are 1 and 0."""
    if lit_now and not given:
        return {"off": OFF, "on": ON, "false": OFF, "true": ON, "0": OFF, "1": ON}
    if given:
        return {word.strip().casefold(): float(ours.states.index(state)) for word, state in given.items()}
    words = {state: float(index) for index, state in enumerate(ours.states)}
    return words | {str(index): float(index) for index in range(len(ours.states))}


def _surroundings(known: set[str], stand: StandFile) -> None:
    for name in NEEDED:
        derived = name == "temperature_offset" and "ambient_temperature" in known
        if name not in known and not derived:
            other = " or map the thermometer as ambient_temperature" if name == "temperature_offset" else ""
            raise InputError(
                f"nothing says what the {name.replace('_', ' ')} was, so nobody can tell which case was flown",
                f"{stand.path}: channels.{name}",
                f"map its column, or write constant = '...' under [channels.{name}]{other}",
                "surroundings",
            )


def _ignored(stand: StandFile, header: Sequence[str], taken: set[str]) -> tuple[str, ...]:
    """Columns left out because the stand file says so; any other unknown column is an error, never dropped."""
    listed = tuple(stand.recording.get("ignore", ()))
    left = [name for name in header if name not in taken]
    for name in listed:
        if name != "*":
            _present(name, header, stand, "recording.ignore")
    for name in left:
        if name not in listed and "*" not in listed:
            free = [c for c in OWN if c not in stand.channels]
            advice = "map it under [channels.OURS], or list it under ignore in [recording]"
            raise InputError(
                f"nothing says what the column {name!r} is",
                f"{stand.path}: channels",
                f"{advice}; {nearest(name, free)}" if free else advice,
                "unknown_column",
            )
    return tuple(name for name in left if name in listed or "*" in listed)


def surroundings_unknown(known: set[str]) -> tuple[str, ...]:
    """Surroundings that are neither recorded nor stated; the matcher cannot hold a case against them."""
    return tuple(name for name in SURROUNDINGS if name not in known)
