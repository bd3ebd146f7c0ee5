"""Reading the values, tolerances and applicability conditions of a case."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

from leverproof.cases.model import Applies, Tolerance, Value
from leverproof.channels import CHANNELS, READINGS, Channel, channel, position
from leverproof.errors import InputError, nearest
from leverproof.physics.predictor.names import NAMES as PREDICTED
from leverproof.physics.predictor.names import PARTS
from leverproof.quantities import UNITS, Quantity, convert_difference, parse, unit
from leverproof.sheet.vocabulary import HARDWARE, NUMBERS

STANDARD_UNITS = {
    "ambient_pressure": CHANNELS["ambient_pressure"].unit,
    "ambient_temperature": CHANNELS["ambient_temperature"].unit,
    "unsupercharged_power_ratio": "1",
}
CAPABILITIES = ("stepped", "deterministic", "settable_surroundings", "holds_level_flight")
SHEET_NUMBERS = {f"{s}.{k}": u for s, keys in NUMBERS.items() for k, u in keys.items()}
SHEET_WORDS = {f"hardware.{k}": words for k, words in HARDWARE.items()}


ENDINGS = ("reached", "stop", "no response", "not monotone", "not reached")
RANGES = {
    "pressure_altitude": (-16_000.0, 65_000.0),
    "temperature_offset": (-100.0, 100.0),
    "relative_humidity": (0.0, 1.0),
    "true_airspeed": (0.0, 1_000.0),
}
"""What a surrounding can be, in its canonical unit: the standard atmosphere as far as it is tabulated here, the
rest wide of anything flown (assumption)."""


def parse_value(entry: Any, where: str, symbol: str) -> Value:
    """A value whose unit must be convertible to ``symbol``."""
    if isinstance(entry, Mapping):
        return _reference(entry, where, symbol)
    quantity = parse(entry, where)
    finite(convert_difference(quantity.value, quantity.unit, symbol, where), entry, where)
    return Value(quantity=quantity)


def finite(number: float, entry: Any, where: str) -> float:
    """``number``, refused when the conversion of ``entry`` made it infinite."""
    if not math.isfinite(number):
        raise InputError(
            f"{entry!r} is too large a number", where, "write the number that is meant, in its own unit", "range"
        )
    return number


def reading_channel(name: str, where: str, *, states: bool = False) -> Channel:
    """The reading of that name; one with named states only where ``states`` says so."""
    found = channel(name, where)
    if found.kind != "reading":
        raise InputError(f"{name} is a {found.kind}, not a reading", where, nearest(name, READINGS), "channel")
    if found.states and not states:
        raise InputError(f"{name} has states, not numbers", where, "judge it with what = 'state'", "channel")
    return found


def swept_unit(entry: Any, where: str) -> str:
    """Canonical unit of a sweep variable whose first point is ``entry``: the trade's unit of its dimension."""
    written = unit(parse(entry, where).unit, where)
    found = next((c.unit for c in CHANNELS.values() if UNITS[c.unit].dimension == written.dimension), None)
    if found is None:
        raise InputError(
            f"nothing can be swept over {written.dimension}",
            where,
            "sweep a height, a temperature, a speed or a lever's position",
            "dimension",
        )
    return found


def check_ending(word: str, where: str) -> None:
    """Refuses what no seek ends with; ``limit`` after a reading's name stands for reaching its limit."""
    if word in ENDINGS:
        return
    if word.endswith(" limit"):
        reading_channel(word.removesuffix(" limit"), where)
        return
    raise InputError(f"unknown ending {word!r}", where, nearest(word, (*ENDINGS, "turbo_speed limit")), "ending")


def _reference(entry: Mapping[str, Any], where: str, symbol: str) -> Value:
    if "sweep" in entry:
        return Value(sweep=entry["sweep"])
    if "standard" in entry:
        own = STANDARD_UNITS[entry["standard"]]
        convert_difference(1.0, own, symbol, where)
        return Value(standard=entry["standard"])
    if "predicted" in entry:
        return _predicted(entry, where, symbol)
    path = entry["sheet"]
    if path not in SHEET_NUMBERS:
        raise InputError(f"unknown sheet datum {path!r}", f"{where}.sheet", nearest(path, SHEET_NUMBERS), "datum")
    convert_difference(1.0, SHEET_NUMBERS[path], symbol, f"{where}.sheet")
    return Value(sheet=path, times=float(entry.get("times", 1.0)), plus=_plus(entry, where, symbol))


def _predicted(entry: Mapping[str, Any], where: str, symbol: str) -> Value:
    name, part = entry["predicted"], entry.get("part", "median")
    at = f"{where}.predicted"
    if name not in PREDICTED:
        raise InputError(f"nothing is predicted by the name {name!r}", at, nearest(name, PREDICTED), "predicted")
    if part not in PARTS:
        raise InputError(f"a prediction has no {part!r}", f"{where}.part", nearest(part, PARTS), "predicted")
    convert_difference(1.0, PREDICTED[name], symbol, at)
    times, plus = float(entry.get("times", 1.0)), _plus(entry, where, symbol)
    return Value(predicted=name, part=part, times=times, plus=plus)


