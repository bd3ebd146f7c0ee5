"""Holding a document against a JSON schema, and saying in one sentence what is wrong and where.

The schemas are files among the reference data, so that other tools can use them; references between them are
by file name. One validator a schema is built and reused: building one costs more than using it.
"""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING, Any

from leverproof.errors import InputError, nearest
from leverproof.reference_data import reference_data
from leverproof.schema_shortcuts import shortcuts
from leverproof.toml_file import place

if TYPE_CHECKING:
    from jsonschema.exceptions import ValidationError
    from jsonschema.protocols import Validator

Path = tuple[str | int, ...]

_DISCRIMINATORS = ("do", "what", "kind")
_UNKNOWN = ("additionalProperties", "unevaluatedProperties")
_TYPES = {
    "object": "a table",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}
_WRITTEN = {
    "object": "{ key = value }",
    "array": "[ first, second ]",
    "string": '"text in quotes"',
    "number": "12.5",
    "integer": "12",
    "boolean": "true",
}
_LIMITS = {
    "minimum": "at least",
    "maximum": "at most",
    "exclusiveMinimum": "above",
    "exclusiveMaximum": "below",
    "multipleOf": "a multiple of",
}
_COUNTS = {
    "minItems": "at least {} entries",
    "maxItems": "at most {} entries",
    "minLength": "at least {} characters",
    "maxLength": "at most {} characters",
    "minProperties": "at least {} keys",
    "maxProperties": "at most {} keys",
}


_ADVICE = {
    **dict.fromkeys(_LIMITS, "write a number within it"),
    **dict.fromkeys(_UNKNOWN, "remove it"),
    "minItems": "add what is missing, or leave the key out",
    "minLength": "write something, or leave the key out",
    "maxItems": "leave the rest out",
    "maxLength": "write it shorter",
    "minProperties": "add what is missing",
    "pattern": "write it as its schema says",
    "uniqueItems": "keep one of them",
    "required": "add it",
}
"""What to do where a schema says nothing of the key itself."""


def load_schema(name: str) -> dict[str, Any]:
    """The schema ``NAME.schema.json`` of the reference data."""
    file = reference_data().joinpath("schemas", f"{name}.schema.json")
    loaded: dict[str, Any] = json.loads(file.read_text("utf-8"))
    return loaded


@cache
def _validator(name: str) -> Validator:
    from jsonschema import Draft202012Validator, validators
    from referencing import Registry, Resource
    from referencing.jsonschema import DRAFT202012

    def retrieve(uri: str) -> Resource[Any]:
        file = uri.rsplit("/", 1)[-1].removesuffix(".schema.json")
        return Resource.from_contents(load_schema(file), default_specification=DRAFT202012)

    registry: Registry[Any] = Registry(retrieve=retrieve)  # type: ignore[call-arg]
    schema = load_schema(name)
    fast: type[Validator] = validators.extend(Draft202012Validator, shortcuts(schema))  # type: ignore[no-untyped-call]
    return fast(schema, registry=registry)


def check(document: object, schema_name: str, where: str, *, text: str | None = None) -> None:
    """Returns when ``document`` fits the schema ``NAME.schema.json``; numbers must be finite throughout.

    ``where`` is the file it was read from and ``text`` the text it was read from, which adds the line. Raises
    :class:`InputError` for the first thing wrong, with the nearest known key or word as hint.
    """
    for path in _non_finite(document):
        raise InputError("not a finite number", place(where, path, text), "write a finite number", "not_finite")
    errors = sorted(_validator(schema_name).iter_errors(document), key=_rank)  # type: ignore[arg-type]
    if errors:
        raise _sentence(_inmost(errors[0]), where, text)


def _non_finite(node: object, path: Path = ()) -> Iterator[Path]:
    if isinstance(node, float) and not math.isfinite(node):
        yield path
    elif isinstance(node, dict):
        for key, value in node.items():
            yield from _non_finite(value, (*path, key))
    elif isinstance(node, list):
        for index, value in enumerate(node):
            yield from _non_finite(value, (*path, index))


def _rank(error: ValidationError) -> tuple[bool, bool, int, str]:
    """A wrong format number explains everything else, and an unknown key explains a missing one."""
    path = list(error.absolute_path)
    unknown = error.validator in _UNKNOWN or "propertyNames" in error.schema_path
    return path != ["format"], not unknown, len(path), str(path)


def _inmost(error: ValidationError) -> ValidationError:
    """The error inside the branch of a choice that was meant: its discriminator fits, else the deepest."""
    while error.context and not _one_of_keys(error):
        by_branch: dict[Any, list[ValidationError]] = {}
        for inner in error.context:
            by_branch.setdefault(inner.schema_path[0], []).append(inner)
        error = min((min(group, key=_rank) for group in by_branch.values()), key=lambda e: _distance(e, by_branch))
    return error


