"""Dataclasses to plain JSON values and back, by their declared types; nothing is ever executed or looked up
by name.

Numbers that are not finite travel as the strings ``NaN``, ``Infinity`` and ``-Infinity``. A float is
written with the shortest text that reads back to the same float64 (Python's ``repr``), so nothing is lost.

What a type asks for is worked out once and kept: a record is some hundred thousand values of a few dozen types.
"""

from __future__ import annotations

import dataclasses
import math
import sys
import types
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import PurePath
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

T = TypeVar("T")
Reader = Callable[[object], Any]

_LARGEST_FLOAT = int(sys.float_info.max)
_NON_FINITE = {"NaN": math.nan, "Infinity": math.inf, "-Infinity": -math.inf}
_AS_THEY_ARE = frozenset({type(None), bool, str, int})
_NEVER = object()


class NotPlainError(ValueError):
    """A value that does not fit the declared type; the text says which and where."""


class _MisfitError(Exception):
    """A value that does not fit, and the way to it from the inside out."""

    def __init__(self, what: str) -> None:
        super().__init__(what)
        self.what = what
        self.way: list[str] = []


def to_plain(value: object, *, sparse: bool = False) -> Any:
    """``value`` as dictionaries, lists, texts and numbers.

    With ``sparse`` the fields of a dataclass that hold their default are left out. Raises
    :class:`NotPlainError` for anything that is not data.
    """
    kind = type(value)
    if kind in _AS_THEY_ARE:
        return value
    if kind is float:
        return _number(cast(float, value))
    if kind is list or kind is tuple:
        return [to_plain(item, sparse=sparse) for item in cast(list[object], value)]
    if kind is dict:
        return {str(key): to_plain(item, sparse=sparse) for key, item in cast(dict[object, object], value).items()}
    if dataclasses.is_dataclass(kind):
        return _written(value, sparse)
    return _of_other_kind(value, sparse)


def _of_other_kind(value: object, sparse: bool) -> Any:
    """Kinds that are like a plain one: what is counted on is what they can do, not their name."""
    if isinstance(value, bool | str):
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return _number(float(value))
    if isinstance(value, Mapping):
        return {str(key): to_plain(item, sparse=sparse) for key, item in value.items()}
    if isinstance(value, frozenset | set):
        return sorted(to_plain(item, sparse=sparse) for item in value)
    if isinstance(value, list | tuple):
        return [to_plain(item, sparse=sparse) for item in value]
    if isinstance(value, PurePath):
        return str(value)
    if hasattr(value, "tolist"):
        return to_plain(value.tolist(), sparse=sparse)
    raise NotPlainError(f"a {type(value).__name__} is not plain data")


def _number(value: float) -> float | str:
    if math.isfinite(value):
        return value
    if math.isnan(value):
        return "NaN"
    return "Infinity" if value > 0 else "-Infinity"


@cache
def _fields(kind: Any) -> tuple[tuple[str, object], ...]:
    """Names and defaults of the fields of a dataclass."""
    found: list[tuple[str, object]] = []
    for field in dataclasses.fields(kind):
        default: object = _NEVER
        if field.default is not dataclasses.MISSING:
            default = field.default
        elif field.default_factory is not dataclasses.MISSING:
            default = field.default_factory()
        found.append((field.name, default))
    return tuple(found)


def _written(value: object, sparse: bool) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, default in _fields(cast(Any, type(value))):
        held = getattr(value, name)
        if sparse and (held is default or (type(held) is type(default) and held == default)):
            continue
        out[name] = held if type(held) in _AS_THEY_ARE else to_plain(held, sparse=sparse)
    return out


def from_plain(kind: type[T], data: object, where: str = "") -> T:
    """The object of type ``kind`` that :func:`to_plain` wrote as ``data``; ``where`` is its place in words.

    ``kind`` may be a dataclass or a parametrised ``tuple``, ``dict`` or union of such. Raises
    :class:`NotPlainError` when the data does not fit: a missing field, an unknown one, a wrong type.
    """
    try:
        return cast(T, _reader(cast(Any, kind))(data))
    except _MisfitError as misfit:
        way = "".join(reversed(misfit.way))
        raise NotPlainError(f"{where}{way}: {misfit.what}") from None


