"""A run against the accepted one: what counts as the same, what moved first, and what cannot be compared."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from leverproof.baseline.accept import Wish, accept
from leverproof.baseline.check import check
from leverproof.baseline.checked import Checked
from leverproof.baseline.store import read_baseline
from leverproof.errors import ReproducibilityError

from .invented import ROWS, Change, Flight, Samples, write

Held = Callable[[Flight], Checked]


@pytest.fixture
def held(tmp_path: Path) -> Held:
    """Accepts the model as it was, and checks a flight against it."""
    accept(write(tmp_path / "accepted", Flight(cases=("boost-up", "boost-down"))), tmp_path / "held", Wish("Ann", "ok"))
    number = [0]

    def against(flight: Flight) -> Checked:
        number[0] += 1
        return check(write(tmp_path / f"now-{number[0]}", flight), read_baseline(tmp_path / "held"))

    return against


def both(change: Change | None = None, **more: object) -> Flight:
    flight = Flight(cases=("boost-up", "boost-down"), **more)  # type: ignore[arg-type]
    if change is not None:
        flight.change = change
    return flight


def shifted(rows: int, *, channels: tuple[str, ...] = ("manifold_pressure",)) -> Change:
    """The channels late by so many rows, from the lever movement on."""

    def change(run: str, data: dict[str, Samples]) -> None:
        for name in channels:
            data[name] = np.concatenate((np.full(rows, data[name][0]), data[name][: ROWS - rows]))

    return change


def added(channel: str, amount: float, first: int = 0, last: int = ROWS, only: str = "") -> Change:
    def change(run: str, data: dict[str, Samples]) -> None:
        if run == only or not only:
            data[channel][first:last] += amount

    return change


def test_the_same_run_on_another_day_is_recognised_by_its_sums(held: Held) -> None:
    found = held(both(date="2026-04-01T00:00:00+00:00"))
    assert found.passed and found.standing == "identical" and found.same_samples
    assert [case.standing for case in found.cases] == ["identical", "identical"]
    assert all(case.runs == () for case in found.cases)


@pytest.mark.parametrize("amount", [0.5, 3.9])
def test_inside_tolerance_is_told_and_passes(held: Held, amount: float) -> None:
    found = held(both(added("brake_power", amount)))
    assert found.passed and found.standing == "within tolerance" and found.first is None
    run = found.cases[0].runs[0]
    assert run.largest is not None and run.largest.channel == "brake_power"
    assert run.largest.tolerances == pytest.approx(amount / 4.0, rel=1e-3)


def test_out_of_tolerance_names_channel_instant_and_units_of_doubt(held: Held) -> None:
    found = held(both(added("brake_power", 12.0, first=400)))
    assert not found.passed and found.standing == "moved"
    first = found.first
    assert first is not None
    assert (first.channel, first.runs, first.of) == ("brake_power", 4, 4)
    place = first.places[0]
    assert place.time == pytest.approx(400 * 0.05, abs=0.1)
    assert place.found - place.was == pytest.approx(12.0, abs=1.4)
    # the band of 4 hp as a rectangular distribution, with a third of it lost in keeping few points
    unit = math.hypot(4.0 / math.sqrt(12.0), 4.0 / 3.0 / math.sqrt(3.0))
    assert place.doubt == pytest.approx(unit)
    assert place.doubts is not None and place.doubts == pytest.approx(12.0 / unit, abs=1.0)
    run = found.cases[0].runs[0]
    assert [p.channel for p in run.readings] == ["brake_power"]
    assert [p.channel for p in run.curves] == ["brake_power"]
    reading = run.readings[0]
    assert reading.where == "settled" and reading.apart == pytest.approx(12.0, abs=1e-3)
    assert reading.doubts == pytest.approx(12.0 / (4.0 / math.sqrt(12.0)), rel=1e-3)


def test_the_one_that_moved_first_is_named_and_not_the_one_that_moved_most(held: Held) -> None:
    def change(run: str, data: dict[str, Samples]) -> None:
        data["engine_speed"][200:] += 15.0
        data["brake_power"][260:] += 400.0

    first = held(both(change)).first
    assert first is not None and first.channel == "engine_speed" and first.others == () and len(first.places) == 1
    assert first.places[0].time == pytest.approx(10.0, abs=0.1)


def test_of_those_that_move_at_one_instant_the_farthest_stands_first(held: Held) -> None:
    def change(run: str, data: dict[str, Samples]) -> None:
        data["engine_speed"] += 12.0
        data["brake_power"] += 80.0

    first = held(both(change)).first
    assert first is not None and [p.channel for p in first.places] == ["brake_power", "engine_speed"]
    assert [p.time for p in first.places] == [0.0, 0.0]


@pytest.mark.parametrize(
    "change",
    [
        added("manifold_pressure", 3.0, 520, 545),
        added("manifold_pressure", -3.0, 520, 545),
        added("turbo_overspeed_light", -2.0, 500, 560, only="up"),
    ],
)
def test_a_new_peak_is_seen_however_short_of_the_reading(held: Held, change: Change) -> None:
    assert held(both(change)).standing == "moved"


@pytest.mark.parametrize("last", [545, 528])
def test_a_peak_that_is_missing_is_seen_too(last: int, tmp_path: Path) -> None:
    """Also one so short that the time tolerance would let every sample of the other run be before or after it."""
    peaked = both(added("manifold_pressure", 3.0, 520, last))
    accept(write(tmp_path / "accepted", peaked), tmp_path / "held", Wish("Ann", "ok"))
    found = check(write(tmp_path / "now", both()), read_baseline(tmp_path / "held"))
    assert found.standing == "moved" and found.first is not None
    assert found.first.places[0].time == pytest.approx(520 * 0.05, abs=0.2)


@pytest.mark.parametrize(("rows", "passes"), [(4, True), (9, True), (14, False), (60, False)])
def test_a_response_may_be_half_a_second_late_and_no_more(held: Held, rows: int, passes: bool) -> None:
    assert held(both(shifted(rows))).passed is passes


@pytest.mark.parametrize(("ends", "noted"), [(610, False), (590, False), (612, True), (560, True)])
def test_how_long_a_seek_took_is_told_and_decides_nothing(held: Held, ends: int, noted: bool) -> None:
    found = held(both(seek_ends=ends))
    assert found.standing == "within tolerance"
    told = [line for case in found.cases for run in case.runs for line in run.noted]
    assert sum(line.startswith("seek find takes ") for line in told) == 4 * noted


def test_steps_begin_beside_one_another_whenever_they_begin(tmp_path: Path) -> None:
    """What happens within the last step a second after its beginning is the same one, when the step begins later."""

    def event(at: int) -> Change:
        def change(run: str, data: dict[str, Samples]) -> None:
            data["brake_power"][at:] += 60.0

        return change

    accept(write(tmp_path / "accepted", both(event(620))), tmp_path / "held", Wish("Ann", "ok"))
    kept = read_baseline(tmp_path / "held")
    later = both(event(650), seek_ends=630)
    assert check(write(tmp_path / "later", later), kept).passed
    early = both(event(620), seek_ends=630)
    assert not check(write(tmp_path / "early", early), kept).passed


def test_a_state_is_another_or_the_same(held: Held) -> None:
    def late(run: str, data: dict[str, Samples]) -> None:
        light = data["turbo_overspeed_light"]
        data["turbo_overspeed_light"] = np.concatenate((np.full(20, light[0]), light[:-20]))

    found = held(both(late))
    assert found.first is not None and found.first.channel == "turbo_overspeed_light"
    assert found.first.places[0].doubts is None and found.first.places[0].tolerances is None


def test_what_is_no_number_any_more_never_passes(held: Held) -> None:
    def broken(run: str, data: dict[str, Samples]) -> None:
        data["manifold_pressure"][400:] = math.nan

    found = held(both(broken))
    assert found.standing == "moved"
    assert "manifold pressure is no finite number from 20 s on" in found.cases[0].runs[0].told


def test_what_was_no_number_before_and_is_not_now_is_the_same(tmp_path: Path) -> None:
    def broken(run: str, data: dict[str, Samples]) -> None:
        data["engine_speed"][795:] = math.nan
        data["brake_power"] += {"up": 0.0}.get(run, 0.5)

    accept(write(tmp_path / "accepted", both(broken)), tmp_path / "held", Wish("Ann", "ok"))
    kept = read_baseline(tmp_path / "held")

    def again(run: str, data: dict[str, Samples]) -> None:
        broken(run, data)
        data["brake_power"] += 0.25

    found = check(write(tmp_path / "now", both(again)), kept)
    assert found.standing == "within tolerance"
    assert check(write(tmp_path / "mended", both()), kept).standing == "moved"


def test_a_run_that_ends_otherwise_moved(held: Held) -> None:
    found = held(both(run_ending="invalid", change=added("brake_power", 0.1)))
    assert "it ended completed, and now invalid" in found.cases[0].runs[0].told
    assert found.standing == "moved" and found.first is None
    found = held(both(run_ending="crash", seek_ends=400))
    assert not found.cases[0].runs[0].noted  # a step that was cut short took no other time


def test_a_reading_just_out_of_its_tolerance_is_out_though_its_curve_is_not(held: Held) -> None:
    found = held(both(added("brake_power", 4.6)))
    run = found.cases[0].runs[0]
    assert found.standing == "moved" and len(run.readings) == 1 and run.curves == ()


@pytest.mark.parametrize(
    ("flight", "told"),
    [
        (both(sheet='format = 1\nid = "rill-9"\n[takeoff]\nminutes = 5\n'), "another engine sheet"),
        (both(header={"suite": "2"}), "another suite of cases: version 1 was used, and now 2"),
        (both(ending=("interrupted; what was finished is kept", 130)), "did not end in order"),
        (both(ending=("no handshake with the model", 3)), "did not end in order"),
    ],
)
def test_nothing_is_compared_and_it_is_said_why(held: Held, flight: Flight, told: str) -> None:
    found = held(flight)
    assert found.standing == "not comparable" and not found.passed and found.cases == ()
    assert told in found.refused[0]


def test_a_sheet_written_otherwise_is_the_same_sheet(held: Held) -> None:
    assert held(both(sheet='# the same\nid = "rill-9"\nformat = 1\n')).passed


def test_a_case_of_another_text_is_not_compared_and_the_others_are(held: Held, tmp_path: Path) -> None:
    found = held(both(tolerance=2.0))
    assert found.standing == "not comparable"
    assert found.cases[0].why == "its text is another: how it is judged"


def test_other_points_of_the_seed_are_not_compared(held: Held) -> None:
    found = held(both(start=0.31, header={"seed": 2}))
    assert found.standing == "not comparable" and "lever program is another one" in found.cases[0].why
    assert any("run with --seed 1" in line for line in found.remarks)


def test_new_missing_and_unasked_cases_are_told(held: Held) -> None:
    found = held(Flight(cases=("boost-up", "boost-down", "boost-more")))
    assert found.passed and [c.case for c in found.cases if c.standing == "new"] == ["boost-more"]
    found = held(Flight(cases=("boost-up",)))
    assert not found.passed and [c.case for c in found.cases if c.standing == "missing"] == ["boost-down"]
    asked = {"request": {"cases": ["boost-up"], "subjects": [], "engine": None}}
    found = held(Flight(cases=("boost-up",), header=asked))
    assert found.passed and [c.case for c in found.cases if c.standing == "not in this run"] == ["boost-down"]


def test_a_change_that_no_case_shows_is_told(held: Held) -> None:
    told = "no case that was flown shows it"
    assert not any(told in words for words in held(both()).remarks)
    assert any(told in words for words in held(both(fingerprint="cd" * 32)).remarks)
    assert not any(told in words for words in held(both(added("brake_power", 1e-3), fingerprint="cd" * 32)).remarks)


@pytest.mark.parametrize(
    ("asked", "standing"),
    [
        ({"subjects": ["boost control"]}, "missing"),
        ({"cases": ["boost-*"]}, "missing"),
        ({"cases": ["boost-*"], "subjects": ["boost control", "idle"]}, "missing"),
        ({"cases": ["*-up"], "subjects": ["boost control"]}, "not in this run"),
        ({"cases": ["boost-*"], "subjects": ["idle"]}, "not in this run"),
        ({"cases": ["boost-*"], "engine": 2}, "not in this run"),
    ],
)
def test_a_case_that_was_asked_for_and_is_not_there_is_missing(
    held: Held, asked: dict[str, object], standing: str
) -> None:
    found = held(Flight(cases=("boost-up",), header={"request": {"cases": [], "subjects": [], "engine": None} | asked}))
    assert [c.standing for c in found.cases if c.case == "boost-down"] == [standing]
    assert found.passed is (standing != "missing")


def test_a_channel_that_no_accepted_run_has_is_told(held: Held) -> None:
    def richer(run: str, data: dict[str, Samples]) -> None:
        data["torque"] = np.full(ROWS, 100.0)

    found = held(both(richer))
    assert found.passed and found.standing == "within tolerance" and not found.differing
    assert any("the model gives torque, which the accepted run has not" in told for told in found.remarks)


def test_channels_that_differ_at_all_are_counted(held: Held) -> None:
    assert held(both()).differing == {}
    assert held(both(added("brake_power", 1e-3))).differing == {"brake_power": 4}


def test_a_case_that_holds_nothing_is_not_missed(tmp_path: Path) -> None:
    accept(write(tmp_path / "one", both(lost=("boost-down",))), tmp_path / "held", Wish("Ann", "ok"))
    kept = read_baseline(tmp_path / "held")
    asked = {"request": {"cases": ["boost-up"], "subjects": [], "engine": None}}
    for number, header in enumerate((asked, {})):
        found = check(write(tmp_path / f"{number}", Flight(header=header)), kept)
        assert [c.standing for c in found.cases] == ["identical", "not applicable"] and found.passed


def test_a_program_without_a_channel_that_is_gone_says_so(held: Held) -> None:
    def silent(run: str, data: dict[str, Samples]) -> None:
        del data["turbo_overspeed_light"]

    found = held(both(silent, start=0.35))
    assert not found.passed and "gives no turbo overspeed light any more" in found.cases[0].why

    def richer(run: str, data: dict[str, Samples]) -> None:
        data["torque"] = np.full(ROWS, 100.0)

    assert "the model gives torque now" in held(both(richer, start=0.35)).cases[0].why


def test_only_new_cases_are_no_answer(held: Held) -> None:
    asked = {"request": {"cases": ["boost-more"], "subjects": [], "engine": None}}
    assert not held(Flight(cases=("boost-more",), header=asked)).passed


def test_a_case_that_does_not_apply_any_more_moved(held: Held) -> None:
    found = held(both(lost=("boost-down",)))
    assert [(c.case, c.standing) for c in found.cases] == [("boost-up", "identical"), ("boost-down", "moved")]


def test_a_case_that_never_applied_is_neither_the_same_nor_moved(tmp_path: Path) -> None:
    accept(write(tmp_path / "one", both(lost=("boost-down",))), tmp_path / "held", Wish("Ann", "ok"))
    kept = read_baseline(tmp_path / "held")
    found = check(write(tmp_path / "two", both(lost=("boost-down",))), kept)
    assert [c.standing for c in found.cases] == ["identical", "not applicable"] and found.passed
    found = check(write(tmp_path / "three", both()), kept)
    assert [c.standing for c in found.cases] == ["identical", "new"] and found.passed


@pytest.mark.parametrize(("verdict", "passes"), [("fail", False), ("conditional pass", True), ("deferred", False)])
def test_a_verdict_that_turns_is_told_and_decides_when_it_is_worse(held: Held, verdict: str, passes: bool) -> None:
    found = held(both(verdict=verdict, ending=("completed", 1)))
    (turn,) = found.cases[0].turned
    assert (turn.was, turn.now, turn.worse) == ("pass", verdict, not passes)
    assert found.passed is passes and found.cases[0].standing == "identical"


def test_a_verdict_that_becomes_better_does_not_fail_a_build(tmp_path: Path) -> None:
    record = write(tmp_path / "accepted", Flight(verdict="fail", ending=("completed", 1)))
    accept(record, tmp_path / "held", Wish("Ann", "ok", despite="known"))
    assert check(write(tmp_path / "now", Flight()), read_baseline(tmp_path / "held")).passed


def test_an_incomplete_record_is_no_answer(held: Held) -> None:
    with pytest.raises(ReproducibilityError, match="no footer"):
        held(both(ending=None))


def test_a_free_running_model_is_given_what_its_clock_does_not_know(tmp_path: Path) -> None:
    free = {"deterministic": False, "clock": "free_running"}
    accept(write(tmp_path / "accepted", both(capabilities=free)), tmp_path / "held", Wish("Ann", "ok"))
    found = check(write(tmp_path / "now", both(added("brake_power", 1.0))), read_baseline(tmp_path / "held"))
    assert found.standing == "within tolerance"
