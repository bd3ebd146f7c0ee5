"""Runs the registered faulty models through ``leverproof run`` and makes the table of how each ended.

``python tests/models/fault_runs.py`` writes the table into the page that shows it, after a look that each ended as
registered. Needs a C compiler and the extra ``fmi``; looks for processes left behind on Linux only.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import os
import re
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

from leverproof.cli.main import main as leverproof
from leverproof.record.reader import Record, read_record

MODELS = Path(__file__).resolve().parent
PAGE = MODELS.parents[1] / "docs" / "reference" / "faulty-models.md"
BLOCK = re.compile(r"(?<=```text faulty-models\n)(.*?)(?=```)", re.DOTALL)
MARK = "LEVERPROOF_TEST_MARK"
SUBJECT = "faulty models"
_PATIENCE = 3.0
"""Seconds for a process that was killed to be gone."""
_WIDEST = 66
_LAST_WORDS = re.compile("; (?:its process|the model wrote): ")
_NUMBER = re.compile(r"(?<![\w.-])(?<!exit code )(?<!protocol )\d+(?:,\d{3})*(\.\d+)?(?![\w.]*\w)")
"""Numbers that depend on when exactly the vice showed, or on a port that was free."""


def registered() -> ModuleType:
    """The module that registers the faulty models."""
    if "faults" not in sys.modules:
        spec = importlib.util.spec_from_file_location("faults", MODELS / "faults.py")
        assert spec is not None and spec.loader is not None
        sys.modules["faults"] = module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    return sys.modules["faults"]


CASE = """\
format = 1
id = "{id}"
subject = "{subject}"
title = "Manifold pressure, {id}"
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
{runs}[[judgement]]
id = "pressure"
asked = "pressure"
{judged}
basis = "practice"
source = "common practice, no published source"
weight = "required"
"""
RUN = """\
[[run]]
name = "{name}"
steps = [
  {{ do = "set", throttle = 0.3, mixture = "auto_rich" }},{moves}
  {{ do = "read", name = "it", limit = "20 s" }},
]
"""
VALUE = """\
what = "value"
reading = "one.it"
channel = "manifold_pressure"
expected = "{expected}"
tolerance = {{ absolute = "2 inHg", reason = "wider than the small engines differ" }}"""
_OPENING = """
  { do = "move", throttle = 0.8, over = "1 s" },
  { do = "hold", for = "10 s" },"""


def write_cases(folder: Path) -> None:
    """The case that no vice need spoil, the one that opens the throttle, and the same run twice."""
    folder.mkdir()
    asked = {
        "gentle": (RUN.format(name="one", moves=""), VALUE.format(expected="16 inHg")),
        "opened": (RUN.format(name="one", moves=_OPENING), VALUE.format(expected="26 inHg")),
        "twice": (
            "".join(RUN.format(name=name, moves=_OPENING) for name in ("one", "other")),
            'what = "same"\nruns = ["one", "other"]',
        ),
    }
    for name, (runs, judged) in asked.items():
        text = CASE.format(id=name, subject=SUBJECT, runs=runs, judged=judged)
        (folder / f"{name}.toml").write_text(text, "utf-8")


@dataclass(frozen=True)
class Observed:
    """How a run ended: its exit code, verdicts by case, the ending of the run ``opened``, what is shown of it, and
    what should not be there: processes and files left, and a record that does not verify."""

    exit: int
    verdicts: dict[str, str]
    ending: str
    said: str
    shown: str
    seconds: float
    left: list[str] = field(default_factory=list)
    endings: dict[str, str] = field(default_factory=dict)


def observe(fault: Any, folder: Path) -> Observed:
    """Runs both cases, and those the fault asks for, on its model; ``folder`` is made for it."""
    folder.mkdir()
    mounting = registered().BUILDERS[fault.stand](fault, folder)
    stand, mark = folder / "stand.toml", uuid.uuid4().hex
    cases = folder / "cases"
    write_cases(cases)
    sheet = str(MODELS / "second_engine.sheet.toml")
    stand.write_text(
        f'format = 1\ntitle = "{fault.name}"\nsheet = "{sheet}"\n'
        f'deadlines = {{ start = "{fault.start}", request = "{fault.request}", row = "0.01 s" }}\n{mounting.stand}',
        "utf-8",
    )
    asked = fault.cases or ("gentle", "opened")
    words = ["run", "--stand", str(stand), "--cases", str(cases), "--out", str(folder / "record")]
    words += [word for case in asked for word in ("--case", case)]
    words += ["--defect", mounting.defect] if mounting.defect else []
    screen = io.StringIO()
    began = time.monotonic()
    with _surroundings(folder, {**mounting.environment, MARK: mark}) as temporary:
        with contextlib.redirect_stdout(screen), contextlib.redirect_stderr(screen):
            code = leverproof(words)
        seconds = time.monotonic() - began
        left = [f"process {number}" for number in _living(mark)]
        left += [f"file {path}" for path in (*temporary.iterdir(), *mounting.forbidden) if path.exists()]
    return _observed(fault, code, read_record(folder / "record"), screen.getvalue(), seconds, left)


@contextlib.contextmanager
def _surroundings(folder: Path, environment: dict[str, str]) -> Iterator[Path]:
    """Environment variables set, and a place of its own for temporary files."""
    kept, temporary = {name: os.environ.get(name) for name in environment}, folder / "temporary"
    temporary.mkdir()
    before, tempfile.tempdir = tempfile.tempdir, str(temporary)
    os.environ.update(environment)
    try:
        yield temporary
    finally:
        tempfile.tempdir = before
        for name, value in kept.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _living(mark: str) -> list[int]:
    """Processes that were started with the mark, whatever group they have joined; those that go within some seconds
    do not count."""
    until = time.monotonic() + _PATIENCE
    while found := marked(mark):
        if time.monotonic() > until:
            return found
        time.sleep(0.02)
    return []


def marked(mark: str) -> list[int]:
    """Processes with the mark in their environment."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/environ"):
        with contextlib.suppress(OSError):
            if mark.encode() in entry.read_bytes():
                found.append(int(entry.parent.name))
    return found


