"""Stand files: what is read, and every mistake told with file, line and key."""

from pathlib import Path

import pytest

from leverproof.errors import InputError
from leverproof.stand.port import ChannelMap, Deadlines
from leverproof.stand.stand_file import parse_stand_file, read_stand_file
from leverproof.toml_file import read_text

KINDS = ("in_process", "reference_engine", "stdio")
WHOLE = """\
format = 1
title = "Corrie-16 in C"
kind = "stdio"
command = ["./corrie", "-q"]
build_hint = "cc -o corrie corrie.c"
sheet = "corrie-16.sheet.toml"
engine = 2
grid_step = "0.025 s"
clock = "stepped"
deadlines = { start = "10 s", request = "1 min", row = "0.5 s" }
defect_argument = "--defect"

[channels.manifold_pressure]
name = "map"
unit = "kPa"
scale = 2

[options]
anything = [1, 2]

[defects.charge-ignores-pressure]
size = "large"
reason = "the charge forgets the manifold"
fires = ["split-lever-advantage"]
"""


def test_everything_written_is_read() -> None:
    stand = parse_stand_file(WHOLE, "s.toml", kinds=KINDS)
    assert (stand.title, stand.kind, stand.engine, stand.path) == ("Corrie-16 in C", "stdio", 2, "s.toml")
    assert stand.command == ("./corrie", "-q")
    assert stand.grid_step == "0.025 s"
    assert stand.deadlines == Deadlines(10.0, 60.0, 0.5)
    assert stand.channels == {"manifold_pressure": ChannelMap("map", "kPa", 2.0, 0.0)}
    assert stand.options == {"anything": [1, 2]}
    assert stand.defects["charge-ignores-pressure"]["fires"] == ["split-lever-advantage"]


