"""Items judged by eye: with name and date, beside the record, apart from what was measured in every report."""

from __future__ import annotations

import json
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from leverproof.cli.main import main
from leverproof.errors import InputError
from leverproof.record import Record
from leverproof.report import json_report, junit, markdown, terminal
from leverproof.report.by_eye import Item, parse_by_eye, with_item
from leverproof.schema import check

ITEM = Item("A. Person", "2026-11-25", "split-lever-advantage/size", "looks_wrong", "the <knee> sits *low*")
GOOD = """format = 1
[[item]]
reviewer = "A. Person"
date = 2026-11-25
about = "run"
says = "remark"
text = "quiet"
"""


def test_every_report_keeps_them_apart_and_counts_nothing(full: Record) -> None:
    for render in (terminal.render, markdown.render):
        without, given_ = render(full), render(full, by_eye=[ITEM])
        assert "Judged by eye, not measured" in given_ and "Judged by eye" not in without
        assert "A. Person, 2026-11-25" in given_
        lines = set(given_.splitlines()) - set(without.splitlines())
        assert len(lines) <= 3
    assert "\\<knee\\>" in markdown.render(full, by_eye=[ITEM])
    told = json_report.report_object(full, [ITEM])
    check(json.loads(json_report.render(full, by_eye=[ITEM])), "report", "r.json")
    assert told["by_eye"][0]["reviewer"] == "A. Person"
    assert {k: v for k, v in told.items() if k != "by_eye"} == json_report.report_object(full)
    one, other = (ET.fromstring(junit.render(full, by_eye=items)) for items in ([], [ITEM]))
    assert one.attrib == other.attrib
    said = [p.attrib["value"] for p in other.iter("property") if p.attrib["name"].startswith("Judged by eye")]
    assert len(said) == 1 and "looks wrong" in said[0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('reviewer = "A. Person"\n', ""), "the key 'reviewer' is missing"),
        (('"A. Person"', '" "'), "not of the form expected"),
        (("date = 2026-11-25\n", ""), "the key 'date' is missing"),
        (("2026-11-25", '"2026-02-30"'), "is no date"),
        (("2026-11-25", "2026-11-25T10:00:00"), "not of the form expected"),
        (('about = "run"', 'about = "split-lever-advantag"'), "the record knows no"),
        (('says = "remark"', 'says = "passes"'), "is not one of"),
        (('text = "quiet"', 'text = "quiet"\nverdict = "pass"'), "unknown key 'verdict'"),
        (("format = 1", "format = 2"), "expected 1"),
        (("[[item]]", "[item]"), "expected a list"),
    ],
)
def test_a_wrong_file_is_refused_with_its_place(full: Record, change: tuple[str, str], words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        parse_by_eye(GOOD.replace(*change), "eye.toml", full)
    assert caught.value.where.startswith("eye.toml")


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(min_size=1, max_size=60).filter(lambda t: any(c.isprintable() and not c.isspace() for c in t)))
@example('"""\n[[item]]\x7f\x00\\ \U0001f600')
def test_any_text_is_written_as_it_is(full: Record, tmp_path: Path, text: str) -> None:
    written = with_item(tmp_path / "none.toml", Item("A. Person", "2026-11-25", "run", "remark", text), full)
    assert tomllib.loads(written)["item"][0]["text"] == text
    assert parse_by_eye(written, "x", full)[0].text == text


def test_note_adds_items_and_report_shows_them(
    full: Record, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "eye.toml"
    words = ["note", str(full.folder), "--by", "A. Person", "--into", str(file)]
    assert main([*words, "all quiet", "--date", "2026-11-20"]) == 0
    assert main([*words, "sits low", "--about", "split-lever-advantage", "--says", "looks_wrong"]) == 0
    kept = file.read_text("utf-8")
    assert [i.text for i in parse_by_eye(kept, "x", full)] == ["all quiet", "sits low"]
    for wrong in (
        ["--about", "no-such-case"],
        ["--date", "yesterday"],
        ["--into", str(full.folder / "e.toml")],
    ):
        assert main([*words, "x", *wrong]) == 2
    assert main([*words, "\udcff", "--about", "run"]) == 0
    assert file.read_text("utf-8").startswith(kept)
    capsys.readouterr()
    for kind in ("table", "json", "junit", "markdown"):
        assert main(["report", str(full.folder), "--format", kind, "--by-eye", str(file)]) == 0
        assert "all quiet" in capsys.readouterr().out
    file.write_text("format = 1\nitem = 3\n", "utf-8")
    assert main(["report", str(full.folder), "--by-eye", str(file)]) == 2
