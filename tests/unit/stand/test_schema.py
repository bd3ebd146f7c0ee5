"""Schema findings are told in one sentence, with the place and the nearest known word."""

import json
from typing import Any

import pytest

from leverproof.errors import InputError
from leverproof.reference_data import reference_data
from leverproof.schema import check, load_schema

ADVANCE: dict[str, Any] = {"id": 3, "method": "advance", "params": {"lanes": [0], "rows": [[[0.5, "NaN"]]]}}


def changed(**params: Any) -> dict[str, Any]:
    return {**ADVANCE, "params": {**ADVANCE["params"], **params}}


def test_a_document_that_fits_is_accepted() -> None:
    check(ADVANCE, "wire-request", "m")
    check(changed(newer=1), "wire-request", "m")


@pytest.mark.parametrize(
    ("document", "where", "word"),
    [
        ({**ADVANCE, "method": "advanc"}, "m: method", "did you mean 'advance'?"),
        ({**ADVANCE, "id": "3"}, "m: id", "expected a whole number, found '3'"),
        ({**ADVANCE, "id": 0}, "m: id", "must be at least 1"),
        ({"id": 1, "method": "reset"}, "m", "the key 'params' is missing"),
        (changed(lanes=[0, 0]), "m: params.lanes", "twice"),
        (changed(lanes=[]), "m: params.lanes", "must not be empty"),
        (changed(rows=[[[None]]]), "m: params.rows[0][0][0]", "None"),
        (changed(rows=[[[float("inf")]]]), "m: params.rows[0][0][0]", "not a finite number"),
        ([], "m", "expected a table, found a list"),
    ],
)
def test_what_does_not_fit_is_told_with_its_place(document: object, where: str, word: str) -> None:
    with pytest.raises(InputError) as caught:
        check(document, "wire-request", "m")
    assert caught.value.where == where
    assert word in str(caught.value)


def test_every_shipped_schema_is_a_schema() -> None:
    from jsonschema import Draft202012Validator

    names = [
        file.name for file in reference_data().joinpath("schemas").iterdir() if file.name.endswith(".json")
    ]
    assert {"stand.schema.json", "wire-request.schema.json", "wire-reply.schema.json"} <= set(names)
    for name in names:
        schema = load_schema(name.removesuffix(".schema.json"))
        Draft202012Validator.check_schema(schema)
        assert json.dumps(schema)
