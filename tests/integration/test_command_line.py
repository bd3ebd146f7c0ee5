"""A command line that cannot be read is refused in the manner of every other refusal, with the nearest word."""

from __future__ import annotations

from pathlib import Path

import pytest

from leverproof.cli.main import main


@pytest.mark.parametrize(
    ("line", "message", "where", "hint"),
    [
        ("rum", "no command 'rum'", "leverproof", "did you mean 'run'?"),
        ("xyzzy", "no command 'xyzzy'", "leverproof", "`leverproof --help` says what it takes"),
        ("", "the following arguments are required: COMMAND", "leverproof", "`leverproof --help`"),
        ("cases shwo idle", "no command 'shwo'", "leverproof cases", "did you mean 'show'?"),
        ("baseline acept rec", "no command 'acept'", "leverproof baseline", "did you mean 'accept'?"),
        ("run --cas mine", "no option '--cas'", "leverproof run", "did you mean '--case'?"),
        ("run --deferal=a.toml", "no option '--deferal'", "leverproof run", "did you mean '--deferrals'?"),
        ("cases --casess mine", "no option '--casess'", "leverproof cases", "did you mean '--cases'?"),
        ("predict --shet x", "no option '--shet'", "leverproof predict", "did you mean '--sheet'?"),
        ("run --seed x", "expected a whole number, found 'x'", "leverproof run --seed", "--help"),
        ("run --sheet", "expected one argument", "leverproof run --sheet", "--help"),
        ("report r --format htm", "'htm' is not one of table, ", "leverproof report --format", "'html'?"),
        ("run idle", "one word too many: 'idle'", "leverproof run", "stands in quotes"),
        ("card", "the following arguments are required: CASE, --sheet", "leverproof card", "--help"),
    ],
)
def test_what_cannot_be_read_is_told_with_the_nearest_word(
    line: str, message: str, where: str, hint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(line.split()) == 2
    told = capsys.readouterr()
    assert told.out == ""
    first, second, third = told.err.splitlines()
    assert first.startswith(f"error: {message}")
    assert second == f"  where: {where}"
    assert third.startswith("  hint: ") and hint in third


def test_what_follows_two_dashes_is_no_option(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cases", "show", "--", "--such-a-case"]) == 2
    assert "no case '--such-a-case'" in capsys.readouterr().err


LONG = "x" * 5_000


@pytest.mark.parametrize(
    "words",
    [
        ["sheet", "check", LONG],
        ["cases", "check", LONG],
        ["report", LONG],
        ["run", "--stand", LONG],
        ["run", "--case", "idle-speed", "--json", LONG],
        ["ledger", "--records", LONG],
        ["baseline", "history", "--against", LONG],
        ["sheet", "new", "--defaults", "--out", LONG],
        ["cases", "check", "loop"],
        ["run", "--case", "idle-speed", "--json", "loop"],
        ["run", "--case", "idle-speed", "--deferrals", "loop", "--out", "loop"],
    ],
)
def test_a_name_that_no_file_can_have_is_refused(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("loop").symlink_to("loop")
    assert main(words) == 2
    told = capsys.readouterr().err
    assert told.startswith("error: ") and "  where: " in told
    assert [path.name for path in tmp_path.iterdir()] == ["loop"]
