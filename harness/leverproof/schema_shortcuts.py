"""Shortcuts through a JSON schema: keywords that come to the same result as the validating library's own and pass over
what plainly fits. The library builds a validator for every value it looks at, which takes longer than looking.

What fails is left to the library, so that every error is its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from jsonschema.exceptions import ValidationError

Schema = dict[str, Any]
Keyword = Callable[[Any, Any, Any, Any], Iterator["ValidationError"]]

_HERE = "#/$defs/"
_TYPES: dict[str, tuple[type, ...]] = {"string": (str,), "number": (int, float), "boolean": (bool,)}
_SAY_NOTHING = frozenset({"description", "title", "default", "$comment"})
_OF_TEXT = frozenset({"minLength", "pattern"})


def shortcuts(schema: Schema) -> dict[str, Keyword]:
    """The keywords ``allOf``, ``properties`` and, where all references are to definitions of the same file, ``$ref``,
    for validators of this schema."""
    definitions: Schema = schema.get("$defs", {})
    if not all(reference.startswith(_HERE) for reference in _references(schema)):
        return {"allOf": _all_of, "properties": _properties({})}

    def ref(validator: Any, reference: str, instance: object, schema: object) -> Iterator[ValidationError]:
        yield from validator.descend(instance, definitions[reference.removeprefix(_HERE)])

    return {"allOf": _all_of, "properties": _properties(definitions), "$ref": ref}


def _references(node: object) -> Iterator[str]:
    """All references in a schema."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "$ref" and isinstance(value, str):
                yield value
            yield from _references(value)
    elif isinstance(node, list):
        for value in node:
            yield from _references(value)


def _properties(definitions: Schema) -> Keyword:
    """The keyword ``properties``: values that plainly fit are passed over."""

    def properties(
        validator: Any, members: dict[str, Schema], instance: object, schema: object
    ) -> Iterator[ValidationError]:
        if not isinstance(instance, dict):
            return
        for key, member in members.items():
            if key in instance:
                value = instance[key]
                if not _plainly_fits(value, member, definitions):
                    yield from validator.descend(value, member, path=key, schema_path=key)

    return properties


def _plainly_fits(value: object, schema: Schema | bool, definitions: Schema) -> bool:
    """Whether a text, number or truth value fits a schema of the simplest kind; false also where that is not known."""
    kind = type(value)
    if not isinstance(schema, dict):
        return schema is True
    if kind is dict or kind is list:
        return False
    for keyword, asked in schema.items():
        if keyword in _SAY_NOTHING:
            continue
        if keyword == "type":
            fits = any(kind in _TYPES.get(name, ()) for name in ([asked] if isinstance(asked, str) else asked))
        elif keyword == "enum":
            fits = kind is str and value in asked
        elif keyword == "const":
            fits = kind is str and value == asked
        elif keyword == "anyOf":
            fits = any(_plainly_fits(value, branch, definitions) for branch in asked)
        elif keyword == "$ref" and asked.startswith(_HERE) and asked.removeprefix(_HERE) in definitions:
            fits = _plainly_fits(value, definitions[asked.removeprefix(_HERE)], definitions)
        elif keyword in _OF_TEXT and kind is str:
            text = cast(str, value)
            fits = len(text) >= asked if keyword == "minLength" else _pattern(asked).search(text) is not None
        else:
            return False
        if not fits:
            return False
    return True


@cache
def _pattern(text: str) -> re.Pattern[str]:
    return re.compile(text)


def _all_of(validator: Any, members: list[Schema], instance: object, schema: object) -> Iterator[ValidationError]:
    """The keyword ``allOf``: a member that says only what holds where one word of the instance is a certain one is
    passed over where it is another. Kinds of steps and judgements are told apart that way."""
    if not isinstance(instance, dict):
        yield from (e for i, member in enumerate(members) for e in validator.descend(instance, member, schema_path=i))
        return
    for index, member in enumerate(members):
        asked = _word_asked(member)
        if asked is None:
            yield from validator.descend(instance, member, schema_path=index)
        elif instance.get(asked[0]) == asked[1]:
            for error in validator.descend(instance, member["then"], schema_path="then"):
                error.schema_path.appendleft(index)
                yield error


def _word_asked(member: Schema) -> tuple[str, str] | None:
    """Key and word of a member of the form "if KEY is WORD, then ...", and of no other."""
    condition = member.get("if") if isinstance(member, dict) else None
    if not isinstance(condition, dict) or len(member) != 2 or "then" not in member:
        return None
    if condition.keys() != {"properties", "required"} or len(condition["properties"]) != 1:
        return None
    ((key, rule),) = condition["properties"].items()
    word = rule.get("const") if isinstance(rule, dict) and rule.keys() <= {"const", "description"} else None
    if condition["required"] != [key] or not isinstance(word, str):
        return None
    return key, word
