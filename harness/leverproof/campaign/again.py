"""Items that are flown again although they had a result: their first result stays in the files, and counts no more.

Beside the results lies ``again.jsonl``, only ever appended to: each line names items and the number of the last file of
results in which they do not count. So nothing is changed in place, and who looks finds both results.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from leverproof.campaign.lines import line_of, text_of
from leverproof.record.whole_write import append

AGAIN = "again.jsonl"


def set_aside(folder: Path, items: Iterable[str], upto: int) -> None:
    """Keeps that results of these items do not count in files up to that number. Raises :class:`OSError` where it
    cannot be kept; then they count as before."""
    with (folder / AGAIN).open("ab", buffering=0) as file:
        # A torn tail, as a kill leaves it, must not take the next line with it.
        append(file, b"\n" if file.tell() and not _ends(folder / AGAIN) else b"")
        append(file, line_of({"again": sorted(items), "upto": upto}))
        os.fsync(file.fileno())


def aside(folder: Path) -> dict[int, int]:
    """For each item that was set aside, by its id as a number, the number of the last file in which it does not
    count. A damaged line counts as not there."""
    try:
        lines = (folder / AGAIN).read_bytes().splitlines(keepends=True)
    except OSError:
        return {}
    found: dict[int, int] = {}
    for text in map(text_of, lines):
        items, upto = (text or {}).get("again"), (text or {}).get("upto")
        if isinstance(items, list) and type(upto) is int:
            for item in items:
                if isinstance(item, str) and 0 < len(item) <= 32 and set(item) <= set("0123456789abcdef"):
                    found[int(item, 16)] = max(upto, found.get(int(item, 16), 0))
    return found


def number_of(path: Path) -> int:
    """The number of a file of results; 0 for one that somebody has named otherwise."""
    return int(path.stem) if path.stem.isascii() and path.stem.isdecimal() else 0


def _ends(path: Path) -> bool:
    return path.read_bytes().endswith(b"\n")
