"""What each key of a case means: the descriptions of the published schema, found by the path of a key."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from leverproof.schema import load_schema

_CHOICES = ("allOf", "anyOf", "oneOf")
_BRANCHES = ("then", "else")


def key_meaning(path: Sequence[str | int], schema_name: str = "case") -> str:
    """The description of the key at ``path`` (names and array indices) in a schema; "" when it has none."""
    root = load_schema(schema_name)
    nodes = [root]
    for part in path:
        nodes = [inner for node in nodes for inner in _below(node, part, root)]
    return next((str(text) for node in nodes for text in _described(node, root)), "")


def _below(node: Any, part: str | int, root: dict[str, Any]) -> Iterator[Any]:
    for shape in _shapes(node, root):
        if isinstance(part, int):
            if "items" in shape:
                yield shape["items"]
        elif part in shape.get("properties", {}):
            yield shape["properties"][part]
        elif isinstance(shape.get("additionalProperties"), dict):
            yield shape["additionalProperties"]


def _described(node: Any, root: dict[str, Any]) -> Iterator[str]:
    if isinstance(node, dict) and node.get("description"):
        yield node["description"]
    for shape in _shapes(node, root):
        if shape.get("description"):
            yield shape["description"]


def _shapes(node: Any, root: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """A node and all that its references and choices lead to."""
    if not isinstance(node, dict):
        return
    yield node
    if "$ref" in node:
        target: Any = root
        for word in str(node["$ref"]).removeprefix("#/").split("/"):
            target = target[word]
        yield from _shapes(target, root)
    for choice in _CHOICES:
        for branch in node.get(choice, ()):
            yield from _shapes(branch, root)
    for name in _BRANCHES:
        yield from _shapes(node.get(name), root)
