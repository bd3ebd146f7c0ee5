"""The one command over the benchmarks runs them and writes its table. Nothing here looks at a time."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "tests" / "benchmarks"
LIGHT = ("start", "cases", "overhead", "one_lane", "stands", "predictor", "transients", "report", "campaign")
HEADS = "| what | asked | measured | ratio to what, side by side in one run | middle half of pairs | clock | met |"


def asked(*words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(FOLDER), *words]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=300, check=False)


def squeezed(line: str) -> str:
    return " ".join(line.split())


def test_a_quick_run_writes_one_table_of_every_bench(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("before\n<!-- benchmarks: begin -->\nold\n<!-- benchmarks: end -->\nafter\n", "utf-8")
    done = asked(*LIGHT, "--quick", "--out", str(tmp_path), "--page", str(page))
    assert done.returncode == 0, done.stderr
    kept = json.loads((tmp_path / "benchmarks.json").read_text("utf-8"))
    assert kept["quick"] is True
    assert tuple(kept["benches"]) == LIGHT
    every = [row for rows in kept["benches"].values() for row in rows]
    assert all(rows for rows in kept["benches"].values())
    assert all(isinstance(row["value"], float) and row["met"] is None for row in every)
    assert {"bare loop", "interpreter that starts and does nothing"} <= {row["against"] for row in every}
    text = (tmp_path / "benchmarks.md").read_text("utf-8")
    lines = [squeezed(line) for line in text.splitlines()]
    assert lines.count(HEADS) == 1
    assert sum(line.startswith("|") for line in lines) == len(every) + 2
    assert "A quick run" in text
    assert (
        page.read_text("utf-8")
        == f"before\n<!-- benchmarks: begin -->\n{text}<!-- benchmarks: end -->\nafter\n"
    )


def test_the_command_knows_every_bench_file() -> None:
    said = asked("no-such-bench")
    assert said.returncode == 2
    listed = said.stderr.rpartition("there are ")[2].strip().split(", ")
    assert sorted(listed) == sorted(path.stem.removeprefix("bench_") for path in FOLDER.glob("bench_*.py"))


@pytest.mark.parametrize(
    ("limits", "value", "met"),
    [
        ({"at_most": 10.0}, 10.0, True),
        ({"at_most": 10.0}, 10.1, False),
        ({"at_least": 3.0}, 3.0, True),
        ({"at_least": 3.0}, 2.9, False),
        ({"at_most": 10.0}, None, False),
        ({"at_least": 3.0}, float("nan"), False),
        ({"at_most": 10.0, "judged": False}, 11.0, None),
        ({}, 11.0, None),
    ],
)
def test_an_aim_is_met_or_missed(
    monkeypatch: pytest.MonkeyPatch, limits: dict[str, float], value: float | None, met: bool | None
) -> None:
    monkeypatch.syspath_prepend(str(FOLDER))
    from measurement import Row

    assert Row("what", value, "x", **limits).met is met  # type: ignore[arg-type]


def test_sides_are_taken_in_turn_and_the_middle_half_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(FOLDER))
    from measurement import cells, of_pairs, taken_in_turn

    order: list[str] = []

    def side(name: str, seconds: float) -> float:
        order.append(name)
        return seconds

    found = taken_in_turn([lambda: side("a", 1.0), lambda: side("b", 2.0)], 3)
    assert found == [(1.0, 2.0)] * 3
    assert order == ["a", "b", "b", "a", "a", "b"]
    row = of_pairs("what", [1.0, 2.0, 3.0, 4.0, 100.0], "x", "something", at_most=2.5)
    assert cells(row) == ["what", "<= 2.5 x", "3 x", "something", "2..4 of 5", "processor", "NO"]
