"""A case of one's own through `leverproof run`: judged like any other; the suite's version is in record and report."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main


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
