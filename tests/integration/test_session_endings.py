"""How a session ends: exit codes, and a record that says so, whatever the model or the input does."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from leverproof import engine_stage
from leverproof.conduct.model import ConductedRun
from leverproof.errors import InputError, UsageError
from leverproof.record.reader import Record, read_record
from leverproof.record.writer import RecordWriter
from leverproof.session import RunRequest, run_session

MODELS = Path(__file__).resolve().parents[1] / "models"
SHEET = MODELS / "second_engine.sheet.toml"
Stands = Callable[..., Path]


@pytest.fixture
def stdio(tmp_path: Path) -> Stands:
    """A stand file for the faulty model with one vice, which writes down its process id."""

    def write(vice: str, command: list[str] | None = None, request: str = "1 s") -> Path:
        path = tmp_path / "stdio.stand.toml"
        words = command or [sys.executable, str(MODELS / "faulty_model.py"), "--vice", vice]
        path.write_text(
            f'format = 1\ntitle = "a child"\nkind = "stdio"\ncommand = {json.dumps(words)}\n'
            f'build_hint = "cc -o corrie corrie.c"\nsheet = {json.dumps(str(SHEET))}\n'
            f'deadlines = {{ start = "20 s", request = "{request}", row = "0.01 s" }}\n'
        )
        return path

    return write


CASE = """\
format = 1
id = "{id}"
subject = "made up"
title = "Manifold pressure"
question = "q"
consequence = "c"
caution = "A statement about a simulated engine."
applies = {{ channels = ["manifold_pressure"], lost = "everything" }}
start = {{ engine = "running" }}
[surroundings]
pressure_altitude = "0 ft"
temperature_offset = "0 K"
relative_humidity = 0
true_airspeed = "0 kt"
[[run]]
name = "one"
steps = [ {{ do = "set", throttle = 0.5 }}, {{ do = "read", name = "it", limit = "20 s" }} ]
[[judgement]]
id = "pressure"
what = "value"
asked = "pressure"
reading = "one.it"
channel = "manifold_pressure"
expected = "{expected}"
tolerance = {{ absolute = "{tolerance}", reason = "made up" }}
basis = "practice"
source = "common practice, no published source"
weight = "required"
"""


@pytest.fixture
def own_cases(tmp_path: Path) -> Callable[..., str]:
    """A folder with a case ``first`` and a case ``second`` that read the manifold pressure."""

    def write(expected: str = "20 inHg", tolerance: str = "0.5 inHg") -> str:
        folder = tmp_path / "cases"
        folder.mkdir(exist_ok=True)
        for name in ("first", "second"):
            (folder / f"{name}.toml").write_text(CASE.format(id=name, expected=expected, tolerance=tolerance))
        return str(folder)

    return write


def run(out: Path, **asked: object) -> tuple[int, Record]:
    code = run_session(RunRequest(out=out, **asked))  # type: ignore[arg-type]
    record = read_record(out)
    record.verify()
    assert record.footer is not None
    assert record.footer["exit"] == code
    return code, record


def problems(record: Record) -> list[str]:
    return [" ".join(map(str, e.data.values())) for e in record.events if e.kind == "problem"]


def children() -> set[int]:
    """Process ids of this process's living children."""
    found = set()
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text("utf-8", "replace").rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == os.getpid() and fields[0] not in "ZX":
            found.add(int(entry.parent.name))
    return found


def nothing_left(before: set[int]) -> bool:
    until = time.monotonic() + 3.0
    while children() - before:
        if time.monotonic() > until:
            return False
        time.sleep(0.02)
    return True


def test_all_passed_is_0(tmp_path: Path, in_process: Stands) -> None:
    code, record = run(tmp_path / "r", stand=str(in_process()), cases=("idle-speed",))
    assert code == 0
    assert record.ending == "completed"
    assert {f.case for f in record.findings} == {"idle-speed"}
    assert record.planned("half-grid-step") is not None


def test_a_failed_judgement_is_1(tmp_path: Path, in_process: Stands, own_cases: Callable[..., str]) -> None:
    folder = own_cases(expected="90 inHg")
    code, record = run(tmp_path / "r", stand=str(in_process()), case_folders=(folder,), cases=("first",))
    assert code == 1
    assert [f.verdict for f in record.findings] == ["fail"]


def test_nothing_that_applies_is_5(tmp_path: Path, in_process: Stands) -> None:
    code, record = run(tmp_path / "r", stand=str(in_process()), cases=("coordination-best",))
    assert code == 5
    assert {f.verdict for f in record.findings} <= {"not applicable"}
    assert not (tmp_path / "r" / "histories").exists()


