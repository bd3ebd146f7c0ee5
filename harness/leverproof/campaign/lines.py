"""Lines with a checksum of their own: the first 16 digits of the SHA-256 of a text, a blank, the text, a line feed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

SUM = 16


def line_of(text: Mapping[str, Any]) -> bytes:
    """The line that keeps plain data. Raises :class:`ValueError` for a number that is not finite."""
    body = json.dumps(text, allow_nan=False, separators=(",", ":")).encode("ascii")
    return hashlib.sha256(body).hexdigest()[:SUM].encode("ascii") + b" " + body + b"\n"


def body_of(line: bytes) -> bytes | None:
    """The text of a line as it stands there; None unless it is whole and has its checksum."""
    if not line.endswith(b"\n") or line[SUM : SUM + 1] != b" ":
        return None
    body = line[SUM + 1 : -1]
    return body if hashlib.sha256(body).hexdigest()[:SUM].encode("ascii") == line[:SUM] else None


def text_of(line: bytes) -> dict[str, Any] | None:
    """The data in a line; None unless it is whole, has its checksum and holds an object."""
    body = body_of(line)
    if body is None:
        return None
    try:
        text = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return text if isinstance(text, dict) else None