def test_the_least_stand_file_has_the_documented_defaults() -> None:
    text = 'format = 1\ntitle = "t"\nkind = "reference_engine"\n'
    stand = parse_stand_file(text, "s.toml", kinds=KINDS)
    assert (stand.grid_step, stand.clock, stand.engine) == ("0.05 s", "stepped", 1)
    assert stand.deadlines == Deadlines(30.0, 5.0, 0.02)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("build_hint", "build_hnt", ["s.toml:5: build_hnt", "unknown key", "'build_hint'"]),
        ("[channels.manifold_pressure]", "[channels.manifold_presure]", [":13:", "'manifold_pressure'"]),
        ('unit = "kPa"', 'unit = "kpa"', ["s.toml:15: channels.manifold_pressure.unit", "'kPa'"]),
        (
            'unit = "kPa"',
            'unit = "rpm"',
            [":15:", "manifold_pressure is a pressure in inHg", "angular speed"],
        ),
        (
            "[channels.manifold_pressure]",
            '[channels.throttle]\nunit = "inHg"\n[channels.manifold_pressure]',
            [":14:", "throttle is a ratio, 'inHg' a unit of pressure"],
        ),
        ("scale = 2", "detents = { cut_off = 0, auto_rich = 1 }", [":16:", "no lever with named positions"]),
        (
            "[channels.manifold_pressure]",
            "[channels.mixture]\ndetents = { cut_off = 1, auto_rich = 1.0 }\n[channels.manifold_pressure]",
            [":14:", "two detents of mixture are one number"],
        ),
        (
            "[channels.manifold_pressure]",
            "[channels.mixture]\ndetents = { cut_of = 1, auto_rich = 2 }\n[channels.manifold_pressure]",
            [":14: channels.mixture.detents", "did you mean 'cut_off'?"],
        ),
        ("scale = 2", "scale = 0", [":16:", "a scale of 0"]),
        ("scale = 2", "scale = nan", [":16:", "not a finite number"]),
        ("scale = 2", "scale = -inf", [":16:", "not a finite number"]),
        ("scale = 2", 'scale = "2"', [":16:", "expected a number, found '2'"]),
        ("scale = 2", "scal = 2", [":16:", "unknown key 'scal'", "'scale'"]),
        ('"0.025 s"', '"0.03 s"', ["s.toml:8: grid_step", "does not divide 0.5 s"]),
        ('"0.025 s"', '"0 s"', ["s.toml:8: grid_step"]),
        ('"0.025 s"', '"0.025 kg"', ["s.toml:8: grid_step", "mass", "time"]),
        ('"0.025 s"', "0.025", ["s.toml:8: grid_step", "no unit"]),
        ('"stdio"', '"stdi"', ["s.toml:3: kind", "'stdio'"]),
        ('"stepped"', '"steped"', ["s.toml:9: clock", "'stepped'"]),
        ('"10 s"', '"-10 s"', ["s.toml:10: deadlines.start"]),
        ('"10 s"', '"10 rpm"', ["s.toml:10: deadlines.start", "angular speed"]),
        ("engine = 2", "engine = 2.5", ["s.toml:7: engine", "whole number"]),
        ("engine = 2", "engine = true", ["s.toml:7: engine", "whole number"]),
        ("format = 1", "format = 2", ["s.toml:1: format", "expected 1, found 2"]),
        ("format = 1\n", "", ["s.toml", "'format' is missing"]),
        ('command = ["./corrie", "-q"]\n', "", ["needs the key 'command'"]),
        (
            "[defects.charge-ignores-pressure]",
            "[defects.Charge]",
            [":21:", "unknown name 'Charge'", "hyphens"],
        ),
        ('size = "large"', 'size = "larg"', [":22:", "'large'"]),
        ('title = "Corrie-16 in C"', 'title = "', ["s.toml:2:", "not valid TOML"]),
        ('title = "Corrie-16 in C"', "kind = 3", ["s.toml:3:", "not valid TOML"]),
        ('title = "Corrie-16 in C"', 'title = ""', ["s.toml:2: title", "must not be empty"]),
    ],
)
def test_a_mistake_is_told_with_its_place(old: str, new: str, expected: list[str]) -> None:
    assert old in WHOLE
    with pytest.raises(InputError) as caught:
        parse_stand_file(WHOLE.replace(old, new, 1), "s.toml", kinds=KINDS)
    assert [word for word in expected if word not in str(caught.value)] == [], str(caught.value)


def test_a_discrete_channel_is_not_scaled() -> None:
    text = 'format = 1\ntitle = "t"\nkind = "stdio"\ncommand = ["x"]\n[channels.mixture]\nscale = 2.0\n'
    with pytest.raises(InputError, match="matched by name"):
        parse_stand_file(text, "s.toml", kinds=KINDS)


@pytest.mark.parametrize("target", ["", "engine.py", "engine.py:", ":make", "engine.py:two words"])
def test_a_target_names_file_and_factory(target: str) -> None:
    text = f'format = 1\ntitle = "t"\nkind = "in_process"\ntarget = "{target}"\n'
    with pytest.raises(InputError):
        parse_stand_file(text, "s.toml", kinds=KINDS)


def test_files_that_cannot_be_read_are_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such stand file"):
        read_stand_file(tmp_path / "absent.toml", kinds=KINDS)
    with pytest.raises(InputError, match="cannot read this stand file"):
        read_stand_file(tmp_path, kinds=KINDS)
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'format = 1\ntitle = "\xe9t\xe9"\n')
    with pytest.raises(InputError, match=r"latin\.toml:2: byte 0xe9 at column 10 is not UTF-8"):
        read_stand_file(latin, kinds=KINDS)
    long = tmp_path / "long.toml"
    long.write_bytes(b"#" * (4 * 1024 * 1024 + 1))
    with pytest.raises(InputError, match="more than the 4,194,304 bytes allowed"):
        read_stand_file(str(long), kinds=KINDS)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no device that never ends")
def test_a_file_without_end_is_told_before_it_is_read() -> None:
    with pytest.raises(InputError, match="more than the 4,194,304 bytes allowed"):
        read_text("/dev/zero")