def _plus(entry: Mapping[str, Any], where: str, symbol: str) -> Quantity | None:
    if "plus" not in entry:
        return None
    plus = parse(entry["plus"], f"{where}.plus")
    finite(plus.difference_in(symbol, f"{where}.plus"), entry["plus"], f"{where}.plus")
    return plus


def parse_setting(name: str, entry: Any, where: str) -> Value:
    """What a lever or a surrounding is set to: a named position, a number or a reference."""
    item = CHANNELS[name]
    if isinstance(entry, str) and item.kind in ("lever", "other lever") and not entry[:1].isdigit():
        position(name, entry, where)
        return Value(word=entry)
    if item.states:
        raise InputError(f"{name} is set by a word", where, "one of " + ", ".join(item.states), "state")
    value = parse_value(entry, where, item.unit)
    if value.standard:
        raise InputError(
            f"{name} cannot be set to the standard {value.standard}", where, "write a number with its unit", "value"
        )
    refuse_predicted(value, where)
    if value.quantity is not None:
        check_setting(name, setting_number(name, value.quantity, where), where)
    return value


def refuse_predicted(value: Value, where: str) -> None:
    """Refuses a prediction where something is flown by it: what is expected never travels to the model."""
    if value.predicted:
        raise InputError("a run cannot be flown by a prediction", where, "give a quantity or a sheet datum", "value")


def setting_number(name: str, quantity: Quantity, where: str = "") -> float:
    """What a lever or surrounding is set to, in its unit; a temperature offset is a difference."""
    symbol = CHANNELS[name].unit
    if name == "temperature_offset":
        return quantity.difference_in(symbol, where)
    return quantity.to(symbol, where)


def check_setting(name: str, number: float, where: str) -> None:
    """Refuses a place no lever goes to and surroundings that cannot be; ``number`` in the channel's unit."""
    low, high = RANGES.get(name, (0.0, 1.0))
    if not low <= number <= high:
        symbol = CHANNELS[name].unit
        words = f"{low:g} and {high:g}" + ("" if symbol == "1" else f" {symbol}")
        raise InputError(f"{name} lies between {words}, found {number:g}", where, "give a value there", "range")


def parse_tolerance(entry: Mapping[str, Any] | None, where: str, symbol: str) -> Tolerance | None:
    """A tolerance on a channel whose unit is ``symbol``; zero, negative or missing amounts are refused."""
    if entry is None:
        return None
    absolute = parse(entry["absolute"], f"{where}.absolute") if "absolute" in entry else None
    percent = entry.get("percent")
    if absolute is None and percent is None:
        raise InputError("a tolerance needs absolute or percent", where, "there is no default tolerance", "tolerance")
    if absolute is not None and absolute.difference_in(symbol, f"{where}.absolute") <= 0.0:
        raise InputError(
            "a tolerance must be above zero", f"{where}.absolute", "say how far off still passes, and why", "range"
        )
    if percent is None and "of" in entry:
        raise InputError("nothing is a part of this", f"{where}.of", "give percent too", "tolerance")
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
        if of.quantity is not None and of.quantity.difference_in(symbol) <= 0.0:
            raise InputError(
                "a tolerance must be above zero", f"{where}.of", "say how far off still passes, and why", "range"
            )
    share = None if percent is None else float(percent)
    return Tolerance(absolute, share, of, entry["reason"], entry.get("tier", ""))


def parse_applies(entry: Mapping[str, Any], where: str) -> Applies:
    """Conditions under which a case or judgement applies."""
    words: dict[str, tuple[str, ...]] = {}
    for path, accepted in entry.get("sheet", {}).items():
        known = SHEET_WORDS.get(path)
        if known is None:
            raise InputError(f"unknown sheet word {path!r}", f"{where}.sheet", nearest(path, SHEET_WORDS), "datum")
        for word in accepted:
            if word not in known:
                raise InputError(f"{path} is never {word!r}", f"{where}.sheet", nearest(word, known), "word")
        words[path] = tuple(accepted)
    for key in ("data", "without"):
        _each(entry.get(key, ()), SHEET_NUMBERS, f"{where}.{key}", "sheet datum")
    both = next((path for path in entry.get("without", ()) if path in entry.get("data", ())), None)
    if both is not None:
        raise InputError(
            f"{both} cannot be there and not be there",
            f"{where}.without",
            "keep it in one of the two lists",
            "duplicate",
        )
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
        without=tuple(entry.get("without", ())),
        levers=tuple(entry.get("levers", ())),
        channels=tuple(entry.get("channels", ())),
        capabilities=tuple(entry.get("capabilities", ())),
        lost=entry["lost"],
    )


def _each(names: Any, known: Any, where: str, kind: str) -> None:
    for index, name in enumerate(names):
        if name not in known:
            raise InputError(f"unknown {kind} {name!r}", f"{where}[{index}]", nearest(name, known), "name")
