"""Files that people write, spoilt at one key after another: each is taken, or refused with file, key and advice."""

from __future__ import annotations

import copy
import datetime
import json
import random
import tomllib
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from leverproof.campaign.plan_file import parse_plan
from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.loader import parse_case
from leverproof.errors import LONG_TEXT, LeverproofError
from leverproof.judge.deferral_file import parse_deferrals
from leverproof.reference_data import reference_data
from leverproof.sheet.loader import parse_sheet
from leverproof.stand.stand_file import parse_stand_file

STRANGE: tuple[Any, ...] = (
    "", "  ", "x" * 9_000, "\u202e\U0001f600", "a\0\x1b[31m\r\n", "../../etc/x", "-1 s", "1e999 inHg", "1e300 K",
    0, -1, 0.5, 10**30, 1e308, float("nan"), float("-inf"), True, False,
    [], {}, [[[[1]]]], {"a": 1}, ["b"],
    datetime.date(2026, 1, 1), datetime.time(1, 2), datetime.datetime(2026, 1, 1, 1),
)  # fmt: skip
TRIES = 150

PLAN = """\
format = 1
title = "idle over height"
seed = 7
samples = 5
cases = { select = ["idle-speed", "idle-fuel-flow"] }
[[model]]
embedded = "rill-6"
title = "m"
sheets = ["rill-6"]
[[model.coefficient]]
name = "friction_constant"
distribution = "normal"
mean = 1.0
deviation = 0.1
low = 0.7
high = 1.3
source = "assumption: no motoring test is known"
[surroundings]
pressure_altitude = { from = "0 ft", to = "10000 ft", step = "2500 ft" }
temperature_offset = ["0 K"]
"""
STAND = """\
format = 1
title = "an engine"
kind = "stdio"
command = ["./engine", "--model"]
sheet = "corrie-18-early"
engine = 1
grid_step = "0.05 s"
clock = "stepped"
deadlines = { start = "30 s", request = "5 s", row = "0.02 s" }
options = { a = 1 }
channels = { manifold_pressure = { name = "map", unit = "kPa", scale = 1.0, offset = 0.0 }, mixture = { name = "m" } }
"""
DEFERRALS = """\
format = 1
[[deferral]]
case = "take-off-boost-back"
judgement = "power"
owner = "A. Person"
reason = "the blower is measured"
limit = "200 hp"
expires = 2026-12-31
[[loosening]]
case = "slam-and-chop"
judgement = "back-to-idle"
times = 2
owner = "B. Person"
reason = "steps"
"""


def toml(value: Any) -> str:
    """A value as TOML, tables in one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return value.isoformat() if hasattr(value, "isoformat") else repr(value)


def places(node: Any) -> Iterator[tuple[Any, Any]]:
    """Every key with the table or list it is in."""
    for key in list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ():
        yield node, key
        yield from places(node[key])


def spoilt(document: dict[str, Any], dice: random.Random) -> str:
    """The document with one value exchanged, one key lost, misspelt or, in a list, there twice."""
    changed = copy.deepcopy(document)
    holder, key = dice.choice(list(places(changed)))
    way = dice.randrange(8)
    if way == 0:
        del holder[key]
    elif way == 1 and isinstance(key, str):
        holder[f"{key[:-1]}~"] = holder.pop(key)
    elif way == 1:
        holder.insert(key, holder[key])
    else:
        holder[key] = copy.deepcopy(dice.choice(STRANGE))
    return "".join(f"{json.dumps(name)} = {toml(value)}\n" for name, value in changed.items())


def shipped(name: str) -> str:
    return reference_data().joinpath(*name.split("/")).read_text("utf-8")


READ: dict[str, tuple[str, Callable[[str, str], object]]] = {
    "case": (shipped("cases/boost/split-lever-advantage.toml"), parse_case),
    "swept case": (shipped("cases/altitude/constant-pressure-climb.toml"), parse_case),
    "sheet": (shipped("sheets/corrie-18-early.toml"), parse_sheet),
    "stand": (STAND, parse_stand_file),
    "deferrals": (DEFERRALS, partial(parse_deferrals, catalogue=load_catalogue())),
    "plan": (PLAN, parse_plan),
}


@pytest.mark.parametrize("what", READ)
def test_a_spoilt_file_is_taken_or_refused_with_file_key_and_advice(
    what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    known = load_catalogue()
    monkeypatch.setattr(
        "leverproof.campaign.plan_file.load_catalogue", lambda folders, *, shipped=None: known
    )
    text, read = READ[what]
    document, dice = tomllib.loads(text), random.Random(what)
    read(text, "f.toml")
    refused = 0
    for _ in range(TRIES):
        try:
            read(spoilt(document, dice), "f.toml")
        except LeverproofError as error:
            refused += 1
            assert error.where.startswith("f.toml"), error
            assert ": " in error.where or "missing" in error.message, error
            assert error.hint, error
            assert len(str(error)) < 3 * LONG_TEXT + 200
    assert refused > TRIES // 2
