"""Numbers of a plan: swept surroundings and the spreads of coefficients."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from statistics import NormalDist
from typing import Any, Protocol

from leverproof.campaign.model import Coefficient, Swept
from leverproof.cases.values import check_setting, setting_number
from leverproof.errors import InputError
from leverproof.quantities import parse

MOST_VALUES = 100_000
_ROUNDING = 1e-3
"""How far from a whole number of steps a range may end, in steps: numbers are written with few digits."""
_LEAST_SHARE = 1e-3
"""The least share of a normal distribution that its bounds must leave (assumption: less is a slip of the pen)."""
_OF = {"uniform": (), "normal": ("mean", "deviation"), "triangular": ("mode",)}


class At(Protocol):
    """The place of a key below the one that is read."""

    def __call__(self, *keys: str | int) -> str:
        """File, line and key."""
        ...


def read_swept(name: str, entry: Sequence[Any] | Mapping[str, Any], at: At) -> Swept:
    """The values of a surrounding in its canonical unit, from a list or from a range."""
    if isinstance(entry, Mapping):
        return Swept(name, _ranged(name, entry, at))
    values = tuple(_number(name, value, at, index) for index, value in enumerate(entry))
    there: set[float] = set()
    for index, value in enumerate(values):
        if value in there:
            raise InputError(f"{entry[index]!r} is there twice", at(index), "name each value once", "duplicate")
        there.add(value)
    return Swept(name, values)


def _ranged(name: str, entry: Mapping[str, Any], at: At) -> tuple[float, ...]:
    first, last = (_number(name, entry[key], at, key) for key in ("from", "to"))
    step = _step(name, entry["step"], at)
    if not step > 0.0:
        raise InputError(f"a step of {entry['step']!r} leads nowhere", at("step"), "give a step above zero", "range")
    if last < first:
        raise InputError("the range is reversed", at("to"), "the lower bound comes first", "range")
    count = (last - first) / step
    if count >= MOST_VALUES:
        raise InputError(f"more than {MOST_VALUES:,} values", at("step"), "give a larger step", "range")
    whole = round(count)
    if abs(count - whole) > _ROUNDING:
        short = f"{math.floor(count):,} steps of {entry['step']!r} end before {entry['to']!r}, which is never flown"
        raise InputError(short, at("to"), "end the range a whole number of steps from its beginning", "range")
    return tuple(min(first + index * step, last) for index in range(whole + 1))


def _number(name: str, value: Any, at: At, key: str | int) -> float:
    """The value at ``key``. Its place in the file is looked for only when something is wrong with it: that takes far
    longer than reading it."""

    def read(where: str) -> float:
        number = setting_number(name, parse(value, where), where)
        check_setting(name, number, where)
        return number

    return _placed(read, at, key)


def _step(name: str, value: Any, at: At) -> float:
    return _placed(lambda where: setting_number(name, parse(value, where), where), at, "step")


def _placed(read: Callable[[str], float], at: At, key: str | int) -> float:
    try:
        return read("")
    except InputError:
        return read(at(key))


def read_coefficient(entry: Mapping[str, Any], at: At) -> Coefficient:
    """The spread of a coefficient; refused where its numbers do not describe a distribution."""
    kind, low, high = entry["distribution"], float(entry["low"]), float(entry["high"])
    if not low < high or not math.isfinite(high - low):
        raise InputError("low must lie below high", at("high"), "exchange them, or leave room between them", "range")
    for key in ("mean", "deviation", "mode"):
        if key in entry and key not in _OF[kind]:
            raise InputError(f"a {kind} distribution has no {key}", at(key), "remove it", "distribution")
        if key not in entry and key in _OF[kind]:
            raise InputError(
                f"a {kind} distribution needs the key {key!r}", at(), f"add it, for example {key} = 1.0", "missing_key"
            )
    centre = entry.get("mean", entry.get("mode"))
    if kind == "triangular" and not low <= centre <= high:
        raise InputError("the mode lies outside low and high", at("mode"), "move the mode or the bounds", "range")
    if kind == "normal":
        normal = NormalDist(float(centre), float(entry["deviation"]))
        if not normal.cdf(high) - normal.cdf(low) >= _LEAST_SHARE:
            raise InputError(
                "the bounds leave less than a thousandth of this distribution",
                at("mean"),
                "move mean or bounds",
                "range",
            )
    deviation = entry.get("deviation")
    return Coefficient(
        entry["name"],
        kind,
        low,
        high,
        entry["source"].strip(),
        None if centre is None else float(centre),
        None if deviation is None else float(deviation),
    )
