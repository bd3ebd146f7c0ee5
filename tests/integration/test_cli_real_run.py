"""The command line with the real session and the embedded engine, on cases that cost little."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main
from leverproof.record import read_record
from leverproof.report import case_page
from leverproof.schema import check
from leverproof.session import rejudge


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("run")
    words = ["run", "--case", "standard-*", "--case", "stopped-*", "--out", str(folder / "r")]
    assert main([*words, "--json", str(folder / "r.json")]) == 0
    return folder / "r"


def test_the_record_is_whole_and_of_its_schema(record: Path) -> None:
    read_record(record).verify()
    for number, line in enumerate((record / "record.jsonl").read_text("ascii").splitlines(), start=1):
        check(json.loads(line), "record-line", f"record.jsonl:{number}")
    check(json.loads((record.parent / "r.json").read_text("utf-8")), "report", "r.json")


def test_judging_again_gives_the_same_findings(record: Path) -> None:
    held = read_record(record)
    assert rejudge(held, load_catalogue().ladder) == list(held.findings)


def test_the_points_that_the_seed_drew_stand_in_every_report(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    planned = next(p for p in read_record(record).expectations if p.case.id == "standard-atmosphere")
    drawn = [point.label for point in planned.points if point.off_point]
    assert len(drawn) == 2
    for kind in ("table", "json", "junit", "markdown"):
        assert main(["report", str(record), "--format", kind]) == 0
        shown = " ".join(capsys.readouterr().out.split())
        assert f"standard-atmosphere at {', '.join(drawn)}" in shown, kind


def test_the_step_study_that_nobody_asked_for_is_in_no_report(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert {planned.case.id for planned in read_record(record).expectations} > {"standard-atmosphere"}
    for kind in ("table", "json", "junit", "markdown"):
        assert main(["report", str(record), "--format", kind]) == 0
        shown = capsys.readouterr().out
        assert "standard-atmosphere" in shown
        assert "half-grid-step" not in shown


def test_every_shipped_case_is_listed_and_has_its_page(capsys: pytest.CaptureFixture[str]) -> None:
    catalogue = load_catalogue()
    assert main(["cases"]) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == [
        c.id for c in catalogue.cases
    ]
    for case in catalogue.cases:
        page = case_page.render(case, width=100)
        assert max(map(len, page.splitlines())) <= 100
        assert " ".join(case.question.split()) in " ".join(page.split())
        assert page.count("     source  ") == page.count("     basis  ") == len(case.judgements)
        assert "None" not in page
    assert main(["cases", "show", catalogue.cases[0].id]) == 0
    assert capsys.readouterr().out.startswith(catalogue.cases[0].title)


def test_a_case_nobody_has_is_a_usage_error(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["run", "--case", "standard-atmosfere", "--out", str(tmp_path / "r")]) == 2
    assert "did you mean 'standard-atmosphere'?" in capsys.readouterr().err
    assert not (tmp_path / "r").exists()


def test_an_invalid_case_of_the_users_costs_no_other(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "broken.toml").write_text("id = 3\n", "utf-8")
    words = ["--cases", str(tmp_path / "cases")]
    assert main(["cases", *words]) == 2
    shown = capsys.readouterr()
    assert "standard-atmosphere" in shown.out
    assert "broken.toml" in shown.err
    assert main(["run", *words, "--case", "stopped-*", "--out", str(tmp_path / "r")]) == 2
    shown = capsys.readouterr()
    assert "broken.toml" in shown.out
    assert "Ending: completed, exit code 2" in shown.out
    assert {finding.verdict for finding in read_record(tmp_path / "r").findings} == {"pass"}
