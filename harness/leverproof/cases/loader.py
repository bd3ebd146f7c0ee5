"""Reading reference cases: schema, names, units, cross references. Bad input is an :class:`InputError`.

A case is data. Nothing in it is executed, and no name in it becomes part of a path.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from leverproof.cases.checks import check_case
from leverproof.cases.judgements import parse_judgement
from leverproof.cases.model import ReferenceCase, Run, Step, Sweep
from leverproof.cases.values import (
    SHEET_NUMBERS,
    check_ending,
    finite,
    parse_applies,
    parse_setting,
    parse_value,
    reading_channel,
    refuse_predicted,
    swept_unit,
)
from leverproof.channels import CHANNELS, LEVERS, OTHER_LEVERS, SURROUNDINGS
from leverproof.errors import InputError, nearest
from leverproof.quantities import Quantity, parse
from leverproof.schema import check
from leverproof.sheet.error_line import with_line
from leverproof.sheet.vocabulary import FASTEST
from leverproof.timegrid import ticks
from leverproof.toml_file import parse_toml


def parse_case(text: str, where: str) -> ReferenceCase:
    """A reference case from its text; ``where`` names the file in errors, which also name key and line."""
    document = parse_toml(text, where)
    check(document, "case", where, text=text)
    try:
        case = _case(document, where)
        check_case(case, where)
    except InputError as error:
        raise with_line(error, where, text) from None
    return case


def _case(document: Mapping[str, Any], where: str) -> ReferenceCase:
    sweep = _sweep(document.get("sweep"), f"{where}: sweep")
    swept = sweep.points[0].unit if sweep else ""
    return ReferenceCase(
        id=document["id"],
        subject=document["subject"],
        title=document["title"],
        question=document["question"],
        caution=document["caution"],
        consequence=document["consequence"],
        engine=document["start"]["engine"],
        applies=parse_applies(document["applies"], f"{where}: applies"),
        sweep=sweep,
        surroundings={
            name: parse_setting(name, entry, f"{where}: surroundings.{name}")
            for name, entry in document["surroundings"].items()
        },
        runs=tuple(_run(entry, f"{where}: run[{i}]") for i, entry in enumerate(document["run"])),
        judgements=tuple(
            parse_judgement(entry, f"{where}: judgement[{i}]", swept) for i, entry in enumerate(document["judgement"])
        ),
        path=where,
        suite=document.get("suite", ""),
    )


def _sweep(entry: Mapping[str, Any] | None, where: str) -> Sweep | None:
    if entry is None:
        return None
    ((name, body),) = entry.items()
    at = f"{where}.{name}"
    symbol = swept_unit(body["points"][0], f"{at}.points[0]")
    points = tuple(_swept(p, symbol, f"{at}.points[{i}]") for i, p in enumerate(body["points"]))
    numbers = [p.value for p in points]
    if numbers != sorted(set(numbers)):
        raise InputError("sweep points must rise, each once", f"{at}.points", "sort them", "sweep")
    if ("between" in body) != ("off_points" in body):
        raise InputError("between and off_points go together", at, "give both or neither", "sweep")
    low = high = None
    if "between" in body:
        low, high = (_swept(b, symbol, f"{at}.between[{i}]") for i, b in enumerate(body["between"]))
        if not low.value < high.value:
            raise InputError("the interval is empty or reversed", f"{at}.between", "lower bound first", "sweep")
    return Sweep(name, points, low, high, int(body.get("off_points", 0)))


def _swept(entry: Any, symbol: str, where: str) -> Quantity:
    """A value of the sweep variable in its canonical unit."""
    number = parse(entry, where)
    value = finite(number.to(symbol, where), entry, where)
    if symbol == "K" and number.unit != "K":
        raise InputError(
            "a sweep over temperature is written in K",
            where,
            "it may be an offset or a temperature: K says both without doubt",
            "unit",
        )
    return Quantity(value, symbol)


def _run(entry: Mapping[str, Any], where: str) -> Run:
    return Run(
        name=entry["name"],
        steps=tuple(_step(s, f"{where}.steps[{i}]") for i, s in enumerate(entry["steps"])),
        grid=int(entry.get("grid", 1)),
        surroundings={
            name: parse_setting(name, value, f"{where}.surroundings.{name}")
            for name, value in entry.get("surroundings", {}).items()
        },
    )


def _step(entry: Mapping[str, Any], where: str) -> Step:
    do = entry["do"]
    settings = {
        name: parse_setting(name, entry[name], f"{where}.{name}")
        for name in (*LEVERS, *SURROUNDINGS, *OTHER_LEVERS.values())
        if name in entry
    }
    if do == "set" or do == "move":
        if not settings:
            raise InputError(f"a {do} names no lever", where, "for example throttle = 0.5", "step")
        over = ticks(entry["over"], f"{where}.over") if do == "move" else 0
        return Step(do, entry.get("name", ""), settings, over)
    if do in ("hold", "pause"):
        return Step(do, entry.get("name", ""), duration=ticks(entry["for"], f"{where}.for"))
    if do == "read":
        return Step(do, entry["name"], limit=ticks(entry["limit"], f"{where}.limit"))
    if do == "couple":
        return Step(do, entry.get("name", ""), lead=float(entry.get("lead", 0.0)))
    if do == "uncouple":
        return Step(do, entry.get("name", ""))
    return _seek(entry, where)


def _seek(entry: Mapping[str, Any], where: str) -> Step:
    lever, target = entry["lever"], reading_channel(entry["channel"], f"{where}.channel")
    known = [name for name in LEVERS if not CHANNELS[name].states]
    if lever not in known:
        raise InputError(f"a seek cannot move {lever!r}", f"{where}.lever", nearest(lever, known), "lever")
    within = parse(entry["within"], f"{where}.within")
    if within.difference_in(target.unit, f"{where}.within") <= 0.0:
        raise InputError(
            "a seek's accuracy must be above zero",
            f"{where}.within",
            "say how near is near enough, such as '0.02 inHg'",
            "range",
        )
    guard = {
        name: parse_value(v, f"{where}.guard.{name}", reading_channel(name, f"{where}.guard.{name}").unit)
        for name, v in entry.get("guard", {}).items()
    }
    value = parse_value(entry["value"], f"{where}.value", target.unit)
    for key, sought in (("value", value), *((f"guard.{name}", v) for name, v in guard.items())):
        refuse_predicted(sought, f"{where}.{key}")
    accept = tuple(entry.get("or", ()))
    for index, ending in enumerate(accept):
        check_ending(ending, f"{where}.or[{index}]")
        limited = ending.removesuffix(" limit")
        if limited != ending and limited not in guard and f"limits.{limited}" not in SHEET_NUMBERS:
            raise InputError(
                f"nothing says what the limit of {limited} is",
                f"{where}.or[{index}]",
                f"give guard = {{ {limited} = ... }}",
                "guard",
            )
    rate = parse(entry["rate"], f"{where}.rate") if "rate" in entry else None
    if rate is not None and not 0.0 < rate.to("1/s", f"{where}.rate") <= FASTEST:
        raise InputError(
            f"a lever rate lies above 0 and at most {FASTEST:g} 1/s",
            f"{where}.rate",
            "'0.1 1/s' is ten seconds from stop to stop",
            "range",
        )
    return Step(
        "seek",
        entry.get("name", ""),
        lever=lever,
        channel=target.name,
        value=value,
        within=within,
        accept=accept,
        guard=guard,
        rate=rate,
        limit=ticks(entry["limit"], f"{where}.limit"),
    )