def test_a_broken_own_case_costs_only_itself(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str]
) -> None:
    folder = own_cases(expected="30 inHg", tolerance="30 inHg")
    (Path(folder) / "third.toml").write_text("format = 1\nidd = 3\n")
    code, record = run(tmp_path / "r", stand=str(in_process()), case_folders=(folder,), subjects=("made up",))
    assert code == 2
    assert record.ending == "completed"
    assert [(f.case, f.verdict) for f in record.findings] == [("first", "pass"), ("second", "pass")]
    assert len(problems(record)) == 1
    assert "third.toml:2" in problems(record)[0]


def test_what_only_the_sheet_shows_to_be_impossible_costs_one_case(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str]
) -> None:
    folder = own_cases(expected="30 inHg", tolerance="30 inHg")
    sky = CASE.format(id="third", expected="30 inHg", tolerance="1 inHg").replace(
        'pressure_altitude = "0 ft"', 'pressure_altitude = { sheet = "link.above", times = 50 }'
    ).replace('expected = "30 inHg"', 'expected = { standard = "ambient_pressure" }')  # fmt: skip
    (Path(folder) / "third.toml").write_text(sky)
    code, record = run(tmp_path / "r", stand=str(in_process()), case_folders=(folder,), subjects=("made up",))
    assert code == 2
    assert [f.case for f in record.findings] == ["first", "second"]
    assert len(problems(record)) == 1 and "third.toml" in problems(record)[0]


def test_no_program_is_3_with_its_build_hint(tmp_path: Path, stdio: Stands) -> None:
    stand = stdio("none", command=["./corrie-that-was-never-built"])
    code, record = run(tmp_path / "r", stand=str(stand), cases=("idle-speed",))
    assert code == 3
    assert record.findings == ()
    assert "cc -o corrie corrie.c" in problems(record)[0]
    assert record.ending.startswith("no handshake")


@pytest.mark.parametrize("vice", ["dies_at_start", "refuses_the_version", "wrong_version", "nameless"])
def test_no_handshake_is_3(vice: str, tmp_path: Path, stdio: Stands) -> None:
    before = children()
    code, record = run(tmp_path / "r", stand=str(stdio(vice)), cases=("idle-speed",))
    assert code == 3
    assert record.ending.startswith("no handshake")
    assert problems(record)
    assert nothing_left(before)


@pytest.mark.parametrize(
    ("vice", "verdict", "words"),
    [
        ("dies", "error", "crash"),
        ("hangs", "error", "hang"),
        ("chatters", "error", "protocol"),
        ("wrong_id", "error", "protocol"),
        ("fewer_rows", "error", "protocol"),
        ("wrong_columns", "error", "protocol"),
        ("refuses", "error", "refused"),
        ("nan", "invalid run", "not finite"),
    ],
)
def test_a_model_that_misbehaves_ends_in_findings(
    vice: str, verdict: str, words: str, tmp_path: Path, stdio: Stands, own_cases: Callable[..., str]
) -> None:
    before = children()
    stand = stdio(vice, request="0.6 s")
    code, record = run(tmp_path / "r", stand=str(stand), case_folders=(own_cases(),), subjects=("made up",))
    assert code == 1
    assert record.ending == "completed"
    assert [(f.case, f.verdict) for f in record.findings] == [("first", verdict), ("second", verdict)]
    endings = {h.ending for f in record.findings for h in record.histories(f.case).values()}
    told = " ".join(h.trouble for f in record.findings for h in record.histories(f.case).values())
    assert words in endings or words in told
    assert nothing_left(before)


def test_the_same_model_without_a_vice_passes(
    tmp_path: Path, stdio: Stands, own_cases: Callable[..., str]
) -> None:
    code, record = run(
        tmp_path / "r", stand=str(stdio("none")), case_folders=(own_cases(),), subjects=("made up",)
    )
    assert [f.verdict for f in record.findings] == ["conditional pass", "conditional pass"] or code == 0
    assert code == 0


MOODY = """
import importlib.util, sys
spec = importlib.util.spec_from_file_location("moody_base", {base!r})
base = importlib.util.module_from_spec(spec)
sys.modules["moody_base"] = base
spec.loader.exec_module(base)

class Moody:
    def __init__(self, inner):
        self.inner = inner
        self.marked = False
    def hello(self):
        from dataclasses import replace
        said = self.inner.hello()
        return replace(said, capabilities=replace(said.capabilities, lanes={lanes}))
    def initialise(self, starts, step_ticks, inputs, outputs):
        column = list(inputs).index("mixture")
        self.marked = any(start.row[column] == 3.0 for start in starts)
        return self.inner.initialise(starts, step_ticks, inputs, outputs)
    def advance(self, lanes, rows):
        if self.marked:
            {mood}
        return self.inner.advance(lanes, rows)
    def reset(self):
        self.inner.reset()
    def close(self):
        self.inner.close()

def factory(options, defect):
    return Moody(base.factory(options, defect))
"""


