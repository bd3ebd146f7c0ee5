"""A session can be repeated: twice, alone, on one lane, from its record; and always says the same."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main
from leverproof.judge.model import Finding
from leverproof.record.reader import Record, read_record
from leverproof.report.fold import repeat_command
from leverproof.session import RunRequest, rejudge, run_session

MODELS = Path(__file__).resolve().parents[1] / "models"
SUBJECTS = (
    "surroundings",
    "engine stopped",
    "idle",
    "mixture",
    "propeller and governor",
    "coordination and links",
)
ALONE = ("idle-at-height", "mixture-order", "stopped-manifold-pressure", "lever-link")

ONE_LANE = """
import importlib.util, sys
from dataclasses import replace
spec = importlib.util.spec_from_file_location("one_lane_base", {base!r})
base = importlib.util.module_from_spec(spec)
sys.modules["one_lane_base"] = base
spec.loader.exec_module(base)

def factory(options, defect):
    inner = base.factory(options, defect)
    said = inner.hello()
    told = replace(said, capabilities=replace(said.capabilities, lanes={lanes}, max_values={values}))
    inner.hello = lambda: told
    return inner
"""


def stand_file(folder: Path, target: str) -> str:
    path = folder / "engine.stand.toml"
    path.write_text(
        'format = 1\ntitle = "second engine"\nkind = "in_process"\n'
        f"target = {json.dumps(target)}\nsheet = {json.dumps(str(MODELS / 'second_engine.sheet.toml'))}\n"
        'deadlines = { start = "30 s", request = "10 s", row = "0.05 s" }\n'
    )
    return str(path)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[RunRequest, Record]:
    """A session of several subjects and its record."""
    folder = tmp_path_factory.mktemp("whole")
    stand = stand_file(folder, f"{MODELS / 'second_engine.py'}:factory")
    request = RunRequest(stand=stand, subjects=SUBJECTS, seed=3, out=folder / "record")
    run_session(request)
    return request, read_record(request.out)


def again(request: RunRequest, out: Path, **changes: Any) -> Record:
    run_session(replace(request, out=out, **changes))
    return read_record(out)


def test_the_session_is_worth_repeating(whole: tuple[RunRequest, Record]) -> None:
    record = whole[1]
    record.verify()
    assert record.ending == "completed"
    assert len(record.findings) >= 25
    assert len({f.case for f in record.findings}) >= 8
    assert any(p.off_point for planned in record.expectations for p in planned.points)


def test_judging_again_from_the_record_gives_the_same_findings(whole: tuple[RunRequest, Record]) -> None:
    record = whole[1]
    assert rejudge(record, load_catalogue().ladder) == list(record.findings)


def test_a_second_run_gives_the_same_findings(whole: tuple[RunRequest, Record], tmp_path: Path) -> None:
    request, record = whole
    other = again(request, tmp_path / "again")
    assert other.findings == record.findings
    assert other.expectations == record.expectations


def test_another_seed_moves_only_the_off_points(whole: tuple[RunRequest, Record], tmp_path: Path) -> None:
    request, record = whole
    other = again(request, tmp_path / "other", seed=4, cases=("stopped-manifold-pressure",), subjects=())
    one, two = (r.planned("stopped-manifold-pressure") for r in (record, other))
    assert one is not None and two is not None
    assert [p.variable for p in one.points if not p.off_point] == [
        p.variable for p in two.points if not p.off_point
    ]
    assert not {p.variable for p in one.points if p.off_point} & {
        p.variable for p in two.points if p.off_point
    }


@pytest.mark.parametrize(("lanes", "values"), [(1, 50_000), (3, 700)])
def test_lanes_and_message_size_do_not_change_a_finding(
    lanes: int, values: int, whole: tuple[RunRequest, Record], tmp_path: Path
) -> None:
    request, record = whole
    code = ONE_LANE.format(base=str(MODELS / "second_engine.py"), lanes=lanes, values=values)
    (tmp_path / "narrow.py").write_text(code)
    stand = stand_file(tmp_path, f"{tmp_path / 'narrow.py'}:factory")
    subjects = ("mixture", "idle") if lanes > 1 else SUBJECTS[:3]
    other = again(request, tmp_path / "narrow", stand=stand, subjects=subjects)
    cases = {f.case for f in other.findings}
    kept = [f for f in record.findings if f.case in cases]
    assert [numbers(f) for f in other.findings] == [numbers(f) for f in kept]


def numbers(finding: Finding) -> tuple[object, ...]:
    points = tuple((p.label, p.found, p.expected, p.verdict) for p in finding.points)
    return finding.case, finding.judgement, finding.verdict, finding.number, points


@pytest.mark.parametrize("case", ALONE)
def test_the_printed_command_repeats_a_case_alone(
    case: str, whole: tuple[RunRequest, Record], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = whole[1]
    words = shlex.split(repeat_command(record.header, case))
    assert words[:2] == ["leverproof", "run"]
    code = main([*words[1:], "--out", str(tmp_path / "alone")])
    capsys.readouterr()
    alone = read_record(tmp_path / "alone")
    mine = [numbers(f) for f in record.findings if f.case == case]
    assert [numbers(f) for f in alone.findings] == mine
    assert mine
    assert alone.footer is not None and alone.footer["exit"] == code


def test_the_record_says_what_each_difference_can_see(whole: tuple[RunRequest, Record]) -> None:
    record = whole[1]
    told = {(e.data["case"], e.data["judgement"]): e.data for e in record.events if e.kind == "resolvability"}
    judged = {
        (planned.case.id, judgement.id)
        for planned in record.expectations
        if planned.case.id in record.header["selected"]
        for judgement in planned.judgements
        if judgement.what == "difference"
    }
    assert judged
    assert set(told) == judged
    assert all(line["sees"] > 0.0 and line["unit"] and line["effect"] for line in told.values())


def test_expectations_are_in_the_record_before_the_findings(whole: tuple[RunRequest, Record]) -> None:
    lines = (whole[1].folder / "record.jsonl").read_text().splitlines()
    kinds = [json.loads(line)["kind"] for line in lines]
    assert kinds[0] == "header" and kinds[-1] == "footer"
    assert max(i for i, k in enumerate(kinds) if k == "expectations") < kinds.index("finding")


def test_inputs_are_kept_verbatim(whole: tuple[RunRequest, Record]) -> None:
    request, record = whole
    kept = {p.name: p.read_text() for p in (record.folder / "inputs").rglob("*.toml")}
    catalogue = load_catalogue()
    assert kept["second_engine.sheet.toml"] == (MODELS / "second_engine.sheet.toml").read_text()
    assert kept["engine.stand.toml"] == Path(request.stand or "").read_text()
    assert kept["idle-speed.toml"] == catalogue.texts["idle-speed"]


def test_progress_is_told(whole: tuple[RunRequest, Record], tmp_path: Path) -> None:
    told: list[tuple[float, float, str]] = []
    progress: Callable[[float, float, str], None] = lambda *a: told.append(a)  # noqa: E731
    run_session(replace(whole[0], out=tmp_path / "r", subjects=(), cases=("idle-speed",)), progress)
    assert told[-1][0] == told[-1][1] > 0.0
    assert told[-1][2] == "moving levers"
