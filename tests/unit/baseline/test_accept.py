"""Accepting: what is refused, what stays in the log, and that one record gives one text."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from leverproof.baseline.accept import Wish, accept
from leverproof.baseline.layout import ACCEPTED, LOG
from leverproof.baseline.lock import holding
from leverproof.baseline.store import read_baseline, read_if_there, read_versions
from leverproof.errors import LeverproofError, ReproducibilityError, UsageError
from leverproof.judge.endings import DISORDERLY
from leverproof.schema import check as fits

from .invented import Flight, Samples, write

ANN = Wish("Ann Rill", "the first run that holds together")


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def louder(run: str, data: dict[str, Samples]) -> None:
    data["brake_power"] += 40.0


def test_one_record_gives_the_same_bytes_wherever_it_is_accepted(tmp_path: Path) -> None:
    record = write(tmp_path / "record", Flight(cases=("boost-up", "boost-down")))
    for name in ("one", "two"):
        assert not accept(record, tmp_path / name, ANN).already
    assert contents(tmp_path / "one") == contents(tmp_path / "two")
    assert set(contents(tmp_path / "one")) == {ACCEPTED, LOG, "versions/0001.json"}
    text = (tmp_path / "one" / ACCEPTED).read_text("utf-8")
    readings = [line for line in text.splitlines() if line.strip().startswith('"settled": {')]
    assert len(readings) == 4 and all('"manifold_pressure"' in line for line in readings)
    curves = [line for line in text.splitlines() if line.strip().startswith('"engine_speed": [')]
    assert len(curves) == 4
    keys = list(json.loads(text))
    assert keys == sorted(keys)


def test_the_files_fit_their_schemas(tmp_path: Path) -> None:
    accept(write(tmp_path / "record", Flight()), tmp_path / "held", ANN)
    for name, schema in ((ACCEPTED, "baseline"), ("versions/0001.json", "baseline-version")):
        fits(json.loads((tmp_path / "held" / name).read_text("utf-8")), schema, name)
    for line in (tmp_path / "held" / LOG).read_text("utf-8").splitlines():
        fits(json.loads(line), "baseline-acceptance", LOG)


def test_the_accepted_record_again_changes_nothing(tmp_path: Path) -> None:
    record = write(tmp_path / "record", Flight())
    accept(record, tmp_path / "held", ANN)
    before = contents(tmp_path / "held")
    again = accept(record, tmp_path / "held", Wish("Bob Corrie", "because I can"))
    assert again.already and again.acceptance.by == "Ann Rill"
    assert contents(tmp_path / "held") == before


@pytest.mark.skipif(os.name != "posix", reason="folders are locked there only")
def test_of_two_acceptances_at_one_instant_one_is_refused(tmp_path: Path) -> None:
    first, second = write(tmp_path / "one", Flight()), write(tmp_path / "two", Flight(change=louder))
    folder = tmp_path / "held"
    with holding(folder), pytest.raises(UsageError, match="somebody else is accepting"):
        accept(first, folder, ANN)
    assert not folder.exists()
    accept(first, folder, ANN)
    before = contents(folder)
    with holding(folder), pytest.raises(UsageError, match="nothing was written"):
        accept(second, folder, Wish("Ben", "louder"))
    assert contents(folder) == before
    accept(second, folder, Wish("Ben", "louder"))
    assert [one.by for one in read_baseline(folder).log] == ["Ann Rill", "Ben"]


def test_who_why_when_and_what_is_kept(tmp_path: Path) -> None:
    found = accept(write(tmp_path / "record", Flight()), tmp_path / "held", ANN)
    one = read_baseline(tmp_path / "held").acceptance
    assert one == found.acceptance
    assert (one.version, one.by, one.why) == (1, "Ann Rill", ANN.why)
    origin = one.origin
    assert origin.date == "2026-03-01T09:30:00+00:00"
    assert (origin.model, origin.model_version, origin.fingerprint) == ("Corrie model", "3", "ab" * 32)
    assert (origin.sheet.id, origin.sheet.revision, origin.suite, origin.seed) == ("rill-9", "1", "1", "1")
    assert origin.leverproof and len(origin.sheet.sha256) == 64
    tier = read_baseline(tmp_path / "held").baseline.tolerances
    assert all(held.reason and held.source for held in tier.values())


def test_a_second_acceptance_stays_beside_the_first_with_what_it_changed(tmp_path: Path) -> None:
    held = tmp_path / "held"
    accept(write(tmp_path / "one", Flight()), held, ANN)
    first = (held / LOG).read_bytes()
    found = accept(write(tmp_path / "two", Flight(change=louder)), held, Wish("Bob", "a better combustion law"))
    assert (held / LOG).read_bytes().startswith(first)
    changed = found.acceptance.changed
    assert changed is not None and changed.compared
    assert (changed.readings, changed.moved, changed.cases) == (10, 2, ("boost-up",))
    assert changed.first.startswith("brake power, in 2 of 2 runs that moved")
    kept = read_baseline(held)
    assert [one.by for one in kept.log] == ["Ann Rill", "Bob"]
    assert [v.readings["boost-up/00/up/settled/manifold_pressure"] for v in read_versions(kept)] == [
        pytest.approx(40.0, abs=0.01)
    ] * 2


@pytest.mark.parametrize(
    ("flight", "told"),
    [
        (Flight(ending=None), "stopped before it was written"),
        (Flight(ending=("interrupted; what was finished is kept", 130)), "did not end in order"),
        (Flight(ending=("no handshake with the model", 3)), "did not end in order"),
        (Flight(ending=("completed", 2)), "did not end in order"),
        (Flight(ending=("completed", 5)), "nothing was judged"),
        (Flight(verdict="fail", ending=("completed", 1)), "boost-up/pressure: fail"),
        (Flight(verdict="inconclusive", ending=("completed", 1)), "boost-up/pressure: inconclusive"),
        (Flight(ending=(DISORDERLY, 1)), "did not end in order"),
        (Flight(header={"defect": "instant-turbo"}), "seeded defect 'instant-turbo'"),
    ],
)
def test_what_is_not_whole_or_fails_is_refused(flight: Flight, told: str, tmp_path: Path) -> None:
    record = write(tmp_path / "record", flight)
    with pytest.raises(UsageError) as caught:
        accept(record, tmp_path / "held", ANN)
    assert told in str(caught.value) and not (tmp_path / "held").exists()


def test_a_damaged_record_is_refused(tmp_path: Path) -> None:
    record = write(tmp_path / "record", Flight())
    (tmp_path / "record" / "histories" / "boost-up.npz").write_bytes(b"nothing")
    with pytest.raises(ReproducibilityError, match="not as it was written"):
        accept(record, tmp_path / "held", ANN)
    assert not (tmp_path / "held").exists()


def test_failures_are_accepted_only_with_a_reason_which_is_kept(tmp_path: Path) -> None:
    record = write(tmp_path / "record", Flight(verdict="fail", ending=("completed", 1)))
    found = accept(record, tmp_path / "held", Wish("Ann", "a start", despite="the pump is not modelled yet"))
    assert found.acceptance.failures == ("boost-up/pressure: fail",)
    assert read_baseline(tmp_path / "held").acceptance.despite == "the pump is not modelled yet"
    with pytest.raises(UsageError, match="leave it out"):
        accept(write(tmp_path / "good", Flight()), tmp_path / "other", Wish("Ann", "fine", despite="just in case"))


def test_a_failure_that_is_put_off_needs_no_reason(tmp_path: Path) -> None:
    from leverproof.judge.model import Deferral

    put_off = Deferral("boost-up", "pressure", "Bob", "known", "2026-12-31", 3.0, "tolerances")
    record = write(tmp_path / "record", Flight(verdict="deferred", deferral=put_off))
    assert accept(record, tmp_path / "held", ANN).acceptance.failures == ()


@pytest.mark.parametrize(
    "wish",
    [
        Wish("", "why"), Wish("Ann", " "), Wish("--", "why"), Wish("Ann", "The First run  that holds together"),
        Wish("Ann", "x" * 5_000),
    ],
)  # fmt: skip
def test_name_and_reason_are_asked_for_and_the_reason_is_its_own(wish: Wish, tmp_path: Path) -> None:
    accept(write(tmp_path / "one", Flight()), tmp_path / "held", ANN)
    before = contents(tmp_path / "held")
    with pytest.raises(UsageError):
        accept(write(tmp_path / "two", Flight(change=louder)), tmp_path / "held", wish)
    assert contents(tmp_path / "held") == before


def test_fewer_cases_need_a_reason(tmp_path: Path) -> None:
    held = tmp_path / "held"
    accept(write(tmp_path / "one", Flight(cases=("boost-up", "boost-down"))), held, ANN)
    fewer = write(tmp_path / "two", Flight(cases=("boost-up",), change=louder))
    with pytest.raises(UsageError, match="boost-down"):
        accept(fewer, held, Wish("Ann", "again"))
    found = accept(fewer, held, Wish("Ann", "again", fewer="boost-down moved to another suite"))
    assert found.acceptance.fewer and set(read_baseline(held).baseline.cases) == {"boost-up"}
    with pytest.raises(UsageError, match="leave it out"):
        accept(write(tmp_path / "three", Flight()), held, Wish("Ann", "and again", fewer="why not"))


def test_a_case_that_does_not_apply_any_more_needs_a_reason_too(tmp_path: Path) -> None:
    both, held = ("boost-up", "boost-down"), tmp_path / "held"
    accept(write(tmp_path / "one", Flight(cases=both)), held, ANN)
    lost = write(tmp_path / "two", Flight(cases=both, lost=("boost-down",)))
    with pytest.raises(UsageError, match="nothing would be held any more of 1 case: boost-down"):
        accept(lost, held, Wish("Ann", "again"))
    accept(lost, held, Wish("Ann", "again", fewer="the gauge is gone"))
    # What holds nothing is not missed.
    accept(write(tmp_path / "three", Flight(change=louder)), held, Wish("Ann", "and again"))


@pytest.mark.parametrize("kind", ["file", "other", "link"])
def test_a_folder_of_something_else_is_left_as_it_is(kind: str, tmp_path: Path) -> None:
    target = tmp_path / "held"
    if kind == "file":
        target.write_text("mine")
    else:
        (tmp_path / "theirs").mkdir()
        (tmp_path / "theirs" / "notes.txt").write_text("mine")
        target = tmp_path / "theirs" if kind == "other" else target
        if kind == "link":
            target.symlink_to(tmp_path / "theirs")
    record = write(tmp_path / "record", Flight())
    with pytest.raises(LeverproofError):
        accept(record, target, ANN)
    assert not list(tmp_path.rglob(ACCEPTED))


def test_no_baseline_is_told_as_such(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for name in ("nowhere", "empty"):
        assert read_if_there(tmp_path / name) is None
        with pytest.raises(UsageError, match="no baseline here") as caught:
            read_baseline(tmp_path / name)
        assert caught.value.code == "no_baseline"


def test_another_sheet_may_be_accepted_and_the_log_says_why_nothing_was_compared(tmp_path: Path) -> None:
    held = tmp_path / "held"
    accept(write(tmp_path / "one", Flight()), held, ANN)
    other = Flight(sheet='format = 1\nid = "rill-9"\nrevision = "2"\n')
    found = accept(write(tmp_path / "two", other), held, Wish("Ann", "the sheet was corrected"))
    changed = found.acceptance.changed
    assert changed is not None and not changed.compared and "another engine sheet" in changed.why


def test_own_tolerances_are_kept_with_their_reason_and_told(tmp_path: Path) -> None:
    held, text = tmp_path / "held", 'format = 1\n[channel.brake_power]\nvalue = "9 hp"\nreason = "it is noisy"\n'
    accept(write(tmp_path / "one", Flight()), held, ANN)
    wish = Wish("Ann", "noise", tolerances=text, tolerances_from="mine.toml")
    found = accept(write(tmp_path / "two", Flight(change=louder)), held, wish)
    changed = found.acceptance.changed
    assert changed is not None
    assert changed.tolerances == ("brake power: 9 hp and 0.5 s, was 4 hp and 0.5 s (it is noisy)",)
    third = accept(write(tmp_path / "three", Flight()), held, Wish("Ann", "back again"))
    assert third.baseline.tolerances["brake_power"].value == 9.0
