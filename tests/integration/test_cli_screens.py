"""The command line: results on standard output, everything else on standard error, errors in words."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import pytest

from leverproof.cases.model import Applies, Judgement, ReferenceCase, Run, Step
from leverproof.cli.main import main
from leverproof.cli.progress import ProgressLine
from leverproof.conduct.model import PlannedCase
from leverproof.errors import LeverproofError, ReproducibilityError, StandError, UsageError
from leverproof.judge.model import Finding
from leverproof.record import RecordWriter
from leverproof.schema import check


class RunRequest(NamedTuple):
    """The request as the session takes it."""

    stand: str | None
    sheet: str | None
    cases: tuple[str, ...]
    case_folders: tuple[str, ...]
    subjects: tuple[str, ...]
    seed: int
    out: Path
    defect: str | None
    command: tuple[str, ...]
    engine: int | None = None
    deferrals: str | None = None
    today: date | None = None


class Defect(NamedTuple):
    """A seeded defect as the session lists it."""

    name: str
    size: str
    reason: str
    fires: tuple[str, ...]
    variants: tuple[str, ...]
    may_fire: tuple[str, ...] = ()


def write(folder: Path, verdict: str = "fail", request: dict[str, Any] | None = None) -> None:
    """A record with one finding."""
    asked = Judgement(
        "power", "value", "power at take-off", "required", "sheet", "sheet, takeoff.brake_power"
    )
    case = ReferenceCase(
        "take-off", "rating", "Take-off", "Does it?", "A simulated engine.", "running", Applies(), {},
        (Run("only", (Step("read", "settled"),)),), (asked,),
    )  # fmt: skip
    found = Finding(
        "take-off", "power", "rating", "value", asked.asked, "required", "sheet", asked.source, verdict,
        "1,890 hp", "2,090 hp", "40 hp", "hp", 1890.0, 40.0, 6.0,
    )  # fmt: skip
    with RecordWriter(folder, {"request": request or {"seed": 1}}) as writer:
        writer.expectations([PlannedCase(case, (), (), (asked,))])
        writer.findings([found])
        writer.close("finished", int(verdict != "pass"))


@pytest.fixture
def session(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """A session whose engine always falls short, in place of the real one."""
    made = ModuleType("leverproof.session")
    asked: list[RunRequest] = []

    def run_session(request: RunRequest, progress: ProgressLine) -> int:
        asked.append(request)
        progress(0, 1, "running")
        verdict = "pass" if request.defect == "harmless" else "fail"
        write(
            request.out, verdict, {**request._asdict(), "out": str(request.out), "today": str(request.today)}
        )
        return int(verdict == "fail")

    def known_defects() -> list[Defect]:
        return [
            Defect("instant-turbo", "large", "The rotor has no inertia.", ("take-off",), ("early",)),
            Defect("harmless", "small", "Nothing is wrong.", ("idle",), ("early",)),
        ]

    for name, value in {
        "RunRequest": RunRequest,
        "run_session": run_session,
        "known_defects": known_defects,
        "asked": asked,
    }.items():
        setattr(made, name, value)
    monkeypatch.setitem(sys.modules, "leverproof.session", made)
    return made


def test_run_passes_its_options_on_and_reports_everywhere(
    session: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    options = (
        "--stand s.toml --sheet x --cases more",
        "--seed 7 --deferrals known.toml --defect instant-turbo",
    )
    files = "--out rec --json r.json --junit r.xml --markdown r.md"
    words = ["run", *f"{' '.join(options)} --case take-* --case idle --subject rating {files}".split(" ")]
    assert main(words) == 1
    (request,) = session.asked
    assert request == RunRequest(
        "s.toml", "x", ("take-*", "idle"), ("more",), ("rating",), 7, Path("rec"), "instant-turbo",
        command=("leverproof", *words), deferrals="known.toml", today=request.today,
    )  # fmt: skip
    assert isinstance(request.today, date) and abs(request.today - datetime.now(UTC).date()) <= timedelta(
        days=1
    )
    shown = capsys.readouterr()
    assert shown.err == ""
    repeat = f"repeat: leverproof run {options[0]} --case take-off {options[1]}"
    assert repeat in shown.out
    check(json.loads((tmp_path / "r.json").read_text("utf-8")), "report", "r.json")
    assert (tmp_path / "r.xml").read_text("utf-8").startswith("<?xml")
    assert "## Not passed" in (tmp_path / "r.md").read_text("utf-8")
    assert not any(p.suffix == ".xml" for p in (tmp_path / "rec").rglob("*"))


def test_run_by_default_asks_for_nothing_special(
    session: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["run"]) == 1
    assert session.asked[0][:6] == (None, None, (), (), (), 1)
    assert session.asked[0].out == Path("leverproof-record")
    assert session.asked[0].deferrals is None


@pytest.mark.parametrize("option", ["--json", "--junit", "--markdown"])
@pytest.mark.parametrize("place", ["nowhere/r.x", "rec/r.x", "."])
def test_a_report_that_cannot_be_written_is_refused_before_the_run(
    session: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, option: str, place: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["run", "--out", "rec", option, place]) == 2
    assert session.asked == []


def test_report_gives_what_run_gave(
    session: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    main(["run", "--json", "r.json", "--junit", "r.xml", "--markdown", "r.md"])
    table = capsys.readouterr().out
    assert main(["report", "leverproof-record"]) == 0
    assert capsys.readouterr().out == table
    for kind, file in (("json", "r.json"), ("junit", "r.xml"), ("markdown", "r.md")):
        assert main(["report", "leverproof-record", "--format", kind]) == 0
        assert capsys.readouterr().out == (tmp_path / file).read_text("utf-8")
        assert main(["report", "leverproof-record", "--format", kind, "--out", "again"]) == 0
        assert (tmp_path / "again").read_bytes() == (tmp_path / file).read_bytes()
    assert capsys.readouterr().out == ""


def test_defects_are_listed_name_first(session: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["defects"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[:2] for line in lines] == [["instant-turbo", "large"], ["harmless", "small"]]


def test_kills_runs_each_defect_and_prints_the_matrix(
    session: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["kills", "--seed", "3"]) == 0
    text = capsys.readouterr().out
    assert [request.defect for request in session.asked] == ["instant-turbo", "harmless"]
    assert {request.seed for request in session.asked} == {3}
    assert not any(request.out.exists() for request in session.asked)
    assert "harmless: idle was expected to catch it and did not" in text
    assert main(["kills", "--defect", "instant-turb"]) == 2
    assert "did you mean 'instant-turbo'?" in capsys.readouterr().err


def raising(session: ModuleType, monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def run_session(request: RunRequest, progress: ProgressLine) -> int:
        raise error

    monkeypatch.setattr(session, "run_session", run_session)


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (UsageError("no such case", "--case idel", "did you mean 'idle'?"), 2),
        (ReproducibilityError("cut short", "rec", "run again"), 2),
        (
            StandError(
                "no program", "stand.toml", "cc it", "no_program", evidence="line 1\nlast \x1b[31mline"
            ),
            3,
        ),
        (KeyboardInterrupt(), 130),
        (RuntimeError("division\x1b by cucumber"), 4),
    ],
)
def test_errors_are_words_and_an_exit_code(
    session: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    error: BaseException, code: int,
) -> None:  # fmt: skip
    monkeypatch.delenv("LEVERPROOF_TRACEBACK", raising=False)
    raising(session, monkeypatch, error)
    assert main(["run"]) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    assert "\x1b" not in shown.err
    if isinstance(error, LeverproofError):
        for part in (f"error: {error.message}", f"where: {error.where}", f"hint: {error.hint}"):
            assert part in shown.err
    if isinstance(error, StandError):
        assert "last \\x1b[31mline" in shown.err
    if code == 4:
        assert "please report it" in shown.err


def test_a_traceback_is_shown_only_when_asked_for(
    session: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    raising(session, monkeypatch, RuntimeError("cucumber"))
    monkeypatch.setenv("LEVERPROOF_TRACEBACK", "1")
    assert main(["run"]) == 4
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["fly"],
        ["run", "--sead", "1"],
        ["run", "--seed", "x"],
        ["report"],
        ["report", "x", "--format", "pdf"],
    ],
)
def test_a_wrong_command_line_exits_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert capsys.readouterr().out == ""


def test_a_folder_without_record_exits_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(tmp_path)]) == 2
    assert "there is no record here" in capsys.readouterr().err


def command(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    script = "import sys; from leverproof.cli.main import main; sys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", script, *words],
        capture_output=True,
        text=True,
        env=os.environ | environment,
        timeout=60,
        check=False,
    )


def test_help_loads_nothing_heavy() -> None:
    script = (
        "import sys; from leverproof.cli.main import main; main(['--help']); main(['run', '--help']);"
        "main(['ledger', '--help']);"
        "main(['stand', 'new', '--help']);"
        "print(sorted(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True
    )
    loaded = {name.split(".")[0] for name in done.stderr.strip("[]\n").replace("'", "").split(", ")}
    assert "argparse" in loaded
    assert not loaded & {
        "numpy",
        "pandas",
        "jsonschema",
        "tabulate",
        "junitparser",
        "rich",
        "pytest",
        "hypothesis",
    }
    assert "judge" in done.stdout


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    write(tmp_path / "r")
    script = "import sys; from leverproof.cli.main import main; sys.exit(main())"
    for words in (["report", str(tmp_path / "r")], ["--help"]):
        child = subprocess.Popen(
            [sys.executable, "-c", script, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        assert child.stdout is not None and child.stderr is not None
        child.stdout.close()
        assert child.stderr.read() == b""
        child.stderr.close()
        assert child.wait(timeout=60) == 0


def test_a_full_disk_behind_the_output_is_told(tmp_path: Path) -> None:
    write(tmp_path / "r")
    script = "import sys; from leverproof.cli.main import main; sys.exit(main())"
    for words in (["report", str(tmp_path / "r")], ["--help"], ["version"]):
        with Path("/dev/full").open("w") as full:
            done = subprocess.run(
                [sys.executable, "-c", script, *words],
                stdout=full,
                stderr=subprocess.PIPE,
                text=True,
                timeout=60,
            )
        assert (done.returncode, "Traceback" in done.stderr) == (2, False)
        assert "standard output" in done.stderr


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&- <&-"])
def test_a_closed_stream_is_one_that_nobody_reads(tmp_path: Path, closed: str) -> None:
    write(tmp_path / "r")
    script = "import sys; from leverproof.cli.main import main; sys.exit(main())"
    line = [sys.executable, "-c", script, "report", str(tmp_path / "r")]
    done = subprocess.run(
        ["sh", "-c", f'"$@" {closed}', "sh", *line], capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_a_poor_terminal_is_no_error(tmp_path: Path) -> None:
    write(tmp_path / "r")
    done = command("report", str(tmp_path / "r"), PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert "\\xb1 40 hp" in done.stdout


def test_columns_set_the_width_and_nothing_is_coloured_in_a_pipe(tmp_path: Path) -> None:
    write(tmp_path / "r")
    done = command("report", str(tmp_path / "r"), COLUMNS="80")
    lines = [line for line in done.stdout.splitlines() if "repeat:" not in line and "Record:" not in line]
    assert max(map(len, lines)) <= 84
    assert "\x1b" not in done.stdout


def test_two_reports_cannot_share_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    both = str(tmp_path / "both")
    assert main(["run", "--json", both, "--junit", both, "--out", str(tmp_path / "r")]) == 2
    assert "--json writes this file too" in capsys.readouterr().err
    assert not (tmp_path / "r").exists()


def test_a_report_that_may_not_be_written_is_refused_before_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Whoever runs the tests may be allowed to write everywhere.
    monkeypatch.setattr("os.access", lambda path, mode: Path(path) != tmp_path)
    out = str(tmp_path / "r")
    assert main(["run", "--json", str(tmp_path / "x.json"), "--out", out]) == 2
    assert "no permission" in capsys.readouterr().err
    assert not (tmp_path / "r").exists()


def test_a_report_refused_after_the_run_costs_no_other(
    session: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["run", "--json", "/dev/full", "--junit", str(tmp_path / "r.xml"), "--out", str(tmp_path / "r")]
    assert main(words) == 2
    assert "cannot write this file: No space left on device" in capsys.readouterr().err
    assert "<testsuites" in (tmp_path / "r.xml").read_text("utf-8")


@pytest.mark.parametrize("words", [["report"], ["report", "--format", "json"], ["discrepancies"]])
def test_a_finding_changed_by_hand_is_shown_with_a_warning(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path / "rec")
    assert main([*words, str(tmp_path / "rec")]) == 0
    assert capsys.readouterr().err == ""
    lines = tmp_path / "rec" / "record.jsonl"
    lines.write_text(lines.read_text().replace("2,090 hp", "1,890 hp"))
    assert main([*words, str(tmp_path / "rec")]) == 0
    told = capsys.readouterr()
    assert told.out
    assert told.err.startswith(
        "warning: this record cannot be trusted: its lines are not those that were written"
    )
    assert str(lines) in told.err
