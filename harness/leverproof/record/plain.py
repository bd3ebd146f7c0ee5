"""Dataclasses to plain JSON values and back, by their declared types; nothing is ever executed or looked up
by name.

Numbers that are not finite travel as the strings ``NaN``, ``Infinity`` and ``-Infinity``. A float is
written with the shortest text that reads back to the same float64 (Python's ``repr``), so nothing is lost.
"""

from __future__ import annotations

import dataclasses
import math
import types
from collections.abc import Mapping
from functools import cache
from pathlib import PurePath
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

T = TypeVar("T")

_NON_FINITE = {"NaN": math.nan, "Infinity": math.inf, "-Infinity": -math.inf}


class NotPlainError(ValueError):
    """A value that does not fit the declared type; the text says which and where."""


def to_plain(value: object, *, sparse: bool = False) -> Any:
    """``value`` as dictionaries, lists, texts and numbers.

    With ``sparse`` the fields of a dataclass that hold their default are left out. Raises
    :class:`NotPlainError` for anything that is not data.
    """
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return _number(float(value))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return _fields(value, sparse)
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


def _fields(value: Any, sparse: bool) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for field in dataclasses.fields(value):
        held = getattr(value, field.name)
        if sparse and _is_default(field, held):
            continue
        out[field.name] = to_plain(held, sparse=sparse)
    return out


def _is_default(field: dataclasses.Field[Any], held: object) -> bool:
    if field.default is not dataclasses.MISSING:
        return type(held) is type(field.default) and held == field.default
    return field.default_factory is not dataclasses.MISSING and held == field.default_factory()


def from_plain(kind: type[T], data: object, where: str = "") -> T:
    """The object of type ``kind`` that :func:`to_plain` wrote as ``data``; ``where`` is its place in words.

    ``kind`` may be a dataclass or a parametrised ``tuple``, ``dict`` or union of such. Raises
    :class:`NotPlainError` when the data does not fit: a missing field, an unknown one, a wrong type.
    """
    return cast(T, _read(kind, data, where))


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _read(kind: Any, data: object, where: str) -> Any:
    if kind is Any:
        return data
    if kind is float:
        return _float(data, where)
    if kind in (int, bool, str):
        if type(data) is not kind:
            raise _misfit(kind.__name__, data, where)
        return data
    if kind is None or kind is type(None):
        if data is not None:
            raise _misfit("null", data, where)
        return None
    origin = get_origin(kind)
    if origin is Literal:
        if data not in get_args(kind):
            raise _misfit(" or ".join(map(repr, get_args(kind))), data, where)
        return data
    if origin in (Union, types.UnionType):
        return _union(get_args(kind), data, where)
    if origin is not None:
        return _container(origin, get_args(kind), data, where)
    if dataclasses.is_dataclass(kind):
        return _dataclass(kind, data, where)
    raise NotPlainError(f"{where}: no way to read a {kind!r}")


def _float(data: object, where: str) -> float:
    if isinstance(data, float):
        return data
    if isinstance(data, int) and not isinstance(data, bool):
        return float(data)
    if isinstance(data, str) and data in _NON_FINITE:
        return _NON_FINITE[data]
    raise _misfit("a number", data, where)


def _union(kinds: tuple[Any, ...], data: object, where: str) -> Any:
    for kind in kinds:
        try:
            return _read(kind, data, where)
        except NotPlainError:
            continue
    raise _misfit(" or ".join(str(getattr(kind, "__name__", kind)) for kind in kinds), data, where)


def _container(origin: Any, args: tuple[Any, ...], data: object, where: str) -> Any:
    if origin is dict:
        if not isinstance(data, dict):
            raise _misfit("an object", data, where)
        return {key: _read(args[1], item, f"{where}.{key}") for key, item in data.items()}
    if not isinstance(data, list):
        raise _misfit("a list", data, where)
    if origin is tuple and not (len(args) == 2 and args[1] is ...):
        if len(args) != len(data):
            raise _misfit(f"a list of {len(args)}", data, where)
        return tuple(_read(arg, item, f"{where}[{i}]") for i, (arg, item) in enumerate(zip(args, data, strict=True)))
    items = (_read(args[0], item, f"{where}[{i}]") for i, item in enumerate(data))
    if origin in (tuple, list, frozenset):
        return origin(items)
    raise NotPlainError(f"{where}: no way to read a {origin!r}")


def _dataclass(kind: Any, data: object, where: str) -> Any:
    if not isinstance(data, dict):
        raise _misfit(f"an object ({kind.__name__})", data, where)
    hints = _hints(kind)
    names = {field.name for field in dataclasses.fields(kind)}
    unknown = sorted(set(data) - names)
    if unknown:
        raise NotPlainError(f"{where}: unknown field {unknown[0]!r} of {kind.__name__}")
    given = {key: _read(hints[key], item, f"{where}.{key}") for key, item in data.items()}
    try:
        return kind(**given)
    except TypeError as reason:
        raise NotPlainError(f"{where}: {reason}") from None


def _misfit(wanted: str, data: object, where: str) -> NotPlainError:
    shown = repr(data)
    return NotPlainError(f"{where}: expected {wanted}, found {shown if len(shown) <= 60 else shown[:57] + '...'}")
