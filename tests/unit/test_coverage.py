"""Kill results kept and read again, and which classes they cover."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.complaints import Complaint
from leverproof.coverage import coverage
from leverproof.errors import InputError, UsageError
from leverproof.kills import Kills, digests_of, fly, read, text_of
from leverproof.record import RecordWriter
from leverproof.report import coverage_table as table
from leverproof.report.kill_matrix import DefectRun
from leverproof.schema import check

CATALOGUE = load_catalogue()


def kills(*runs: tuple[str, set[str]], changed: str = "") -> Kills:
    digests = digests_of(CATALOGUE)
    if changed:
        digests[changed] = "0" * 64
    made = tuple(DefectRun(name, "large", frozenset(), frozenset(fired), 1) for name, fired in runs)
    return Kills(made, digests, 1, "told here")


def row(found: Kills, *, cases: tuple[str, ...] = ("idle-speed",), defects: tuple[str, ...] = ("idle-starved",)):  # type: ignore[no-untyped-def]
    complaint = Complaint(1, "The engine idles wrongly.", "common practice", cases, defects)
    return coverage(found, [complaint]).rows[0]


def test_covered_only_when_a_defect_of_the_class_failed_the_case() -> None:
    assert row(kills(("idle-starved", {"idle-speed"}))).standing == "covered"
    assert row(kills(("idle-starved", {"idle-at-height"}))).standing == "open"
    assert row(kills(("fixed-pitch", {"idle-speed"}))).standing == "open"
    assert row(kills()).missing[-1] == "idle-starved was not flown"


def test_each_case_and_each_defect_must_have_been_shown() -> None:
    found = kills(("idle-starved", {"idle-speed"}), ("fixed-pitch", set()))
    assert row(found, cases=("idle-speed", "idle-at-height")).standing == "open"
    assert row(found, defects=("idle-starved", "fixed-pitch")).standing == "open"


def test_names_that_lead_nowhere_leave_a_class_open() -> None:
    found = row(kills(("idle-starved", {"idle-speed"})), cases=("idle-sped",), defects=("idle-starvd",))
    assert found.standing == "open"
    assert {"there is no case idle-sped", "there is no defect idle-starvd"} <= set(found.missing)


def test_a_result_of_a_case_changed_since_does_not_count() -> None:
    found = coverage(
        kills(("idle-starved", {"idle-speed"}), changed="idle-speed"),
        [Complaint(1, "The engine idles wrongly.", "common practice", ("idle-speed",), ("idle-starved",))],
    )
    assert found.rows[0].standing == "open"
    assert found.changed == ("idle-speed",)
    assert "Changed since" in table.render(found)
    assert table.exit_code(found) == 1


def test_out_of_scope_is_neither_covered_nor_open() -> None:
    reason = "no lever reaches it; needed: one"
    found = coverage(kills(), [Complaint(1, "Paint peels off.", "common practice", out_of_scope=reason)])
    assert found.rows[0].standing == "out of scope"
    assert table.exit_code(found) == 0
    assert reason in " ".join(table.render(found).split()) and reason in table.page(found)
    check(table.document(found), "coverage", "here")


def test_the_same_is_told_on_the_screen_on_the_page_and_as_json() -> None:
    found = coverage(
        kills(("idle-starved", {"idle-speed"})),
        [
            Complaint(
                1, "The engine idles wrongly.", "a report", ("idle-speed",), ("idle-starved",), limits="cold idling"
            )
        ],
    )
    assert "idle-speed <- idle-starved" in table.render(found)
    assert "| 1 | The engine idles wrongly. | covered | `idle-speed`: idle-starved<br>not shown: cold idling |" in (
        table.page(found)
    )
    document = table.document(found)
    check(document, "coverage", "here")
    assert document["classes"][0]["cases"] == [{"case": "idle-speed", "defects": ["idle-starved"]}]
    assert "fixed-pitch" in document["beyond"]


def test_results_are_kept_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "kills.json"
    path.write_text(text_of(kills(("idle-starved", {"idle-speed", "idle-at-height"}))), "utf-8")
    check(json.loads(path.read_text("utf-8")), "kills", "here")
    back = read(path)
    assert [(run.defect, run.fired) for run in back.runs] == [("idle-starved", {"idle-speed", "idle-at-height"})]
    assert back.changed(CATALOGUE) == frozenset()
    assert text_of(back) == path.read_text("utf-8")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "not valid JSON"),
        ("{}", "missing"),
        ('{"format": 1, "program": "leverproof", "version": "1", "seed": 1, "cases": {}, "defects": [{"name": "no", '
         '"exit": 1, "fired": []}]}', "no defect 'no'"),
    ],
)  # fmt: skip
def test_a_file_that_holds_no_results_is_refused(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "kills.json"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError, match=told):
        read(path)


def test_records_give_the_same_results(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no record"):
        read(tmp_path)
    with RecordWriter(tmp_path / "one", {"defect": "idle-starved", "seed": 1, "selected": []}) as writer:
        writer.add_input("case", "cases/idle/idle-speed.toml", CATALOGUE.texts["idle-speed"])
        writer.add_input("case", "cases/idle/idle-at-height.toml", "another text")
        writer.close("completed", 1)
    with RecordWriter(tmp_path / "honest", {"defect": None, "seed": 1}) as writer:
        writer.close("completed", 0)
    found = read(tmp_path)
    assert [run.defect for run in found.runs] == ["idle-starved"]
    assert found.changed(CATALOGUE) == {"idle-at-height"}
    with RecordWriter(tmp_path / "cut", {"defect": "fixed-pitch", "seed": 1}) as writer:
        writer.close("completed", 1)
    lines = tmp_path / "cut" / "record.jsonl"
    lines.write_text(lines.read_text("utf-8").splitlines()[0] + "\n", "utf-8")
    with pytest.raises(InputError, match="did not end in order"):
        read(tmp_path)


def test_an_unknown_defect_is_not_flown() -> None:
    with pytest.raises(UsageError, match="no defect 'idle-starvd'"):
        fly(["idle-starvd"], 1, command=(), shown=lambda: None)  # type: ignore[arg-type, return-value]
