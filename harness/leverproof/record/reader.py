"""Reading a record as untrusted plain data: sizes first, then JSON, then types. Nothing is executed."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.errors import InputError, LeverproofError, ReproducibilityError
from leverproof.history import History
from leverproof.judge.model import VERDICTS, WEIGHTS, Deferral, Finding
from leverproof.record.histories import unpack
from leverproof.record.layout import (
    FORMAT,
    HISTORIES,
    INPUTS,
    LARGEST_HISTORIES,
    LARGEST_LINE,
    LARGEST_LINES,
    LINES,
    PROGRAM,
    histories_path,
)
from leverproof.record.plain import NotPlainError, from_plain
from leverproof.there import is_file

_NAME = "name the folder given to --out"


@dataclass(frozen=True, slots=True)
class Occurrence:
    """An event of the run: ``kind`` and its plain ``data``."""

    kind: str
    data: dict[str, Any]


@dataclass(frozen=True)
class Record:
    """A record as read. ``footer`` is None when the run ended before writing it: the record is incomplete.
    ``held`` has the content of its files by name where they were never on disk, as in a bundle; ``folder`` then only
    says where the record came from."""

    folder: Path
    header: dict[str, Any]
    expectations: tuple[PlannedCase, ...] = ()
    events: tuple[Occurrence, ...] = ()
    findings: tuple[Finding, ...] = ()
    footer: dict[str, Any] | None = None
    lines_sha256: str = field(default="", repr=False)
    held: Mapping[str, bytes] | None = field(default=None, repr=False)

    @property
    def complete(self) -> bool:
        """Whether the run reached its footer."""
        return self.footer is not None

    @property
    def ending(self) -> str:
        """How the run ended, in a word; ``incomplete`` without a footer."""
        return str(self.footer["ending"]) if self.footer is not None else "incomplete"

    def planned(self, case_id: str) -> PlannedCase | None:
        """What was planned for a case, or None when the record does not speak of it."""
        return next((p for p in self.expectations if p.case.id == case_id), None)

    def histories(self, case_id: str) -> dict[tuple[int, str], History]:
        """The histories of a case by (point index, run name); empty when it left none. Raises
        :class:`ReproducibilityError` when the file is damaged."""
        name = histories_path(case_id)
        content = self.content(name)
        return {} if content is None else unpack(content, case_id, str(self.folder / name))

    def content(self, name: str) -> bytes | None:
        """The bytes of the file ``name`` of the record, or None when there is no such file. Raises
        :class:`ReproducibilityError` when it is larger than any record's."""
        if self.held is not None:
            return self.held.get(name)
        path = self.folder / name
        try:
            there = path.is_file()
        except OSError as reason:
            raise _damaged(f"cannot be read ({reason.strerror or reason})", str(path)) from reason
        return _bounded(path, LARGEST_HISTORIES) if there else None

    def names(self) -> list[str]:
        """The names of the files that lie beside its lines, in order."""
        if self.held is not None:
            return sorted(set(self.held) - {LINES})
        return sorted(_present(self.folder))

    def conducted(self, case_id: str) -> tuple[ConductedRun, ...]:
        """The runs of a case as they were conducted, in planned order: what judging again starts from."""
        planned = self.planned(case_id)
        held = self.histories(case_id)
        programs = planned.programs if planned is not None else ()
        return tuple(ConductedRun(p, held[p.key[1:]]) for p in programs if p.key[1:] in held)

    def verify(self) -> None:
        """Returns when every line and file is as it was written. Raises :class:`ReproducibilityError`
        naming the first that is not, that is missing, or that nobody wrote."""
        where = str(self.folder / LINES)
        if self.footer is None:
            raise _damaged("it has no footer: the run did not end in order", where)
        if self.footer.get("lines_sha256") != self.lines_sha256:
            raise _damaged("its lines are not those that were written", where)
        if self.footer.get("counts") != dict(Counter(f.verdict for f in self.findings)):
            raise _damaged("its counts are not those of its findings", where)
        files: dict[str, dict[str, Any]] = self.footer["files"]
        present = self.names()
        for name in sorted({*files, *present}):
            path = str(self.folder / name)
            if name not in files:
                raise _damaged("this file is not part of the record", path)
            # A name in the footer is only a word of somebody's: nothing beside the record's own files is looked at.
            content = self.content(name) if name in present else None
            if content is None:
                raise _damaged("this file is missing", path)
            if hashlib.sha256(content).hexdigest() != files[name].get("sha256"):
                raise _damaged("this file is not as it was written", path)


def named(record: Record, part: str) -> dict[str, Any]:
    """What the header says of ``part``, ``stand`` or ``sheet``, by key; a mere text is its ``title``."""
    told = record.header.get(part)
    if isinstance(told, dict):
        return told
    return {"title": told} if told else {}


def _present(folder: Path) -> Iterator[str]:
    for part in (INPUTS, HISTORIES):
        for path in (folder / part).rglob("*"):
            if path.is_symlink() or not path.is_dir():
                yield path.relative_to(folder).as_posix()


def read_record(folder: Path) -> Record:
    """The record in ``folder``.

    A record without footer, or whose last line was cut off, is read as incomplete. Raises
    :class:`InputError` when there is no record, :class:`ReproducibilityError` with file and line when one
    cannot be read.
    """
    path = folder / LINES
    if not is_file(path):
        raise InputError("there is no record here", str(folder), _NAME, "no_record")
    return parse_record(_bounded(path, LARGEST_LINES), folder)


