"""What the pages say is so: keys, tables, transcript, examples, links and commands."""

from __future__ import annotations

import importlib.util
import json
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import leverproof_adapters
from leverproof.cases.loader import parse_case
from leverproof.channels import CHANNELS
from leverproof.cli import main as cli
from leverproof.judge.endings import ENDINGS
from leverproof.quantities import UNITS
from leverproof.reference_data import reference_data
from leverproof.report.fold import EXITS
from leverproof.sheet.vocabulary import HARDWARE
from leverproof.stand.mount import mount
from leverproof.stand.port import Start
from leverproof.stand.stand_file import parse_stand_file, read_stand_file

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([*DOCS.rglob("*.md"), ROOT / "README.md", ROOT / "DEVELOPERS.md"])
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def page(name: str) -> str:
    return (DOCS / name).read_text("utf-8")


def blocks(name: str, kind: str) -> list[str]:
    return [text for found, text in BLOCK.findall(page(name)) if found == kind]


def said(name: str) -> set[str]:
    """Every word that a page sets as code, outside its blocks."""
    text = BLOCK.sub("", page(name))
    return {word for code in re.findall(r"`([^`]+)`", text) for word in re.findall(r"[a-z_][a-z_0-9]*", code)}


def keys(schema: Any) -> Iterator[str]:
    """Every key of every object a schema describes."""
    if isinstance(schema, dict):
        properties = schema.get("properties")
        if isinstance(properties, dict):
            yield from (key for key in properties if isinstance(key, str))
        for value in schema.values():
            yield from keys(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from keys(value)


def words(schema: Any) -> Iterator[str]:
    """Every word that a schema lets a person choose."""
    if isinstance(schema, dict):
        for key in ("enum", "const"):
            found = schema.get(key, [])
            yield from (w for w in (found if isinstance(found, list) else [found]) if isinstance(w, str))
        for value in schema.values():
            yield from words(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from words(value)


@pytest.mark.parametrize(
    ("schema", "name"),
    [("case", "reference/cases.md"), ("sheet", "reference/sheets.md"), ("stand", "reference/stands.md")],
)
def test_every_key_and_word_of_a_format_is_on_its_page(schema: str, name: str) -> None:
    document = json.loads((reference_data() / "schemas" / f"{schema}.schema.json").read_text("utf-8"))
    asked = {*keys(document), *words(document)}
    assert len(asked) > 15
    assert asked - said(name) == set()


def test_hardware_words_and_channels_are_on_their_pages() -> None:
    hardware = {*HARDWARE, *(word for known in HARDWARE.values() for word in known)}
    assert hardware - said("reference/sheets.md") == set()
    rows = dict(
        re.findall(
            r"^\| `(\w+)` \| (?:lever|surrounding|reading) \| (\S+) \|", page("reference/stands.md"), re.M
        )
    )
    assert rows == {c.name: "-" if c.states else c.unit for c in CHANNELS.values()}
    assert set(rows.values()) - {"-"} <= set(UNITS)


def test_the_table_of_endings_is_the_programs() -> None:
    cells = re.findall(
        r"^\| ([a-z ]+) \| (yes|no|neither) \| (.*?) \| (\w+) \|$", page("explanation/judging.md"), re.M
    )
    passed = {"yes": True, "no": False, "neither": None}
    told = {
        verdict: (passed[p], code if code.isdigit() else None, junit) for verdict, p, code, junit in cells
    }
    real = {v: (e.passed, None if e.exit is None else str(e.exit), e.junit) for v, e in ENDINGS.items()}
    assert told == real


@pytest.mark.parametrize("name", ["README.md", "docs/reference/commands.md"])
def test_the_exit_codes_are_all_told(name: str) -> None:
    text = (ROOT / name).read_text("utf-8")
    told = re.findall(r"^\| (\d+) \|", text, re.M)
    assert [int(code) for code in told] == list(EXITS)


def test_every_option_of_every_command_is_told() -> None:
    listed = said("reference/commands.md") | set(re.findall(r"`(--[\w-]+)", page("reference/commands.md")))
    text = page("reference/commands.md")
    for command in cli._COMMANDS:
        assert re.search(rf"^## .*`(?:leverproof )?{command}\b", text, re.M), command
        lines = [command, "--help"]
        done = subprocess.run(
            [sys.executable, "-c", f"from leverproof.cli.main import main; main({lines!r})"],
            capture_output=True,
            text=True,
            check=True,
        )
        options = set(re.findall(r"(?<![\w-])--[a-z]+", done.stdout)) - {"--help"}
        assert options <= listed, command


@pytest.mark.parametrize("path", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    text = path.read_text("utf-8")
    assert text.startswith("# ")
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text):
        if not target.startswith("https:"):
            assert (path.parent / target).exists(), target


def test_the_readme_commands_are_found_by_their_marks() -> None:
    spec = importlib.util.spec_from_file_location("readme_command", ROOT / ".ci" / "readme_command.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    text = (ROOT / "README.md").read_text("utf-8")
    assert "leverproof run" in module.command("run", text)
    assert "pytest" in module.command("tests", text)
    for name, wrong in (("absent", text), ("tests", text + text), ("tests", text.replace("```sh", "~~~sh"))):
        with pytest.raises(LookupError, match=name):
            module.command(name, wrong)


@pytest.fixture(scope="module")
def corrie(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The C example, built in a folder of its own as its stand file says."""
    home = Path(leverproof_adapters.__file__).parent
    source = next(p / "examples" / "c_engine" for p in (home, home.parent) if (p / "examples").is_dir())
    folder = tmp_path_factory.mktemp("corrie")
    for file in source.iterdir():
        if file.is_file():
            (folder / file.name).write_bytes(file.read_bytes())
    build = shlex.split(read_stand_file(str(folder / "stand.toml")).build_hint)
    subprocess.run(build, cwd=folder, check=True, timeout=60)
    return folder / "corrie_c"


def test_the_transcript_is_what_the_program_answers(corrie: Path) -> None:
    lines = blocks("reference/protocol.md", "transcript")[0].splitlines()
    requests = [line[2:] for line in lines if line.startswith("> ")]
    told = [line[2:] for line in lines if line.startswith("< ")]
    assert len(requests) == len(told) == 6
    done = subprocess.run(
        [str(corrie)],
        input="\n".join(requests) + "\n",
        capture_output=True,
        text=True,
        timeout=30,
        check=True,
    )
    for expected, answer in zip(told, done.stdout.splitlines(), strict=True):
        if ",..." in expected:
            at = 0
            for part in expected.split(",..."):
                assert part in answer[at:], part
                at = answer.index(part, at) + len(part)
        else:
            assert_alike(json.loads(answer), json.loads(expected))


def assert_alike(one: Any, other: Any) -> None:
    """Equal in structure and words; numbers to what two C libraries may differ by."""
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        for key in one:
            assert_alike(one[key], other[key])
    elif isinstance(one, list):
        assert len(one) == len(other)
        for pair in zip(one, other, strict=True):
            assert_alike(*pair)
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-5)
    else:
        assert one == other


def test_the_case_in_the_how_to_is_a_case() -> None:
    case = parse_case(blocks("how-to/write-a-case.md", "toml")[0], "write-a-case.md")
    assert case.judgements[0].what == "difference"


def test_the_model_in_the_how_to_mounts_and_moves(tmp_path: Path) -> None:
    (tmp_path / "my_engine.py").write_text(
        max(blocks("how-to/mount-your-model.md", "python"), key=len), "utf-8"
    )
    stands = blocks("how-to/mount-your-model.md", "toml")
    assert tomllib.loads(stands[0])["kind"] == "stdio"
    parse_stand_file(stands[0], "stdio.toml")
    text = next(text for text in stands if "in_process" in text)
    stand = parse_stand_file(text, str(tmp_path / "my-engine.stand.toml"))
    with mount(stand, defect=None) as mounted:
        assert {"throttle"} <= set(mounted.available_inputs)
        assert {"manifold_pressure", "engine_speed"} <= set(mounted.available_outputs)
    spec = importlib.util.spec_from_file_location("my_engine", tmp_path / "my_engine.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    engine = module.factory({}, None)
    first = engine.initialise([Start("running", (0.0,))], 1800, ["throttle"], ["manifold_pressure"])
    later = engine.advance([0], np.ones((400, 1, 1)))
    assert first.shape == (1, 1) and later.shape == (400, 1, 1)
    assert first[0, 0] == pytest.approx(10.0)
    assert later[-1, 0, 0] == pytest.approx(29.0, abs=0.01)
