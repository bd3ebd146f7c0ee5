"""A bundle: a record in one file, with an index of what is in it, to be handed on and checked elsewhere.

    bundle.json           index: format, program, version, and size and SHA-256 of every other member
    record.jsonl          as in the record's folder
    inputs/KIND/NAME
    histories/CASE.npz

Nothing is signed: whoever changes a bundle can make a new index. What a bundle can show is that it agrees with itself.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from pathlib import Path

from leverproof import __version__
from leverproof.errors import InputError, ReproducibilityError
from leverproof.record.archive import LARGEST_ARCHIVE, Limits, read_archive, refused, write_archive
from leverproof.record.folder import is_record
from leverproof.record.histories import promised
from leverproof.record.layout import (
    HISTORIES,
    INPUTS,
    LARGEST_HISTORIES,
    LARGEST_LINES,
    LINES,
    PROGRAM,
    safe_name,
)
from leverproof.record.plain import NotPlainError, from_plain, to_plain
from leverproof.record.reader import Record, parse_record, read_record
from leverproof.there import is_file

FORMAT = 1
INDEX = "bundle.json"
LARGEST_INDEX = 16 * 1024 * 1024
LARGEST_INPUT = 16 * 1024 * 1024
LARGEST_UNPACKED = 2 * 1024 * 1024 * 1024
LARGEST_HISTORIES_RATIO = 300
"""Deflate level 1, with which histories are packed, shrinks even one number repeated no more than some 230-fold."""

_PLACES = re.compile(rf"(?:{INPUTS}/([^/\\]+)/([^/\\]+)|{HISTORIES}/([^/\\]+\.npz))")


@dataclass(frozen=True)
class Bundle:
    """A bundle as read: its members by name, SHA-256 of the file, and every member that is not as the index says, in
    words."""

    path: Path
    sha256: str
    members: dict[str, bytes]
    objections: tuple[str, ...]

    def record(self) -> Record:
        """The record in it, which stays in memory. Raises as :func:`leverproof.record.reader.read_record`."""
        held = {name: content for name, content in self.members.items() if name not in (INDEX, LINES)}
        return parse_record(self.members[LINES], self.path, held)


def bundle_of(folder: Path) -> bytes:
    """The bundle of the record in ``folder``. Raises as :func:`read_record` does, and
    :class:`leverproof.errors.ReproducibilityError` when the record is incomplete or not as it was written: what goes
    out is whole."""
    record = read_record(folder)
    record.verify()
    members = {LINES: (folder / LINES).read_bytes()}
    for name in record.names():
        if _largest(name) is None:
            raise InputError(f"{name!r} is no name of a record's file", str(folder), code="record")
        members[name] = record.content(name) or b""
    index = {"format": FORMAT, "program": PROGRAM, "version": __version__, "files": to_plain(_sums(members))}
    _check_histories(members, str(folder))
    members[INDEX] = (json.dumps(index, indent=1, sort_keys=True) + "\n").encode("ascii")
    return write_archive(members)


def read_bundle(path: Path) -> Bundle:
    """The bundle in the file ``path``. Raises :class:`InputError` for a file that is not one or is not to be
    unpacked."""
    content, members = read_archive(path, Limits(LARGEST_ARCHIVE, LARGEST_UNPACKED, _largest))
    for name in (INDEX, LINES):
        if name not in members:
            raise refused(f"it is no bundle: it holds no {name}", str(path))
    _check_histories(members, str(path))
    told = _index(members[INDEX], str(path))
    found = _sums({name: held for name, held in members.items() if name != INDEX})
    objections = []
    for name in sorted({*told, *found}):
        if name not in found:
            objections.append(f"{name}: named in the index and not there")
        elif name not in told:
            objections.append(f"{name}: not named in the index")
        elif told[name] != found[name]:
            objections.append(f"{name}: not as the index says")
    return Bundle(path, hashlib.sha256(content).hexdigest(), members, tuple(objections))


def _check_histories(members: dict[str, bytes], where: str) -> None:
    """Histories are archives themselves: what they promise to unpack to is held against limits, all of them together,
    because judging again needs them all."""
    sizes = {name: promised(content) for name, content in members.items() if name.endswith(".npz")}
    for name, (_, shrunk) in sizes.items():
        if shrunk > LARGEST_HISTORIES_RATIO:
            raise refused(f"{name!r} unpacks to more than {LARGEST_HISTORIES_RATIO} times its size", where)
    if sum(size for size, _ in sizes.values()) > LARGEST_HISTORIES:
        raise refused(f"its histories unpack to more than {LARGEST_HISTORIES:,} bytes", where)


def open_record(path: Path) -> Record:
    """The record in the folder ``path``, or in the bundle of that name, whose sums must be right. Raises as
    :func:`read_record` and :func:`read_bundle` do."""
    if not is_file(path):
        return read_record(path)
    if path.name == LINES and is_record(path.parent):
        raise InputError("these are the lines of a record", str(path), f"name its folder, {path.parent}", "no_record")
    bundle = read_bundle(path)
    if bundle.objections:
        raise ReproducibilityError(
            f"this bundle does not hold: {bundle.objections[0]}", str(path), "see what verify says of it", "record"
        )
    return bundle.record()


@dataclass(frozen=True, slots=True)
class _Sum:
    sha256: str
    bytes: int


@dataclass(frozen=True, slots=True)
class _Index:
    format: int
    program: str
    version: str
    files: dict[str, _Sum]


def _index(content: bytes, where: str) -> dict[str, _Sum]:
    try:
        index = from_plain(_Index, json.loads(content.decode("utf-8")), INDEX)
    except (NotPlainError, ValueError, RecursionError) as reason:
        raise refused(f"its index cannot be read ({reason})", where) from None
    if index.program != PROGRAM or index.format != FORMAT:
        raise refused(f"it is of {index.program[:40]!r}, format {index.format}, not of {PROGRAM!r}, {FORMAT}", where)
    return index.files


def _sums(members: dict[str, bytes]) -> dict[str, _Sum]:
    return {name: _Sum(hashlib.sha256(held).hexdigest(), len(held)) for name, held in sorted(members.items())}


def _largest(name: str) -> int | None:
    """The bytes that the member ``name`` may have; None where a bundle has no such member."""
    if name == INDEX:
        return LARGEST_INDEX
    if name == LINES:
        return LARGEST_LINES
    place = _PLACES.fullmatch(name)
    if place is None or any(part is not None and safe_name(part) != part for part in place.groups()):
        return None
    return LARGEST_HISTORIES if place.group(3) else LARGEST_INPUT
