"""The level-speed case in whole sessions: an honest engine flies faster, one without the effect does not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.loader import parse_case
from leverproof.conduct.model import PlannedCase
from leverproof.conduct.plan import Ground, plan_case
from leverproof.errors import InputError
from leverproof.judge.model import Finding
from leverproof.record.reader import Record, read_record
from leverproof.reference_data import reference_data
from leverproof.report.fold import resolvable
from leverproof.session import RunRequest, rejudge, run_session
from leverproof.sheet.loader import load_sheet
from leverproof.timegrid import TimeGrid


def flown(folder: Path, **request: str) -> tuple[int, Record]:
    code = run_session(RunRequest(cases=("level-speed",), out=folder, **request))  # type: ignore[arg-type]
    return code, read_record(folder)


def by_id(record: Record) -> dict[str, Finding]:
    return {finding.judgement: finding for finding in record.findings}


@pytest.fixture(scope="module")
def early(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, Record]:
    return flown(tmp_path_factory.mktemp("early") / "r", sheet="corrie-18-early")


def test_the_honest_engine_is_faster_with_the_throttle_first(early: tuple[int, Record]) -> None:
    code, record = early
    finding = by_id(record)["faster"]
    assert code == 0 and finding.verdict == "pass" and finding.unit == "kt"
    assert finding.number is not None and finding.w is not None
    assert 1.0 < finding.number < 20.0 and finding.w < 0.5
    parts = {doubt.part for doubt in finding.points[0].doubts}
    assert {"jitter", "step study", "correction", "airframe"} <= parts
    assert not finding.self_referential


def test_the_rule_of_practice_is_advisory(early: tuple[int, Record]) -> None:
    finding = by_id(early[1])["rule-of-practice"]
    assert finding.weight == "advisory"
    assert finding.points[0].expected == pytest.approx(18.0, rel=0.1)


def test_what_can_be_seen_is_in_the_record(early: tuple[int, Record]) -> None:
    sees = {
        (str(event.data["judgement"]), "by hand" in str(event.data["effect"])): event.data["sees"]
        for event in early[1].events
        if event.kind == "resolvability"
    }
    assert set(sees) == {(name, hand) for name in ("faster", "rule-of-practice") for hand in (True, False)}
    assert 30.0 < sees["faster", True] < 300.0
    assert sees["faster", False] < 5.0
    assert any("by hand" in words for _, words in resolvable(early[1]))


def test_judging_again_needs_no_sheet(early: tuple[int, Record]) -> None:
    assert rejudge(early[1], load_catalogue().ladder) == list(early[1].findings)


def test_power_from_manifold_pressure_alone_is_found_out(tmp_path: Path) -> None:
    code, record = flown(tmp_path / "r", defect="power-from-manifold-pressure-and-rpm-only")
    finding = by_id(record)["faster"]
    assert code == 1 and finding.verdict in ("fail", "conditional fail")
    assert finding.number == pytest.approx(0.0, abs=0.3)


CASE = next(case for case in load_catalogue().cases if case.id == "level-speed")
READ = {"manifold_pressure", "engine_speed", "turbo_speed", "carburettor_deck_pressure"}
SET = {"throttle", "boost", "propeller", "mixture", "intercooler_shutter", "pressure_altitude"}
HOLDS = frozenset({"holds_level_flight"})


def planned(
    outputs: set[str], inputs: set[str], able: frozenset[str] = frozenset(), drop: str = ""
) -> PlannedCase:
    sheet = load_sheet("corrie-18-early")
    sheet = replace(
        sheet, data={path: d for path, d in sheet.data.items() if not drop or not path.startswith(drop)}
    )
    grid = TimeGrid(1800)
    return plan_case(CASE, Ground(sheet, frozenset(SET | inputs), frozenset(READ | outputs), able, grid, 1))


def test_a_stand_that_gives_power_is_judged_by_the_sheets_aeroplane() -> None:
    case = planned({"brake_power"}, {"true_airspeed"})
    assert case.inapplicable is None and len(case.judgements) == 2
    resolved = case.points[0].resolved["faster"]
    assert resolved["airframe:wing_area"].value == 1600.0 and "flown" not in resolved
    assert "brake_power" in case.programs[0].watch
    assert case.points[0].resolved["rule-of-practice"]["expected"].value == pytest.approx(18.0, rel=0.1)


def test_a_stand_that_flies_and_holds_level_flight_needs_no_power() -> None:
    case = planned({"true_airspeed"}, set(), HOLDS)
    assert case.inapplicable is None
    assert "flown" in case.points[0].resolved["faster"]
    assert "brake_power" not in case.programs[0].watch


def test_a_stand_that_flies_wherever_it_likes_is_not_judged_by_its_airspeed() -> None:
    assert planned({"true_airspeed"}, set()).inapplicable is not None
    assert (
        "flown"
        not in planned({"true_airspeed", "brake_power"}, {"true_airspeed"}).points[0].resolved["faster"]
    )


def test_a_sheet_without_the_aeroplane_is_told_what_is_missing() -> None:
    for section, first in (("airframe.", "airframe.wing_area"), ("propeller.", "propeller.diameter")):
        reason = planned({"brake_power"}, {"true_airspeed"}, drop=section).inapplicable
        assert reason is not None and first in reason.missing
    aloft = planned({"true_airspeed"}, set(), HOLDS, drop="airframe.")
    assert [judgement.id for judgement in aloft.judgements] == ["faster"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('at_least = "0 kt"', "", "one of at_least, expected, worth"),
        ('at_least = "0 kt"', 'at_least = "0 kt"\nworth = "10 hp"', "one of at_least, expected, worth"),
        ('at_least = "0 kt"', 'at_least = "-1 kt"', "swap more and less"),
        ('at_least = "0 kt"', 'at_least = "0 hp"', "power"),
        ('at_least = "0 kt"', 'expected = "5 kt"', "expected and tolerance go together"),
        ('worth = "300 hp"', 'worth = "300 kt"', "speed"),
        ('worth = "300 hp"', 'worth = "0 hp"', "above zero"),
    ],
)
def test_a_level_speed_that_demands_nothing_or_too_much_is_refused(old: str, new: str, words: str) -> None:
    text = (reference_data() / "cases" / "flight" / "level-speed.toml").read_text("utf-8")
    assert text.count(old) == 1
    with pytest.raises(InputError, match=words):
        parse_case(text.replace(old, new), "case.toml")
