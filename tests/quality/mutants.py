"""Valid cases, sheets, stands and deferral files, and ways to spoil them: structure, small changes, nonsense.

A way to spoil is a function from a document to the places where it applies; each place is a function that does it.
"""

from __future__ import annotations

import copy
import datetime
import json
import math
import random
import re
from collections.abc import Callable, Iterator
from typing import Any

from leverproof.channels import CHANNELS
from leverproof.quantities import UNITS

Tables = dict[str, Any]
Place = Callable[[random.Random], None]
Spoiler = Callable[[Tables], Iterator[Place]]

STRANGE: tuple[Any, ...] = (
    None, 0, -1, 10**400, 1e308, math.nan, math.inf, True, "", " ", "nan inHg", "1e999 hp", "52 inHg", "-3 s", "0.3 s",
    "one.high", "end", "start", [], [1, 2], ["end", "start"], {}, {"sheet": "takeoff.engine_speed"},
    {"sweep": "altitude"}, {"standard": "ambient_pressure"}, "\x07", "x" * 5000,
)  # fmt: skip
WORDS = {
    "id", "title", "source", "question", "consequence", "caution", "asked", "why", "reason", "resolves", "lost", "name",
    "revision", "subject", "owner", "build_hint", "suite", "command", "options", "defects", "target",
}  # fmt: skip
"""Keys of free text, which may look like quantities."""
_QUANTITY = re.compile(r"^\s*([-+]?\d[\d.]*(?:[eE][-+]?\d+)?)\s*(\S+)?\s*$")


def as_toml(value: Any) -> str:
    """A value in TOML, tables inline."""
    if isinstance(value, dict):
        inner = ", ".join(f"{json.dumps(str(k))} = {as_toml(v)}" for k, v in value.items() if v is not None)
        return "{" + inner + "}"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(v) for v in value if v is not None) + "]"
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else ("nan" if value != value else "inf")
    if isinstance(value, datetime.date):
        return value.isoformat()
    return json.dumps(value)


def document(tables: Tables) -> str:
    return "\n".join(f"{json.dumps(k)} = {as_toml(v)}" for k, v in tables.items() if v is not None) + "\n"


def leaves(node: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[Any, Any, tuple[str | int, ...]]]:
    """(parent, key, path) of everything inside a document."""
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in list(inner):
        yield node, key, (*path, key)
        yield from leaves(value, (*path, key))


def quantity(value: Any) -> tuple[float, str] | None:
    """Number and unit of a text such as ``"52 inHg"``; None for anything else."""
    match = _QUANTITY.match(value) if isinstance(value, str) else None
    if match is None or (match.group(2) or "1") not in UNITS:
        return None
    return float(match.group(1)), match.group(2) or "1"


def quantities(tables: Tables) -> Iterator[tuple[Any, Any, float, str]]:
    """(parent, key, number, unit) of every quantity written as text."""
    for parent, key, path in leaves(tables):
        if not any(part in WORDS for part in path if isinstance(part, str)):
            found = quantity(parent[key])
            if found is not None:
                yield parent, key, *found


def put(parent: Any, key: Any, value: Any) -> Place:
    def do(_: random.Random) -> None:
        parent[key] = value

    return do


def written(number: float, unit: str) -> str:
    return f"{number!r} {unit}" if unit != "1" else repr(number)


# structure -----------------------------------------------------------------------------------------------------------


def dropped(tables: Tables) -> Iterator[Place]:
    for parent, key, _ in leaves(tables):
        yield lambda _, p=parent, k=key: p.__delitem__(k)  # type: ignore[misc]


def renamed(tables: Tables) -> Iterator[Place]:
    for parent, key, _ in leaves(tables):
        if isinstance(parent, dict):

            def do(choose: random.Random, parent: Any = parent, key: Any = key) -> None:
                parent[f"{key}{choose.choice('sx_ .')}"] = parent.pop(key)

            yield do


def replaced(tables: Tables) -> Iterator[Place]:
    for parent, key, _ in leaves(tables):

        def do(choose: random.Random, parent: Any = parent, key: Any = key) -> None:
            parent[key] = copy.deepcopy(choose.choice(STRANGE))

        yield do


def doubled(tables: Tables) -> Iterator[Place]:
    for parent, key, _ in leaves(tables):
        if isinstance(parent, list):
            yield lambda _, p=parent, k=key: p.append(copy.deepcopy(p[k]))  # type: ignore[misc]


def misspelt(tables: Tables) -> Iterator[Place]:
    for parent, key, _ in leaves(tables):
        if isinstance(parent[key], str) and len(parent[key]) > 2:

            def do(choose: random.Random, parent: Any = parent, key: Any = key) -> None:
                at = choose.randrange(len(parent[key]))
                parent[key] = parent[key][:at] + parent[key][at + 1 :]

            yield do


def cut(text: str, choose: random.Random) -> str:
    """Text that is mostly no TOML any more."""
    return text[: choose.randrange(1, len(text) - 1)] if choose.random() < 0.5 else text.replace('"', "", 1)


