"""A case of one's own through `leverproof run`: judged like any other; the suite's version is in record and report."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main
from leverproof.schema import check


def test_a_case_for_another_suite_is_judged_and_warned_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    suite = load_catalogue().suite
    assert main(["cases", "new", "--like", "stopped-manifold-pressure", "--out", "mine/my-own.toml"]) == 0
    path = Path("mine/my-own.toml")
    path.write_text(path.read_text("utf-8").replace(f'suite = "{suite}"', 'suite = "0"'), "utf-8")
    assert main(["run", "--cases", "mine", "--case", "my-own", "--json", "report.json"]) == 0
    report = json.loads(Path("report.json").read_text("utf-8"))
    assert report["run"]["suite"] == suite
    assert any("was written for suite version 0" in notice for notice in report["notices"])
    header = json.loads(Path("leverproof-record/record.jsonl").read_text("utf-8").splitlines()[0])
    assert header["suite"] == suite
    assert "suite" in capsys.readouterr().out


def begun_wide(like: str, was: str, wide: str) -> None:
    """An own case ``wide``, begun like a shipped one, in which one text stands for another."""
    assert main(["cases", "new", "--like", like, "--out", "mine/wide.toml"]) == 0
    path = Path("mine/wide.toml")
    spoilt = path.read_text("utf-8").replace(was, wide)
    path.write_text(spoilt, "utf-8")
    assert wide in spoilt


def test_a_tolerance_that_only_the_sheet_makes_wider_than_the_value_never_passes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    begun_wide("idle-speed", "percent = 3,", "percent = 300,")
    capsys.readouterr()
    assert main(["run", "--cases", "mine", "--case", "wide"]) == 1
    assert "a tolerance of 7,920 rpm is wider than the value of 680 rpm" in capsys.readouterr().out


def test_what_is_not_applicable_is_told_with_all_that_is_to_be_supplied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["run", "--case", "carburettor-heat", "--json", "report.json"]) == 5
    assert "to supply: [levers.carburettor_heat] in the sheet, if the engine has it;" in " ".join(
        capsys.readouterr().out.split()
    )
    report = json.loads(Path("report.json").read_text("utf-8"))
    check(report, "report", "report.json")
    assert report["cases"][0]["not_applicable"]["supply"].startswith("[levers.carburettor_heat]")


def test_a_seek_that_only_the_sheet_shows_to_be_reached_at_once_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    begun_wide("take-off-boost-back", 'within = "0.05 inHg"', 'within = "60 inHg"')
    capsys.readouterr()
    assert main(["run", "--cases", "mine", "--case", "wide", "--case", "idle-speed"]) == 2
    said = " ".join(capsys.readouterr().out.split())
    assert "wide.toml: an accuracy of 60 inHg is as wide as the value of 52 inHg" in said
    assert "idle-speed" in said, "the other case is judged all the same"
