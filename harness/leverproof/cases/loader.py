"""Reading reference cases: schema, names, units, cross references. Bad input is an :class:`InputError`.

A case is data. Nothing in it is executed, and no name in it becomes part of a path.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from leverproof.cases.checks import check_case
from leverproof.cases.judgements import parse_judgement
from leverproof.cases.model import ReferenceCase, Run, Step, Sweep
from leverproof.cases.values import parse_applies, parse_setting, parse_value
from leverproof.channels import CHANNELS, LEVERS, SURROUNDINGS, channel
from leverproof.errors import InputError, nearest
from leverproof.quantities import parse
from leverproof.schema import check
from leverproof.timegrid import ticks
from leverproof.toml_file import line_of, parse_toml

_PART = re.compile(r"([A-Za-z0-9_-]+)|\[(\d+)\]")


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


def with_line(error: InputError, where: str, text: str) -> InputError:
    """The same error with the line of its key put after the file's name."""
    prefix = where + ": "
    if not error.where.startswith(prefix):
        return error
    key = error.where.removeprefix(prefix)
    path: list[str | int] = [int(number) if number else word for word, number in _PART.findall(key)]
    line = line_of(text, tuple(path))
    if line is None:
        return error
    return InputError(error.message, f"{where}:{line}: {key}", error.hint, error.code)


def _case(document: Mapping[str, Any], where: str) -> ReferenceCase:
    return ReferenceCase(
        id=document["id"],
        subject=document["subject"],
        title=document["title"],
        question=document["question"],
        caution=document["caution"],
        consequence=document["consequence"],
        engine=document["start"]["engine"],
        applies=parse_applies(document["applies"], f"{where}: applies"),
        sweep=_sweep(document.get("sweep"), f"{where}: sweep"),
        surroundings={
            name: parse_value(entry, f"{where}: surroundings.{name}", CHANNELS[name].unit)
            for name, entry in document["surroundings"].items()
        },
        runs=tuple(_run(entry, f"{where}: run[{i}]") for i, entry in enumerate(document["run"])),
        judgements=tuple(
            parse_judgement(entry, f"{where}: judgement[{i}]")
            for i, entry in enumerate(document["judgement"])
        ),
        path=where,
    )


def _sweep(entry: Mapping[str, Any] | None, where: str) -> Sweep | None:
    if entry is None:
        return None
    ((name, body),) = entry.items()
    at = f"{where}.{name}"
    points = tuple(parse(p, f"{at}.points[{i}]") for i, p in enumerate(body["points"]))
    for index, point in enumerate(points):
        point.to(points[0].unit, f"{at}.points[{index}]")
    numbers = [p.to(points[0].unit) for p in points]
    if numbers != sorted(set(numbers)):
        raise InputError("sweep points must rise, each once", f"{at}.points", "sort them", "sweep")
    if ("between" in body) != ("off_points" in body):
        raise InputError("between and off_points go together", at, "give both or neither", "sweep")
    low = high = None
    if "between" in body:
        low, high = (parse(b, f"{at}.between[{i}]") for i, b in enumerate(body["between"]))
        if not low.to(points[0].unit, f"{at}.between[0]") < high.to(points[0].unit, f"{at}.between[1]"):
            raise InputError(
                "the interval is empty or reversed", f"{at}.between", "lower bound first", "sweep"
            )
    return Sweep(name, points, low, high, int(body.get("off_points", 0)))


def _run(entry: Mapping[str, Any], where: str) -> Run:
    return Run(
        name=entry["name"],
        steps=tuple(_step(s, f"{where}.steps[{i}]") for i, s in enumerate(entry["steps"])),
        grid=int(entry.get("grid", 1)),
        surroundings={
            name: parse_value(value, f"{where}.surroundings.{name}", CHANNELS[name].unit)
            for name, value in entry.get("surroundings", {}).items()
        },
    )


def _step(entry: Mapping[str, Any], where: str) -> Step:
    do = entry["do"]
    settings = {
        name: parse_setting(name, entry[name], f"{where}.{name}")
        for name in (*LEVERS, *SURROUNDINGS)
        if name in entry
    }
    if do == "set" or do == "move":
        if not settings:
            raise InputError(f"a {do} names no lever", where, "for example throttle = 0.5", "step")
        over = ticks(entry["over"], f"{where}.over") if do == "move" else 0
        return Step(do, entry.get("name", ""), settings, over)
    if do == "hold":
        return Step(do, entry.get("name", ""), duration=ticks(entry["for"], f"{where}.for"))
    if do == "read":
        return Step(do, entry["name"], limit=ticks(entry["limit"], f"{where}.limit"))
    if do == "couple":
        return Step(do, entry.get("name", ""), lead=float(entry.get("lead", 0.0)))
    if do == "uncouple":
        return Step(do, entry.get("name", ""))
    return _seek(entry, where)


def _seek(entry: Mapping[str, Any], where: str) -> Step:
    lever, target = entry["lever"], channel(entry["channel"], f"{where}.channel")
    known = [name for name in LEVERS if not CHANNELS[name].states]
    if lever not in known:
        raise InputError(f"a seek cannot move {lever!r}", f"{where}.lever", nearest(lever, known), "lever")
    if target.kind != "reading" or target.states:
        raise InputError(
            f"a seek needs a continuous reading, {target.name} is not one", f"{where}.channel", code="channel"
        )
    within = parse(entry["within"], f"{where}.within")
    if within.difference_in(target.unit, f"{where}.within") <= 0.0:
        raise InputError("a seek's accuracy must be above zero", f"{where}.within", code="range")
    accept = tuple(entry.get("or", ()))
    for index, ending in enumerate(accept):
        _ending(ending, f"{where}.or[{index}]")
    guard = {
        name: parse_value(v, f"{where}.guard.{name}", channel(name, f"{where}.guard.{name}").unit)
        for name, v in entry.get("guard", {}).items()
    }
    rate = parse(entry["rate"], f"{where}.rate") if "rate" in entry else None
    if rate is not None and rate.to("1/s", f"{where}.rate") <= 0.0:
        raise InputError("a lever rate must be above zero", f"{where}.rate", code="range")
    return Step(
        "seek",
        entry.get("name", ""),
        lever=lever,
        channel=target.name,
        value=parse_value(entry["value"], f"{where}.value", target.unit),
        within=within,
        accept=accept,
        guard=guard,
        rate=rate,
        limit=ticks(entry["limit"], f"{where}.limit"),
    )


def _ending(word: str, where: str) -> None:
    if word in ("reached", "stop", "no response", "not monotone", "not reached"):
        return
    if word.endswith(" limit"):
        channel(word.removesuffix(" limit"), where)
        return
    raise InputError(
        f"unknown ending {word!r}",
        where,
        nearest(word, ("stop", "turbo_speed limit", "no response")),
        "ending",
    )
