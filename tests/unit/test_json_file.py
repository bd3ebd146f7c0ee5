"""JSON that is none is refused where it is none."""

from __future__ import annotations

import pytest

from leverproof.errors import InputError
from leverproof.json_file import parse_json


@pytest.mark.parametrize(
    ("text", "where"),
    [("", "k.json:1:1"), ('{"a": 1,\n', "k.json:2:1"), ('{"a":' * 20_000, "k.json"), ("9" * 5_000, "k.json")],
)
def test_what_is_no_json_is_refused_with_its_place(text: str, where: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_json(text, "k.json")
    assert caught.value.where == where
    assert caught.value.hint


def test_a_mark_of_byte_order_does_no_harm() -> None:
    assert parse_json('\ufeff{"a": 1}', "k.json") == {"a": 1}
