"""JSON text of messages, by ``orjson`` where it is installed (the extra ``fast``) and else by the standard
library.

Both write shortest round-trip decimals and read them correctly rounded, so every number is the same to the
last bit; only its spelling may differ (``1e16`` or ``1e+16``). Whatever the fast codec refuses goes to the
standard library, which therefore draws the line of what is a message for both.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from types import ModuleType
from typing import Any, NoReturn

import numpy as np

_orjson: ModuleType | None
try:
    import orjson as _orjson
except ImportError:
    _orjson = None

FAST = _orjson is not None
"""Whether the fast codec is installed."""


class BareWordError(ValueError):
    """``NaN`` or ``Infinity`` stood in a text as a bare word; the argument is the word."""


def _bare(word: str) -> NoReturn:
    raise BareWordError(word)


def _listed(value: object) -> Any:
    """Arrays as lists, for the standard library."""
    if isinstance(value, np.ndarray):
        return value.tolist()
    raise TypeError(f"a {type(value).__name__} is no part of a message")


def write_plain(message: dict[str, Any]) -> bytes:
    """One line of JSON without its end, by the standard library; raises :class:`ValueError` for a number that
    is not finite."""
    text = json.dumps(message, separators=(",", ":"), allow_nan=False, ensure_ascii=False, default=_listed)
    return text.encode("utf-8")


def read_plain(text: bytes) -> Any:
    """The value of a JSON text, by the standard library.

    Raises :class:`BareWordError`, :class:`RecursionError`, :class:`UnicodeDecodeError` for bytes that are not
    UTF-8, :class:`UnicodeEncodeError` for half a character and :class:`ValueError` for what is not JSON.
    """
    words = text.decode("utf-8")
    value = json.loads(words, parse_constant=_bare)
    if "\\u" in words:
        json.dumps(value, ensure_ascii=False).encode("utf-8")
    return value


def write_fast(message: dict[str, Any]) -> bytes:
    """As :func:`write_plain`, by ``orjson``; arrays of float64 go in whole."""
    assert _orjson is not None
    try:
        line: bytes = _orjson.dumps(message, option=_orjson.OPT_SERIALIZE_NUMPY)
    except TypeError:
        return write_plain(message)
    # It writes null for what is not finite, where the standard library refuses.
    return write_plain(message) if b"null" in line else line


def read_fast(text: bytes) -> Any:
    """As :func:`read_plain`, by ``orjson``."""
    assert _orjson is not None
    try:
        return _orjson.loads(text)
    except ValueError:
        return read_plain(text)


write: Callable[[dict[str, Any]], bytes] = write_fast if FAST else write_plain
read: Callable[[bytes], Any] = read_fast if FAST else read_plain
