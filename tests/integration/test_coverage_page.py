"""The page of coverage is what the kept kill results say, and nothing else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.cases.complaints import load_complaints
from leverproof.cli.main import main
from leverproof.coverage import coverage
from leverproof.kills import read
from leverproof.report import coverage_table as table
from leverproof.schema import check

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / "reference_cases" / "kills.json"
PAGE = ROOT / "docs" / "explanation" / "coverage.md"


def test_the_page_is_made_from_the_kept_results() -> None:
    """After a change of cases or defects: ``leverproof coverage --keep reference_cases/kills.json --markdown
    docs/explanation/coverage.md``."""
    assert PAGE.read_text("utf-8") == table.page(coverage(read(KEPT)))


def test_there_is_no_hole() -> None:
    rows = coverage(read(KEPT)).rows
    assert [row.number for row in rows] == list(range(1, 56))
    assert not [row.number for row in rows if row.standing == "open"], [r.missing for r in rows if r.missing]


def test_the_command_says_the_same_as_the_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, page = tmp_path / "c.json", tmp_path / "c.md"
    code = main(["coverage", "--from", str(KEPT), "--json", str(out), "--markdown", str(page)])
    document = json.loads(out.read_text("utf-8"))
    check(document, "coverage", str(out))
    assert code == int(document["counts"]["open"] > 0)
    assert page.read_text("utf-8") == PAGE.read_text("utf-8")
    shown = capsys.readouterr().out
    assert f"55 classes: {document['counts']['covered']} covered" in " ".join(shown.split())
    assert all(f"{complaint.number:>2}  " in shown for complaint in load_complaints())


def test_what_holds_no_results_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["coverage", "--from", str(tmp_path)]) == 2
    assert main(["coverage", "--from", str(tmp_path / "absent.json")]) == 2
    assert "no record" in capsys.readouterr().err
