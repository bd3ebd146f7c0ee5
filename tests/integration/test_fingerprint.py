"""What a model is made of is in the record before any point is drawn, and changes with every file of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.errors import InputError
from leverproof.record.reader import read_record
from leverproof.report import json_report, terminal
from leverproof.schema import check
from leverproof.session import RunRequest, run_session
from leverproof.stand.fingerprint import fingerprint
from leverproof.stand.port import StandFile
from leverproof.stand.stand_file import parse_stand_file

STAND = """format = 1
title = "engine in a file"
kind = "{kind}"
{lines}
"""


def taken(folder: Path, lines: str, *, kind: str = "stdio", defect: str | None = None) -> dict[str, str]:
    text = STAND.format(kind=kind, lines=lines)
    stand = parse_stand_file(text, str(folder / "engine.stand.toml"))
    found = fingerprint(stand, text, defect=defect)
    assert len(found["sha256"]) == 64
    return {"whole": found["sha256"], **found["parts"]}


def test_it_changes_with_each_file_that_the_stand_names(tmp_path: Path) -> None:
    (tmp_path / "engine.py").write_text("one")
    (tmp_path / "table.csv").write_text("1,2")
    lines = 'command = ["python3", "engine.py", "--table", "table.csv"]'
    first = taken(tmp_path, lines)
    assert {"stand file", "file engine.py", "file table.csv", "source of leverproof"} < set(first)
    assert taken(tmp_path, lines) == first
    for name in ("engine.py", "table.csv"):
        (tmp_path / name).write_text("another")
        second = taken(tmp_path, lines)
        assert second["whole"] != first["whole"] and second[f"file {name}"] != first[f"file {name}"]
        first = second
    assert taken(tmp_path, lines + "\n# a remark")["whole"] != first["whole"]
    assert taken(tmp_path, lines, defect="some-defect")["whole"] != first["whole"]


def test_a_factory_is_covered_by_its_file(tmp_path: Path) -> None:
    (tmp_path / "engine.py").write_text("raise SystemExit('never run')")
    assert "file engine.py" in taken(tmp_path, 'target = "engine.py:factory"', kind="in_process")


@pytest.mark.parametrize("word", ["x" * 5000, "no-such-file", ".", "a\\u0000b"])
def test_words_that_are_no_files_are_left_to_the_text(tmp_path: Path, word: str) -> None:
    stand = StandFile(
        path=str(tmp_path / "s.toml"), title="", kind="stdio", command=("run", word.replace("\\u0000", "\0"))
    )
    assert not [name for name in fingerprint(stand, "text", defect=None)["parts"] if name.startswith("file ")]


def test_an_adapter_that_is_not_installed_is_named() -> None:
    with pytest.raises(InputError, match="unknown kind of stand"):
        fingerprint(StandFile(path="s.toml", title="", kind="no-such"), "text", defect=None)


def test_it_stands_in_the_record_before_the_points_and_in_the_reports(tmp_path: Path) -> None:
    out = tmp_path / "record"
    run_session(RunRequest(cases=("standard-atmosphere",), out=out))
    lines = [json.loads(line) for line in (out / "record.jsonl").read_text().splitlines()]
    kinds = [line.get("event", line["kind"]) for line in lines]
    assert kinds.index("fingerprint") < kinds.index("handshake") < kinds.index("expectations")
    record = read_record(out)
    whole = lines[kinds.index("fingerprint")]["data"]["sha256"]
    assert whole in terminal.render(record)
    report = json.loads(json_report.render(record))
    assert whole in report["run"]["fingerprint"]
    check(report, "report", str(out))
