"""The example adapters that are installed, and what an author gets of one."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from leverproof.errors import UsageError, nearest
from leverproof.stand.authoring.questions import DEADLINES
from leverproof.toml_file import read_text

GROUP = "leverproof.examples"
CATALOGUE = "catalogue.toml"
_TEXTS = (
    "kind", "command", "target", "build_hint", "sheet", "defect_argument", "coefficient_argument", "processes",
    "engines",
)  # fmt: skip
_TABLES = ("coefficients", "options", "defects", "channels", "recording", "held")
_QUESTIONS = (
    "language",
    "arrangement",
    "lever",
    "surrounding",
    "reading",
    "clock",
    "time_column",
    "time_unit",
)
"""What an example answers by itself: the keys of its stand file, and the questions behind them."""


@dataclass(frozen=True, slots=True)
class Example:
    """One example: its name, what it is, its stand file, and its other files by the name they get."""

    name: str
    does: str
    stand: Path
    files: Mapping[str, Path]


def installed_examples() -> dict[str, Example]:
    """The examples by name: those of the catalogues in the folders that entry points of the group name."""
    from importlib.metadata import entry_points

    found: dict[str, Example] = {}
    for point in entry_points(group=GROUP):
        folder = Path(point.load()())
        for name, entry in tomllib.loads(read_text(str(folder / CATALOGUE))).items():
            paths = [(folder / file).resolve() for file in entry["files"]]
            found[name] = Example(name, entry["does"], folder / entry["stand"], {path.name: path for path in paths})
    return found


def find_example(name: str) -> Example:
    """The example of that name; raises :class:`UsageError` suggesting the nearest."""
    known = installed_examples()
    if name not in known:
        hint = nearest(name, known) if known else "none is installed: install the package with pip"
        raise UsageError(f"no example {name!r}", "--example", hint, "example")
    return known[name]


def defaults(example: Example) -> dict[str, str]:
    """What the example proposes where an author may say otherwise, as texts that answer the questions."""
    document = tomllib.loads(read_text(str(example.stand)))
    told: dict[str, str] = {key: document[key] for key in ("title", "grid_step") if key in document}
    if "deadlines" in document:
        told["deadlines"] = ", ".join(document["deadlines"][key] for key in DEADLINES)
    return told


def answered(example: Example) -> dict[str, Any]:
    """What the example answers by itself, by the keys of the questions."""
    document = tomllib.loads(read_text(str(example.stand)))
    own: dict[str, Any] = dict.fromkeys(_QUESTIONS, "")
    own |= {"clock": document.get("clock", "stepped"), "lever": {}, "surrounding": {}, "reading": {}}
    own |= {key: document.get(key, "") for key in _TEXTS}
    own |= {key: document.get(key, {}) for key in _TABLES}
    if own["engines"]:
        own["engine"] = document.get("engine", "")
    return own | {"sheet": PurePosixPath(own["sheet"]).name}
