"""Flights of the embedded engine written down by hand and judged again: the same cases, the same class of verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from leverproof.cli.main import main
from leverproof.conduct.model import ConductedRun
from leverproof.record.reader import Record, read_record
from leverproof.session import RunRequest, rejudge, run_session

from .recording_flights import Log, by_hand, flown, write

SPLIT = "split-lever-advantage"
CASES = (
    "idle-speed",
    "mixture-order",
    "constant-speed-range",
    "slam-and-chop",
    SPLIT,
    "rpm-pulled-back",
    "cut-off-flight",
    "overspeed-light",
    "standard-atmosphere",
    "start-from-rest",
    "start-needs-fuel",
    "stopped-manifold-pressure",
)
NOT_FLOWN = ("turbo-lag", "ram-at-the-deck")
AS_LOGGED = Log(
    every=0.1,
    noise=0.003,
    quantum={
        "manifold_pressure": 0.2,
        "engine_speed": 5.0,
        "carburettor_air_temperature": 0.5,
        "fuel_flow": 0.2,
    },
    delay={"manifold_pressure": 0.3, "engine_speed": 0.5},
)
GOOD = ("pass", "conditional pass")


@dataclass(frozen=True)
class Judged:
    """Exit code and record of a session on a recording."""

    code: int
    record: Record

    def verdicts(self, case: str) -> list[str]:
        return [f.verdict for f in self.record.findings if f.case == case]

    def notes(self, case: str) -> str:
        return " ".join(f.note for f in self.record.findings if f.case == case)

    def warnings(self) -> str:
        return " ".join(str(e.data["message"]) for e in self.record.events if e.kind == "warning")


def judged(folder: Path, runs: Sequence[ConductedRun], log: Log, cases: Sequence[str] = ()) -> Judged:
    stand = write(folder, runs, log)
    code = run_session(RunRequest(stand=str(stand), out=folder / "out", cases=tuple(cases)))
    record = read_record(folder / "out")
    record.verify()
    return Judged(code, record)


@pytest.fixture(scope="module")
def flight() -> list[ConductedRun]:
    runs = flown(CASES, hand=by_hand(3), chosen=lambda p: p.key[0] != SPLIT or p.key[1] == 2)
    assert {run.history.ending for run in runs} == {"completed"}
    return runs


@pytest.fixture(scope="module")
def as_logged(flight: list[ConductedRun], tmp_path_factory: pytest.TempPathFactory) -> Judged:
    return judged(tmp_path_factory.mktemp("logged"), flight, AS_LOGGED, (*CASES, *NOT_FLOWN))


def test_every_case_flown_is_judged_as_when_driven(as_logged: Judged) -> None:
    for case in CASES:
        found = as_logged.verdicts(case)
        assert set(found) <= {*GOOD, "not applicable"}, (case, found, as_logged.notes(case))
        assert set(found) & set(GOOD), case
    assert as_logged.code == 0


def test_the_others_are_not_flown_and_say_what_is_missing(as_logged: Judged) -> None:
    for case in NOT_FLOWN:
        assert set(as_logged.verdicts(case)) <= {"not run", "not applicable"}
        assert "not run" in as_logged.verdicts(case)
        assert "not flown: " in as_logged.notes(case)
        assert "nearest at" in as_logged.notes(case) or "could not be found" in as_logged.notes(case)


def test_without_a_step_study_nothing_but_a_sign_of_physics_passes_without_condition(
    as_logged: Judged,
) -> None:
    plain = [f for f in as_logged.record.findings if f.verdict == "pass" and f.what == "value"]
    assert plain == []
    assert as_logged.verdicts("standard-atmosphere").count("conditional pass") == 4


def test_gauges_are_part_of_the_doubt(as_logged: Judged) -> None:
    finding = next(f for f in as_logged.record.findings if (f.case, f.judgement) == ("idle-speed", "engine-speed"))
    parts = {d.part: d.u for p in finding.points for d in p.doubts}
    assert parts["gauge"] == pytest.approx(2.5 / 3**0.5)
    assert parts["step study"] is None
    seen = next(e.data for e in as_logged.record.events if e.kind == "handshake")["resolution"]
    assert seen["engine_speed"] == pytest.approx(5.0)
    assert seen["manifold_pressure"] == pytest.approx(0.2 / 3.386389)


def test_the_record_judges_the_same_again(as_logged: Judged) -> None:
    again = rejudge(as_logged.record, {})
    assert [(f.case, f.judgement, f.verdict, f.found) for f in again] == [
        (f.case, f.judgement, f.verdict, f.found) for f in as_logged.record.findings
    ]


def test_slow_and_uneven_sampling(flight: list[ConductedRun], tmp_path: Path) -> None:
    runs = [run for run in flight if run.program.key[0] in ("idle-speed", "mixture-order", "rpm-pulled-back")]
    cases = ("idle-speed", "mixture-order", "rpm-pulled-back")
    found = judged(tmp_path, runs, Log(every=1.0, spread=0.3, noise=0.002), cases)
    for case in cases:
        assert set(found.verdicts(case)) <= {*GOOD, "not applicable"}, found.notes(case)
    hello = next(e.data for e in found.record.events if e.kind == "handshake")
    assert hello["jitter"] > 1.0
    assert hello["grid_step"] == "0.05 s"


@pytest.mark.parametrize(
    ("shift", "said"),
    [
        ({"pressure_altitude": 400.0}, "pressure_altitude 400 ft for 0 ft"),
        ({"temperature_offset": 3.0}, "temperature_offset 3 K for 0 K"),
        ({"true_airspeed": 25.0}, "true_airspeed 25 kt for 0 kt"),
    ],
)
def test_other_surroundings_are_not_flown(
    flight: list[ConductedRun], tmp_path: Path, shift: dict[str, float], said: str
) -> None:
    runs = [run for run in flight if run.program.key[0] == "idle-speed"]
    found = judged(tmp_path, runs, Log(shift=shift), ("idle-speed",))
    assert set(found.verdicts("idle-speed")) == {"not run"}
    assert said in found.notes("idle-speed")
    assert found.code == 5


def test_the_standard_atmosphere_is_that_of_the_height_flown(tmp_path: Path) -> None:
    """Flown 120 ft too high: what is expected follows, and an honest engine passes."""
    runs = flown(
        ("standard-atmosphere",),
        hand=lambda p: replace(p, start=p.start | {"pressure_altitude": p.start["pressure_altitude"] + 120.0}),
    )
    found = judged(tmp_path, runs, Log(), ("standard-atmosphere",))
    assert set(found.verdicts("standard-atmosphere")) == {"conditional pass"}
    finding = next(f for f in found.record.findings if f.judgement == "pressure")
    low = next(p for p in finding.points if p.label == "altitude 0 ft")
    assert low.expected == pytest.approx(29.79, abs=0.005)


def test_points_of_a_sweep_that_were_not_flown_are_told_and_do_not_count(
    flight: list[ConductedRun], tmp_path: Path
) -> None:
    runs = [r for r in flight if r.program.key[0] == SPLIT]
    height = runs[0].program.start["pressure_altitude"]
    found = judged(tmp_path, runs, Log(noise=0.002), (SPLIT,))
    power = next(f for f in found.record.findings if f.judgement == "power")
    assert power.verdict in GOOD
    assert [p.label for p in power.points] == [f"altitude {height:,.10g} ft"]
    assert "split-lever-advantage: not flown at altitude 10,000 ft" in found.warnings()


@pytest.mark.parametrize(
    ("defect", "case", "judgement"),
    [
        ("mixture-order-swapped", "mixture-order", "rich-below-full"),
        ("cut-off-keeps-running", "cut-off-flight", "no-fuel"),
        ("governor-droop", "constant-speed-range", "rated-at-high"),
    ],
)
def test_a_defective_engine_fails_the_right_case(tmp_path: Path, defect: str, case: str, judgement: str) -> None:
    found = judged(tmp_path, flown((case,), hand=by_hand(5), defect=defect), Log(noise=0.002), (case,))
    failed = {f.judgement for f in found.record.findings if f.verdict in ("fail", "conditional fail")}
    assert judgement in failed, found.notes(case)
    assert found.code == 1


def test_a_lever_set_beside_its_place_is_doubt_not_failure(tmp_path: Path) -> None:
    """After a round trip of the throttle a hand does not find its place again: no verdict on the engine."""
    runs = flown(("power-up-and-down",), hand=by_hand(11))
    found = judged(tmp_path, runs, Log(noise=0.002), ("power-up-and-down",))
    trip = next(f for f in found.record.findings if f.judgement == "round-trip")
    assert trip.verdict == "inconclusive"
    assert "lever placing" in trip.note


def test_a_reading_too_large_for_a_history_never_passes_and_ends_without_a_word_of_the_library(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    examples = Path(__file__).resolve().parents[2] / "adapters" / "examples"
    stand = (examples / "recording" / "stand.toml").read_text().replace("../minimal/", "")
    (tmp_path / "stand.toml").write_text(stand)
    (tmp_path / "rill-1.sheet.toml").write_text((examples / "minimal" / "rill-1.sheet.toml").read_text())
    head, *rows = (examples / "recording" / "flight.csv").read_text().splitlines()
    at = head.split(",").index("MAP")
    huge = [",".join("1e300" if index == at else cell for index, cell in enumerate(row.split(","))) for row in rows]
    (tmp_path / "flight.csv").write_text("\n".join([head, *huge, ""]))
    words = ["judge", "--stand", str(tmp_path / "stand.toml"), "--case", "stopped-manifold-pressure"]
    assert main([*words, "--sheet", str(tmp_path / "rill-1.sheet.toml")]) == 5
    assert "Warning" not in capsys.readouterr().err
