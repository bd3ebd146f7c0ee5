"""Progress: one plain line every ten seconds where there is no terminal."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from leverproof.cli.progress import ProgressLine
from leverproof.record import read_record


def _wait_for(file: Path, child: subprocess.Popen[bytes]) -> None:
    """Until the child has written the file."""
    deadline = time.monotonic() + 60.0
    while not file.exists():
        assert child.poll() is None and time.monotonic() < deadline
        time.sleep(0.01)


def test_a_plain_line_every_ten_seconds() -> None:
    now = [0.0]
    stream = io.StringIO()
    with ProgressLine(stream, clock=lambda: now[0]) as progress:
        for second in range(0, 36, 3):
            now[0] = float(second)
            progress(second, 36, f"case {second}")
    assert stream.getvalue().splitlines() == ["33 % case 12, 24 s left", "67 % case 24, 12 s left"]


def test_the_rate_leaves_out_what_was_there_before() -> None:
    now = [0.0]
    stream = io.StringIO()
    with ProgressLine(stream, unit="cases", clock=lambda: now[0]) as progress:
        progress(9000, 20_000, "flying")
        now[0] = 12.0
        progress(9030, 20_000, "flying")
        now[0] = 24.0
        progress(10_200, 20_000, "flying")
    assert stream.getvalue().splitlines() == [
        "45 % flying, 2.5 cases a second, 1 h 13 min left",
        "51 % flying, 50 cases a second, 3 min 16 s left",
    ]


def test_a_line_also_while_one_case_takes_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("leverproof.cli.progress._LOOK", 0.005)
    now = [0.0]
    stream = io.StringIO()
    with ProgressLine(stream, unit="cases", clock=lambda: now[0]) as progress:
        progress(0, 20, "flying")
        for second, lines in ((9.0, 0), (10.0, 1), (19.0, 1), (20.0, 2)):
            now[0] = second
            deadline = time.monotonic() + 5.0
            while len(stream.getvalue().splitlines()) < lines:
                assert time.monotonic() < deadline
                time.sleep(0.002)
            time.sleep(0.02)
            assert stream.getvalue().splitlines() == ["0 % flying"] * lines
    now[0] = 60.0
    assert len(stream.getvalue().splitlines()) == 2


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_a_bar_on_a_terminal_that_takes_texts_as_they_are() -> None:
    stream = Terminal()
    now = [0.0]
    with ProgressLine(stream, unit="[b]cases", clock=lambda: now[0]) as progress:
        progress(1, 4, "[red]case")
        now[0] = 2.0
        progress(4, 4, "[red]last")
    assert "[red]last" in stream.getvalue()
    assert "1.5 [b]cases a second, 0 s left" in " ".join(stream.getvalue().split())


@pytest.mark.skipif(os.name != "posix", reason="signals are sent")
@pytest.mark.parametrize("sent", ["SIGINT", "SIGTERM"])
def test_a_run_ended_while_it_reports_says_that_its_record_is_finished(tmp_path: Path, sent: str) -> None:
    usual = "default_int_handler" if sent == "SIGINT" else "SIG_DFL"
    command = (
        "import signal, sys, time\nfrom pathlib import Path\nfrom leverproof.cli import run\n"
        f"signal.signal(signal.{sent}, signal.{usual})\n"
        "def rendered(*given):\n    Path('reporting').touch()\n    time.sleep(60)\n"
        "run.rendered = rendered\nfrom leverproof.cli.main import main\nsys.exit(main(sys.argv[1:]))\n"
    )
    words = [sys.executable, "-c", command, "run", "--case", "stopped-manifold-pressure", "--out", "record"]
    child = subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    _wait_for(tmp_path / "reporting", child)
    child.send_signal(getattr(signal, sent))
    _, told = child.communicate(timeout=60)
    assert child.returncode == 130
    assert "the record in record/ is finished, and `leverproof report record` reports from it" in told.decode()
    read_record(tmp_path / "record").verify()


@pytest.mark.skipif(os.name != "posix", reason="signals are sent")
@pytest.mark.parametrize("sent", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_an_interrupted_run_keeps_what_is_finished_and_says_how_to_go_on(
    tmp_path: Path, plans: ModuleType, sent: str
) -> None:
    plans.write_plan(tmp_path, options={"pause": 0.2, "log": str(tmp_path)})
    # Whoever started these tests, as nohup does, may have had the signal ignored.
    usual = "default_int_handler" if sent == "SIGINT" else "SIG_DFL"
    command = f"import signal, sys; signal.signal(signal.{sent}, signal.{usual}); "
    command += "from leverproof.cli.main import main; sys.exit(main(sys.argv[1:]))"
    words = ["run", "--stand", str(tmp_path / "stand.toml"), "--out", str(tmp_path / "record")]
    child = subprocess.Popen([sys.executable, "-c", command, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    _wait_for(tmp_path / "flights.log", child)
    child.send_signal(getattr(signal, sent))
    _, told = child.communicate(timeout=60)
    assert child.returncode == 130
    assert f"interrupted: what was finished is kept in {tmp_path / 'record'}/" in told.decode()
    assert "record.previous/" in told.decode()
    assert read_record(tmp_path / "record").complete
