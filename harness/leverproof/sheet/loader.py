"""Reading an engine sheet: schema, units, words, needed data. Bad input is an :class:`InputError`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from leverproof.atmosphere import HIGHEST, LOWEST
from leverproof.channels import CHANNELS
from leverproof.errors import InputError, UsageError, nearest
from leverproof.quantities import convert, parse
from leverproof.reference_data import reference_data
from leverproof.schema import check
from leverproof.sheet.error_line import with_line
from leverproof.sheet.model import Datum, EngineSheet
from leverproof.sheet.vocabulary import FASTEST, HARDWARE, NEEDED, NUMBERS
from leverproof.there import is_there
from leverproof.toml_file import parse_toml, read_text

SHEET_SCHEMA = "sheet"
_DOUBT = "write how far off the value may be (95 %) as a number above zero, or leave it out"
_UNIT = "write the number that is meant, in its own unit"
_LEAVE_OUT = "write what the source says, or leave the datum out"


def load_sheet(name: str) -> EngineSheet:
    """The sheet at a path, or the shipped sheet of that id."""
    return parse_sheet(*find_sheet(name))


def find_sheet(name: str) -> tuple[str, str]:
    """(text, where) of a sheet named by path or by the id of a shipped one."""
    path = Path(name)
    if path.suffix == ".toml" or is_there(path):
        return read_text(path), str(path)
    shipped = {item.name.removesuffix(".toml"): item for item in shipped_sheets()}
    if name not in shipped:
        raise UsageError(
            f"no sheet {name!r}",
            "--sheet",
            "give a path ending in .toml or " + nearest(name, shipped),
            "sheet",
        )
    return read_text(shipped[name]), shipped[name].name


def shipped_sheets() -> list[Traversable]:
    """The sheets that ship with the harness."""
    folder = reference_data() / "sheets"
    return sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)


def parse_sheet(text: str, where: str) -> EngineSheet:
    """A sheet from its text; ``where`` names the file in errors."""
    document = parse_toml(text, where)
    check(document, SHEET_SCHEMA, where, text=text)
    try:
        sheet = _sheet(document, where, text)
        _consistent(sheet, where)
    except InputError as error:
        raise with_line(error, where, text) from None
    return sheet


def _sheet(document: Mapping[str, Any], where: str, text: str) -> EngineSheet:
    data: dict[str, Datum] = {}
    for key, entry in document["hardware"].items():
        data[f"hardware.{key}"] = _word(entry, HARDWARE[key], f"{where}: hardware.{key}")
    for section, units in NUMBERS.items():
        for key, entry in document.get(section, {}).items():
            data[f"{section}.{key}"] = _number(entry, units[key], f"{where}: {section}.{key}")
    levers = {name: _rate(name, entry, f"{where}: levers.{name}") for name, entry in document["levers"].items()}
    return EngineSheet(
        id=document["id"],
        title=document["title"],
        revision=str(document["revision"]),
        caution=document["caution"],
        data=data,
        levers=levers,
        path=where,
        text=text,
    )


def _word(entry: Mapping[str, Any], known: tuple[str, ...], where: str) -> Datum:
    value = entry["value"]
    if value not in known:
        raise InputError(f"unknown word {value!r}", where + ".value", nearest(str(value), known), "word")
    return Datum(value, "", entry["source"], 0.0, bool(entry.get("from_model", False)))


def _number(entry: Mapping[str, Any], symbol: str, where: str) -> Datum:
    value = parse(entry["value"], where + ".value").to(symbol, where + ".value")
    doubt = None
    if "doubt" in entry:
        doubt = parse(entry["doubt"], where + ".doubt").difference_in(symbol, where + ".doubt")
        if doubt < 0.0:
            raise InputError("a doubt cannot be negative", where + ".doubt", _DOUBT, "range")
    if not math.isfinite(value) or not math.isfinite(doubt or 0.0):
        raise InputError(
            f"{entry['value']!r} is too large a number", where + ".value", "write it in the unit meant", "range"
        )
    if symbol == "ft" and not LOWEST <= convert(value, "ft", "m") <= HIGHEST:
        raise InputError(
            f"{entry['value']!r} is outside the standard atmosphere here, {LOWEST:g} to {HIGHEST:g} m",
            where + ".value",
            _UNIT,
            "range",
        )
    positive = symbol not in ("degC", "ft")
    if positive and value <= 0.0:
        raise InputError(f"{entry['value']!r} must be greater than zero", where + ".value", _LEAVE_OUT, "range")
    if positive and doubt is not None and doubt >= value:
        raise InputError(
            f"a doubt of {entry['doubt']!r} is as large as the value of {entry['value']!r}",
            where + ".doubt",
            "such a datum decides nothing: give a better one, or leave it out",
            "range",
        )
    return Datum(value, symbol, entry["source"], doubt, bool(entry.get("from_model", False)))


def _rate(name: str, entry: Mapping[str, Any], where: str) -> float:
    lever = CHANNELS.get(name)
    if lever is None or lever.kind != "lever":
        levers = [c.name for c in CHANNELS.values() if c.kind == "lever"]
        raise InputError(f"unknown lever {name!r}", where, nearest(name, levers), "lever")
    if lever.states:
        return 0.0
    if "rate" not in entry:
        raise InputError(
            "a lever that moves needs its rate",
            where + ".rate",
            "for example { value = '0.1 1/s', source = '...' }",
            "missing",
        )
    rate = parse(entry["rate"]["value"], where + ".rate.value").to("1/s", where + ".rate.value")
    if not 0.0 < rate <= FASTEST:
        raise InputError(
            f"a lever rate of {rate:g} 1/s is not above 0 and at most {FASTEST:g}",
            where + ".rate.value",
            "'0.1 1/s' is ten seconds from stop to stop",
            "range",
        )
    if "doubt" in entry["rate"]:
        doubt = parse(entry["rate"]["doubt"], where + ".rate.doubt")
        if doubt.difference_in("1/s", where + ".rate.doubt") < 0.0:
            raise InputError("a doubt cannot be negative", where + ".rate.doubt", _DOUBT, "range")
    return rate


def _consistent(sheet: EngineSheet, where: str) -> None:
    arrangement = sheet.word("hardware.arrangement")
    for path in NEEDED[arrangement]:
        if sheet.number(path) is None:
            raise InputError(
                f"a sheet of arrangement {arrangement!r} needs {path}",
                f"{where}: {path}",
                "add it as { value = '...', source = '...' }",
                "missing",
            )
    has_boost = sheet.word("hardware.boost_acts_on") not in ("", "none")
    if has_boost != ("boost" in sheet.levers):
        raise InputError(
            "hardware.boost_acts_on and levers.boost contradict each other",
            f"{where}: hardware.boost_acts_on",
            "an engine with a separate boost lever says what it acts on, another says 'none' and lists no boost lever",
            "contradiction",
        )
    _check_light(sheet, where)


def _check_light(sheet: EngineSheet, where: str) -> None:
    if sheet.word("hardware.light") == "plain":
        for path in ("light.blinking_above", "light.off_above"):
            if sheet.number(path) is not None:
                raise InputError(
                    f"a plain light has no {path}",
                    f"{where}: {path}",
                    "remove it, or say hardware.light = 'three_state'",
                    "contradiction",
                )
    bands = [sheet.number(f"light.{key}") for key in ("blinking_above", "off_above", "on_above")]
    known = [float(b.value) for b in bands if b is not None]
    if known != sorted(set(known)):
        raise InputError(
            "the light's bands are not in rising order",
            f"{where}: light",
            "blinking_above < off_above < on_above",
            "range",
        )
