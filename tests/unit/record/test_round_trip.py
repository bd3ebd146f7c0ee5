"""What is written is what is read."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.judge.model import Finding
from leverproof.record import RecordWriter, read_record
from leverproof.record.plain import NotPlainError, from_plain, to_plain
from leverproof.schema import check


def write(folder: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding) -> None:
    with RecordWriter(folder, {"seed": 7, "request": {"out": folder}}) as writer:
        writer.add_input("case", "/somewhere/split-lever.toml", 'id = "split-lever"\n')
        writer.expectations([planned])
        writer.event("trimmed", seconds=math.inf, values={"manifold_pressure": np.float32(29.5)})
        writer.history("split-lever", runs)
        writer.findings([finding])
        writer.close("finished", 1)


def test_everything_comes_back(
    tmp_path: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding
) -> None:
    write(tmp_path / "r", planned, runs, finding)
    record = read_record(tmp_path / "r")
    record.verify()
    assert record.complete
    assert record.ending == "finished"
    assert record.header["seed"] == 7
    assert record.expectations == (planned,)
    assert [e.kind for e in record.events] == ["input", "trimmed"]
    assert record.events[1].data == {"seconds": "Infinity", "values": {"manifold_pressure": 29.5}}
    assert record.footer is not None
    assert record.footer["counts"] == {"invalid run": 1}
    (found,) = record.findings
    assert math.isnan(found.number or 0.0)
    assert math.isnan(found.points[0].found or 0.0)
    assert (found.w, found.points[0].excess) == (-math.inf, math.inf)
    assert found.causes == finding.causes
    assert repr(found) == repr(finding)


def test_histories_come_back_bit_for_bit_and_readings_to_the_last_digit(
    tmp_path: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding
) -> None:
    write(tmp_path / "r", planned, runs, finding)
    held = read_record(tmp_path / "r").histories("split-lever")
    assert set(held) == {(0, "throttle first"), (0, "together")}
    for run in runs:
        back, was = held[run.program.key[1:]], run.history
        assert back.data.dtype == np.float32
        assert back.data.tobytes() == was.data.tobytes()
        assert (back.grid, back.columns, back.ending, back.jitter) == (was.grid, was.columns, was.ending, was.jitter)
        assert back.readings == was.readings
        assert repr(back.marks) == repr(was.marks)
    assert held[0, "throttle first"].readings[0].values["manifold_pressure"] == 0.30000000000000004


def test_conducted_runs_join_programs_and_histories(
    tmp_path: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding
) -> None:
    write(tmp_path / "r", planned, runs, finding)
    record = read_record(tmp_path / "r")
    (only,) = record.conducted("split-lever")
    assert only.program == planned.programs[0]
    assert only.history.data.shape == runs[0].history.data.shape
    assert record.conducted("another") == ()


def test_histories_need_no_pickle_and_open_elsewhere(
    tmp_path: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding
) -> None:
    write(tmp_path / "r", planned, runs, finding)
    with np.load(tmp_path / "r/histories/split-lever.npz", allow_pickle=False) as arrays:
        meta = json.loads(arrays["0000.meta"].tobytes())
        assert meta["key"] == ["split-lever", 0, "throttle first"]
        assert arrays["0000.data"].shape == (len(meta["columns"]), 240)


def test_the_same_run_gives_the_same_bytes(
    tmp_path: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding
) -> None:
    for name in ("a", "b"):
        with RecordWriter(tmp_path / name, {"seed": 7}) as writer:
            writer.expectations([planned])
            writer.history("split-lever", runs)
            writer.findings([finding])
            writer.close("finished", 1)
    for file in ("record.jsonl", "histories/split-lever.npz"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_every_line_fits_its_schema_and_is_strict_json(
    tmp_path: Path, planned: PlannedCase, runs: list[ConductedRun], finding: Finding
) -> None:
    write(tmp_path / "r", planned, runs, finding)
    lines = (tmp_path / "r/record.jsonl").read_text("ascii").splitlines()

    def refuse(word: str) -> None:
        raise AssertionError(word)

    kinds = []
    for line in lines:
        entry = json.loads(line, parse_constant=refuse)
        check(entry, "record-line", "record.jsonl")
        kinds.append(entry["kind"])
    assert kinds == ["header", "event", "expectations", "event", "finding", "footer"]


def test_lines_are_on_disk_at_once(tmp_path: Path, planned: PlannedCase, finding: Finding) -> None:
    with RecordWriter(tmp_path / "r", {}) as writer:
        writer.expectations([planned])
        assert read_record(tmp_path / "r").expectations == (planned,)
        writer.findings([finding])
        now = read_record(tmp_path / "r")
        assert len(now.findings) == 1
        assert not now.complete


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        (float, "nan"),
        (float, True),
        (int, 1.0),
        (tuple[int, str], [1]),
        (dict[str, int], []),
        (str, 3),
        (bool, 0),
    ],
)
def test_types_are_held_to(kind: type, data: object) -> None:
    with pytest.raises(NotPlainError):
        from_plain(kind, data, "here")


def test_only_data_is_written() -> None:
    with pytest.raises(NotPlainError):
        to_plain(object())
    assert to_plain(frozenset({"b", "a"})) == ["a", "b"]
    assert to_plain(np.array([[1.5, np.nan]])) == [[1.5, "NaN"]]
