"""How the folder of a baseline is laid out, its limits, and how its files are written.

    baseline.json         the accepted run: readings and curves
    acceptances.jsonl     one line an acceptance, each with the SHA-256 of the line before
    versions/NNNN.json    of every accepted run, the numbers that required judgements look at

Everything is JSON with sorted keys. Sums are taken of what a file says, not of its bytes, so that line ends or blanks
changed by version control change nothing.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

FORMAT = 1
PROGRAM = "leverproof"
FOLDER = "leverproof-baseline"
ACCEPTED = "baseline.json"
LOG = "acceptances.jsonl"
VERSIONS = "versions"
ENTRIES = frozenset({ACCEPTED, LOG, VERSIONS})

POINTS = 240
BLOCKS = 4
"""A curve has at most four blocks of at most 240 points."""

LARGEST = 64 * 1024 * 1024
LARGEST_VERSIONS = 9_999


def version_path(version: int) -> str:
    """Where the numbers of a version lie, relative to the folder."""
    return f"{VERSIONS}/{version:04d}.json"


def canonical(plain: object) -> str:
    """The one text of plain data: sorted keys, no blanks, ASCII."""
    return json.dumps(plain, sort_keys=True, ensure_ascii=True, allow_nan=False, separators=(",", ":"))


def digest(plain: object) -> str:
    """SHA-256 of plain data, whatever the order of its keys."""
    return hashlib.sha256(canonical(plain).encode("ascii")).hexdigest()


def lines_of(plain: Mapping[str, Any]) -> str:
    """Plain data as text for people and version control: a list or object that holds no further object, or only one
    that does not, is one line. So a reading is a line, and a block of a curve is a line."""
    return "".join(_written(plain, 0)) + "\n"


def _written(plain: object, depth: int) -> list[str]:
    if not _opens(plain):
        return [canonical(plain)]
    inner = " " * (depth + 1)
    entries = (
        [(f"{json.dumps(key)}: ", item) for key, item in sorted(plain.items())]
        if isinstance(plain, Mapping)
        else [("", item) for item in plain]  # type: ignore[attr-defined]
    )
    opened, closed = ("{", "}") if isinstance(plain, Mapping) else ("[", "]")
    out = [opened, "\n"]
    for index, (key, item) in enumerate(entries):
        end = ",\n" if index + 1 < len(entries) else "\n"
        out += [inner, key, *_written(item, depth + 1), end]
    return [*out, " " * depth, closed]


def _opens(plain: object) -> bool:
    """Whether data stands on several lines: an object that holds objects or lists of them, a list of several."""
    if isinstance(plain, Mapping):
        return any(isinstance(item, Mapping) or _holds_objects(item) for item in plain.values())
    return _holds_objects(plain) and isinstance(plain, list | tuple) and len(plain) > 1


def _holds_objects(plain: object) -> bool:
    return isinstance(plain, list | tuple) and any(isinstance(item, Mapping | list | tuple) for item in plain)
