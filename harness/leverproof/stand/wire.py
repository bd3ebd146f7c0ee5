"""The wire protocol, version 1: messages as lines of JSON, numbers as arrays.

UTF-8, one object a line, LF. Finite numbers are shortest round-trip decimals; non-finite ones the strings
``"NaN"``, ``"Infinity"`` and ``"-Infinity"``, because bare ones are not JSON. Whole arrays are handled by
numpy; number by number only where one of those strings is present.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from leverproof.stand import codec
from leverproof.stand.port import Array, Capabilities, Hello, Signal

PROTOCOL = 1
MOST_NUMBERS = 50_000
"""Numbers in one message: large enough that encoding, not the round trip, is what a batch costs."""
MOST_BYTES = 4 * 1024 * 1024
MOST_BANNER = 64 * 1024
FAILED = "crash"
"""Code of an error that tells of a failure of the model itself; every other code is a refusal."""

_WORDS = {"NaN": math.nan, "Infinity": math.inf, "-Infinity": -math.inf}


class WireError(ValueError):
    """A message that is not of the protocol; the text says what is wrong with it."""


def encode(message: dict[str, Any]) -> bytes:
    """A message as one line; numbers must be finite (see :func:`encode_numbers`), arrays of them may stand in it
    whole."""
    line = codec.write(message) + b"\n"
    if len(line) > MOST_BYTES:
        raise WireError(f"a message of {len(line):,} bytes, at most {MOST_BYTES:,} are allowed")
    return line


def decode(line: bytes) -> dict[str, Any]:
    """The object in one line; raises :class:`WireError` when it is not UTF-8, not JSON or not an object."""
    try:
        message = codec.read(line)
    except UnicodeDecodeError as reason:
        raise WireError(f"byte 0x{line[reason.start]:02x} at {reason.start} is not UTF-8") from None
    except codec.BareWordError as word:
        raise WireError(f'the bare word {word} is not JSON: non-finite numbers are strings such as "NaN"') from None
    except json.JSONDecodeError as reason:
        raise WireError(f"not JSON ({reason.msg} at character {reason.pos}): {_shown(line)}") from None
    except RecursionError:
        raise WireError("nested too deeply") from None
    except UnicodeEncodeError:
        raise WireError("an escape stands for half a character (a lone surrogate)") from None
    except ValueError as reason:
        raise WireError(f"not readable: {str(reason)[:80]}") from None
    if not isinstance(message, dict):
        raise WireError(f"not a JSON object: {_shown(line)}")
    return message


def _shown(line: bytes) -> str:
    return repr(line.decode("utf-8", "replace")[:80])


def wire_numbers(array: Array) -> Array | list[Any]:
    """``array`` as :func:`encode` takes it quickest: whole while all of it is finite, else
    :func:`encode_numbers`."""
    return np.ascontiguousarray(array) if np.isfinite(array).all() else encode_numbers(array)


def encode_numbers(array: Array) -> list[Any]:
    """Nested lists of ``array`` for :func:`encode`."""
    if np.isfinite(array).all():
        plain: list[Any] = array.tolist()
        return plain
    mixed = array.astype(object)
    mixed[np.isnan(array)] = "NaN"
    mixed[np.isposinf(array)] = "Infinity"
    mixed[np.isneginf(array)] = "-Infinity"
    named: list[Any] = mixed.tolist()
    return named


def decode_numbers(value: object, shape: tuple[int, ...], *, plain: bool) -> Array:
    """The array in nested lists of numbers, of exactly ``shape``.

    ``plain`` tells that the line held neither ``true`` nor ``false``, which numpy would take for 1 and 0.
    Raises :class:`WireError` naming the first place that does not fit.
    """
    if plain and isinstance(value, list):
        try:
            array = np.array(value)
        except (ValueError, OverflowError):
            pass
        else:
            if array.shape == shape and array.dtype.kind in "iuf":
                return array.astype(np.float64)
    numbers = np.fromiter(_numbers(value, shape, ()), dtype=np.float64, count=math.prod(shape))
    return numbers.reshape(shape)


_AXES = {2: ("lanes", "columns"), 3: ("rows", "lanes", "columns"), 1: ("columns",)}


def _numbers(value: object, shape: tuple[int, ...], at: tuple[int, ...]) -> Iterator[float]:
    depth = len(at)
    if depth == len(shape):
        yield _number(value, at)
        return
    place = "".join(f"[{index}]" for index in at)
    if not isinstance(value, list):
        raise WireError(f"rows{place} is not a list")
    if len(value) != shape[depth]:
        raise WireError(f"rows{place} has {len(value)} {_AXES[len(shape)][depth]}, expected {shape[depth]}")
    for index, inner in enumerate(value):
        yield from _numbers(inner, shape, (*at, index))


def _number(value: object, at: tuple[int, ...]) -> float:
    if isinstance(value, float):
        return value
    return decode_number(value, "rows" + "".join(f"[{index}]" for index in at))


def encode_number(value: float) -> float | str:
    """One number for :func:`encode`."""
    if math.isfinite(value):
        return value
    return "NaN" if math.isnan(value) else "Infinity" if value > 0.0 else "-Infinity"


def decode_number(value: object, what: str) -> float:
    """The number that ``value`` stands for; raises :class:`WireError` with ``what`` it should have been."""
    if isinstance(value, str) and value in _WORDS:
        return _WORDS[value]
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            return math.inf if value > 0 else -math.inf
    raise WireError(f"{what} is {json.dumps(value)[:40]}, not a number")


def hello_result(said: Hello) -> dict[str, Any]:
    """The result of ``hello`` on the wire."""
    can = said.capabilities
    return {
        "protocol": PROTOCOL,
        "model": {"name": said.model, "version": said.version},
        "derived_from": said.derived_from,
        "inputs": [_signal(signal) for signal in said.inputs],
        "outputs": [_signal(signal) for signal in said.outputs],
        "capabilities": {
            name: held for name in Capabilities.__dataclass_fields__ if (held := getattr(can, name)) is not None
        },
    }


def _signal(signal: Signal) -> dict[str, Any]:
    entry: dict[str, Any] = {"name": signal.name, "unit": signal.unit}
    if signal.states:
        entry["states"] = list(signal.states)
    return entry


def read_hello(result: dict[str, Any], warnings: tuple[str, ...] = ()) -> Hello:
    """The description in a result of ``hello`` that fits the schema ``wire-hello-result``; unknown keys are
    ignored."""
    can = result.get("capabilities", {})
    # Few models on their own clock can be put back; one that does not say so is not asked to.
    absent = {"reset": False} if can.get("clock") == "free_running" else {}
    known = absent | {name: can[name] for name in Capabilities.__dataclass_fields__ if name in can}
    return Hello(
        model=result["model"]["name"],
        version=result["model"]["version"],
        inputs=tuple(_read_signal(entry) for entry in result["inputs"]),
        outputs=tuple(_read_signal(entry) for entry in result["outputs"]),
        capabilities=Capabilities(**known),
        derived_from=result.get("derived_from", ""),
        warnings=warnings,
    )


def _read_signal(entry: dict[str, Any]) -> Signal:
    return Signal(entry["name"], entry["unit"], tuple(entry.get("states", ())))
