"""SARIF: defects of files with rule, place and message, of the structure that the standard asks for."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from leverproof.cli.main import main
from leverproof.errors import InputError, StandError
from leverproof.record import Record
from leverproof.report import sarif

CODE = "unknown_key"
PLACED = {
    "message": "unknown key 'x'",
    "where": "own/c.toml:7: run[0].x",
    "hint": "did you mean 'y'?",
    "code": CODE,
}


def check(text: str) -> dict[str, Any]:
    """What SARIF 2.1.0 requires of the parts that are used here (the standard's own words, 3.13 to 3.58)."""
    log = json.loads(text)
    assert log["version"] == "2.1.0" and log["$schema"].endswith("sarif-schema-2.1.0.json")
    assert set(log) == {"$schema", "version", "runs"} and len(log["runs"]) == 1
    (run,) = log["runs"]
    assert set(run) == {"tool", "invocations", "columnKind", "results"}
    driver = run["tool"]["driver"]
    assert driver["name"] == "leverproof" and driver["version"]
    assert run["columnKind"] in ("utf16CodeUnits", "unicodeCodePoints")
    ids = [rule["id"] for rule in driver["rules"]]
    assert len(set(ids)) == len(ids)
    assert all(rule["shortDescription"]["text"] for rule in driver["rules"])
    (invocation,) = run["invocations"]
    assert isinstance(invocation["executionSuccessful"], bool) and isinstance(invocation["exitCode"], int)
    for note in invocation.get("toolExecutionNotifications", ()):
        assert note["message"]["text"] and note["level"] in ("none", "note", "warning", "error")
    for result in run["results"]:
        assert result["message"]["text"]
        assert ids[result["ruleIndex"]] == result["ruleId"]
        assert (result["kind"], result["level"]) == ("fail", "error")
        assert all(isinstance(value, str) for value in result["partialFingerprints"].values())
        for location in result.get("locations", ()):
            place = location["physicalLocation"]
            uri = place["artifactLocation"]["uri"]
            assert (
                uri.isascii() and " " not in uri and "\\" not in uri and urlsplit(uri).scheme in ("", "file")
            )
            if "region" in place:
                assert place["region"]["startLine"] >= 1
    return dict(run)


def of(
    session: Callable[..., Record], *told: dict[str, Any], ending: tuple[str, int] = ("completed", 2)
) -> Any:
    return check(sarif.render(session([], [], ending=ending, events=tuple(("problem", one) for one in told))))


def test_a_defect_has_rule_file_line_and_message(session: Callable[..., Record]) -> None:
    (result,) = of(session, PLACED)["results"]
    assert result["ruleId"] == CODE
    assert result["message"]["text"] == "run[0].x: unknown key 'x' (did you mean 'y'?)"
    place = result["locations"][0]["physicalLocation"]
    assert place == {"artifactLocation": {"uri": "own/c.toml"}, "region": {"startLine": 7}}


@pytest.mark.parametrize(
    ("where", "uri", "line"),
    [
        ("own/c.toml", "own/c.toml", None),
        ("own/c.toml: run[0]", "own/c.toml", None),
        ("my cases/é #1?.toml:3: a", "my%20cases/%C3%A9%20%231%3F.toml", 3),
        ("/tmp/a b.toml:12", "file:///tmp/a%20b.toml", 12),
        ("../up.toml:9: x: y", "../up.toml", 9),
    ],
)
def test_places_as_errors_write_them(
    session: Callable[..., Record], where: str, uri: str, line: int | None
) -> None:
    (result,) = of(session, PLACED | {"where": where})["results"]
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == uri
    assert place.get("region", {}).get("startLine") == line


def test_a_defect_stays_the_same_when_lines_are_added_above_it(session: Callable[..., Record]) -> None:
    one, other = (of(session, PLACED | {"where": f"c.toml:{n}: a"})["results"][0] for n in (3, 30))
    assert one["partialFingerprints"] == other["partialFingerprints"]
    assert one["locations"] != other["locations"]


def test_what_a_model_did_is_no_defect_of_a_file(session: Callable[..., Record]) -> None:
    run = of(
        session, {"message": "it crashed", "where": "stand.toml", "code": "crash"}, ending=("completed", 1)
    )
    assert run["results"] == [] and run["invocations"][0]["executionSuccessful"]


def test_many_defects_are_cut_and_it_says_so(session: Callable[..., Record]) -> None:
    run = of(session, *(PLACED | {"where": f"c{n}.toml:1: a"} for n in range(sarif.MOST + 3)))
    assert len(run["results"]) == sarif.MOST
    assert "3 further defects" in run["invocations"][0]["toolExecutionNotifications"][0]["message"]["text"]


def test_without_a_record_the_file_that_stopped_it_is_told() -> None:
    run = check(sarif.render_error(InputError("no id", "my.sheet.toml:2: id", "add one", "missing_key"), 2))
    assert run["results"][0]["locations"][0]["physicalLocation"]["region"]["startLine"] == 2
    run = check(sarif.render_error(StandError("no answer", "stand.toml", "", "no_handshake"), 3))
    assert run["results"] == [] and not run["invocations"][0]["executionSuccessful"]


def test_run_writes_it_for_case_sheet_and_stand_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "own").mkdir()
    case, sheet, stand = tmp_path / "own" / "c.toml", tmp_path / "s.toml", tmp_path / "t.toml"
    put_off = tmp_path / "d.toml"
    put_off.write_text("format = 1\n\nno_such_key = 1\n", "utf-8")
    case.write_text('id = "c"\n\nno_such_key = 1\n', "utf-8")
    sheet.write_text("format = 1\n[hardware\n", "utf-8")
    stand.write_text('format = 1\ntitle = "t"\nkind = "stdio"\nno_such_key = 3\n', "utf-8")
    out, report = tmp_path / "r", tmp_path / "r.sarif"
    words = ["run", "--out", str(out), "--sarif", str(report), "--case", "standard-*"]
    asked = {
        case: ["--cases", str(case.parent)],
        sheet: ["--sheet", str(sheet)],
        stand: ["--stand", str(stand)],
    }
    for file, more in asked.items():
        assert main([*words, *more]) == 2
        (result,) = check(report.read_text("utf-8"))["results"]
        place = result["locations"][0]["physicalLocation"]
        assert place["artifactLocation"]["uri"] == file.as_uri()
        assert place["region"]["startLine"] in (2, 3, 4)
    capsys.readouterr()
    assert main(["report", str(out), "--format", "sarif"]) == 0
    assert len(check(capsys.readouterr().out)["results"]) == 1