def parse_record(content: bytes, folder: Path, held: Mapping[str, bytes] | None = None) -> Record:
    """The record whose lines are ``content``; raises as :func:`read_record`. ``folder`` and ``held`` as in
    :class:`Record`."""
    path = folder / LINES
    parts = _Parts()
    lines = content.split(b"\n")
    for number, line in enumerate(lines[:-1], start=1):
        _take(parts, line, f"{path}:{number}")
    if parts.header is None:
        raise InputError("this is not a record of ours: it has no header", str(path), _NAME, "no_record")
    if parts.footer is not None and lines[-1]:
        raise _damaged("lines follow its footer", str(path))
    return Record(
        folder,
        parts.header,
        tuple(parts.expectations),
        tuple(parts.events),
        tuple(parts.findings),
        parts.footer,
        parts.digest.hexdigest(),
        held,
    )


class _Parts:
    """What has been read so far."""

    def __init__(self) -> None:
        self.header: dict[str, Any] | None = None
        self.expectations: list[PlannedCase] = []
        self.events: list[Occurrence] = []
        self.findings: list[Finding] = []
        self.footer: dict[str, Any] | None = None
        self.digest = hashlib.sha256()


def _take(parts: _Parts, line: bytes, where: str) -> None:
    if len(line) > LARGEST_LINE:
        raise _damaged(f"a line of {len(line):,} bytes", where)
    entry = _parse(line, where)
    kind = entry.pop("kind", None)
    if (parts.header is None) != (kind == "header"):
        raise _damaged("a header stands first, and only there", where)
    if parts.footer is not None:
        raise _damaged("lines follow its footer", where)
    if kind != "footer":
        parts.digest.update(line + b"\n")
    try:
        _place(parts, kind, entry, where)
    except (NotPlainError, KeyError, LeverproofError) as reason:
        if isinstance(reason, ReproducibilityError | InputError) and reason.where == where:
            raise
        raise _damaged(str(reason), where) from None


def _place(parts: _Parts, kind: object, entry: dict[str, Any], where: str) -> None:
    if kind == "header":
        parts.header = _our_header(entry, where)
    elif kind == "expectations":
        parts.expectations.append(from_plain(PlannedCase, entry["case"], "case"))
    elif kind == "event":
        parts.events.append(from_plain(Occurrence, {"kind": entry["event"], "data": entry["data"]}, "event"))
    elif kind == "finding":
        finding = from_plain(Finding, entry["finding"], "finding")
        if finding.verdict not in VERDICTS:
            raise _damaged(f"unknown verdict {finding.verdict!r}", where)
        if finding.weight not in WEIGHTS:
            raise _damaged(f"unknown weight {finding.weight!r}", where)
        parts.findings.append(finding)
    elif kind == "footer":
        parts.footer = from_plain(_Footer, entry, "footer").plain()
    else:
        raise _damaged(f"unknown kind of line {kind!r}", where)


_SHAPES: dict[str, Any] = {
    "request": dict[str, Any],
    "engines": dict[str, Any],
    "selected": tuple[str, ...],
    "subjects": tuple[str, ...],
    "command": tuple[str, ...],
    "ladder": dict[str, tuple[str, ...]],
    "deferrals": tuple[Deferral, ...],
    "stand": dict[str, Any] | str,
    "sheet": dict[str, Any] | str,
    "seed": int,
    "defect": str | None,
    "today": str,
}
"""What the parts of a header are, where they are there, so that nobody who looks into them has to ask."""


def _our_header(entry: dict[str, Any], where: str) -> dict[str, Any]:
    if entry.get("program") != PROGRAM:
        raise InputError("this is not a record of ours", where, _NAME, "no_record")
    if entry.get("format") != FORMAT:
        raise InputError(
            f"this record is of format {entry.get('format')!r}, not {FORMAT}",
            where,
            f"read it with the version that wrote it ({entry.get('version', 'unknown')})",
            "record_format",
        )
    for key, kind in _SHAPES.items():
        if key in entry:
            from_plain(kind, entry[key], f"{key} in its header")
    return entry


@dataclass(frozen=True, slots=True)
class _Footer:
    ending: str
    exit: int
    counts: dict[str, int]
    findings: int
    lines_sha256: str
    files: dict[str, dict[str, Any]]

    def plain(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__}


def _parse(line: bytes, where: str) -> dict[str, Any]:
    def refuse(word: str) -> NoReturn:
        raise ValueError(f"{word} is not a JSON number")

    try:
        entry = json.loads(line.decode("utf-8"), parse_constant=refuse)
    except (ValueError, RecursionError) as reason:
        raise _damaged(f"a line that is not JSON ({reason})", where) from None
    if not isinstance(entry, dict):
        raise _damaged("a line that is not an object", where)
    return entry


def _bounded(path: Path, largest: int) -> bytes:
    try:
        size = path.stat().st_size
        if size > largest:
            raise _damaged(f"{size:,} bytes are more than the {largest:,} allowed", str(path))
        return path.read_bytes()
    except OSError as reason:
        raise _damaged(f"cannot be read ({reason.strerror or reason})", str(path)) from None


def _damaged(what: str, where: str) -> ReproducibilityError:
    hint = "copy it again from where it was made, or run again"
    return ReproducibilityError(f"this record cannot be trusted: {what}", where, hint, "record")