# small changes -------------------------------------------------------------------------------------------------------


def nudged(tables: Tables) -> Iterator[Place]:
    """A quantity a little larger or smaller: mostly still a valid file."""
    for parent, key, number, unit in quantities(tables):

        def do(
            choose: random.Random, parent: Any = parent, key: Any = key, n: float = number, u: str = unit
        ) -> None:
            parent[key] = written(n * choose.choice((0.98, 1.02, 1.1, 0.5, 2.0)), u)

        yield do


def reworded(tables: Tables) -> Iterator[Place]:
    for parent, key, _ in leaves(tables):
        if key in WORDS - {"id", "name", "subject"} and isinstance(parent[key], str):
            yield put(parent, key, parent[key] + " \u00e9\u4e2d \\ ' \"")


# nonsense, which must be refused -------------------------------------------------------------------------------------


def not_finite(tables: Tables) -> Iterator[Place]:
    for parent, key, _, unit in quantities(tables):
        for word in (f"nan {unit}", f"1e999 {unit}", math.nan, -math.inf):
            yield put(parent, key, word)
    for parent, key, path in leaves(tables):
        if isinstance(parent[key], int | float) and not isinstance(parent[key], bool) and path != ("format",):
            yield put(parent, key, math.inf)


def wrong_dimension(tables: Tables) -> Iterator[Place]:
    for parent, key, number, unit in quantities(tables):
        if unit != "1":
            other = "kg" if UNITS[unit].dimension != "mass" else "deg"
            yield put(parent, key, written(number, other))


def _tolerances(tables: Tables) -> Iterator[Tables]:
    for judgement in tables.get("judgement", ()):
        if isinstance(judgement.get("tolerance"), dict):
            yield judgement


def tolerance_not_positive(tables: Tables) -> Iterator[Place]:
    for judgement in _tolerances(tables):
        tolerance = judgement["tolerance"]
        found = quantity(tolerance.get("absolute"))
        if found is not None:
            for number in (0.0, -found[0]):
                yield put(tolerance, "absolute", written(number, found[1]))
        if "percent" in tolerance:
            for number in (0, -5, 0.0):
                yield put(tolerance, "percent", number)


def tolerance_wider_than_the_value(tables: Tables) -> Iterator[Place]:
    for judgement in _tolerances(tables):
        tolerance = judgement["tolerance"]
        for key in ("expected", "at_most", "at_least"):
            found = quantity(judgement.get(key))
            if found is None or found[0] == 0.0 or UNITS[found[1]].dimension == "temperature":
                continue

            def widen(
                choose: random.Random, t: Tables = tolerance, n: float = found[0], u: str = found[1]
            ) -> None:
                t["absolute"] = written(abs(n) * choose.choice((1.001, 1.5, 40.0)), u)

            yield widen
            if tolerance.get("of") == "expected" and key == "expected" and "absolute" not in tolerance:
                yield put(tolerance, "percent", 150)
        if tolerance.get("of") == "range" and "absolute" not in tolerance:
            yield put(tolerance, "percent", 120)


def percent_of_zero(tables: Tables) -> Iterator[Place]:
    for judgement in _tolerances(tables):
        unit = CHANNELS[judgement["channel"]].unit if judgement.get("channel") in CHANNELS else ""
        if unit and unit != "degC" and quantity(judgement.get("expected")) and judgement["what"] == "value":
            own = "1" if "relative_to" in judgement else unit

            def nothing(_: random.Random, judgement: Tables = judgement, unit: str = own) -> None:
                judgement["expected"] = written(0.0, unit)
                judgement["tolerance"] = {"percent": 5, "of": "expected", "reason": "r"}

            yield nothing
        if unit and "percent" in judgement["tolerance"] and "relative_to" not in judgement:
            yield put(judgement["tolerance"], "of", written(0.0, unit))


def reversed_band(tables: Tables) -> Iterator[Place]:
    for sweep in (tables.get("sweep") or {}).values():
        if "between" in sweep:
            yield put(sweep, "between", sweep["between"][::-1])
            yield put(sweep, "between", [sweep["between"][0]] * 2)
        yield put(sweep, "points", sweep["points"][::-1])
    for judgement in tables.get("judgement", ()):
        if "span" in judgement:
            yield put(judgement, "span", judgement["span"][::-1])
        if (
            judgement["what"] == "response"
            and judgement.get("measure") != "monotone"
            and "tolerance" in judgement
        ):

            def swap(_: random.Random, judgement: Tables = judgement) -> None:
                judgement["at_least"], judgement["at_most"] = "9 s", "3 s"

            yield swap
    light = tables.get("light") or {}
    for low, high in (
        ("blinking_above", "off_above"),
        ("off_above", "on_above"),
        ("blinking_above", "on_above"),
    ):
        if low in light and high in light:
            yield lambda _, a=low, b=high: light.update({a: light[b], b: light[a]})  # type: ignore[misc]


