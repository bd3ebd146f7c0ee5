"""``leverproof shakedown``: screen, JSON, exit codes."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from leverproof.cli.main import main
from leverproof.report.shakedown_table import render
from leverproof.schema import check
from leverproof.stand.shakedown import Shakedown
from leverproof.stand.shakedown.document import document_of

FAULTS = Path(__file__).resolve().parents[2] / "models" / "shakedown_faults.py"


@pytest.fixture
def stand(tmp_path: Path) -> Callable[[str], str]:
    """A stand file for the engine with a vice."""
    (tmp_path / "model.py").write_text(FAULTS.read_text("utf-8"), "utf-8")

    def write(vice: str) -> str:
        path = tmp_path / "stand.toml"
        path.write_text(
            f'format = 1\ntitle = "under test"\nkind = "in_process"\ntarget = "model.py:make"\n'
            f'[options]\nvice = "{vice}"\n',
            "utf-8",
        )
        return str(path)

    return write


def test_a_failed_item_on_screen_and_in_json(
    stand: Callable[[str], str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "out.json"
    words = ["shakedown", "--stand", stand("throttle-backwards"), "--json", str(file), "--seed", "11"]
    assert main([*words, "--item", "levers", "--item", "clock"]) == 1
    shown = capsys.readouterr()
    assert "seed 11" in shown.out
    assert "levers     fail" in shown.out
    assert "clock      blocked   levers failed" in shown.out
    assert "How to mend it:\n  levers: check the lever's sign" in shown.out
    assert "not shaken down: 3 items: 1 passed, 1 failed, 1 blocked" in shown.out
    assert shown.err == ""
    document = json.loads(file.read_text("utf-8"))
    check(document, "shakedown", "out.json")
    assert [item["ending"] for item in document["items"]] == ["pass", "fail", "blocked"]
    assert document["exit"] == 1


@pytest.mark.parametrize(("vice", "code"), [("none", 0), ("noise", 1), ("dies-at-start", 3)])
def test_exit_codes(
    stand: Callable[[str], str], capsys: pytest.CaptureFixture[str], vice: str, code: int
) -> None:
    assert main(["shakedown", "--stand", stand(vice), "--item", "repeat"]) == code
    assert capsys.readouterr().out.count("\nhandshake ") == 1


def test_a_model_that_raises_is_told_with_its_line(
    stand: Callable[[str], str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The screen shows no evidence, so it must not send anybody there."""
    file = stand("none")
    (tmp_path / "model.py").write_text("def make(options, defect):\n    raise KeyError('valve')\n", "utf-8")
    assert main(["shakedown", "--stand", file, "--item", "repeat"]) == 3
    shown = " ".join(capsys.readouterr().out.split())
    assert "KeyError: 'valve' while its factory 'model.py:make' was called with two arguments" in shown
    assert 'model.py", line 2, in make' in shown.replace("model. py", "model.py")
    assert "mend what raised" in shown
    assert "evidence" not in shown


def test_long_times_are_in_seconds(stand: Callable[[str], str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["shakedown", "--stand", stand("none"), "--item", "jitter"]) in (0, 1)
    shown = " ".join(capsys.readouterr().out.split())
    assert "the deadline is 5.02 s" in shown
    assert "e+" not in shown


@pytest.mark.parametrize(
    "words", [["--item", "lever"], ["--seed", "-1"], ["--stand", "nowhere.toml"], ["--nonsense"]]
)
def test_a_bad_command_line_is_two(
    stand: Callable[[str], str], capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    given = [] if "--stand" in words else ["--stand", stand("none")]
    assert main(["shakedown", *given, *words]) == 2
    assert "error" in capsys.readouterr().err


def test_every_document_fits_the_schema_and_the_width(endings: dict[str, Shakedown]) -> None:
    for vice, found in endings.items():
        document = document_of(found)
        check(document, "shakedown", vice)
        json.dumps(document, allow_nan=False)
        for width in (80, 120):
            assert max(map(len, render(document, width=width).splitlines())) <= width, vice


def test_a_model_cannot_lay_out_the_page(endings: dict[str, Shakedown]) -> None:
    document = document_of(endings["noise"])
    document["items"][0]["seen"] = "\x1b[2Jgone"
    document["warnings"] = ["red\x1b[31m"]
    text = render(document)
    assert "\x1b" not in text
    assert "\\x1b[2Jgone" in text
    assert "the model wrote: red\\x1b[31m" in text
