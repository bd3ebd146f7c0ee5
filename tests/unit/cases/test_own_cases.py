"""Cases of one's own: begun from a shipped one, checked by file, key and line, held against the suite's version."""

from __future__ import annotations

from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from leverproof.cases.authoring import case_like
from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.key_meanings import key_meaning
from leverproof.cases.loader import parse_case
from leverproof.cli.main import main
from leverproof.schema import load_schema
from leverproof.toml_positions import positions


@pytest.fixture
def mine(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    path = tmp_path / "mine" / "my-idle.toml"
    assert main(["cases", "new", "--like", "idle-speed", "--out", str(path)]) == 0
    capsys.readouterr()
    return path


def test_every_shipped_case_can_be_begun_from(tmp_path: Path) -> None:
    catalogue = load_catalogue()
    for case in catalogue.cases:
        text = case_like(catalogue, case.id, tmp_path / "my-own.toml")
        own = parse_case(text, "my-own.toml")
        assert (own.id, own.suite) == ("my-own", catalogue.suite)
        assert (own.runs, own.surroundings) == (case.runs, case.surroundings)
        assert own.judgements == case.judgements


def test_each_key_is_explained_where_it_first_stands(mine: Path) -> None:
    text = mine.read_text("utf-8")
    lines = text.splitlines()
    for path, line in positions(text).items():
        if len(path) == 1 and path[0] in ("id", "question", "applies", "surroundings"):
            above = lines[: line - 1]
            assert any(word.startswith(f"# {path[0]}: ") for word in above[-8:]), path
    assert key_meaning(("run", 0, "steps", 0, "limit")).startswith("after how long")


@pytest.mark.parametrize("name", ["case", "sheet", "stand", "deferrals"])
def test_an_editor_can_say_what_every_key_means_that_people_write(name: str) -> None:
    def lacking(node: object) -> list[str]:
        if isinstance(node, list):
            return [key for item in node for key in lacking(item)]
        if not isinstance(node, dict):
            return []
        keys = node.get("properties", {})
        own = [
            k for k, v in keys.items() if isinstance(v, dict) and not (v.get("description") or "$ref" in v)
        ]
        return own + [key for value in node.values() for key in lacking(value)]

    schema = load_schema(name)
    Draft202012Validator.check_schema(schema)
    assert lacking(schema) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--like", "idle-sped", "--out", "x.toml"], "did you mean 'idle-speed'"),
        (["--like", "idle-speed", "--out", "idle-at-height.toml"], "already"),
        (["--like", "idle-speed", "--out", "My Case.toml"], "is no id"),
        (["--like", "idle-speed", "--out", "case.txt"], ".toml"),
    ],
)
def test_what_cannot_be_begun_is_told(
    words: list[str],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["cases", "new", *words]) == 2
    assert told in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_nothing_is_overwritten(mine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = mine.read_text("utf-8")
    assert main(["cases", "new", "--like", "idle-speed", "--out", str(mine)]) == 2
    assert "there already" in capsys.readouterr().err
    assert mine.read_text("utf-8") == before


def test_a_valid_case_is_listed(mine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cases", "check", str(mine), str(mine.parent)]) == 0
    said = capsys.readouterr()
    assert said.out.count("my-idle") == 1
    assert said.err == ""


def test_a_wrong_case_is_told_by_file_line_and_key(mine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = mine.read_text("utf-8")
    line = next(n for n, words in enumerate(text.splitlines(), start=1) if words.startswith("subject"))
    mine.write_text(text.replace("\nsubject =", "\nsubjct ="), "utf-8")
    assert main(["cases", "check", str(mine.parent)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert f"{mine}:{line}: subjct" in said.err and "did you mean 'subject'" in said.err


def test_another_suite_version_and_subject_warn(mine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (
        mine.read_text("utf-8")
        .replace('suite = "', 'suite = "0.')
        .replace('subject = "idle"', 'subject = "idel"')
    )
    mine.write_text(text, "utf-8")
    assert main(["cases", "check", str(mine)]) == 0
    said = capsys.readouterr().err
    assert "was written for suite version 0." in said and "did you mean 'idle'" in said
    assert main(["cases", "--cases", str(mine.parent)]) == 0
    assert "was written for suite version 0." in capsys.readouterr().err


def test_ids_that_are_taken_and_places_without_cases_are_refused(
    mine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (mine.parent / "twice.toml").write_text(mine.read_text("utf-8"), "utf-8")
    (tmp_path / "empty").mkdir()
    shipped = mine.parent / "shipped.toml"
    shipped.write_text(mine.read_text("utf-8").replace('id = "my-idle"', 'id = "idle-speed"'), "utf-8")
    assert main(["cases", "check", str(mine.parent), str(tmp_path / "empty"), str(tmp_path / "none")]) == 2
    said = capsys.readouterr().err
    for told in (
        "duplicate case id 'my-idle'",
        "duplicate case id 'idle-speed'",
        "no case file",
        "no such file",
    ):
        assert told in said


def test_the_schemas_can_be_found_for_an_editor(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["version", "--schemas"]) == 0
    folder = Path(capsys.readouterr().out.strip())
    names = {path.name for path in folder.iterdir()}
    assert {f"{name}.schema.json" for name in ("case", "sheet", "stand", "deferrals")} <= names
