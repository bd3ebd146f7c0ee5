"""Whole sessions over several processes: the record of one process, and children that live as long as the session."""

from __future__ import annotations

import importlib.util
import json
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from leverproof.record.reader import Record, read_record
from leverproof.report import junit
from leverproof.session import RunRequest, run_session

MODELS = Path(__file__).resolve().parents[1] / "models"
ASKED = ("gentle", "opened", "twice")


def module(name: str) -> ModuleType:
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, MODELS / f"{name}.py")
        assert spec is not None and spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture
def session(tmp_path: Path) -> Callable[..., tuple[int, Record, int]]:
    """Runs the cases of the faulty models on a program; exit code, record, and how often the program was started."""
    cases = tmp_path / "cases"
    module("fault_runs").write_cases(cases)

    def run(vice: str, processes: int, asked: tuple[str, ...] = ASKED) -> tuple[int, Record, int]:
        folder = tmp_path / f"{vice}-{processes}"
        folder.mkdir()
        model = f"exec {sys.executable} {MODELS / 'faulty_model.py'} --vice {vice} --above 0.5"
        command = ["/bin/sh", "-c", f"echo started >> starts; {model}"]
        (folder / "stand.toml").write_text(
            f'format = 1\ntitle = "a child"\nkind = "stdio"\ncommand = {json.dumps(command)}\n'
            f'processes = {processes}\nsheet = "{MODELS / "second_engine.sheet.toml"}"\n'
            'deadlines = { start = "20 s", request = "10 s", row = "0.05 s" }\n'
        )
        request = RunRequest(
            stand=str(folder / "stand.toml"), case_folders=(str(cases),), cases=asked, out=folder / "record"
        )
        code = run_session(request)
        record = read_record(folder / "record")
        record.verify()
        return code, record, (folder / "starts").read_text().count("started")

    return run


def judged(record: Record) -> list[Any]:
    return [(f.case, f.judgement, f.verdict, f.found, f.note) for f in record.findings]


def histories(record: Record) -> dict[Any, tuple[str, bytes]]:
    ids = [planned.case.id for planned in record.expectations if planned.programs]
    return {
        (case, *key): (history.ending, np.ascontiguousarray(history.data).tobytes())
        for case in ids
        for key, history in record.histories(case).items()
    }


def test_one_child_is_used_again_for_every_case(session: Callable[..., tuple[int, Record, int]]) -> None:
    """One lane and four runs: the model is initialised four times."""
    code, record, starts = session("one_lane", 1)
    assert code == 0
    assert len(histories(record)) == 4
    assert starts == 1


@pytest.mark.parametrize(("model", "lanes"), [("none", 4), ("one_lane", 1)])
def test_the_record_is_that_of_one_process(
    session: Callable[..., tuple[int, Record, int]], model: str, lanes: int
) -> None:
    _, one, _ = session(model, 1)
    for processes in (2, 3):
        code, several, starts = session(model, processes)
        assert code == 0
        assert starts == processes, "each child is used again for every case"
        assert judged(several) == judged(one)
        assert histories(several) == histories(one)
        said = next(event.data for event in several.events if event.kind == "handshake")
        assert (said["processes"], said["capabilities"]["lanes"]) == (processes, lanes * processes)


def test_a_child_that_dies_ends_only_what_made_it_die(
    session: Callable[..., tuple[int, Record, int]],
) -> None:
    _, honest, _ = session("none", 1)
    code, record, _ = session("dies", 2)
    assert code == 1
    verdicts = {f.case: f.verdict for f in record.findings}
    assert {case for case, verdict in verdicts.items() if verdict == "error"} == {"opened", "twice"}
    kept, whole = histories(record), histories(honest)
    assert kept["gentle", 0, "one"] == whole["gentle", 0, "one"]
    assert kept["gentle", 0, "one"][0] == "completed"
    assert kept["opened", 0, "one"][0] == "crash"


@pytest.mark.parametrize("processes", [1, 2])
def test_a_model_that_dies_when_it_is_closed_spoils_no_finding_and_is_no_success(
    session: Callable[..., tuple[int, Record, int]], processes: int
) -> None:
    code, record, _ = session("dies_when_closed", processes, ("gentle", "opened"))
    assert code == 1
    assert {f.verdict for f in record.findings} <= {"pass", "conditional pass"}
    assert "did not end in order" in record.ending
    told = junit.render(record)
    assert 'tests="3" failures="0" errors="1"' in told
    assert "told to close, the model did not end in order: exit code 5" in told


def test_a_model_that_lingers_after_close_is_ended_and_is_no_finding(
    session: Callable[..., tuple[int, Record, int]],
) -> None:
    code, record, _ = session("lingers", 1, ("gentle",))
    assert (code, record.ending) == (0, "completed")
