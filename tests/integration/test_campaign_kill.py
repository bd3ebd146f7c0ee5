"""A campaign killed ten times over: nothing finished is lost, hardly anything is flown twice, and the results are those
of a campaign that nobody disturbed. Real processes, real SIGKILL; three of the kills fall into a half-written line."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from leverproof.campaign import store

HEIGHTS = "{ from = '0 ft', to = '11950 ft', step = '50 ft' }"
ITEMS, JOBS = 240, 2
STUDY = 2
"""Runs of the step study, flown once more where a kill comes before it is kept."""

COMMAND = "import sys; from leverproof.cli.main import main; sys.exit(main(sys.argv[1:]))"
TORN = """
import os, signal, sys
from leverproof.campaign import store
from leverproof.cli.main import main

begun, after, written = store._next_file, int(sys.argv.pop(1)), 0

class Torn:
    '''A file that is killed in the middle of the line with which it has held so many items.'''

    def __init__(self, file):
        self.file = file

    def write(self, lines):
        global written
        lines = bytes(lines)
        written += lines.count(b'"rows"')
        if written >= after:
            self.file.write(lines[: len(lines) - 40])
            self.file.flush()
            os.kill(os.getpid(), signal.SIGKILL)
        return self.file.write(lines)

    def __getattr__(self, name):
        return getattr(self.file, name)

store._next_file = lambda folder: Torn(begun(folder))
sys.exit(main(sys.argv[1:]))
"""


def words(plan: Path, out: Path) -> list[str]:
    return ["campaign", str(plan), "--jobs", str(JOBS), "--out", str(out)]


def whole_lines(out: Path) -> int:
    return sum(path.read_bytes().count(b'"rows"') for path in (out / store.RESULTS).glob("*.jsonl"))


def started(program: str, *arguments: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([sys.executable, "-c", program, *arguments], capture_output=True, timeout=60)


def killed(plan: Path, out: Path, moment: int, torn: bool) -> None:
    """Starts the campaign and kills it when so many items are there; ``torn``: while the next block is written."""
    if torn:
        left = max(1, moment - whole_lines(out))
        ended = subprocess.run(
            [sys.executable, "-c", TORN, str(left), *words(plan, out)], capture_output=True, timeout=60
        )
        assert ended.returncode == -signal.SIGKILL, ended.stderr.decode()
        return
    child = subprocess.Popen([sys.executable, "-c", COMMAND, *words(plan, out)], stderr=subprocess.PIPE)
    deadline = time.monotonic() + 60.0
    while whole_lines(out) < moment:
        assert child.poll() is None and time.monotonic() < deadline
        time.sleep(0.002)
    child.kill()
    child.communicate()
    assert child.returncode == -signal.SIGKILL


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is sent")
def test_killed_at_ten_moments(tmp_path: Path, plans: ModuleType) -> None:
    plan = plans.write_plan(tmp_path / "p", heights=HEIGHTS, options={"pause": 0.004, "log": str(tmp_path)})
    draw = random.Random(20_260_107)
    moments = sorted(draw.uniform(1.0, ITEMS - 1.0) for _ in range(10))
    torn = set(draw.sample(range(10), 3))
    out = tmp_path / "out"
    there: set[int] = set()
    before = 0
    for index, moment in enumerate(moments):
        killed(plan, out, round(moment), index in torn)
        flights = ended_flights(tmp_path)
        now = store.finished(out)
        assert there <= now
        # A block is at most half of what falls to each worker; one of each worker may have been flown for nothing.
        block = -(-(ITEMS - len(there)) // (2 * JOBS))
        assert len(now - there) <= flights - before <= len(now - there) + JOBS * block + STUDY
        there, before = now, flights
    damages: list[store.Damage] = []
    assert len(list(store.items(out, damages))) == len(there)
    assert len(damages) >= 3 and all(damage.torn for damage in damages)
    rest = started(COMMAND, *words(plan, out))
    assert rest.returncode == 0, rest.stderr.decode()
    assert len(store.finished(out)) == ITEMS
    assert ended_flights(tmp_path) - before == ITEMS - len(there)
    undisturbed = tmp_path / "undisturbed"
    assert started(COMMAND, *words(plan, undisturbed)).returncode == 0
    assert store.digest(out) == store.digest(undisturbed)


def ended_flights(folder: Path) -> int:
    """Runs that were begun so far, after every process that began one has gone: a killed campaign leaves none."""
    flights = [line.split() for line in (folder / "flights.log").read_text().splitlines()]
    gone_by = time.monotonic() + 20.0
    for process in {int(process) for process, _ in flights}:
        while alive(process):
            assert time.monotonic() < gone_by
            time.sleep(0.02)
    return len((folder / "flights.log").read_text().splitlines())


def alive(process: int) -> bool:
    """Whether a process is there and not only its exit code."""
    try:
        os.kill(process, 0)
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except ProcessLookupError:
        return False
    except OSError:
        # No such file system here, or it has ended since.
        return not Path("/proc/self/stat").exists()
