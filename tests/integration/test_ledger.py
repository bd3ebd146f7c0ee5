"""``leverproof ledger`` on the command line: listing, measuring by itself, reading records, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cli import ledger
from leverproof.cli.main import main
from leverproof.kept_margins import read
from leverproof.kills import digests_of
from leverproof.report.ledger_page import page
from leverproof.session import known_defects
from leverproof.sheet.loader import shipped_sheets

ROOT = Path(__file__).resolve().parents[2]
SHEETS = [sheet.name.removesuffix(".toml") for sheet in shipped_sheets()]
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


def test_what_lies_there_is_not_flown_again_and_kept_margins_are_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept, margins, page = tmp_path / "kept", tmp_path / "margins.json", tmp_path / "ledger.md"
    asked = ["ledger", "--case", CASE]
    measure = ["--defect", DEFECT, "--measure", str(kept)]
    assert main([*asked, *measure, "--keep", str(margins), "--markdown", str(page)]) == 0
    flown = {place.name: (place / "record.jsonl").stat().st_mtime_ns for place in kept.iterdir()}
    assert set(flown) == {f"defect-{DEFECT}", *(f"honest-{sheet}" for sheet in SHEETS)}
    first, words = margins.read_text("utf-8"), page.read_text("utf-8")
    assert main([*asked, *measure, "--keep", str(margins)]) == 0
    assert {place.name: (place / "record.jsonl").stat().st_mtime_ns for place in kept.iterdir()} == flown
    assert margins.read_text("utf-8") == first
    assert main([*asked, "--from", str(margins), "--keep", str(margins), "--markdown", str(page)]) == 0
    assert (margins.read_text("utf-8"), page.read_text("utf-8")) == (first, words)
    assert f"`{CASE}` | sharp | 5" in words and DEFECT in words
    found = read(margins)
    assert (found.defects, set(found.honest)) == ((DEFECT,), set(SHEETS))
    catalogue = load_catalogue()
    assert not found.changed(catalogue)
    place, texts = kept / f"defect-{DEFECT}", digests_of(catalogue)
    assert ledger._is_there(place, {CASE: texts[CASE]}, 1)
    for other in (({CASE: texts[CASE]}, 7), ({CASE: "0" * 64}, 1), ({"no-such-case": texts[CASE]}, 1)):
        assert not ledger._is_there(place, *other), "another seed, another text, another case"
    capsys.readouterr()


def test_the_shipped_page_is_made_from_the_kept_margins() -> None:
    """After a change of cases or defects: ``leverproof coverage --leave DIR --keep reference_cases/kills.json
    --markdown docs/explanation/coverage.md``, then ``leverproof ledger --measure DIR --keep
    reference_cases/margins.json --markdown docs/explanation/ledger.md``, which flies the honest engines only.
    Records of further honest engines (``run --stand FILE --out DIR/honest-NAME``) count when they lie there."""
    catalogue, kept = load_catalogue(), read(ROOT / "reference_cases" / "margins.json")
    assert kept.changed(catalogue) == ()
    assert {defect.name for defect in known_defects()} <= set(kept.defects)
    made = page(catalogue.cases, kept.margins, honest=kept.honest, defects=kept.defects)
    assert (ROOT / "docs" / "explanation" / "ledger.md").read_text("utf-8") == made


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--keep", "out"], "there are no margins"),
        (["--markdown", "out"], "there are no margins"),
        (["--from", "margins", "--measure", "kept"], "measures nothing"),
        (["--from", "absent"], "file of margins"),
    ],
)
def test_margins_that_are_not_there(
    words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [w if w.startswith("--") else str(tmp_path / w) for w in words]
    assert main(["ledger", "--case", CASE, *words]) == 2
    assert told in capsys.readouterr().err and not list(tmp_path.iterdir())
