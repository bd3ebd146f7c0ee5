"""Coefficients of a model that somebody may set from outside: which there are, and how they reach the model.

A model made in process or the embedded engine is given them as the option ``coefficients``, an FMI unit among its
option ``parameters``, a program in its command.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import cast

from leverproof.errors import InputError, nearest
from leverproof.stand.adapters import find_adapter
from leverproof.stand.port import OpenStand, StandFile

_BY_OPTION = {"in_process": "coefficients", "reference_engine": "coefficients", "fmi": "parameters"}
"""The option that takes them, by kind of stand."""
_BY_COMMAND = ("stdio", "tcp")


def known_coefficients(stand: StandFile) -> Mapping[str, float]:
    """The coefficients that can be set, each with its value where nobody sets it: those the stand file declares under
    ``[coefficients]``, and those of the adapter's own models (the optional function ``known_coefficients(stand)``
    beside the adapter's entry point)."""
    adapter: OpenStand = find_adapter(stand.kind, f"{stand.path}: kind")
    module = sys.modules.get(getattr(adapter, "__module__", ""))
    known = getattr(module, "known_coefficients", None)
    own = cast(Mapping[str, float], known(stand)) if callable(known) else {}
    return {**own, **stand.coefficients}


def takes_coefficients(stand: StandFile) -> str:
    """Why a stand cannot be given coefficients, in words, or ""."""
    if stand.kind not in (*_BY_OPTION, *_BY_COMMAND):
        return f"a stand of kind {stand.kind!r} has no way to be given coefficients"
    if stand.kind in _BY_COMMAND and not stand.command:
        return "the stand starts no program that could be given coefficients"
    if stand.kind in _BY_COMMAND and not stand.coefficient_argument:
        return "the stand file does not say how the program is given coefficients: it has no coefficient_argument"
    return "" if known_coefficients(stand) else "the stand file declares no [coefficients]"


def check_coefficients(stand: StandFile, names: Iterable[str], where: str) -> None:
    """Raises :class:`InputError` at ``where`` for a stand that takes no coefficients or does not know one of them."""
    why = takes_coefficients(stand)
    if why:
        raise InputError(
            f"{stand.title!r} cannot be sampled: {why}", where, "see docs/reference/stands.md", "coefficient"
        )
    known = known_coefficients(stand)
    for name in names:
        if name not in known:
            raise InputError(f"{stand.title!r} has no coefficient {name!r}", where, nearest(name, known), "coefficient")


def with_coefficients(stand: StandFile, values: Mapping[str, float]) -> StandFile:
    """The stand with these coefficients; itself where there are none. What the stand's own options say of others
    stays."""
    if not values:
        return stand
    check_coefficients(stand, values, stand.path)
    if stand.kind in _BY_OPTION:
        option = _BY_OPTION[stand.kind]
        told = stand.options.get(option, {})
        own = dict(told) if isinstance(told, Mapping) else {}
        return replace(stand, options={**stand.options, option: {**own, **values}})
    words = [word for name, value in values.items() for word in (stand.coefficient_argument, f"{name}={value!r}")]
    return replace(stand, command=(*stand.command, *words))
