"""Taking a folder for a new record: an older record makes room, anything else is refused and stays as it
is."""

from __future__ import annotations

import json
import shutil
from contextlib import suppress
from pathlib import Path
from typing import IO

try:
    import fcntl
except ImportError:  # not on this system: two runs into one folder are then not kept apart
    fcntl = None  # type: ignore[assignment]

from leverproof.errors import UsageError
from leverproof.record.layout import ENTRIES, LINES, PROGRAM


def is_record(folder: Path) -> bool:
    """Whether ``folder`` holds a record, whole or not: its ``record.jsonl`` begins with our header."""
    try:
        with (folder / LINES).open("rb") as lines:
            first = json.loads(lines.readline(1024 * 1024))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(first, dict) and first.get("kind") == "header" and first.get("program") == PROGRAM


def hold(lines: IO[bytes]) -> None:
    """Marks a record as being written, until its lines are closed or the process ends, however it does. Where files
    cannot be locked nothing happens."""
    if fcntl is not None:
        with suppress(OSError):
            fcntl.flock(lines, fcntl.LOCK_EX | fcntl.LOCK_NB)


def being_written(folder: Path) -> bool:
    """Whether another run is still writing the record in ``folder``, see :func:`hold`."""
    if fcntl is None:
        return False
    with (folder / LINES).open("rb") as lines:
        try:
            fcntl.flock(lines, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        except OSError:
            return False
    return False


def take_folder(folder: Path) -> None:
    """Makes ``folder`` an empty folder of ours. An older record there becomes ``NAME.previous``, which
    replaces the older record of that name. Raises :class:`UsageError`, before anything has been touched,
    when something stands there that is not a record, or is one that another run is still writing."""
    folder = folder.absolute()
    try:
        if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
            raise _refused(folder, "a link" if folder.is_symlink() else "a file")
        if folder.is_dir() and any(folder.iterdir()):
            if not is_record(folder):
                raise _refused(folder, "a folder that holds something else")
            if being_written(folder):
                raise _refused(folder, "a record that another run is still writing")
            _set_aside(folder)
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as reason:
        raise UsageError(
            f"cannot put a record there: {reason.strerror or reason}",
            str(folder),
            "name another folder with --out",
        ) from None


def _set_aside(folder: Path) -> None:
    previous = folder.with_name(folder.name + ".previous")
    if previous.is_symlink() or previous.exists():
        foreign = [] if not previous.is_dir() else sorted(e.name for e in previous.iterdir() if e.name not in ENTRIES)
        if previous.is_symlink() or not is_record(previous):
            raise _refused(previous, "not a record")
        if foreign:
            raise _refused(previous, f"a record, but also holds {foreign[0]!r}")
        shutil.rmtree(previous)
    folder.rename(previous)


def _refused(folder: Path, what: str) -> UsageError:
    return UsageError(
        f"this is {what}; it was left untouched",
        str(folder),
        "name another folder with --out" if "still" in what else "move it away, or name another folder with --out",
        "not_a_record",
    )
