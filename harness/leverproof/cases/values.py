"""Reading the values, tolerances and applicability conditions of a case."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from leverproof.cases.model import Applies, Tolerance, Value
from leverproof.channels import CHANNELS, position
from leverproof.errors import InputError, nearest
from leverproof.quantities import convert_difference, parse
from leverproof.sheet.vocabulary import HARDWARE, NUMBERS

STANDARD_UNITS = {
    "ambient_pressure": CHANNELS["ambient_pressure"].unit,
    "ambient_temperature": CHANNELS["ambient_temperature"].unit,
    "unsupercharged_power_ratio": "1",
}
CAPABILITIES = ("stepped", "deterministic", "settable_surroundings")
SHEET_NUMBERS = {f"{s}.{k}": u for s, keys in NUMBERS.items() for k, u in keys.items()}
SHEET_WORDS = {f"hardware.{k}": words for k, words in HARDWARE.items()}


def parse_value(entry: Any, where: str, symbol: str) -> Value:
    """A value whose unit must be convertible to ``symbol``."""
    if isinstance(entry, Mapping):
        return _reference(entry, where, symbol)
    quantity = parse(entry, where)
    convert_difference(quantity.value, quantity.unit, symbol, where)
    return Value(quantity=quantity)


def _reference(entry: Mapping[str, Any], where: str, symbol: str) -> Value:
    if "sweep" in entry:
        return Value(sweep=entry["sweep"])
    if "standard" in entry:
        own = STANDARD_UNITS[entry["standard"]]
        convert_difference(1.0, own, symbol, where)
        return Value(standard=entry["standard"])
    path = entry["sheet"]
    if path not in SHEET_NUMBERS:
        raise InputError(
            f"unknown sheet datum {path!r}", f"{where}.sheet", nearest(path, SHEET_NUMBERS), "datum"
        )
    convert_difference(1.0, SHEET_NUMBERS[path], symbol, f"{where}.sheet")
    plus = parse(entry["plus"], f"{where}.plus") if "plus" in entry else None
    if plus is not None:
        plus.difference_in(symbol, f"{where}.plus")
    return Value(sheet=path, times=float(entry.get("times", 1.0)), plus=plus)


def parse_setting(name: str, entry: Any, where: str) -> Value:
    """What a lever or a surrounding is set to: a named position, a number or a reference."""
    item = CHANNELS[name]
    if isinstance(entry, str) and item.kind == "lever" and not entry[:1].isdigit():
        position(name, entry, where)
        return Value(word=entry)
    if item.states:
        raise InputError(f"{name} is set by a word", where, "one of " + ", ".join(item.states), "state")
    value = parse_value(entry, where, item.unit)
    if (
        item.kind == "lever"
        and value.quantity is not None
        and not 0.0 <= value.quantity.to("1", where) <= 1.0
    ):
        raise InputError(f"{name} lies between 0 and 1, found {entry!r}", where, code="range")
    return value


def parse_tolerance(entry: Mapping[str, Any] | None, where: str, symbol: str) -> Tolerance | None:
    """A tolerance on a channel whose unit is ``symbol``; zero, negative or missing amounts are refused."""
    if entry is None:
        return None
    absolute = parse(entry["absolute"], f"{where}.absolute") if "absolute" in entry else None
    percent = entry.get("percent")
    if absolute is None and percent is None:
        raise InputError(
            "a tolerance needs absolute or percent", where, "there is no default tolerance", "tolerance"
        )
    if absolute is not None and absolute.difference_in(symbol, f"{where}.absolute") <= 0.0:
        raise InputError("a tolerance must be above zero", f"{where}.absolute", code="range")
    if percent is not None and "of" not in entry:
        raise InputError(
            "a percentage says what it is of", f"{where}.of", "'expected', 'range' or a value", "tolerance"
        )
    of: Value | Literal["expected", "range"] = "expected"
    stated = entry.get("of", "expected")
    if stated == "range":
        of = "range"
    elif stated != "expected":
        of = parse_value(stated, f"{where}.of", symbol)
    return Tolerance(absolute, None if percent is None else float(percent), of, entry["reason"])


def parse_applies(entry: Mapping[str, Any], where: str) -> Applies:
    """Conditions under which a case or judgement applies."""
    words: dict[str, tuple[str, ...]] = {}
    for path, accepted in entry.get("sheet", {}).items():
        known = SHEET_WORDS.get(path)
        if known is None:
            raise InputError(
                f"unknown sheet word {path!r}", f"{where}.sheet", nearest(path, SHEET_WORDS), "datum"
            )
        for word in accepted:
            if word not in known:
                raise InputError(f"{path} is never {word!r}", f"{where}.sheet", nearest(word, known), "word")
        words[path] = tuple(accepted)
    _each(entry.get("data", ()), SHEET_NUMBERS, f"{where}.data", "sheet datum")
    _each(
        entry.get("levers", ()),
        [c for c in CHANNELS if CHANNELS[c].kind == "lever"],
        f"{where}.levers",
        "lever",
    )
    readings = [c for c in CHANNELS if CHANNELS[c].kind == "reading"]
    _each(entry.get("channels", ()), readings, f"{where}.channels", "reading")
    _each(entry.get("capabilities", ()), CAPABILITIES, f"{where}.capabilities", "capability")
    return Applies(
        sheet=words,
        data=tuple(entry.get("data", ())),
        levers=tuple(entry.get("levers", ())),
        channels=tuple(entry.get("channels", ())),
        capabilities=tuple(entry.get("capabilities", ())),
        lost=entry["lost"],
    )


def _each(names: Any, known: Any, where: str, kind: str) -> None:
    for index, name in enumerate(names):
        if name not in known:
            raise InputError(f"unknown {kind} {name!r}", f"{where}[{index}]", nearest(name, known), "name")