@cache
def _reader(kind: Any) -> Reader:
    """What reads a value of a declared type; raises :class:`_MisfitError` when it does not fit."""
    if kind is Any:
        return _anything
    if kind is float:
        return _float
    if kind in (int, bool, str):
        return _exactly(kind)
    if kind is None or kind is type(None):
        return _nothing
    origin, args = get_origin(kind), get_args(kind)
    if origin is Literal:
        return _one_of(args)
    if origin in (Union, types.UnionType):
        return _either(args)
    if origin is dict:
        return _by_key(_reader(args[1]))
    if origin is tuple and not (len(args) == 2 and args[1] is ...):
        return _each(tuple(map(_reader, args)))
    if origin in (tuple, list, frozenset):
        return _all(origin, _reader(args[0]))
    if dataclasses.is_dataclass(kind):
        return _dataclass(kind)
    raise NotPlainError(f"no way to read a {kind!r}")


def _anything(data: object) -> object:
    return data


def _nothing(data: object) -> None:
    if data is not None:
        raise _misfit("null", data)


def _float(data: object) -> float:
    if type(data) is float:
        return data
    if isinstance(data, int) and not isinstance(data, bool) and abs(data) <= _LARGEST_FLOAT:
        return float(data)
    if isinstance(data, str) and data in _NON_FINITE:
        return _NON_FINITE[data]
    if isinstance(data, float):
        return float(data)
    raise _misfit("a number", data)


def _exactly(kind: type) -> Reader:
    def read(data: object) -> object:
        if type(data) is not kind:
            raise _misfit(kind.__name__, data)
        return data

    return read


def _one_of(words: tuple[Any, ...]) -> Reader:
    def read(data: object) -> object:
        if data not in words:
            raise _misfit(" or ".join(map(repr, words)), data)
        return data

    return read


def _either(kinds: tuple[Any, ...]) -> Reader:
    readers = [_reader(kind) for kind in kinds]
    names = " or ".join(str(getattr(kind, "__name__", kind)) for kind in kinds)

    def read(data: object) -> object:
        for reader in readers:
            try:
                return reader(data)
            except _MisfitError:
                continue
        raise _misfit(names, data)

    return read


def _by_key(reader: Reader) -> Reader:
    def read(data: object) -> dict[str, Any]:
        if not isinstance(data, dict):
            raise _misfit("an object", data)
        key = ""
        out: dict[str, Any] = {}
        try:
            for key, item in data.items():
                out[key] = reader(item)
            return out
        except _MisfitError as misfit:
            misfit.way.append(f".{key}")
            raise

    return read


def _all(container: Any, reader: Reader) -> Reader:
    def read(data: object) -> Any:
        if not isinstance(data, list):
            raise _misfit("a list", data)
        out: list[Any] = []
        try:
            for item in data:
                out.append(reader(item))
        except _MisfitError as misfit:
            misfit.way.append(f"[{len(out)}]")
            raise
        return container(out)

    return read


def _each(readers: tuple[Reader, ...]) -> Reader:
    def read(data: object) -> tuple[Any, ...]:
        if not isinstance(data, list):
            raise _misfit("a list", data)
        if len(readers) != len(data):
            raise _misfit(f"a list of {len(readers)}", data)
        out: list[Any] = []
        try:
            for reader, item in zip(readers, data, strict=True):
                out.append(reader(item))
        except _MisfitError as misfit:
            misfit.way.append(f"[{len(out)}]")
            raise
        return tuple(out)

    return read


def _dataclass(kind: Any) -> Reader:
    name = kind.__name__
    known: dict[str, Reader] = {}

    def read(data: object) -> object:
        if not isinstance(data, dict):
            raise _misfit(f"an object ({name})", data)
        # Not before: a type may be declared by way of itself.
        if not known:
            hints = get_type_hints(kind)
            known.update((field.name, _reader(hints[field.name])) for field in dataclasses.fields(kind))
        if not data.keys() <= known.keys():
            raise _MisfitError(f"unknown field {min(data.keys() - known.keys())!r} of {name}")
        given: dict[str, Any] = {}
        key = ""
        try:
            for key, item in data.items():
                given[key] = known[key](item)
        except _MisfitError as misfit:
            misfit.way.append(f".{key}")
            raise
        try:
            return kind(**given)
        except TypeError as reason:
            raise _MisfitError(str(reason)) from None

    return read


def _misfit(wanted: str, data: object) -> _MisfitError:
    shown = repr(data)
    return _MisfitError(f"expected {wanted}, found {shown if len(shown) <= 60 else shown[:57] + '...'}")
