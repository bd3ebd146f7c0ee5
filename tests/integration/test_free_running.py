"""A real engine on its own clock, with jitter: cases flown through it over standard streams and TCP end honestly, one
seeded defect is caught, and a clock that cannot be gone by ends in words."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from leverproof.record.reader import Record, read_record
from leverproof.report.fold import mounted
from leverproof.session import RunRequest, rejudge, run_session
from leverproof.stand.shakedown import shakedown

ROOT = Path(__file__).resolve().parents[2]
MODELS = ROOT / "tests" / "models"
FLOWN = ("mixture-order", "take-off-full-throttle", "light-single-response")
CASES = (*FLOWN, "determinism", "half-grid-step")
Stands = Callable[..., str]


@pytest.fixture(scope="module")
def stand(tmp_path_factory: pytest.TempPathFactory) -> Stands:
    """Writes a stand file for the engine: over which line, with which words behind its command."""
    folder = tmp_path_factory.mktemp("clocks")
    plain = (MODELS / "free_running.stand.toml").read_text("utf-8")

    def write(kind: str = "stdio", *more: str, request: str = "10 s") -> str:
        words = [str(MODELS / "free_running.mjs"), "--rate", "30", *more]
        words += ["--port", "{port}"] if kind == "tcp" else []
        target = 'target = "127.0.0.1:0"\n' if kind == "tcp" else ""
        text = re.sub(r"command = .*\n", f"{target}command = {json.dumps(['node', *words])}\n", plain)
        sheet = ROOT / "adapters" / "examples" / "javascript_engine" / "rill-6.sheet.toml"
        text = re.sub(r"sheet = .*\n", f"sheet = {json.dumps(str(sheet))}\n", text)
        text = text.replace('kind = "stdio"', f'kind = "{kind}"').replace('"10 s"', f'"{request}"')
        path = folder / f"{'-'.join((kind, *more))}.stand.toml"
        path.write_text(text, "utf-8")
        return str(path)

    return write


def flown(path: str, out: Path, *cases: str, defect: str | None = None) -> tuple[int, Record]:
    code = run_session(RunRequest(stand=path, cases=cases, out=out, defect=defect))
    return code, read_record(out)


def verdicts(record: Record) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for finding in record.findings:
        if finding.weight == "required":
            found.setdefault(finding.case, []).append(finding.verdict)
    return found


def clocks(record: Record) -> list[dict[str, Any]]:
    return [event.data for event in record.events if event.kind == "clock"]


@pytest.fixture(scope="module")
def record(stand: Stands, tmp_path_factory: pytest.TempPathFactory) -> Record:
    """The cases flown over standard streams."""
    code, found = flown(stand(), tmp_path_factory.mktemp("flown") / "r", *CASES)
    # An instant is as doubtful as this machine was busy: that may take a pass away, and never gives a clear fail.
    doubtful = {"conditional fail", "inconclusive"} & set(verdicts(found)["light-single-response"])
    assert code == (1 if doubtful else 0)
    return found


def test_cases_flown_on_its_own_clock_end_honestly(record: Record) -> None:
    found = verdicts(record)
    assert record.complete
    assert set(found["mixture-order"]) | set(found["take-off-full-throttle"]) <= {"pass", "conditional pass"}
    assert "fail" not in found["light-single-response"] and "error" not in found["light-single-response"]
    assert found["determinism"] == found["half-grid-step"] == ["not applicable"]
    notes = [f.note for f in record.findings if f.case in ("determinism", "half-grid-step")]
    assert all("runs on its own clock" in note and "; " in note for note in notes)


def test_what_the_clock_showed_is_in_the_record(record: Record) -> None:
    told = clocks(record)
    assert {data["case"] for data in told} == set(FLOWN)
    assert all(0.0 <= data["latest_tell"] <= data["jitter"] and data["polls"] > 30 for data in told)
    assert all(data["rate"] == pytest.approx(30.0, rel=0.5) for data in told)


def test_a_report_says_how_sure_an_instant_is(record: Record) -> None:
    said = mounted(record)["clock"]
    worst = max(data["jitter"] for data in clocks(record))
    assert said.startswith("the model's own: an instant is sure to ")
    assert float(said.rpartition("at worst ")[2].removesuffix(" s")) == pytest.approx(worst, rel=0.01)


def test_every_number_carries_the_jitter_of_its_clock(record: Record) -> None:
    jitter = [data["jitter"] for data in clocks(record)]
    assert all(value > 0.0 for value in jitter)
    for finding in (f for f in record.findings if f.verdict != "not applicable"):
        doubts = [d for p in finding.points for d in p.doubts if d.part == "jitter" and "half spread" not in d.how]
        assert doubts and all(d.u is not None for d in doubts), finding
        assert all(d.u is None for p in finding.points for d in p.doubts if d.part == "step study")
        assert finding.verdict != "pass" or finding.what == "response"
    held = [h for case in FLOWN for h in record.histories(case).values()]
    assert sorted(h.jitter for h in held) == sorted(jitter)
    again = rejudge(record, {})
    assert {(f.judgement, f.verdict, f.w) for f in again} == {(f.judgement, f.verdict, f.w) for f in record.findings}


def test_cases_flown_over_tcp(stand: Stands, tmp_path: Path) -> None:
    code, record = flown(stand("tcp"), tmp_path / "r", "mixture-order", "take-off-full-throttle")
    found = verdicts(record)
    assert (code, set(found)) == (0, {"mixture-order", "take-off-full-throttle"})
    assert {v for each in found.values() for v in each} <= {"pass", "conditional pass"}
    assert all(data["jitter"] > 0.0 for data in clocks(record))


def test_a_model_that_cannot_be_put_back(stand: Stands, tmp_path: Path) -> None:
    _, record = flown(stand("stdio", "--no-reset"), tmp_path / "r", "mixture-order", "stopped-manifold-pressure")
    found = verdicts(record)
    assert set(found["mixture-order"]) <= {"pass", "conditional pass"}
    assert set(found["stopped-manifold-pressure"]) == {"not applicable"}
    assert all("no engine begins stopped" in f.note for f in record.findings if f.case == "stopped-manifold-pressure")


def test_a_seeded_defect_is_caught(stand: Stands, tmp_path: Path) -> None:
    code, record = flown(stand(), tmp_path / "r", "mixture-order", defect="mixture-order-swapped")
    assert (code, verdicts(record)["mixture-order"]) == (1, ["fail", "fail"])


@pytest.mark.parametrize(
    ("vice", "ending", "words"),
    [
        ("stands-still", "hang", "stands still at 10 s"),
        ("runs-back", "protocol", "ran back from"),
        ("runs-double", "protocol", "times the rate of 30 that it declares"),
        ("jumps-ahead", "protocol", "jumped ahead by"),
        ("stamps-pictures", "protocol", "two replies to poll are stamped"),
    ],
)
def test_a_clock_that_cannot_be_gone_by(stand: Stands, tmp_path: Path, vice: str, ending: str, words: str) -> None:
    code, record = flown(stand("stdio", "--vice", vice, request="1.5 s"), tmp_path / "r", "light-single-response")
    (history,) = record.histories("light-single-response").values()
    assert code == 1
    assert (history.ending, words in history.trouble) == (ending, True), history.trouble
    assert "error" in verdicts(record)["light-single-response"]


def test_a_real_process_is_shaken_down(stand: Stands) -> None:
    items = ["own-clock", "stamps", "reply-time", "clean-end", "units"]
    found = shakedown(stand(), items=items)
    assert found.ended("fail") == (), [(r.name, r.outcome.seen) for r in found.results]
    assert set(found.ended("pass")) == {"handshake", *items}


def test_the_page_shows_what_the_program_answers() -> None:
    page = (ROOT / "docs" / "reference" / "protocol.md").read_text("utf-8")
    lines = re.findall(r"^```transcript\n(.*?)^```$", page, re.M | re.S)[1].splitlines()
    requests = [line[2:] for line in lines if line.startswith("> ")]
    told = [line[2:] for line in lines if line.startswith("< ")]
    assert len(requests) == len(told) == 8
    words = ["node", str(MODELS / "free_running.mjs"), "--by-request"]
    text = "\n".join(requests) + "\n"
    done = subprocess.run(words, input=text, capture_output=True, text=True, timeout=30, check=True)
    for expected, answer in zip(told, done.stdout.splitlines(), strict=True):
        at = 0
        for part in expected.split(",..."):
            assert part in answer[at:], (part, answer)
            at = answer.index(part, at) + len(part)
