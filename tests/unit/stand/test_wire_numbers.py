"""Numbers keep every bit over the wire."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leverproof.stand.wire import MOST_BYTES, WireError, decode, decode_numbers, encode, encode_numbers

FLOATS = st.floats(width=64, allow_nan=True, allow_infinity=True)


@given(st.lists(st.tuples(FLOATS, FLOATS, FLOATS), min_size=1, max_size=8))
def test_numbers_survive_to_the_last_bit(rows: list[tuple[float, float, float]]) -> None:
    sent = np.array(rows).reshape(len(rows), 1, 3)
    line = encode({"rows": encode_numbers(sent)})
    read = decode_numbers(decode(line)["rows"], sent.shape, plain=True)
    finite = np.isfinite(sent)
    assert read[finite].tobytes() == sent[finite].tobytes()
    np.testing.assert_array_equal(read, sent)


def test_whole_numbers_are_numbers() -> None:
    read = decode_numbers([[1, 2.5], [10**25, 2**63]], (2, 2), plain=True)
    assert read.tolist() == [[1.0, 2.5], [1e25, 2.0**63]]
    assert decode_numbers([[10**400, -(10**400)]], (1, 2), plain=True).tolist() == [[math.inf, -math.inf]]


@pytest.mark.parametrize("value", [True, None, "1.5", "nan", {}, [1.0], "inf"])
def test_anything_else_is_no_number(value: object) -> None:
    line = encode({"rows": [[1.0, value]]})
    plain = b"true" not in line
    with pytest.raises(WireError, match=r"rows\[0\]\[1\] is .*, not a number"):
        decode_numbers(decode(line)["rows"], (1, 2), plain=plain)


@pytest.mark.parametrize("rows", [[[1.0]], [[1.0, 2.0], [3.0]], [1.0, 2.0], {}, None, [[1.0, 2.0, 3.0]]])
def test_another_shape_is_refused(rows: object) -> None:
    with pytest.raises(WireError):
        decode_numbers(rows, (1, 2), plain=True)


@pytest.mark.parametrize(
    "line",
    [
        b'{"a":NaN}',
        b'{"a":-Infinity}',
        b"{",
        b"[]",
        b"\xff",
        b"[" * 100_000,
        b'{"a":"\\ud800"}',
        b'{"a":' + b"1" * 5000 + b"}",
    ],
)
def test_lines_that_are_no_message_are_refused(line: bytes) -> None:
    with pytest.raises(WireError):
        decode(line)


def test_a_message_beyond_the_limit_is_not_sent() -> None:
    with pytest.raises(WireError, match="at most 4,194,304"):
        encode({"a": "x" * MOST_BYTES})


def test_lines_are_plain_json_with_shortest_numbers() -> None:
    line = encode({"rows": encode_numbers(np.array([0.1, 1e-300, math.nan, math.inf, -math.inf]))})
    assert line.endswith(b"\n")
    assert json.loads(line)["rows"] == [0.1, 1e-300, "NaN", "Infinity", "-Infinity"]
    assert b"[0.1,1e-300," in line