def _one_of_keys(error: ValidationError) -> list[str]:
    """The keys of a choice of which one must be there and nothing more is said; empty for any other choice."""
    branches: Any = error.validator_value if error.validator in ("oneOf", "anyOf") else ()
    alone = all(isinstance(b, dict) and list(b) == ["required"] and len(b["required"]) == 1 for b in branches)
    return [branch["required"][0] for branch in branches] if alone else []


def _distance(error: ValidationError, by_branch: dict[Any, list[ValidationError]]) -> tuple[bool, bool, int]:
    group = by_branch[error.schema_path[0]]
    last = [list(inner.absolute_path)[-1:] for inner in group]
    other = any(place_ and place_[0] in _DISCRIMINATORS for place_ in last)
    wrong_type = any(inner.validator == "type" and not inner.path for inner in group)
    return other, wrong_type, -len(error.absolute_path)


def _sentence(error: ValidationError, where: str, text: str | None) -> InputError:
    path: Path = tuple(error.absolute_path)
    message, hint, code = f"does not fit: {error.message}", "", "schema"
    value: Any = error.validator_value
    found: Any = error.instance
    keyword = str(error.validator)
    if "propertyNames" in error.schema_path:
        path = (*path, str(found))
        known = [str(word) for word in value] if keyword == "enum" else []
        message, code = f"unknown name {_show(found)}", "unknown_key"
        hint = nearest(str(found), known) or _described(error)
    elif keyword in _UNKNOWN:
        known = _known_keys(error)
        key = _first_unknown(error, known)
        path = (*path, key)
        message, hint, code = f"unknown key {key!r}", nearest(key, known), "unknown_key"
    elif keys := _one_of_keys(error):
        named = " or ".join(repr(key) for key in keys)
        there = [key for key in keys if key in found]
        if there:
            message, hint = f"{' and '.join(repr(key) for key in there)} exclude one another", "keep one of them"
        else:
            message, hint, code = f"one of the keys {named} is missing", "add one of them", "missing_key"
    elif keyword == "required":
        key = next(name for name in value if name not in found)
        message, code = f"the key {key!r} is missing", "missing_key"
        hint = _meaning(error, key)
    elif keyword == "enum":
        words = [str(word) for word in value]
        message, code = f"{_show(found)} is not one of {', '.join(words)}", "unknown_word"
        hint = nearest(str(found), words)
        if len(words) == 1 or hint.startswith("known"):
            hint = _described(error) or "write one of these words"
    elif keyword == "const":
        message, hint = f"expected {_show(value)}, found {_show(found)}", _described(error) or f"write {_show(value)}"
    elif keyword == "type":
        kinds = [value] if isinstance(value, str) else value
        wanted = [_TYPES.get(name, name) for name in kinds]
        message, code = f"expected {' or '.join(wanted)}, found {_show(found)}", "type"
        hint = _described(error) or f"write it as {' or '.join(_WRITTEN.get(name, name) for name in kinds)}"
    elif keyword == "pattern":
        message = f"{_show(found)} is not of the form expected"
        hint = _described(error)
    elif keyword in _LIMITS:
        message = f"{_show(found)} must be {_LIMITS[keyword]} {_show(value)}"
    elif keyword in ("minLength", "minItems") and value == 1:
        message = "must not be empty"
    elif keyword in _COUNTS:
        message = f"expected {_COUNTS[keyword].format(value)}, found {len(found)}"
    elif keyword == "uniqueItems":
        message = "the same entry stands twice in this list"
    if not hint and keyword not in (*_UNKNOWN, "required"):
        # What is at least said of a key: what it is for.
        hint = _described(error)
    return InputError(message, place(where, path, text), hint or _ADVICE.get(keyword, ""), code)


def _known_keys(error: ValidationError) -> list[str]:
    schema = error.schema if isinstance(error.schema, dict) else {}
    known = set(schema.get("properties", {}))
    for part in ("allOf", "anyOf", "oneOf"):
        for branch in schema.get(part, ()):
            known |= set(branch.get("properties", {})) | set(branch.get("then", {}).get("properties", {}))
    known |= set(schema.get("then", {}).get("properties", {}))
    return sorted(known)


def _first_unknown(error: ValidationError, known: list[str]) -> str:
    """The key the error speaks of: the first it names that is not known."""
    instance: Any = error.instance
    keys = [str(key) for key in instance]
    named = [key for key in keys if f"'{key}'" in error.message]
    unknown = [key for key in named if key not in known] or named or [key for key in keys if key not in known]
    return unknown[0] if unknown else keys[0]


def _described(error: ValidationError) -> str:
    return str(error.schema.get("description", "")) if isinstance(error.schema, dict) else ""


def _meaning(error: ValidationError, key: str) -> str:
    schema = error.schema if isinstance(error.schema, dict) else {}
    described = schema.get("properties", {}).get(key, {})
    return str(described.get("description", "")) if isinstance(described, dict) else ""


def _show(value: object) -> str:
    """A value short enough for a message."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, datetime.date | datetime.time):
        return f"the date or time {value.isoformat()}"
    shown = repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."
