"""Float64 frames: rows as raw numbers behind a line of JSON, for models that offer the capability
``float64_frames``.

The line is a request or a reply like any other, except that the rows are taken out: ``shape`` stands in their
place, and ``bytes`` beside ``id`` says how many bytes follow the line end. Those are the numbers of the rows in
the order of their indices, little-endian IEEE 754 binary64, without a separator and without a line end. Every bit
passes, NaN payloads included.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from leverproof.stand.port import Array
from leverproof.stand.wire import MOST_BYTES, MOST_NUMBERS, WireError, encode

CAPABILITY = "float64_frames"
WIDTH = 8
"""Bytes of a number."""
_LITTLE = np.dtype("<f8")


def frame(header: dict[str, Any], part: str, rows: Array) -> bytes:
    """One message: ``header`` with ``shape`` put into its object ``part``, and the numbers behind it."""
    numbers = np.ascontiguousarray(rows, dtype=_LITTLE)
    shaped = {**header, part: {**header[part], "shape": list(numbers.shape)}, "bytes": numbers.nbytes}
    return encode(shaped) + numbers.tobytes()


def frame_bytes(message: dict[str, Any]) -> int | None:
    """How many bytes follow the line of ``message``; None when it is no frame.

    Raises :class:`WireError` for a count that is not a whole number of float64 within the limits of a message.
    """
    if "bytes" not in message:
        return None
    count = message["bytes"]
    if not isinstance(count, int) or isinstance(count, bool) or count < 0 or count % WIDTH:
        raise WireError(f"bytes is {count!r}, not a whole number of float64")
    if count > min(MOST_BYTES, WIDTH * MOST_NUMBERS):
        raise WireError(f"a frame of {count:,} bytes, at most {WIDTH * MOST_NUMBERS:,} are allowed")
    return count


def unframe(payload: bytes, declared: object, shape: tuple[int, ...]) -> Array:
    """The array in ``payload``; raises :class:`WireError` unless ``declared`` is ``shape`` and the bytes fill
    it."""
    if not isinstance(declared, list) or any(isinstance(n, bool) for n in declared):
        raise WireError(f"shape is {declared!r}, expected {list(shape)}")
    if declared != list(shape):
        raise WireError(f"shape is {declared}, expected {list(shape)}")
    if len(payload) != WIDTH * math.prod(shape):
        raise WireError(f"{len(payload)} bytes for the shape {list(shape)}, expected {WIDTH * math.prod(shape)}")
    return np.frombuffer(payload, dtype=_LITTLE).astype(np.float64).reshape(shape)
