"""The fast codec and the standard library read and write the same numbers and refuse the same texts."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from leverproof.stand import codec
from leverproof.stand.wire import WireError, decode, decode_numbers, encode, encode_numbers, wire_numbers

FLOATS = st.floats(width=64, allow_nan=False, allow_infinity=False)
NUMBERS = st.one_of(FLOATS, st.integers(-(2**70), 2**70))
JSON = st.recursive(
    st.one_of(NUMBERS, st.text(st.characters(exclude_categories=["Cs"])), st.booleans(), st.none()),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text("abc\u00e9\u2603", max_size=3), inner, max_size=4)
    ),
    max_leaves=12,
)


def same(one: Any, other: Any) -> bool:
    """Equal in structure, and numbers to the last bit, whether whole or not."""
    if isinstance(one, dict):
        return (
            isinstance(other, dict)
            and one.keys() == other.keys()
            and all(same(v, other[k]) for k, v in one.items())
        )
    if isinstance(one, list):
        return isinstance(other, list) and len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, int | float) and not isinstance(one, bool):
        return not isinstance(other, bool) and np.float64(one).tobytes() == np.float64(other).tobytes()
    return one == other and type(one) is type(other)


def test_the_fast_codec_is_installed_for_the_tests() -> None:
    assert codec.FAST
    assert (codec.write, codec.read) == (codec.write_fast, codec.read_fast)


@given(JSON)
def test_both_write_what_both_read(value: Any) -> None:
    message = {"id": 1, "params": value}
    for line in (codec.write_fast(message), codec.write_plain(message)):
        assert b"\n" not in line
        assert same(codec.read_fast(line), codec.read_plain(line))
        assert same(codec.read_plain(line), message)


@given(st.lists(st.floats(width=64), min_size=1, max_size=20))
def test_rows_are_the_same_to_the_last_bit(values: list[float]) -> None:
    rows = np.array(values).reshape(1, 1, -1)
    read = []
    for writer in (codec.write_fast, codec.write_plain):
        for reader in (codec.read_fast, codec.read_plain):
            line = writer({"rows": wire_numbers(rows)})
            array = decode_numbers(reader(line)["rows"], rows.shape, plain=True)
            read.append(np.where(np.isnan(array), math.nan, array).tobytes())
    assert set(read) == {np.where(np.isnan(rows), math.nan, rows).tobytes()}


@pytest.fixture(params=["fast", "plain"])
def chosen(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    name = str(request.param)
    monkeypatch.setattr(codec, "write", getattr(codec, f"write_{name}"))
    monkeypatch.setattr(codec, "read", getattr(codec, f"read_{name}"))
    return name


@pytest.mark.parametrize(
    ("line", "word"),
    [
        (b'{"a":NaN}', "bare word NaN"),
        (b'{"a":-Infinity}', "bare word -Infinity"),
        (b"{", "not JSON"),
        (b"[]", "not a JSON object"),
        (b"\xff{}", "byte 0xff at 0 is not UTF-8"),
        (b"[" * 100_000, "nested too deeply"),
        (b'{"a":"\\ud800"}', "half a character"),
        (b'{"a":1,}', "not JSON"),
        (b'{"a":01}', "not JSON"),
        (b"\xef\xbb\xbf{}", "not JSON"),
    ],
)
def test_both_refuse_the_same_in_the_same_words(chosen: str, line: bytes, word: str) -> None:
    with pytest.raises(WireError, match=word):
        decode(line)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, np.array([1.0, math.nan])])
def test_both_refuse_to_write_what_is_not_finite(chosen: str, value: object) -> None:
    with pytest.raises(ValueError, match=r"not JSON compliant|Out of range"):
        encode({"rows": [value], "a": "null"})


def test_numbers_beyond_64_bits_are_read(chosen: str) -> None:
    huge = decode(b'{"rows":[[1' + b"0" * 30 + b",1e400,-1e400,1e-400]]}")["rows"]
    assert decode_numbers(huge, (1, 4), plain=True).tolist() == [[1e30, math.inf, -math.inf, 0.0]]


def test_words_that_are_null_stay(chosen: str) -> None:
    message = {"a": None, "b": "null", "c": [[1.5]]}
    assert decode(encode(message)) == message


def test_what_is_no_part_of_a_message_is_a_type_error(chosen: str) -> None:
    with pytest.raises(TypeError):
        encode({"a": {1, 2}})


def test_finite_arrays_go_whole_and_others_as_words(chosen: str) -> None:
    assert decode(encode({"rows": wire_numbers(np.array([[1.0, -0.0]]))}))["rows"] == [[1.0, 0.0]]
    assert wire_numbers(np.array([math.nan])) == encode_numbers(np.array([math.nan])) == ["NaN"]
