"""``leverproof ledger`` on the command line: listing, measuring by itself, reading records, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.cli.main import main

CASE, DEFECT = "stopped-manifold-pressure", "engine-off-manifold-pressure-low"


def test_it_lists_without_records(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ledger", "--case", CASE]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"{CASE}/manifold-pressure (required): value of manifold pressure" in said
    assert "reason" in said and "source" in said and "Margins" not in said


def test_it_measures_by_itself_and_again_from_what_it_left(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept, first, second = tmp_path / "kept", tmp_path / "one.json", tmp_path / "two.json"
    asked = ["ledger", "--case", CASE, "--defect", DEFECT]
    assert main([*asked, "--measure", str(kept), "--json", str(first)]) == 0
    assert "Margins" in capsys.readouterr().out
    (margin,) = json.loads(first.read_text("utf-8"))["margins"]
    assert (margin["case"], margin["engines"], margin["caught"], margin["standing"]) == (CASE, 5, 1, "sharp")
    assert margin["weakest"]["defect"] == DEFECT and margin["weakest"]["deviation"]["amount"] > 10.0
    assert main(["ledger", "--case", CASE, "--records", str(kept), "--json", str(second)]) == 0
    assert second.read_text("utf-8") == first.read_text("utf-8")
    twice = ["--records", str(kept), "--records", str(kept / f"defect-{DEFECT}"), "--json", str(second)]
    assert main(["ledger", "--case", CASE, *twice]) == 0
    assert second.read_text("utf-8") == first.read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--records", "nowhere"], "no record here"),
        (["--case", "slam-and-chp"], "'slam-and-chop'"),
        (["--measure", "kept", "--defect", "instant-trubo"], "'instant-turbo'"),
    ],
)
def test_what_it_refuses(words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = [str(tmp_path / w) if w in ("nowhere", "kept") else w for w in words]
    assert main(["ledger", *words]) == 2
    caught = capsys.readouterr()
    assert told in caught.err and not (tmp_path / "kept").exists()
