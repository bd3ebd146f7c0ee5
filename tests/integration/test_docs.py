"""What the pages say is so: keys, tables, transcript, examples, links and commands."""

from __future__ import annotations

import importlib.util
import json
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import leverproof_adapters
from leverproof.campaign.plan_file import parse_plan
from leverproof.cases.loader import parse_case
from leverproof.channels import CHANNELS
from leverproof.cli import main as cli
from leverproof.errors import InputError
from leverproof.judge.endings import ENDINGS
from leverproof.quantities import UNITS
from leverproof.reference_data import reference_data
from leverproof.report.fold import EXITS
from leverproof.schema import check
from leverproof.sheet.vocabulary import HARDWARE
from leverproof.stand.adapters import find_adapter, installed_kinds
from leverproof.stand.authoring.examples import installed_examples
from leverproof.stand.authoring.questions import QUESTIONS
from leverproof.stand.port import StandFile
from leverproof.stand.shakedown import shakedown
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
    [
        ("case", "reference/cases.md"),
        ("sheet", "reference/sheets.md"),
        ("stand", "reference/stands.md"),
        ("by-eye", "reference/commands.md"),
        ("deferrals", "reference/deferrals.md"),
        ("campaign", "reference/campaigns.md"),
    ],
)
def test_every_key_and_word_of_a_format_is_on_its_page(schema: str, name: str) -> None:
    document = json.loads((reference_data() / "schemas" / f"{schema}.schema.json").read_text("utf-8"))
    asked = {*keys(document), *words(document)}
    assert len(asked) >= 10
    assert asked - said(name) == set()


def test_hardware_words_and_channels_are_on_their_pages() -> None:
    hardware = {*HARDWARE, *(word for known in HARDWARE.values() for word in known)}
    assert hardware - said("reference/sheets.md") == set()
    rows = dict(
        re.findall(
            r"^\| `(\w+)` \| (?:lever|surrounding|reading|other lever) \| (\S+) \|", page("reference/stands.md"), re.M
        )
    )
    assert rows == {c.name: "-" if c.states else c.unit for c in CHANNELS.values()}
    assert set(rows.values()) - {"-"} <= set(UNITS)


def test_the_table_of_endings_is_the_programs() -> None:
    cells = re.findall(r"^\| ([a-z ]+) \| (yes|no|neither) \| (.*?) \| (\w+) \|$", page("explanation/judging.md"), re.M)
    passed = {"yes": True, "no": False, "neither": None}
    told = {verdict: (passed[p], code if code.isdigit() else None, junit) for verdict, p, code, junit in cells}
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
        options = set(re.findall(r"(?<![\w-])--[a-z]+(?:-[a-z]+)*", done.stdout)) - {"--help"}
        assert options <= listed, command


