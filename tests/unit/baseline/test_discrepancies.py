"""Open findings over records: first and last seen, closed, put off, over."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from leverproof.cli.main import main
from leverproof.judge.model import Deferral
from leverproof.record.reader import Record
from leverproof.report.discrepancies import discrepancies, render, render_json
from leverproof.schema import check as fits

from .invented import Flight, write

TODAY = datetime.date(2026, 3, 20)
PUT_OFF = Deferral("boost-up", "pressure", "Bob Corrie", "waits for the new pump", "2026-03-31", 1.5, "inHg")


@pytest.fixture
def flown(tmp_path: Path) -> Callable[..., Record]:
    """A record of a day of March with a verdict."""

    def fly(day: int, verdict: str, **more: object) -> Record:
        date = f"2026-03-{day:02d}T08:00:00+00:00"
        flight = Flight(verdict=verdict, date=date, ending=("completed", 1), **more)  # type: ignore[arg-type]
        return write(tmp_path / f"{day}-{len(list(tmp_path.iterdir()))}", flight)

    return fly


def test_first_and_last_seen_whatever_the_order(flown: Callable[..., Record]) -> None:
    records = [flown(9, "inconclusive"), flown(2, "pass"), flown(5, "fail")]
    (one,) = discrepancies(records, TODAY)
    assert (one.case, one.judgement, one.state, one.verdict) == ("boost-up", "pressure", "open", "inconclusive")
    assert (one.first.date[:10], one.last.date[:10], one.seen, one.judged) == ("2026-03-05", "2026-03-09", 2, 3)
    assert one.deferral is None and one.days is None


def test_what_passes_again_is_closed_and_shown_only_when_asked_for(flown: Callable[..., Record]) -> None:
    records = [flown(2, "fail"), flown(3, "pass")]
    found = discrepancies(records, TODAY)
    assert [(d.state, d.last.date[:10]) for d in found] == [("closed", "2026-03-02")]
    assert "boost-up/pressure" not in render(found, 2, closed=False)
    assert "boost-up/pressure" in render(found, 2, closed=True)


def test_what_is_not_judged_any_more_is_not_closed(flown: Callable[..., Record]) -> None:
    records = [flown(2, "fail"), flown(3, "pass", cases=("boost-down",)), flown(4, "not run")]
    (one,) = discrepancies(records, TODAY)
    assert one.state == "not judged since"


def test_what_is_blocked_stays_open_by_its_cause(flown: Callable[..., Record]) -> None:
    (one,) = discrepancies([flown(2, "fail"), flown(3, "blocked")], TODAY)
    assert (one.state, one.verdict, one.seen) == ("open", "blocked", 1)
    assert discrepancies([flown(5, "blocked")], TODAY) == []


@pytest.mark.parametrize(
    ("today", "days", "told"),
    [(TODAY, 11, "11 days left"), (datetime.date(2026, 3, 31), 0, "0 days left"),
     (datetime.date(2026, 4, 2), -2, "over for 2 days")],
)  # fmt: skip
def test_deferral_and_expiry(flown: Callable[..., Record], today: datetime.date, days: int, told: str) -> None:
    (one,) = discrepancies([flown(2, "fail"), flown(3, "deferred", deferral=PUT_OFF)], today)
    assert (one.state, one.days, one.deferral_state) == ("open", days, "holds")
    text = " ".join(render([one], 2, closed=False, width=160).split())
    assert told in text and "Bob Corrie until 2026-03-31" in text and "1 put off" in text
    document = json.loads(render_json([one], 2, today))
    fits(document, "discrepancies", "discrepancies")
    assert document["discrepancies"][0]["deferral"]["owner"] == "Bob Corrie"


def test_another_model_or_sheet_has_findings_of_its_own_and_a_record_counts_once(
    flown: Callable[..., Record],
) -> None:
    record = flown(2, "fail")
    other = flown(3, "fail", header={"sheet": {"id": "rill-8"}})
    found = discrepancies([record, record, other], TODAY)
    assert [(d.sheet, d.seen, d.judged) for d in found] == [("rill-9", 1, 1), ("rill-8", 1, 1)]


def test_on_the_command_line(flown: Callable[..., Record], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    records = [str(flown(2, "fail").folder), str(flown(3, "deferred", deferral=PUT_OFF).folder)]
    assert main(["discrepancies", *records, "--today", "2026-03-20", "--json", str(tmp_path / "d.json")]) == 0
    told = capsys.readouterr().out
    assert "1 open discrepancy in 2 records, 1 put off, 1 due within 14 days" in told
    assert json.loads((tmp_path / "d.json").read_text("utf-8"))["today"] == "2026-03-20"
    assert main(["discrepancies", *records, "--today", "soon"]) == 2
    assert main(["discrepancies", str(tmp_path / "nowhere")]) == 2


@pytest.mark.parametrize("ending", [None, ("interrupted; what was finished is kept", 130), ("no handshake", 3)])
def test_a_run_that_did_not_end_in_order_is_no_clean_sheet(
    ending: tuple[str, int] | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record, told = write(tmp_path / "cut", Flight(ending=ending)), tmp_path / "d.json"
    assert main(["discrepancies", str(record.folder), "--json", str(told)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "0 open discrepancies in 1 record note: " in said and "not end in order" in said
    document = json.loads(told.read_text("utf-8"))
    fits(document, "discrepancies", "d.json")
    assert len(document["remarks"]) == 1 and "cut" in document["remarks"][0]
