"""`leverproof stand new`: questions, piped answers, examples, and what it refuses."""

from __future__ import annotations

import io
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from leverproof.channels import CHANNELS
from leverproof.cli.main import main
from leverproof.schema import load_schema
from leverproof.sheet.loader import load_sheet, shipped_sheets
from leverproof.sheet.vocabulary import HARDWARE
from leverproof.stand.adapters import installed_kinds
from leverproof.stand.authoring.channel_lines import ABBREVIATIONS
from leverproof.stand.authoring.draft import COMMENTS
from leverproof.stand.authoring.examples import installed_examples
from leverproof.stand.authoring.files import nearest_sheet
from leverproof.stand.authoring.questions import KINDS, LANGUAGES, QUESTIONS
from leverproof.stand.stand_file import read_stand_file

Command = Callable[..., tuple[int, str, str]]


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def new(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Command:
    """Runs the command in a folder of its own: exit code, standard output, standard error."""

    def run(*words: str, answers: str = "", person: bool = False) -> tuple[int, str, str]:
        monkeypatch.chdir(tmp_path)
        monkeypatch.setattr(sys, "stdin", _Terminal(answers) if person else io.StringIO(answers))
        code = main(["stand", "new", *words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def stand_in(folder: Path) -> Path:
    return next(folder.glob("*.stand.toml"))


def test_without_answers_the_defaults_make_a_stand_and_a_sheet(new: Command, tmp_path: Path) -> None:
    code, out, err = new("--out", "here")
    assert code == 0, err
    path = tmp_path / "here" / "my-engine.stand.toml"
    stand = read_stand_file(str(path))
    assert (stand.kind, stand.command, stand.grid_step) == ("stdio", ("./my_engine",), "0.05 s")
    assert load_sheet(str(path.with_name(stand.sheet))).word("hardware.arrangement") == "unsupercharged"
    assert out.splitlines()[-2:] == [
        "  leverproof shakedown --stand here/my-engine.stand.toml",
        "  leverproof run --stand here/my-engine.stand.toml",
    ]
    assert "command [./my_engine]:" in err, "the default taken is printed"


def test_every_key_written_has_its_comment(new: Command, tmp_path: Path) -> None:
    assert new("--lever", "throttle = thr, %", "--build-hint", "make")[0] == 0
    lines = stand_in(tmp_path).read_text("utf-8").splitlines()
    for at, line in enumerate(lines):
        if " = " in line and not line.startswith("#") and "[channels" not in lines[at - 1]:
            assert lines[at - 1].startswith("# ") or lines[at - 1].startswith("name ="), line


def test_piped_answers_go_to_the_questions_in_their_order(new: Command, tmp_path: Path) -> None:
    answers = (
        "Big twin\ntcp\nc\n\n\n\ntwo_stage\n\nthrottle = thr, %\nboost\n\n\n"
        "manifold_pressure = map, kPa\n\n\n0.025 s\n\n2\n"
    )
    assert new(answers=answers)[0] == 0
    stand = read_stand_file(str(tmp_path / "big-twin.stand.toml"))
    assert (stand.kind, stand.engine, stand.grid_step) == ("tcp", 2, "0.025 s")
    assert stand.command == ("./my_engine", "--port", "{port}")
    assert {name: (m.name, m.unit) for name, m in stand.channels.items()} == {
        "throttle": ("thr", "%"),
        "manifold_pressure": ("map", "kPa"),
    }
    assert load_sheet(str(tmp_path / stand.sheet)).word("hardware.arrangement") == "two_stage"


def test_options_answer_and_are_not_asked(new: Command, tmp_path: Path) -> None:
    code, _, err = new(
        "--title", "a log", "--kind", "recording", "--target", "day.csv", "--time-column", "Zeit", "--time-unit", "ms",
        "--arrangement", "geared_one_speed", "--sheet", "corrie-14", "--lever", "throttle = THR, %",
        "--reading", "manifold_pressure = MAP, inHg", "--reading", "engine_speed = RPM, rpm", "--surrounding",
        "pressure_altitude = ALT, ft", "--engine", "1",
    )  # fmt: skip
    assert (code, err) == (0, "")
    stand = read_stand_file(str(stand_in(tmp_path)))
    assert stand.recording == {"time": "Zeit", "time_unit": "ms", "longest_gap": "2 s", "ignore": ["*"]}
    assert stand.channels["engine_speed"].name == "RPM"
    assert [path.name for path in tmp_path.iterdir()] == ["a-log.stand.toml"]


def test_a_person_is_asked_again_and_told_the_nearest(new: Command, tmp_path: Path) -> None:
    answers = "\nstdioo\nstdio\n\n\n\n\n\n\n\nmap\nmanifold_presure = map\nmanifold_pressure = map, psia\n"
    code, _, err = new(answers=f"{answers}manifold_pressure = map, psi\n\n\n\n\n\n", person=True)
    assert code == 0, err
    assert "did you mean 'stdio'?" in err
    assert "did you mean 'manifold_pressure'? Then write manifold_pressure = map" in err
    assert "did you mean 'manifold_pressure'?)" in err
    assert "did you mean 'psi'?" in err
    assert read_stand_file(str(stand_in(tmp_path))).channels["manifold_pressure"].unit == "psi"


@pytest.mark.parametrize(
    ("words", "answers", "told"),
    [
        (("--kind", "sdtio"), "", "did you mean 'stdio'?"),
        (("--kind", "recording", "--command", "x"), "", "a stand of kind 'recording' has no such thing"),
        (("--example", "c", "--kind", "tcp"), "", "the example says this itself"),
        (("--example", "pyton"), "", "did you mean 'python'?"),
        (("--lever", "rpm"), "", "rpm usually is engine_speed, a reading"),
        (("--lever", "mixture = mix, %"), "", "go by name"),
        (("--lever", "throttle", "--lever", "throttle = t"), "", "throttle is there twice"),
        (("--lever", "throttle ="), "", "not of the form expected"),
        (("--reading", "manifold_pressure = x, kg/s"), "", "a unit of mass flow"),
        (("--deadlines", "1 s"), "", "is not three durations"),
        (("--deadlines", "1 s, 0 s, 1 s"), "", "is not above 0"),
        (("--grid-step", "0.03 s"), "", "--grid-step"),
        (("--engine", "0"), "", "a whole number from 1 to 8"),
        (("--sheet", "corrie-19"), "", "no sheet 'corrie-19'"),
        (("--title", "a\nb"), "", "cannot be printed"),
        (("--command", "'open"), "", "cannot be cut into words"),
        (("--kind", "in_process", "--target", "engine.py"), "", "file.py:factory"),
        ((), "x\nsdtio\n", "did you mean 'stdio'?"),
        ((), "x\nstdio\n\n\n\n\n\nmap\n", "map usually is manifold_pressure"),
    ],
)
def test_what_cannot_be_used_is_refused_and_nothing_written(
    new: Command, tmp_path: Path, words: tuple[str, ...], answers: str, told: str
) -> None:
    code, out, err = new(*words, "--out", "new", answers=answers)
    assert (code, out) == (2, "")
    assert told in err
    assert not (tmp_path / "new").exists()


def test_levers_of_the_sheet_and_of_the_model_are_compared(new: Command) -> None:
    code, out, _ = new("--defaults", "--lever", "throttle", "--lever", "mixture", "--lever", "cowl_flaps = flaps")
    assert code == 0
    assert "note: the sheet has propeller, " in out
    assert "remove [levers.propeller]" in out
    assert "note: the model has cowl_flaps, the sheet does not: add [levers.cowl_flaps]" in out


def test_nothing_is_overwritten(new: Command, tmp_path: Path) -> None:
    (tmp_path / "my-engine.sheet.toml").write_text("mine", "utf-8")
    code, _, err = new("--defaults")
    assert code == 2
    assert "my-engine.sheet.toml: there already" in err
    assert [p.name for p in tmp_path.iterdir()] == ["my-engine.sheet.toml"]
    (tmp_path / "my-engine.sheet.toml").unlink()
    (tmp_path / "my-engine.stand.toml").symlink_to(tmp_path / "elsewhere")
    assert new("--defaults")[0] == 2
    assert not (tmp_path / "elsewhere").exists()


def test_awkward_words_are_written_as_they_are(new: Command, tmp_path: Path) -> None:
    title, name = 'Engine "é" \\ no. 1', 'p "man" \\ [1]'
    assert new("--title", title, "--reading", f"manifold_pressure = {name}")[0] == 0
    stand = read_stand_file(str(stand_in(tmp_path)))
    assert (stand.title, stand.channels["manifold_pressure"].name) == (title, name)


@pytest.mark.parametrize("name", sorted(installed_examples()))
def test_every_example_comes_whole(new: Command, tmp_path: Path, name: str) -> None:
    example = installed_examples()[name]
    assert new("--example", name, "--defaults", "--out", name)[0] == 0
    stand = read_stand_file(str(stand_in(tmp_path / name)))
    shipped = read_stand_file(str(example.stand))
    same = ("title", "kind", "command", "target", "build_hint", "grid_step", "deadlines", "clock", "channels",
            "options", "recording", "defect_argument", "defects")  # fmt: skip
    assert {key: getattr(stand, key) for key in same} == {key: getattr(shipped, key) for key in same}
    assert load_sheet(str(tmp_path / name / stand.sheet)).id
    for file, source in example.files.items():
        assert (tmp_path / name / file).read_text("utf-8") == source.read_text("utf-8")


def test_an_example_can_be_given_another_title_and_step(new: Command, tmp_path: Path) -> None:
    assert new("--example", "python", "--title", "Mine", "--grid-step", "0.1 s", "--engine", "2")[0] == 0
    stand = read_stand_file(str(tmp_path / "mine.stand.toml"))
    assert (stand.title, stand.grid_step, stand.engine) == ("Mine", "0.1 s", 2)


def test_the_example_of_a_twin_tests_both_engines_and_holds_the_other(new: Command, tmp_path: Path) -> None:
    assert new("--example", "twin", "--title", "Two")[0] == 0
    stand = read_stand_file(str(tmp_path / "two.stand.toml"))
    assert (stand.engines, stand.tested, stand.held) == (("1", "2"), (1, 2), {"throttle": 0.4})
    code, _, err = new("--example", "twin", "--title", "Two", "--engine", "2")
    assert code == 2 and "the example says this itself" in err


def test_the_list_names_every_example(new: Command) -> None:
    code, out, _ = new("--list")
    assert code == 0
    assert [line.split()[0] for line in out.splitlines()] == list(installed_examples())
    assert {"c", "javascript", "python", "perl", "fmi", "c_library", "recording", "tcp"} <= set(
        installed_examples()
    )


def test_every_key_of_a_stand_file_has_its_words_or_its_table() -> None:
    keys = set(load_schema("stand")["properties"])
    assert keys <= {*COMMENTS, "channels", "held", "recording", "options", "defects", "coefficients"}


def test_the_data_behind_the_questions_is_complete() -> None:
    assert set(installed_kinds()) <= set(KINDS), "a kind without a word about it"
    assert set(ABBREVIATIONS.values()) <= set(CHANNELS)
    assert {"c", "javascript", "python", "perl"} <= set(LANGUAGES)
    shipped = {item.name.removesuffix(".toml") for item in shipped_sheets()}
    for arrangement in HARDWARE["arrangement"]:
        assert nearest_sheet(arrangement) in shipped
    assert len({question.key for question in QUESTIONS}) == len(QUESTIONS)
    for path in installed_examples().values():
        assert tomllib.loads(path.stand.read_text("utf-8"))["format"] == 1
