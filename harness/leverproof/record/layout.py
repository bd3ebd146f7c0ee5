"""How a record lies on disk: the names in it, and the limits that a reader holds it to.

    record.jsonl          header, expectations, events, findings, footer: one JSON object a line
    inputs/KIND/NAME      case, sheet, stand and deferral files, verbatim
    histories/CASE.npz    every history of a case

No name that comes from outside ever reaches a path as it is: :func:`safe_name` stands in between.
"""

from __future__ import annotations

import hashlib
import re

FORMAT = 1
PROGRAM = "leverproof"
LINES = "record.jsonl"
INPUTS = "inputs"
HISTORIES = "histories"
ENTRIES = frozenset({LINES, INPUTS, HISTORIES})

LARGEST_LINES = 512 * 1024 * 1024
LARGEST_LINE = 64 * 1024 * 1024
LARGEST_HISTORIES = 1024 * 1024 * 1024
LARGEST_META = 64 * 1024 * 1024

_SAFE = re.compile(r"^[A-Za-z0-9_][A-Za-z0-9._@-]{0,99}$")
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)(\..*)?$", re.IGNORECASE)


def safe_name(name: str) -> str:
    """A file name for ``name``: itself when it is harmless, else a cleaned one with eight hexadecimal
    digits of its SHA-256, so that different names stay different. Never empty, never with a separator,
    never ``.`` or ``..``."""
    if _SAFE.match(name) and not _RESERVED.match(name) and not name.endswith("."):
        return name
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    stem, dot, suffix = re.split(r"[/\\]", name)[-1].rpartition(".")
    if not dot:
        stem, suffix = suffix, ""
    clean = re.sub(r"[^A-Za-z0-9_-]+", "-", stem).strip("-")[:60] or "unnamed"
    tail = re.sub(r"[^A-Za-z0-9]+", "", suffix)[:10]
    return f"{clean}-{digest}.{tail}" if tail else f"{clean}-{digest}"


def histories_path(case_id: str) -> str:
    """Where the histories of a case lie, relative to the record."""
    return f"{HISTORIES}/{safe_name(case_id)}.npz"