def _observed(
    fault: Any, code: int, record: Record, screen: str, seconds: float, left: list[str]
) -> Observed:
    record.verify()
    assert record.footer is not None
    assert record.footer["exit"] == code
    verdicts = {finding.case: finding.verdict for finding in record.findings}
    met = fault.cases[0] if fault.cases else "opened"
    histories = {
        case: next(iter(record.histories(case).values())) for case in verdicts if record.histories(case)
    }
    told = [histories[met].trouble] if met in histories else []
    told += [
        f"{f.found} against {f.expected}" for f in record.findings if f.case == met and f.verdict == "fail"
    ]
    events = {
        kind: [e.data["message"] for e in record.events if e.kind == kind] for kind in ("problem", "warning")
    }
    told += [*events["problem"], " / ".join(line for line in events["warning"] if line)]
    return Observed(
        exit=code,
        verdicts=verdicts,
        ending=histories[met].ending if met in histories else "",
        said="\n".join([*told, screen, *(h.trouble for h in histories.values())]),
        shown=next((line for line in told if line), ""),
        seconds=seconds,
        left=left,
        endings={case: history.ending for case, history in histories.items()},
    )


def wrong(fault: Any, seen: Observed) -> list[str]:
    """In what a run did not end as registered, in words."""
    expected = {
        case: verdict for case, verdict in (("gentle", fault.gentle), ("opened", fault.opened)) if verdict
    }
    expected |= dict.fromkeys(fault.cases, fault.also)
    pairs = [("exit", fault.exit, seen.exit), ("verdicts", expected, seen.verdicts)]
    pairs += [("ending", fault.ending, seen.ending), ("left behind", [], seen.left)]
    if fault.says not in seen.said:
        pairs.append(("words", fault.says, seen.said))
    if "gentle" in seen.endings:
        pairs.append(("the other case", "completed", seen.endings["gentle"]))
    return [
        f"{fault.name}: {what} {found!r}, registered {wanted!r}"
        for what, wanted, found in pairs
        if wanted != found
    ]


def table(rows: Sequence[tuple[Any, Observed]]) -> str:
    """The table of the page."""
    head = ("model", "what it does", "exit", "gentle", "opened", "ended", "shown")
    lines = [head, *(_line(fault, seen) for fault, seen in rows)]
    widths = [max(len(line[k]) for line in lines) for k in range(len(head))]
    text = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    ]
    return "\n".join([text[0], "  ".join("-" * width for width in widths), *text[1:]]) + "\n"


def _line(fault: Any, seen: Observed) -> tuple[str, ...]:
    opened = " ".join(
        verdict if case == "opened" else f"{case}: {verdict}"
        for case, verdict in seen.verdicts.items()
        if case != "gentle"
    )
    shown = _LAST_WORDS.split(seen.shown.splitlines()[0])[0] if seen.shown else "-"
    if seen.verdicts.get("opened") != "fail":
        shown = _NUMBER.sub("N", shown)
    if len(shown) > _WIDEST:
        shown = shown[: _WIDEST - 3].rsplit(" ", 1)[0] + "..."
    return (
        fault.name, fault.does, str(seen.exit), seen.verdicts.get("gentle", "-"), opened or "-", seen.ending or "-",
        shown,
    )  # fmt: skip


def main() -> int:
    rows = []
    problems = []
    with tempfile.TemporaryDirectory() as place:
        for fault in registered().FAULTS:
            rows.append((fault, observe(fault, Path(place, fault.name))))
            problems += wrong(*rows[-1])
            print(f"{fault.name:28} {rows[-1][1].seconds:5.1f} s", file=sys.stderr)
    if problems:
        print("\n".join(problems), file=sys.stderr)
        print(table(rows))
        return 1
    PAGE.write_text(BLOCK.sub(lambda _: table(rows), PAGE.read_text("utf-8")), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