@pytest.mark.parametrize("path", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    text = path.read_text("utf-8")
    assert text.startswith("# ")
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", BLOCK.sub("", text)):
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


def test_requests_and_answers_of_the_transcript_fit_their_schemas(corrie: Path) -> None:
    lines = blocks("reference/protocol.md", "transcript")[0].splitlines()
    requests = [json.loads(line[2:]) for line in lines if line.startswith("> ")]
    assert [r["method"] for r in requests] == ["hello", "initialise", "advance", "advance", "reset", "close"]
    sent = "".join(json.dumps(request) + "\n" for request in requests)
    done = subprocess.run([str(corrie)], input=sent, capture_output=True, text=True, timeout=30, check=True)
    for request, line in zip(requests, done.stdout.splitlines(), strict=True):
        check(request, "wire-request", "request")
        reply = json.loads(line)
        check(reply, "wire-reply", "reply")
        if "result" in reply and request["method"] in ("hello", "initialise", "advance"):
            check(reply["result"], f"wire-{request['method']}-result", "result")


def rows_of_options(name: str) -> dict[str, set[str]]:
    """The options by kind of the table ``| kinds | options | meaning |`` of a page."""
    found: dict[str, set[str]] = {}
    for kinds, options in re.findall(r"^\| (`[a-z_]+`(?:, `[a-z_]+`)*) \| (`[a-z0-9_`, ]+) \|", page(name), re.M):
        for kind in re.findall(r"`(\w+)`", kinds):
            found.setdefault(kind, set()).update(re.findall(r"`(\w+)`", options))
    return found


def known_options(kind: str) -> set[str]:
    """What an adapter says it knows when it is given an option that it does not have."""
    told = {"tcp": "127.0.0.1:1", "reference_engine": "corrie-18-early"}
    stand = StandFile(
        path="here",
        title="x",
        kind=kind,
        target=told.get(kind, "x"),
        command=("x",),
        options={"no_such_thing": 1},
    )
    with pytest.raises(InputError, match="no_such_thing") as caught:
        find_adapter(kind)(stand, defect=None)
    return set(caught.value.hint.removeprefix("known: ").split(", "))


def test_every_kind_of_stand_and_each_of_its_options_is_told() -> None:
    text = page("reference/stands.md")
    row = re.search(r"^\| `kind` \| (.*)$", text, re.M)
    assert row is not None
    assert set(installed_kinds()) <= set(re.findall(r"`(\w+)`", row.group(1)))
    table = rows_of_options("reference/stands.md")
    for kind in set(installed_kinds()) - {"in_process", "recording"}:
        assert table[kind] == known_options(kind), kind
    fmi = re.findall(r"^\| (`[a-z_]+`(?:, `[a-z_]+`)*) \| [^|]+ \|$", page("how-to/mount-an-fmu.md"), re.M)
    assert {word for cell in fmi for word in re.findall(r"`(\w+)`", cell)} == known_options("fmi")


def test_every_option_of_stand_new_is_told() -> None:
    text = page("reference/commands.md")
    section = text[text.index("## `leverproof stand new`") : text.index("## `leverproof shakedown`")]
    told = set(re.findall(r"`(--[a-z-]+)", section))
    asked = {question.option for question in QUESTIONS}
    assert told == asked | {"--example", "--list", "--out", "--defaults"}


def test_the_case_in_the_how_to_is_a_case() -> None:
    case = parse_case(blocks("how-to/write-a-case.md", "toml")[0], "write-a-case.md")
    assert case.judgements[0].what == "difference"


def test_the_plans_on_the_campaign_pages_are_plans(tmp_path: Path) -> None:
    plan = parse_plan(blocks("reference/campaigns.md", "toml")[0], str(tmp_path / "plan.toml")).plan
    assert (plan.samples, len(plan.swept), len(plan.cases)) == (50, 2, 2)
    first, coefficients, spread = blocks("how-to/run-a-campaign.md", "toml")
    stand = 'format = 1\ntitle = "x"\nkind = "in_process"\ntarget = "x.py:factory"\nsheet = "rill-6"\n'
    (tmp_path / "my-engine.stand.toml").write_text(stand + coefficients, "utf-8")
    samples, _, coefficient = spread.partition("[[")
    text = samples + first.replace("[cases]", f"[[{coefficient}\n[cases]")
    plan = parse_plan(text, str(tmp_path / "plan.toml")).plan
    assert [c.name for c in plan.models[0].coefficients] == ["friction"]


@pytest.fixture
def followed(tmp_path: Path) -> Path:
    """A folder in which somebody has done what the mounting page says, to the letter."""
    texts = blocks("how-to/mount-your-model.md", "python")
    assert len(texts) == 2
    (tmp_path / "my_engine.py").write_text(texts[0], "utf-8")
    (tmp_path / "program.py").write_text(texts[1], "utf-8")
    program, in_process = blocks("how-to/mount-your-model.md", "toml")
    assert parse_stand_file(program, "stdio.toml").command == ("./my_engine",)
    (tmp_path / "my-engine.stand.toml").write_text(in_process, "utf-8")
    told = 'kind = "stdio"` with `command = ["python3", "program.py"]'
    assert told in page("how-to/mount-your-model.md")
    text = in_process.replace(
        'kind = "in_process"\ntarget = "my_engine.py:factory"',
        f'kind = "stdio"\ncommand = ["{sys.executable}", "program.py"]',
    )
    (tmp_path / "program.stand.toml").write_text(text, "utf-8")
    return tmp_path


@pytest.mark.parametrize("name", ["my-engine", "program"])
def test_following_the_mounting_page_ends_in_a_green_shakedown(followed: Path, name: str) -> None:
    found = shakedown(str(followed / f"{name}.stand.toml"))
    assert [(r.name, r.outcome.seen) for r in found.results if r.ending != "pass"] == []


def test_the_object_on_the_mounting_page_is_the_example(followed: Path) -> None:
    home = Path(leverproof_adapters.__file__).parents[1] / "examples" / "minimal"
    for file in ("my_engine.py", "program.py"):
        assert (followed / file).read_text("utf-8") == (home / file).read_text("utf-8")


def test_the_units_and_examples_on_the_mounting_page_are_known() -> None:
    text = page("how-to/mount-your-model.md")
    listed = text[text.index("Units the harness knows") : text.index("The channels:")]
    units = {word for code in re.findall(r"`([^`]+)`", listed) for word in code.split()}
    dimensions = {UNITS[c.unit].dimension for c in CHANNELS.values()} - {"temperature difference"}
    assert units == {u.symbol for u in UNITS.values() if u.dimension in dimensions}
    named = set(re.findall(r"--example (\w+)", "\n".join(p.read_text("utf-8") for p in PAGES))) - {"NAME"}
    assert named and named <= set(installed_examples())


def test_the_table_on_the_card_page_gets_its_verdict(tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text(blocks("how-to/fly-a-card.md", "csv")[0], "utf-8")
    told = [line for text in blocks("how-to/fly-a-card.md", "") for line in text.splitlines()]
    for line in told:
        words = shlex.split(line.replace("table.csv", str(tmp_path / "table.csv")))
        if words[1] == "judge":
            assert cli.main(words[1:]) == 0
    assert [shlex.split(line)[1] for line in told] == ["cases", "card", "judge"]


def test_what_the_card_page_quotes_is_what_a_card_says(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["card", "shutter-fixed-pressure", "--sheet", "corrie-18-early"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    quoted = " ".join(re.sub(r"^> ", "", line) for line in page("how-to/fly-a-card.md").splitlines() if line[:1] == ">")
    assert quoted and quoted in shown
