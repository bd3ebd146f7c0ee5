"""A model's fingerprint: SHA-256 of what it is made of, taken before it is mounted and before any point is drawn.

Files beside the stand file that it names are covered, and the source of the harness and of the adapter. What those
files load of their own (modules, tables, an interpreter found on the path) and a program at the other end of a socket
are not.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from leverproof.stand.adapters import find_adapter
from leverproof.stand.port import StandFile
from leverproof.stand.stand_file import folder_of
from leverproof.there import is_file

_HARNESS = "leverproof"


def fingerprint(stand: StandFile, text: str, *, defect: str | None) -> dict[str, Any]:
    """``sha256`` over all parts, with ``parts``: name and SHA-256 of each. Parts are the ``text`` of the stand file
    (none for the embedded engine), each file it names as target, in its command or among its options, the source of the
    harness and of the adapter, and the kind of stand with its target and the name of a seeded ``defect``. A file that
    cannot be read has the reason in place of its sum.

    Runs no code of the model; raises :class:`leverproof.errors.InputError` for an adapter that is not installed."""
    parts = {"stand file": _sum(text.encode("utf-8", "surrogatepass"))} if text else {}
    parts["target"] = _sum(f"{stand.kind} {stand.target} {defect or ''}".encode("utf-8", "surrogatepass"))
    for name, path in _files(stand, defect):
        try:
            with path.open("rb") as content:
                parts[name] = hashlib.file_digest(content, "sha256").hexdigest()
        except OSError as reason:
            parts[name] = f"not read: {reason.strerror}"
    adapter = find_adapter(stand.kind, f"{stand.path}: kind")
    for package in dict.fromkeys((_HARNESS, adapter.__module__.partition(".")[0])):
        parts[f"source of {package}"] = _source(package)
    whole = "".join(f"{name}\0{value}\0" for name, value in sorted(parts.items()))
    return {"sha256": _sum(whole.encode("utf-8", "surrogatepass")), "parts": parts}


def _files(stand: StandFile, defect: str | None) -> Iterator[tuple[str, Path]]:
    """Each file that the stand file names, once, with the word that names it."""
    seeded = stand.defects.get(defect or "", {}).get("target")
    words = [stand.target, stand.target.rpartition(":")[0], *stand.command, *stand.options.values(), seeded]
    for word in dict.fromkeys(word for word in words if isinstance(word, str) and word):
        path = Path(folder_of(stand)) / word
        # A word that is no name, such as a program given on the command line, is part of the stand file's text.
        if is_file(path):
            yield f"file {word}", path


def _source(package: str) -> str:
    """SHA-256 over every Python file of an installed package, or of the one module it is."""
    start = getattr(sys.modules.get(package), "__file__", None)
    if start is None:
        return "not found"
    top = Path(start)
    found = sorted(top.parent.rglob("*.py")) if top.name == "__init__.py" else [top]
    whole = hashlib.sha256()
    for path in found:
        whole.update(path.relative_to(top.parent).as_posix().encode() + b"\0" + _sum(path.read_bytes()).encode())
    return whole.hexdigest()


def _sum(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
