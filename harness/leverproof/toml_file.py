"""Reading what people write: TOML files, with every failure placed by file, line and key.

``tomllib`` keeps no positions, so a small scanner finds the line of a key. It runs only after a failure, on
text that ``tomllib`` has accepted already.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from importlib.abc import Traversable
from pathlib import Path
from typing import Any

from leverproof.errors import InputError
from leverproof.toml_positions import positions

KeyPath = Sequence[str | int]

_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_BARE = re.compile(r"^[A-Za-z0-9_-]+$")
_LARGEST = 4 * 1024 * 1024


def read_text(source: Traversable | str, *, what: str = "file") -> str:
    """The text of a UTF-8 file of at most 4 MiB; ``what`` names it in the message.

    Raises :class:`InputError` when it is missing, a folder, unreadable, too long or not UTF-8.
    """
    path: Traversable = Path(source) if isinstance(source, str) else source
    where = str(path)
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST + 1)
    except FileNotFoundError:
        raise InputError(f"no such {what}", where, "check the path", "missing_file") from None
    except (IsADirectoryError, PermissionError, NotADirectoryError, OSError, ValueError) as reason:
        words = f"cannot read this {what}: {_reason(reason)}"
        raise InputError(words, where, "name a file that can be read", "unreadable_file") from None
    if len(data) > _LARGEST:
        words = f"more than the {_LARGEST:,} bytes allowed"
        raise InputError(words, where, f"this is no {what} that a person wrote: name another", "file_size")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as reason:
        line = data.count(b"\n", 0, reason.start) + 1
        column = reason.start - (data.rfind(b"\n", 0, reason.start) + 1) + 1
        raise InputError(
            f"byte 0x{data[reason.start]:02x} at column {column} is not UTF-8",
            f"{where}:{line}",
            "save the file with UTF-8 encoding",
            "encoding",
        ) from None


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__


def parse_toml(text: str, where: str) -> dict[str, Any]:
    """The document in ``text``; ``where`` is the file it came from.

    Raises :class:`InputError` with line and column when it is not TOML.
    """
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as reason:
        said = str(reason)
        match = _AT.search(said)
        place = where
        if match and match.group(1):
            place = f"{where}:{match.group(1)}:{match.group(2)}"
        elif match:
            place = f"{where}:{text.count(chr(10)) + 1}"
        message = _AT.sub("", said).strip()
        message = message[:1].lower() + message[1:] if message else "not TOML"
        raise InputError(f"not valid TOML: {message}", place, "correct the line named", "toml") from None
    except RecursionError:
        raise InputError("nested too deeply to be read", where, "write it flatter", "toml") from None
    except ValueError as reason:
        raise InputError(f"not valid TOML: {reason}", where, "correct what is named", "toml") from None


def read_toml(source: Traversable | str) -> dict[str, Any]:
    """The document in a TOML file; raises :class:`InputError` naming file, line and column."""
    return parse_toml(read_text(source), str(source))


def key_text(path: KeyPath) -> str:
    """A key path as people write it: ``("run", 0, "steps", 2, "lever")`` is ``run[0].steps[2].lever``."""
    out = ""
    for part in path:
        if isinstance(part, int):
            out += f"[{part}]"
        else:
            word = part if _BARE.match(part) else '"' + part.replace('"', '\\"') + '"'
            out += f".{word}" if out else word
    return out


def line_of(text: str, path: KeyPath) -> int | None:
    """Line, counted from 1, where the key at ``path`` (names and array indices) stands.

    When the key itself is not in the text (a missing one), the line of the nearest table around it; None
    when even that is not found.
    """
    found = positions(text.removeprefix("\ufeff"))
    whole = tuple(path)
    for end in range(len(whole), 0, -1):
        line = found.get(whole[:end])
        if line is not None:
            return line
    return None


def place(where: str, path: KeyPath, text: str | None = None) -> str:
    """``FILE:LINE: key.path``, without the line when ``text`` is not given or the key is not found in it."""
    line = line_of(text, path) if text is not None and path else None
    start = where if line is None else f"{where}:{line}"
    return f"{start}: {key_text(path)}" if path else start
