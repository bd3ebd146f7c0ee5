"""The text of a stand file, each key with what it is for, from the answers to the questions."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any

from leverproof.channels import CHANNELS
from leverproof.stand.port import ChannelMap

_BARE = re.compile(r"[A-Za-z0-9_-]+")

COMMENTS = {
    "format": "the version of this file format",
    "title": "what is mounted; stands on every report",
    "kind": "how the model is reached",
    "command": "program and arguments, started in this folder; no shell is involved",
    "target": "where it is; files are beside this one",
    "build_hint": "shown to people who do not have the program yet",
    "sheet": "what engine it is: a file beside this one, or a shipped id",
    "engine": "which engine is tested, of a model with several; from 1",
    "engines": "how many engines the model has; {engine} in a name below stands for each",
    "processes": "how many processes of the model are started beside each other",
    "grid_step": "a whole number of these make 0.5 s; the model must also take half of it",
    "clock": "stepped: it moves only when told; free_running: on its own clock",
    "deadlines": "to say hello, for any answer, and more for each row; one missed ends the program",
    "defect_argument": "the argument before the name of a seeded defect",
    "coefficient_argument": "the argument before NAME=VALUE of a coefficient that a campaign sets",
}
"""In the order of a stand file."""


def stand_text(answers: Mapping[str, Any], *, name: str) -> str:
    """The stand file called ``name`` for answers to the questions; ends in a line feed.

    Beside those, ``options``, ``defect_argument``, ``defects``, ``coefficients``, ``coefficient_argument`` and
    ``channels`` (tables as a stand file has them) are taken over as they are.
    """
    parts = [
        "# A stand file: how a model is mounted. Every key: docs/reference/stands.md\n"
        f"# Tried with `leverproof {'run' if answers['kind'] == 'recording' else 'shakedown'} --stand {name}`.\n"
    ]
    values = {"format": 1, **answers}
    if answers.get("clock") == "stepped":
        del values["clock"]
    for key, comment in COMMENTS.items():
        if values.get(key) not in (None, "", [], {}):
            parts.append(f"# {comment}\n{key} = {toml(values[key])}\n")
    parts += _table("held", answers.get("held", {}))
    parts += _recording(answers)
    parts += _channels(answers)
    parts += _table("coefficients", answers.get("coefficients", {}))
    parts += _table("options", answers.get("options", {}))
    for defect, entry in answers.get("defects", {}).items():
        parts += _table(f"defects.{defect}", entry)
    return "\n".join(parts)


def toml(value: object) -> str:
    """A value as TOML has it, on one line."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, bool | int | float):
        return json.dumps(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(str(key))} = {toml(entry)}" for key, entry in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    assert isinstance(value, Iterable)
    return f"[{', '.join(toml(entry) for entry in value)}]"


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def _table(name: str, entries: Mapping[str, Any]) -> list[str]:
    if not entries:
        return []
    return [f"[{name}]\n" + "".join(f"{_key(key)} = {toml(value)}\n" for key, value in entries.items())]


def _recording(answers: Mapping[str, Any]) -> list[str]:
    if answers["kind"] != "recording":
        return []
    if answers.get("recording"):
        return _table("recording", answers["recording"])
    return [
        "[recording]\n"
        f"# the column with the time, and its unit\ntime = {toml(answers['time_column'])}\n"
        f"time_unit = {toml(answers['time_unit'])}\n"
        '# what is missing for longer than this cuts the recording in two\nlongest_gap = "2 s"\n'
        '# columns that are not used; "*" stands for all that no channel names\nignore = ["*"]\n'
    ]


def _channels(answers: Mapping[str, Any]) -> list[str]:
    """What is called otherwise or counted otherwise, as tables; the rest in words."""
    mapped: dict[str, ChannelMap] = {}
    for kind in ("lever", "surrounding", "reading"):
        mapped.update(answers.get(kind, {}))
    same = [name for name, entry in mapped.items() if entry == ChannelMap(name)]
    lines = [
        "# Channels: only those that the model calls otherwise or counts in another unit need a table here.\n"
        "# canonical = scale x theirs, in our unit, + offset; scale = -1 and offset = 1 turn a lever round.\n"
    ]
    if same:
        lines[0] += f"# Named as here: {', '.join(same)}.\n"
    if not mapped and not answers.get("channels"):
        lines[0] += (
            '# [channels.manifold_pressure]\n# name = "map"      # what the model calls it\n'
            '# unit = "kPa"      # what the model counts in\n'
        )
    if answers["kind"] == "recording":
        lines[0] += (
            '# A lever with positions needs states = { WORD = "auto_rich" }; one that never moved, constant = "open".\n'
        )
    for name, entry in mapped.items():
        if name in same:
            continue
        unit = f"unit = {toml(entry.unit)}\n" if entry.unit else ""
        lines.append(f"# {_meaning(name)}\n[channels.{name}]\nname = {toml(entry.name)}\n{unit}")
    for name, table in answers.get("channels", {}).items():
        lines += _table(f"channels.{name}", table)
    return lines


def _meaning(name: str) -> str:
    ours = CHANNELS[name]
    if ours.states:
        return f"{ours.meaning}: {', '.join(ours.states)}"
    return ours.meaning if ours.unit == "1" else f"{ours.meaning}, in {ours.unit}"
