"""Valid cases and sheets, spoilt at random: each loads or is refused in words, and nothing else happens."""

from __future__ import annotations

import copy
import json
import math
import random
from collections import Counter
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.cases.loader import parse_case
from leverproof.errors import LeverproofError
from leverproof.judge.deferral_file import parse_deferrals
from leverproof.sheet.loader import parse_sheet, shipped_sheets
from leverproof.toml_file import parse_toml, read_text

Path = tuple[str | int, ...]

STRANGE: tuple[Any, ...] = (
    None, 0, -1, 10**400, 1e308, math.nan, math.inf, True, "", " ", "nan inHg", "1e999 hp", "52 inHg", "-3 s", "0.3 s",
    "one.high", "end", "start", [], [1, 2], ["end", "start"], {}, {"sheet": "takeoff.engine_speed"},
    {"sweep": "altitude"}, {"standard": "ambient_pressure"}, "\x07", "x" * 5000,
)  # fmt: skip
PARSE, SCHEMA, SEMANTICS = "parse", "schema", "semantics"
SCHEMA_CODES = {"unknown_key", "missing_key", "unknown_word", "type", "schema", "not_finite"}


def as_toml(value: Any) -> str:
    """A value in TOML, tables inline."""
    if isinstance(value, dict):
        inner = ", ".join(f"{json.dumps(str(k))} = {as_toml(v)}" for k, v in value.items() if v is not None)
        return "{" + inner + "}"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(v) for v in value if v is not None) + "]"
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else ("nan" if value != value else "inf")
    return json.dumps(value)


def document(tables: dict[str, Any]) -> str:
    return "\n".join(f"{json.dumps(k)} = {as_toml(v)}" for k, v in tables.items() if v is not None) + "\n"


def places(node: Any, path: Path = ()) -> list[Path]:
    """Paths of everything inside a document."""
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [p for key, value in inner for p in ((*path, key), *places(value, (*path, key)))]


def spoil(tables: dict[str, Any], choose: random.Random) -> str:
    """The text of the document with one thing dropped, renamed, replaced, swapped or misspelt."""
    tables = copy.deepcopy(tables)
    path = choose.choice(places(tables))
    parent: Any = tables
    for part in path[:-1]:
        parent = parent[part]
    key: Any = path[-1]
    kind = choose.choice(("drop", "rename", "replace", "double", "misspell", "cut"))
    if kind == "drop":
        del parent[key]
    elif kind == "rename" and isinstance(parent, dict):
        parent[f"{key}{choose.choice('sx_ .')}"] = parent.pop(key)
    elif kind == "double" and isinstance(parent, list):
        parent.append(parent[key])
    elif kind == "misspell" and isinstance(parent[key], str) and len(parent[key]) > 2:
        at = choose.randrange(len(parent[key]))
        parent[key] = parent[key][:at] + parent[key][at + 1 :]
    elif kind == "cut":
        text = document(tables)
        return (
            text[: choose.randrange(1, len(text) - 1)] if choose.random() < 0.5 else text.replace('"', "", 1)
        )
    else:
        parent[key] = copy.deepcopy(choose.choice(STRANGE))
    return document(tables)


def outcome(text: str, load: Callable[[str, str], object]) -> str:
    """``loaded`` or which gate refused; anything but a :class:`LeverproofError` fails the test by itself."""
    try:
        load(text, "spoilt.toml")
    except LeverproofError as error:
        assert error.message and error.where.startswith("spoilt.toml")
        if error.code == "toml":
            return PARSE
        return SCHEMA if error.code in SCHEMA_CODES else SEMANTICS
    return "loaded"


DEFERRALS: dict[str, Any] = {
    "format": 1,
    "deferral": [
        {
            "case": case,
            "judgement": judgement,
            "owner": "A. Person",
            "reason": "being measured again",
            "limit": limit,
            "expires": "2026-12-31",
        }
        for case, judgement, limit in (
            ("take-off-boost-back", "power", "150 hp"),
            ("take-off-boost-back", "engine-speed", "3 tolerances"),
            ("slam-and-chop", "no-hesitation", "unmeasured"),
        )
    ],
    "loosening": [
        {"case": "slam-and-chop", "judgement": "back-to-idle", "times": 2, "owner": "A. Person", "reason": "steps"}
    ],
}


@cache
def catalogue_read() -> Catalogue:
    return load_catalogue()


def deferrals(text: str, where: str) -> object:
    return parse_deferrals(text, where, catalogue_read())


def tables_of(kind: str) -> list[dict[str, Any]]:
    if kind == "sheet":
        return [parse_toml(read_text(sheet), sheet.name) for sheet in shipped_sheets()]
    catalogue = load_catalogue()
    if kind == "deferrals":
        return [DEFERRALS]
    return [parse_toml(catalogue.texts[case.id], case.path) for case in catalogue.cases]


@pytest.mark.parametrize(("kind", "load"), [("case", parse_case), ("sheet", parse_sheet), ("deferrals", deferrals)])
def test_spoilt_file_loads_or_is_refused_in_words(kind: str, load: Callable[[str, str], object]) -> None:
    originals = tables_of(kind)
    for tables in originals:
        load(document(tables), "whole.toml")
    counted: Counter[str] = Counter()

    @seed(20)
    @settings(max_examples=300, deadline=None, database=None)
    @given(st.integers(0, 10**9))
    def each(number: int) -> None:
        choose = random.Random(number)
        counted[outcome(spoil(choose.choice(originals), choose), load)] += 1

    each()
    assert counted[PARSE] >= 15, counted
    assert counted[SCHEMA] >= 60, counted
    assert counted[SEMANTICS] >= 15, counted
    assert counted["loaded"] < counted.total() / 2, counted


@pytest.mark.parametrize(
    "text", ["", "\n", "id = 3", "[[run]]", "\ufeff", "a = [" * 5000, "\x00", "x = 1e999"]
)
def test_a_file_that_is_no_case_is_refused(text: str) -> None:
    for load in (parse_case, parse_sheet):
        with pytest.raises(LeverproofError):
            load(text, "nothing.toml")
