"""Writing to a file that is only ever appended to."""

from __future__ import annotations

from typing import IO


def append(file: IO[bytes], content: bytes) -> None:
    """Writes all of it or nothing into a file without a buffer; raises :class:`OSError` for nothing."""
    begun, rest = file.tell(), memoryview(content)
    try:
        while rest:
            rest = rest[file.write(rest) :]
    except OSError:
        file.truncate(begun)
        file.seek(begun)
        raise
