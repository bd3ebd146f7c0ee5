"""Putting the line of a key into an error that names file and key."""

from __future__ import annotations

import re

from leverproof.errors import InputError
from leverproof.toml_file import line_of

_PART = re.compile(r"([A-Za-z0-9_-]+)|\[(\d+)\]")


def with_line(error: InputError, where: str, text: str) -> InputError:
    """The same error with the line of its key put after the file's name ``where``; ``text`` is the file's."""
    prefix = where + ": "
    if not error.where.startswith(prefix):
        return error
    key = error.where.removeprefix(prefix)
    path: list[str | int] = [int(number) if number else word for word, number in _PART.findall(key)]
    line = line_of(text, tuple(path))
    if line is None:
        return error
    return InputError(error.message, f"{where}:{line}: {key}", error.hint, error.code)
