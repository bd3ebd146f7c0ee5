"""What a stand file says to this adapter under ``[options]``, checked against the unit's variables.

parameters = { name = value, ... }      start values for every start
running = { ... }    stopped = { ... }  start values for one of the two ways to begin
defects = { "defect-id" = { parameters = { ... } } or { target = "other.fmu" } }
lanes = 1                               fewer engines at once than the adapter would run
renewal = "fresh"                       each start a fresh instance, or "reset": the unit's own reset
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from leverproof.errors import InputError, nearest
from leverproof.stand.port import StandFile
from leverproof_adapters.fmi.description import Description, Variable
from leverproof_adapters.fmi.plan import Setting
from leverproof_adapters.model_link import refuse_options

KNOWN = ("parameters", "running", "stopped", "defects", "lanes", "renewal")
RENEWALS = ("fresh", "reset")
MOST_LANES = 32
"""Instances in one process: they run one after another, so more of them save messages only (assumption)."""


@dataclass(frozen=True, slots=True)
class Seeded:
    """A seeded defect: start values that build it in, or another file that has it."""

    target: str = ""
    parameters: tuple[tuple[str, Any], ...] = ()


def seeded(stand: StandFile, defect: str | None) -> Seeded:
    """How ``defect`` is built in; nothing for None. Raises :class:`InputError` when the stand does not say."""
    refuse_options(stand, KNOWN)
    if defect is None:
        return Seeded()
    where = f"{stand.path}: options.defects"
    known = _table(stand, "defects")
    if defect not in known:
        hint = f'write for example defects = {{ {defect} = {{ target = "other.fmu" }} }} under [options]'
        raise InputError(f"the stand does not say how {defect!r} is built into the unit", where, hint, "missing_key")
    entry = known[defect]
    if not isinstance(entry, dict) or len(entry) != 1 or set(entry) - {"target", "parameters"}:
        raise InputError("a defect is either parameters or a target", f"{where}.{defect}", code="type")
    if "target" in entry:
        if not isinstance(entry["target"], str):
            raise InputError("target is not a file name", f"{where}.{defect}.target", code="type")
        return Seeded(target=entry["target"])
    if not isinstance(entry["parameters"], dict):
        raise InputError("parameters is not a table", f"{where}.{defect}.parameters", code="type")
    return Seeded(parameters=tuple(entry["parameters"].items()))


def _table(stand: StandFile, key: str) -> dict[str, Any]:
    table = stand.options.get(key, {})
    if not isinstance(table, dict):
        raise InputError(f"{key} is not a table", f"{stand.path}: options.{key}", code="type")
    return table


def settings(stand: StandFile, key: str, description: Description) -> tuple[Setting, ...] | None:
    """The start values of one option; None when the stand file does not have it."""
    if key not in stand.options:
        return None
    place = f"{stand.path}: options.{key}"
    return tuple(setting(name, value, description, f"{place}.{name}") for name, value in _table(stand, key).items())


def setting(name: str, value: object, description: Description, where: str) -> Setting:
    """One start value; raises :class:`InputError` for a variable that is not there, whose start cannot be set, or
    whose type or range ``value`` is not of."""
    found = description.variables.get(name)
    if found is None:
        startable = [one.name for one in description.variables.values() if _startable(one)]
        hint = nearest(name, startable)
        raise InputError(f"the unit has no variable {name!r}", where, hint, "unknown_signal")
    if not _startable(found) or not found.scalar:
        kind = f"{found.variability} {found.causality}" if found.scalar else "array"
        raise InputError(f"{name!r} is a {kind}: its start cannot be set", where, code="causality")
    return Setting(name, found.reference, found.type, _value(found, value, where))


def _startable(variable: Variable) -> bool:
    if variable.causality == "structuralParameter" or variable.variability == "constant":
        return False
    return variable.causality == "parameter" or variable.initial in ("exact", "approx")


def _value(variable: Variable, value: object, where: str) -> float | int | bool | str:
    kind = variable.type
    if kind == "String" and isinstance(value, str):
        return value
    if kind == "Boolean" and isinstance(value, bool):
        return value
    if kind == "Enumeration" and isinstance(value, str):
        items = dict(variable.items)
        if value not in items:
            raise InputError(f"{variable.name!r} has no item {value!r}", where, nearest(value, items), "state")
        return items[value]
    real = kind in ("Real", "Float64", "Float32")
    whole = kind in ("Integer", "Enumeration") or kind.startswith(("Int", "UInt"))
    if isinstance(value, bool) or not isinstance(value, int | float) or not (real or whole):
        raise InputError(f"{variable.name!r} is a {kind}, {value!r} is none", where, code="type")
    if not math.isfinite(value) or (whole and value != int(value)):
        raise InputError(f"{value!r} is no value for {variable.name!r}", where, code="type")
    least, most = variable.least, variable.most
    if (least is not None and value < least) or (most is not None and value > most):
        low, high = ("-inf" if least is None else f"{least:g}"), ("inf" if most is None else f"{most:g}")
        raise InputError(f"{value!r} is outside {low} .. {high} of {variable.name!r}", where, code="range")
    return float(value) if real else int(value)


def lanes(stand: StandFile, description: Description) -> int:
    """Engines at once: one where the unit allows one instance only, else what the stand says or ``MOST_LANES``."""
    asked = stand.options.get("lanes", 1 if description.only_once else MOST_LANES)
    where = f"{stand.path}: options.lanes"
    if isinstance(asked, bool) or not isinstance(asked, int) or not 1 <= asked <= 256:
        raise InputError(f"lanes is {asked!r}, expected 1 to 256", where, code="range")
    if description.only_once and asked > 1:
        raise InputError("the unit can be instantiated only once in a process", where, "write lanes = 1", "range")
    return asked


def renewal(stand: StandFile) -> str:
    """How a lane begins anew."""
    word = stand.options.get("renewal", RENEWALS[0])
    if word not in RENEWALS:
        hint = nearest(str(word), RENEWALS)
        raise InputError(f"unknown renewal {word!r}", f"{stand.path}: options.renewal", hint, "option")
    return str(word)
