"""Stand files: how a model is mounted, read from TOML.

Reading a stand file runs nothing; mounting it (:mod:`leverproof.stand.mount`) runs the model's code.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from importlib.abc import Traversable
from pathlib import PurePath
from typing import Any

from leverproof.channels import OWN, Channel, channel, state_index
from leverproof.errors import InputError, nearest
from leverproof.quantities import parse, unit
from leverproof.schema import check
from leverproof.stand.adapters import installed_kinds
from leverproof.stand.engine_numbers import engine_numbers
from leverproof.stand.lamp import LIGHT, LONGEST_STEP
from leverproof.stand.port import ChannelMap, Deadlines, StandFile
from leverproof.stand.recording_map import gap_seconds, needs_of_a_recording, only_a_recording, recorded_map
from leverproof.timegrid import TimeGrid
from leverproof.toml_file import KeyPath, parse_toml, place, read_text

_ONE_ONLY = ("in_process", "reference_engine", "recording")
"""Kinds of stand that start no process."""
_LONGEST = 24 * 3600.0
_COPIED = (
    "title",
    "kind",
    "target",
    "build_hint",
    "sheet",
    "clock",
    "options",
    "defect_argument",
    "defects",
    "coefficient_argument",
    "recording",
    "processes",
)


def read_stand_file(path: Traversable | str, *, kinds: Iterable[str] | None = None) -> StandFile:
    """The stand in a TOML file; ``kinds`` are the adapters known, by default those installed.

    Raises :class:`InputError` naming file, line and key for a document that does not fit, an unknown channel,
    kind or unit, a unit of the wrong dimension, a number that is not finite and a step off the time grid.
    """
    text = read_text(path, what="stand file")
    return parse_stand_file(text, str(path), kinds=kinds)


def parse_stand_file(text: str, path: str, *, kinds: Iterable[str] | None = None) -> StandFile:
    """The stand in ``text``, as if it stood in the file ``path``; see :func:`read_stand_file`."""
    document = parse_toml(text, path)
    check(document, "stand", path, text=text)

    def at(*keys: str | int) -> str:
        return place(path, keys, text)

    known = tuple(installed_kinds() if kinds is None else kinds)
    if known and document["kind"] not in known:
        hint = nearest(document["kind"], known)
        raise InputError(f"unknown kind of stand {document['kind']!r}", at("kind"), hint, "kind")
    _needed(document, at())
    only_a_recording(document, at)
    if "longest_gap" in document.get("recording", {}):
        gap_seconds(document["recording"]["longest_gap"], at("recording", "longest_gap"))
    step = document.get("grid_step", StandFile.__dataclass_fields__["grid_step"].default)
    _grid(step, at("grid_step"))
    channels = {name: _channel_map(name, entry, path, text) for name, entry in document.get("channels", {}).items()}
    numbers = engine_numbers(document, at)
    if any(entry.lit_now for entry in channels.values()):
        _seen_blinking(step, document["kind"], at("grid_step"))
    _whose_clock(document, at("clock"))
    stand = StandFile(
        path=path,
        title=document["title"],
        kind=document["kind"],
        command=tuple(document.get("command", ())),
        grid_step=str(step),
        deadlines=_deadlines(document.get("deadlines", {}), path, text),
        channels=channels,
        engine=numbers.tested[0],
        engines=numbers.engines,
        tested=numbers.tested,
        held=numbers.held,
        coefficients={name: float(number) for name, number in document.get("coefficients", {}).items()},
    )
    return replace(stand, **{key: document[key] for key in _COPIED if key in document})


def _needed(document: dict[str, Any], where: str) -> None:
    """Raises :class:`InputError` when a kind of stand lacks what it is mounted by."""
    kind, target = document["kind"], str(document.get("target", ""))
    if kind == "stdio" and "command" not in document:
        raise InputError(
            "kind 'stdio' needs the key 'command'",
            where,
            'write for example command = ["./model"]',
            "missing_key",
        )
    if kind == "c_library" and not target:
        raise InputError(
            "kind 'c_library' needs the key 'target'",
            where,
            'name the library beside the stand file, for example target = "libengine.so"',
            "missing_key",
        )
    if kind == "tcp":
        _tcp_target(target, document.get("command", ()), where)
    if kind == "recording":
        needs_of_a_recording(document, where)
    if document.get("processes", 1) > 1:
        _several_processes(document, where)
    if kind == "fmi" and not target:
        raise InputError(
            "kind 'fmi' needs the key 'target'",
            where,
            'name the unit beside the stand file, for example target = "unit.fmu"',
            "missing_key",
        )
    if kind == "in_process":
        file, colon, factory = target.rpartition(":")
        if not (file and colon and factory.isidentifier()):
            raise InputError(
                f"kind 'in_process' needs a target of the form 'file.py:factory', found {target!r}",
                where,
                "name a Python file beside the stand file and the function in it that makes a session",
                "target",
            )


def _several_processes(document: dict[str, Any], where: str) -> None:
    kind = document["kind"]
    if kind in _ONE_ONLY:
        raise InputError(
            f"kind {kind!r} has no processes of its own",
            f"{where}: processes",
            "leave 'processes' out",
            "processes",
        )
    if document.get("clock") == "free_running":
        raise InputError(
            "a model with a clock of its own runs in one process",
            f"{where}: processes",
            "leave 'processes' out",
            "processes",
        )
    if kind == "tcp" and not ("command" in document and str(document.get("target", "")).endswith(":0")):
        raise InputError(
            "several processes over TCP need a command that starts them and port 0, which gives each its own port",
            f"{where}: processes",
            'write target = "127.0.0.1:0" and {port} in an argument of the command',
            "processes",
        )


def _tcp_target(target: str, command: Sequence[str], where: str) -> None:
    host, _, port = target.rpartition(":")
    if not (host and port.isascii() and port.isdigit() and int(port) < 65536):
        raise InputError(
            f"kind 'tcp' needs a target of the form 'host:port', found {target!r}",
            where,
            'write for example target = "127.0.0.1:5100"',
            "target",
        )
    if int(port) == 0 and not any("{port}" in word for word in command[1:]):
        raise InputError(
            "port 0 takes a free port, so the command must be told which",
            where,
            "write {port} in an argument of the command",
            "target",
        )


def _grid(step: object, where: str) -> None:
    if isinstance(step, int | float):
        raise InputError(f"{step!r} has no unit", where, "write for example '0.05 s'", "grid")
    try:
        TimeGrid.parse(step, where)
    except InputError as error:
        raise error if error.where else replace_where(error, where) from None


def _seen_blinking(step: object, kind: str, where: str) -> None:
    """Raises :class:`InputError` for a grid on which a blinking lamp would be missed; a recording has its own."""
    if kind != "recording" and TimeGrid.parse(step, where).step > LONGEST_STEP:
        raise InputError(
            f"a lamp looked at every {step} may blink unseen",
            where,
            "lit_now needs a grid step of 0.1 s or less",
            "grid",
        )


OWN_CLOCK_KINDS = ("stdio", "tcp")


def _whose_clock(document: dict[str, Any], where: str) -> None:
    """Raises :class:`InputError` for a kind of stand whose models move only when told."""
    if document.get("clock") == "free_running" and document["kind"] not in OWN_CLOCK_KINDS:
        raise InputError(
            f"a model of kind {document['kind']!r} has no clock of its own",
            where,
            f"free_running is for {' and '.join(OWN_CLOCK_KINDS)}",
            "clock",
        )


def replace_where(error: InputError, where: str) -> InputError:
    """The same error at another place."""
    return InputError(error.message, where, error.hint, error.code)


def _deadlines(table: dict[str, str], path: str, text: str) -> Deadlines:
    seconds: dict[str, float] = {}
    for key, value in table.items():
        where = place(path, ("deadlines", key), text)
        seconds[key] = parse(value, where).to("s", where)
        if not 0.0 < seconds[key] <= _LONGEST:
            raise InputError(
                f"a deadline of {value!r} is not between 0 and 24 h", where, "write for example '30 s'", "deadline"
            )
    return Deadlines(**seconds)


def _channel_map(name: str, entry: dict[str, Any], path: str, text: str) -> ChannelMap:
    key: KeyPath = ("channels", name)
    ours = channel(name, place(path, key, text))
    if name not in OWN:
        raise InputError(
            f"{name} is not mapped: it is {name.removeprefix('other_')} of the engines not under test",
            place(path, key, text),
            "write {engine} in the name of " + name.removeprefix("other_"),
            "channel",
        )
    symbol = entry.get("unit")
    if symbol is not None:
        check_dimension(ours, symbol, place(path, (*key, "unit"), text))
    scale = float(entry.get("scale", 1.0))
    if scale == 0.0:
        raise InputError(
            "a scale of 0 loses the channel",
            place(path, (*key, "scale"), text),
            "give the number that the model's value is multiplied by",
            "scale",
        )
    if ours.states and (scale != 1.0 or entry.get("offset", 0.0) != 0.0):
        raise InputError(
            f"{name} is a discrete channel: its states are matched by name, not scaled",
            place(path, key, text),
            "remove scale and offset",
            "scale",
        )
    lit_now = bool(entry.get("lit_now", False))
    if "lit_now" in entry and name != LIGHT:
        raise InputError(f"{name} is no light", place(path, (*key, "lit_now"), text), "remove lit_now", "state")
    detents = _detents(ours, entry, place(path, (*key, "detents"), text))
    plain = ChannelMap(entry.get("name", name), symbol, scale, float(entry.get("offset", 0.0)), lit_now, detents)
    return recorded_map(plain, ours, entry, lambda last: place(path, (*key, last), text))


def _detents(ours: Channel, entry: dict[str, Any], where: str) -> dict[str, float]:
    """The model's number for each of our states of a lever; empty where nothing is said."""
    numbers = {state: float(number) for state, number in entry.get("detents", {}).items()}
    if numbers and (ours.kind != "lever" or not ours.states):
        raise InputError(f"{ours.name} is no lever with named positions", where, "remove detents", "state")
    for state in numbers:
        state_index(ours.name, state, where)
    if len(set(numbers.values())) < len(numbers):
        raise InputError(
            f"two detents of {ours.name} are one number", where, "give each position a number of its own", "state"
        )
    return numbers


def check_dimension(ours: Channel, symbol: str, where: str) -> None:
    """Returns when ``symbol`` is a unit of the channel's dimension; else raises :class:`InputError`."""
    theirs, canonical = unit(symbol, where), unit(ours.unit, where)
    if theirs.dimension != canonical.dimension:
        counted = "" if ours.unit == "1" else f" in {ours.unit}"
        raise InputError(
            f"{ours.name} is a {canonical.dimension}{counted}, {symbol!r} a unit of {theirs.dimension}",
            where,
            "give the unit the model really uses, and 'scale' when it has none",
            "dimension",
        )


def folder_of(stand: StandFile) -> PurePath:
    """The folder of the stand file, which its relative targets are beside."""
    return PurePath(stand.path).parent
