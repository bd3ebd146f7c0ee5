"""The short way through a schema's choices finds what the library finds the long way, to the last error."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator, validators
from jsonschema.protocols import Validator

from leverproof import schema, schema_shortcuts
from leverproof.reference_data import reference_data


def spoilt(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The document, and it with one thing wrong in a step or in a judgement."""
    yield document
    for table, key in (("judgement", "what"), ("judgement", "channel"), ("judgement", "id")):
        for word in ("trend", "no such word", 3, None):
            changed = copy.deepcopy(document)
            changed[table][0][key] = word
            yield changed
    for key, word in (("do", "seek"), ("do", "hover"), ("do", []), ("for", -1), ("unheard_of", 1)):
        changed = copy.deepcopy(document)
        changed["run"][0]["steps"][-1][key] = word
        yield changed
    changed = copy.deepcopy(document)
    del changed["judgement"][0]["what"]
    changed["run"][0]["steps"][0] = "set"
    yield changed


def leaves(node: Any) -> Iterator[tuple[Any, Any]]:
    """Every value that is neither a table nor a list, as what holds it and its key there."""
    for key, value in node.items() if isinstance(node, dict) else enumerate(node):
        if isinstance(value, dict | list):
            yield from leaves(value)
        else:
            yield node, key


def errors(validator: Validator, document: object) -> list[str]:
    return sorted(
        json.dumps([list(e.absolute_path), e.message, str(e.validator)], default=str)
        for e in validator.iter_errors(document)  # type: ignore[arg-type]
    )


def test_the_short_way_finds_the_same_errors() -> None:
    short = schema._validator("case")
    long = Draft202012Validator(short.schema, registry=short._registry)  # type: ignore[attr-defined]
    found = 0
    folder = reference_data().joinpath("cases")
    for subject in ("boost", "response", "lights"):
        for file in folder.joinpath(subject).iterdir():
            for document in spoilt(tomllib.loads(file.read_text("utf-8"))):
                assert errors(short, document) == errors(long, document)
                found += bool(errors(long, document))
    assert found > 100


@pytest.mark.parametrize(("name", "folder"), [("case", "cases/boost"), ("sheet", "sheets")])
def test_the_short_way_finds_the_same_errors_in_every_value(name: str, folder: str) -> None:
    short = schema._validator(name)
    long = Draft202012Validator(short.schema, registry=short._registry)  # type: ignore[attr-defined]
    found = 0
    file = sorted(reference_data().joinpath(*folder.split("/")).iterdir(), key=lambda f: f.name)[0]
    document = tomllib.loads(file.read_text("utf-8"))
    for holder, key in list(leaves(document)):
        kept = holder[key]
        for other in (True, 3, -0.5, "", " ", "no such word", [], {}, None):
            holder[key] = other
            wrong = errors(long, document)
            assert errors(short, document) == wrong
            found += bool(wrong)
        holder[key] = kept
    assert found > 100


def test_the_short_way_knows_the_forms_of_a_schema_that_ours_do_not_use() -> None:
    told: dict[str, Any] = {
        "properties": {
            "any": True,
            "none": False,
            "number": {"type": ["number", "boolean"]},
            "whole": {"type": "integer"},
        },
        "allOf": [
            True,
            {"if": True, "then": {"required": ["any"]}},
            {"if": {"properties": {"any": True}, "required": ["any"]}, "then": {"required": ["number"]}},
            {"if": {"properties": {"any": {"const": 1}}, "required": ["any"]}, "then": {"required": ["whole"]}},
            {"if": {"properties": {"any": {"const": "x"}}, "required": ["any"]}, "then": False},
        ],
    }
    short = validators.extend(Draft202012Validator, schema_shortcuts.shortcuts(told))(told)  # type: ignore[no-untyped-call]
    long = Draft202012Validator(told)
    wrong = 0
    for value in (True, 1, 1.0, 1.5, "x", None, [], {}):
        for keys in (("any",), ("none",), ("any", "number"), ("any", "number", "whole"), ()):
            document = dict.fromkeys(keys, value)
            assert errors(short, document) == errors(long, document)
            wrong += bool(errors(long, document))
    assert wrong > 10
