"""Lines of keys, in all the ways TOML has of writing them."""

import pytest

from leverproof.errors import InputError
from leverproof.toml_file import key_text, line_of, parse_toml, place
from leverproof.toml_positions import positions

TEXT = '''\
# a comment with [brackets] and a = 1
title = """many
lines = 3
[not.a.table]
"""
plain.dotted."quoted key" = 1
list = [ 1, # one
  { a = 'x#y', b = [ 2,
    3 ] } ]

[table."a.b"]
key = "]"
[[run]]
name = 'first'
steps = [ { do = "set", throttle = 0.3 },
          { do = "seek", lever = "boost" } ]
[run.sub]
deep = { x = 1, y = { z = 2 } }
[[run]]
name = \'\'\'second
\'\'\'
last = 1979-05-27T07:32:00Z
[[run.part]]
p = 1
[[run.part]]
p = 2
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("plain", "dotted", "quoted key"), 6),
        (("list", 0), 7),
        (("list", 1, "a"), 8),
        (("list", 1, "b", 1), 9),
        (("table", "a.b", "key"), 12),
        (("run", 0), 13),
        (("run", 0, "steps", 0, "throttle"), 15),
        (("run", 0, "steps", 1, "lever"), 16),
        (("run", 0, "sub", "deep", "y", "z"), 18),
        (("run", 1, "name"), 20),
        (("run", 1, "last"), 22),
        (("run", 1, "part", 1, "p"), 26),
        (("run", 1, "absent"), 19),
        (("nowhere",), None),
    ],
)
def test_the_line_of_a_key(path: tuple[str | int, ...], line: int | None) -> None:
    parse_toml(TEXT, "the text is valid")
    assert line_of(TEXT, path) == line


def test_every_key_of_the_document_is_found() -> None:
    def paths(node: object, at: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
        if isinstance(node, dict):
            pairs = list(node.items())
        elif isinstance(node, list):
            pairs = list(enumerate(node))
        else:
            return []
        return [place_ for key, inner in pairs for place_ in [(*at, key), *paths(inner, (*at, key))]]

    found = positions(TEXT)
    assert [key_text(path) for path in paths(parse_toml(TEXT, "x")) if path not in found] == []


@pytest.mark.parametrize(
    "text", ["", "a", "= 1", "[", "[[", "a = [", 'a = "', "a = {", "]", '"""', "a.b.", "\x00"]
)
def test_text_that_is_not_toml_does_no_harm(text: str) -> None:
    assert line_of(text, ("b", 0)) is None


def test_places_are_written_as_people_write_them() -> None:
    assert key_text(("run", 0, "steps", 2, "lever")) == "run[0].steps[2].lever"
    assert place("f.toml", ("run", 1, "name"), TEXT) == "f.toml:20: run[1].name"
    assert place("f.toml", ("run", 1, "name")) == "f.toml: run[1].name"
    assert place("f.toml", (), TEXT) == "f.toml"


@pytest.mark.parametrize(
    ("text", "where"),
    [("a = [", "f"), ("a = 1\nb = @", "f:2:5"), ("a = " + "[" * 5000, "f"), ("a=1\na=2", "f:2")],
)
def test_a_syntax_error_has_its_line(text: str, where: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_toml(text, "f")
    assert caught.value.where.startswith(where)
    assert caught.value.code == "toml"