def moody(tmp_path: Path, mood: str = "pass", lanes: int = 1) -> Path:
    path = tmp_path / "moody.py"
    path.write_text(MOODY.format(base=str(MODELS / "second_engine.py"), mood=mood, lanes=lanes))
    return path


def mark(folder: str, name: str) -> None:
    """Makes a case start with the mixture the moody model takes ill."""
    path = Path(folder) / f"{name}.toml"
    path.write_text(path.read_text().replace("throttle = 0.5", 'throttle = 0.5, mixture = "full_rich"'))


def test_a_crash_costs_the_case_that_caused_it(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str]
) -> None:
    folder = own_cases(expected="30 inHg", tolerance="30 inHg")
    mark(folder, "first")
    stand = in_process(moody(tmp_path, "raise ZeroDivisionError('valve overlap of zero')", lanes=4))
    code, record = run(tmp_path / "r", stand=str(stand), case_folders=(folder,), subjects=("made up",))
    assert code == 1
    assert [(f.case, f.verdict) for f in record.findings] == [("first", "error"), ("second", "pass")]
    assert "valve overlap of zero" in record.histories("first")[(0, "one")].trouble


def test_an_interrupt_is_130_and_keeps_what_was_finished(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str]
) -> None:
    folder = own_cases(expected="30 inHg", tolerance="30 inHg")
    mark(folder, "second")
    stand = in_process(moody(tmp_path, "raise KeyboardInterrupt"))
    code, record = run(tmp_path / "r", stand=str(stand), case_folders=(folder,), subjects=("made up",))
    assert code == 130
    assert record.ending.startswith("interrupted")
    assert record.histories("second")[(0, "one")].ending == "interrupted"
    assert record.histories("first")[(0, "one")].ending == "completed"
    verdicts = {f.case: f.verdict for f in record.findings}
    assert verdicts["first"] in ("pass", "conditional pass")
    assert verdicts.get("second", "not run") == "not run"


def test_an_interrupt_while_a_history_is_written_loses_no_history(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    writes, told = RecordWriter.history, []

    def interrupted_once(writer: RecordWriter, case_id: str, runs: Sequence[ConductedRun]) -> None:
        told.append(case_id)
        if len(told) == 1:
            raise KeyboardInterrupt
        writes(writer, case_id, runs)

    monkeypatch.setattr(RecordWriter, "history", interrupted_once)
    run(tmp_path / "r", stand=str(in_process()), case_folders=(own_cases(),), subjects=("made up",))
    monkeypatch.undo()
    record = read_record(tmp_path / "r")
    assert record.footer is not None
    flown = {case: record.histories(case)[(0, "one")].ending for case in ("first", "second")}
    assert flown[told[0]] == "completed"
    assert set(flown.values()) <= {"completed", "interrupted"}


def test_an_interrupt_while_judging_is_130(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(engine_stage, "session_facts", stop)
    code, record = run(tmp_path / "r", stand=str(in_process()), case_folders=(own_cases(),), cases=("first",))
    assert code == 130
    assert record.ending.startswith("interrupted")
    assert record.histories("first")


def test_an_internal_error_leaves_a_record_that_says_so(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object, **__: object) -> None:
        raise ZeroDivisionError("our own fault")

    monkeypatch.setattr(engine_stage, "session_facts", break_down)
    with pytest.raises(ZeroDivisionError):
        run_session(
            RunRequest(
                out=tmp_path / "r", stand=str(in_process()), case_folders=(own_cases(),), cases=("first",)
            )
        )
    record = read_record(tmp_path / "r")
    assert record.footer is not None and record.footer["exit"] == 4
    assert record.ending.startswith("internal error")
    assert "our own fault" in problems(record)[0]


def test_a_stand_that_does_not_fit_its_model_leaves_a_record_that_says_so(
    tmp_path: Path, in_process: Stands
) -> None:
    stand = in_process(extra='[channels.manifold_pressure]\nname = "map"\n')
    with pytest.raises(InputError):
        run_session(RunRequest(out=tmp_path / "r", stand=str(stand), cases=("idle-speed",)))
    record = read_record(tmp_path / "r")
    assert record.footer is not None and record.footer["exit"] == 2


def test_an_older_record_makes_room_and_nothing_else_does(
    tmp_path: Path, in_process: Stands, own_cases: Callable[..., str]
) -> None:
    asked = {"stand": str(in_process()), "case_folders": (own_cases(),), "cases": ("coordination-best",)}
    run(tmp_path / "r", **asked)
    first = (tmp_path / "r" / "record.jsonl").read_bytes()
    run(tmp_path / "r", **asked)
    assert (tmp_path / "r.previous" / "record.jsonl").read_bytes() == first
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep me")
    with pytest.raises(UsageError, match="left untouched"):
        run(tmp_path / "mine", **asked)
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["notes.txt"]
