"""Writing a record while a run goes on: every line is on disk before the next thing happens.

A run that dies leaves a record without a footer, which says of itself that it is incomplete.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from leverproof import __version__
from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.errors import UsageError
from leverproof.judge.model import Finding
from leverproof.record.folder import hold, take_folder
from leverproof.record.histories import pack
from leverproof.record.layout import FORMAT, INPUTS, LINES, PROGRAM, histories_path, safe_name
from leverproof.record.plain import to_plain
from leverproof.record.whole_write import append


class RecordWriter:
    """A record being written into ``folder``; use it in a ``with`` statement.

    ``header`` is plain data about the run; ``format``, ``program`` and ``version`` are added. Entering raises
    :class:`leverproof.errors.UsageError` when something that is not a record stands in the way, or a record that
    another run is still writing; either is left untouched. Every method raises it when the disk refuses a write: a
    line or a file that could not be written whole is taken back, so that what is there can still be read. Leaving
    without :meth:`close` leaves the record incomplete.
    """

    def __init__(self, folder: Path, header: Mapping[str, Any]) -> None:
        self.folder = folder
        self._header = dict(header)
        self._lines: IO[bytes] | None = None
        self._digest = hashlib.sha256()
        self._files: dict[str, dict[str, Any]] = {}
        self._counts: Counter[str] = Counter()
        self._closed = False

    def __enter__(self) -> RecordWriter:
        take_folder(self.folder)
        with self._told():
            # Unbuffered: what the disk refuses must not stay behind to be written later.
            self._lines = (self.folder / LINES).open("xb", buffering=0)
            hold(self._lines)
        own = {"format": FORMAT, "program": PROGRAM, "version": __version__}
        self._line("header", to_plain(own | {k: v for k, v in self._header.items() if k not in (*own, "kind")}))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._lines is not None:
            self._lines.close()
            self._lines = None

    def add_input(self, kind: str, name: str, text: str) -> str:
        """Keeps a file that was read, verbatim, and returns where, relative to the record. ``kind`` is
        ``case``, ``sheet``, ``stand`` or ``deferral``; ``name`` the path it was read from."""
        content = text.encode("utf-8", "surrogatepass")
        base = re.split(r"[/\\]", name)[-1] or "unnamed"
        path = f"{INPUTS}/{safe_name(kind)}/{safe_name(base)}"
        taken = {known.lower(): known for known in self._files}
        if path.lower() in taken:
            if self._files[taken[path.lower()]] == _sum(content):
                return taken[path.lower()]
            path = f"{INPUTS}/{safe_name(kind)}/{_with_digest(base, name + chr(0) + text)}"
        self._file(path, content)
        self.event("input", input=kind, name=name, file=path)
        return path

    def expectations(self, planned: Sequence[PlannedCase]) -> None:
        """What is expected, before the run: one line a case, with everything that judging needs."""
        for case in planned:
            self._line("expectations", {"case": to_plain(case, sparse=True)})

    def event(self, kind: str, **data: object) -> None:
        """Something that happened, such as ``handshake``, ``warning`` or ``trouble``; ``data`` is plain
        data."""
        self._line("event", {"event": kind, "data": to_plain(data)})

    def history(self, case_id: str, runs: Sequence[ConductedRun]) -> None:
        """All histories of a case, in one file that is whole as soon as it has its name. Call it before
        :meth:`findings` of that case."""
        self._file(histories_path(case_id), pack(runs))

    def findings(self, findings: Sequence[Finding]) -> None:
        """Findings, in the order they are to be reported."""
        for finding in findings:
            self._counts[finding.verdict] += 1
            self._line("finding", {"finding": to_plain(finding)})

    def close(self, ending: str, exit_code: int) -> None:
        """The footer: how the run ended, counts by verdict, and the SHA-256 of every file and of the lines
        above."""
        footer = {
            "ending": ending,
            "exit": exit_code,
            "counts": dict(sorted(self._counts.items())),
            "findings": self._counts.total(),
            "lines_sha256": self._digest.hexdigest(),
            "files": dict(sorted(self._files.items())),
        }
        self._line("footer", to_plain(footer))
        self._closed = True

    def _line(self, kind: str, data: Mapping[str, Any]) -> None:
        if self._lines is None or self._closed:
            raise RuntimeError("a record takes lines only between entering and its footer")
        text = json.dumps({"kind": kind, **data}, allow_nan=False, separators=(",", ":"))
        line = text.encode("ascii") + b"\n"
        with self._told():
            append(self._lines, line)
        self._digest.update(line)

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Turns a refusal of the disk into words."""
        try:
            yield
        except OSError as reason:
            raise UsageError(
                f"cannot write the record: {reason.strerror or reason}",
                str(self.folder),
                "make room, or name another folder with --out; what was written before is kept",
                "output",
            ) from None

    def _file(self, path: str, content: bytes) -> None:
        if self._lines is None or self._closed:
            raise RuntimeError("a record takes files only between entering and its footer")
        target = self.folder / path
        beside = target.with_name(target.name + ".part")
        with self._told():
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                beside.write_bytes(content)
                beside.replace(target)
            except OSError:
                beside.unlink(missing_ok=True)
                raise
        self._files[path] = _sum(content)


def _sum(content: bytes) -> dict[str, Any]:
    return {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}


def _with_digest(base: str, whole: str) -> str:
    """``base`` made different from its namesakes by a digest of everything about it."""
    digest = hashlib.sha256(whole.encode("utf-8", "surrogatepass")).hexdigest()[:12]
    stem, dot, suffix = safe_name(base).rpartition(".")
    return f"{stem}-{digest}.{suffix}" if dot else f"{suffix}-{digest}"
