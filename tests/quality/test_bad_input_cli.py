"""Bad input on the command line: an exit code, words that place the fault, and never a traceback."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main
from leverproof.record.reader import read_record

MODELS = Path(__file__).resolve().parents[1] / "models"
SHEET = MODELS / "second_engine.sheet.toml"


def stand_file(folder: Path, **changes: str) -> Path:
    lines = {
        "format": "1",
        "title": '"second engine"',
        "kind": '"in_process"',
        "target": json.dumps(f"{MODELS / 'second_engine.py'}:factory"),
        "sheet": json.dumps(str(SHEET)),
    }
    path = folder / "engine.stand.toml"
    path.write_text("".join(f"{k} = {v}\n" for k, v in (lines | changes).items() if v))
    return path


def said(capsys: pytest.CaptureFixture[str]) -> str:
    caught = capsys.readouterr()
    assert "Traceback" not in caught.out + caught.err
    assert "internal error" not in caught.err
    return caught.out + caught.err


SHEET_FAULTS = {
    "unknown key": ("[limits]", "[limmits]", "'limits'"),
    "unit": ('"20400 rpm"', '"20400 rpn"', "'rpm'"),
    "dimension": ('"20400 rpm"', '"20400 hp"', "angular speed"),
    "nan": ('"20400 rpm"', "nan", "finite"),
    "source": (', source = "design: 1,157 ft/s at the tip of a 13 in wheel"', "", "source"),
    "word": ('value = "plain"', 'value = "plane"', "'plain'"),
    "rate": ("rate = { value", "rates = { value", "'rate'"),
}  # fmt: skip


@pytest.mark.parametrize("fault", SHEET_FAULTS)
def test_bad_sheet_is_2_and_begins_no_record(
    fault: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new, words = SHEET_FAULTS[fault]
    text = SHEET.read_text()
    assert old in text
    sheet = tmp_path / "own.sheet.toml"
    sheet.write_text(text.replace(old, new, 1))
    stand = stand_file(tmp_path)
    code = main(["run", "--stand", str(stand), "--sheet", str(sheet), "--out", str(tmp_path / "r")])
    told = said(capsys)
    assert code == 2
    assert re.search(r"own\.sheet\.toml:\d+: ", told)
    assert words in told
    assert not (tmp_path / "r").exists()


STAND_FAULTS = {
    "kind": ({"kind": '"in_proces"'}, "'in_process'"),
    "grid": ({"grid_step": '"0.07 s"'}, "0.5 s"),
    "engine": ({"engine": '"one"'}, "engine"),
    "key": ({"titel": '"x"'}, "'title'"),
    "sheet": ({"sheet": '"none.sheet.toml"'}, "none.sheet.toml"),
    "clock": ({"clock": '"free_running"'}, "clock"),
}


@pytest.mark.parametrize("fault", STAND_FAULTS)
def test_bad_stand_is_2(fault: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changes, words = STAND_FAULTS[fault]
    stand = stand_file(tmp_path, **changes)
    code = main(["run", "--stand", str(stand), "--case", "idle-speed", "--out", str(tmp_path / "r")])
    assert code == 2
    assert words in said(capsys)


def test_bad_own_case_is_2_and_the_others_are_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "own"
    folder.mkdir()
    text = load_catalogue().texts["idle-speed"].replace('id = "idle-speed"', 'id = "own-idle"', 1)
    (folder / "good.toml").write_text(text)
    (folder / "bad.toml").write_text(
        text.replace('"own-idle"', '"other"').replace("engine_speed", "engin_speed")
    )
    stand = stand_file(tmp_path)
    words = ["run", "--stand", str(stand), "--cases", str(folder), "--case", "own-idle"]
    code = main([*words, "--out", str(tmp_path / "r")])
    told = said(capsys)
    assert code == 2
    assert "bad.toml:" in told
    assert "engine_speed" in told
    findings = read_record(tmp_path / "r").findings
    assert findings and {f.case for f in findings} == {"own-idle"}


def test_asking_for_the_bad_case_alone_says_where_it_is_bad(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "bad.toml").write_text('format = 1\nid = "bad"\n')
    stand = stand_file(tmp_path)
    code = main(
        ["run", "--stand", str(stand), "--cases", str(folder), "--case", "bad", "--out", str(tmp_path / "r")]
    )
    told = said(capsys)
    assert code == 2
    assert "bad.toml" in told
    assert "missing" in told


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (["--case", "idle-sped"], "'idle-speed'"),
        (["--subject", "idel"], "'idle'"),
        (["--seed", "-1"], "--seed"),
        (["--seed", "one"], "--seed"),
        (["--defect", "no-such"], "no-such"),
        (["--cases", "nowhere", "--case", "idle-sped"], "'idle-speed'"),
        (["--sheet", "corrie-18-erly"], "'corrie-18-early'"),
    ],
)
def test_bad_command_line_is_2(
    words: list[str], hint: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stand = stand_file(tmp_path)
    code = main(["run", "--stand", str(stand), "--out", str(tmp_path / "r"), *words])
    assert code == 2
    assert hint in said(capsys)
    assert not (tmp_path / "r").exists()


def test_a_program_that_does_not_exist_is_3_with_its_build_hint(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stand = stand_file(
        tmp_path, kind='"stdio"', target="", command='["./corrie"]', build_hint='"cc -o corrie corrie.c"'
    )
    code = main(["run", "--stand", str(stand), "--case", "idle-speed", "--out", str(tmp_path / "r")])
    assert code == 3
    assert "cc -o corrie corrie.c" in said(capsys)