def empty_window(tables: Tables) -> Iterator[Place]:
    for judgement in tables.get("judgement", ()):
        if "window" in judgement:
            if judgement["window"][0] != judgement["window"][1]:
                yield put(judgement, "window", judgement["window"][::-1])
            for place in ("start", "end"):
                yield put(judgement, "window", [place, place])
            yield put(judgement, "window", ["end", "start"])


def one_point_for_a_trend(tables: Tables) -> Iterator[Place]:
    for sweep in (tables.get("sweep") or {}).values():
        yield put(sweep, "points", sweep["points"][:1])
        yield put(sweep, "points", [])
    for judgement in tables.get("judgement", ()):
        if len(judgement.get("readings", ())) > 2:
            yield put(judgement, "readings", judgement["readings"][:1])
            yield put(judgement, "readings", judgement["readings"][:2])


def no_time(tables: Tables) -> Iterator[Place]:
    for run in tables.get("run", ()):
        for step in run["steps"]:
            for key in ("for", "limit", "over"):
                if key in step:
                    for words in ("0 s", "-10 s"):
                        yield put(step, key, words)
    for key in tables.get("deadlines", ()):
        for words in ("0 s", "-1 s"):
            yield put(tables["deadlines"], key, words)
    if "grid_step" in tables:
        for words in ("0 s", "-0.05 s", "0.03 s"):
            yield put(tables, "grid_step", words)


def seek_of_any_value(tables: Tables) -> Iterator[Place]:
    for run in tables.get("run", ()):
        for step in run["steps"]:
            found = quantity(step.get("value")) if step["do"] == "seek" else None
            if step["do"] == "seek":
                unit = CHANNELS[step["channel"]].unit
                for number in (0.0, -1.0):
                    yield put(step, "within", written(number, "K" if unit == "degC" else unit))
            if found is not None and found[0] > 0.0 and UNITS[found[1]].dimension != "temperature":
                yield put(step, "within", written(found[0] * 1.5, found[1]))


def datum_of_nothing(tables: Tables) -> Iterator[Place]:
    """Sheet data: zero or negative where that means nothing, doubts negative or as large as the datum."""
    if "hardware" not in tables:
        return
    for parent, key, path in leaves(tables):
        found = quantity(parent[key])
        if (
            key != "value"
            or found is None
            or UNITS[found[1]].dimension in ("temperature", "length")
            or len(path) < 3
        ):
            continue
        for number in (0.0, -abs(found[0])):
            yield put(parent, "value", written(number, found[1]))
        yield put(parent, "doubt", written(-abs(found[0]) / 9.0, found[1]))
        if path[0] != "levers":
            yield put(parent, "doubt", written(abs(found[0]) * 1.5, found[1]))


def scale_of_nothing(tables: Tables) -> Iterator[Place]:
    for name, entry in (tables.get("channels") or {}).items():
        if not CHANNELS[name].states:
            for number in (0, 0.0, math.nan, math.inf):
                yield put(entry, "scale", number)
            yield put(entry, "unit", "kg")
            yield put(entry, "unit", "furlong")


def deferral_of_nothing(tables: Tables) -> Iterator[Place]:
    for entry in tables.get("deferral", ()):
        if entry["limit"] != "unmeasured":
            for words in (
                "0 tolerances",
                "-2 tolerances",
                "nan tolerances",
                "inf tolerances",
                "1e999 tolerances",
            ):
                yield put(entry, "limit", words)
            found = quantity(entry["limit"])
            for number in (0.0, -1.0) if found else ():
                yield put(entry, "limit", written(number, found[1] if found else "1"))
        for words in ("2026-02-30", "soon", "0000-00-00"):
            yield put(entry, "expires", words)
        for key in ("owner", "reason"):
            yield put(entry, key, " ")
    for entry in tables.get("loosening", ()):
        for number in (1, 1.0, 0, -2, 11, math.nan):
            yield put(entry, "times", number)


STRUCTURE: dict[str, Spoiler] = {
    "dropped": dropped,
    "renamed": renamed,
    "replaced": replaced,
    "doubled": doubled,
    "misspelt": misspelt,
}
SMALL: dict[str, Spoiler] = {"nudged": nudged, "reworded": reworded}
NONSENSE: dict[str, Spoiler] = {
    "not finite": not_finite,
    "wrong dimension": wrong_dimension,
    "tolerance not positive": tolerance_not_positive,
    "tolerance wider than the value": tolerance_wider_than_the_value,
    "percent of zero": percent_of_zero,
    "reversed band": reversed_band,
    "empty window": empty_window,
    "one point for a trend": one_point_for_a_trend,
    "no time": no_time,
    "seek of any value": seek_of_any_value,
    "datum of nothing": datum_of_nothing,
    "scale of nothing": scale_of_nothing,
    "deferral of nothing": deferral_of_nothing,
}
EVERY = {**STRUCTURE, **SMALL, **NONSENSE}


def spoil(tables: Tables, way: str, choose: random.Random) -> str | None:
    """The text of a copy of the document spoilt in one place; None when the way does not apply to it."""
    copied = copy.deepcopy(tables)
    found = list(EVERY[way](copied))
    if not found:
        return None
    choose.choice(found)(choose)
    return document(copied)
