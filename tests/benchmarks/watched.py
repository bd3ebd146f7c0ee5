"""A command watched from outside: how long it took, how long its processes worked, and their memory together.

Linux only: the figures are those of ``/proc``. Memory is the proportional set size, in which what processes share is
counted once; it is looked at ten times a second, with the processor time of every process.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

GLANCE = 0.1
SPIN = 0.3
SHARE = 0.93
_TICK = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True)
class Watched:
    """Seconds by the clock; processor seconds of all processes together (``processor``) and along the longest path, of
    the first process and the busiest of those below it (``path``); megabytes of all together at their peak."""

    wall: float
    processor: float
    path: float
    peak: float


def watched(words: Sequence[str], folder: Path, environment: Mapping[str, str] | None = None) -> Watched:
    """Runs a command in ``folder`` to its end; RuntimeError with its last words when it ends badly."""
    told = folder / "said.txt"
    began = time.perf_counter()
    worked: dict[int, float] = {}
    peak, next_glance = 0.0, 0.0
    with told.open("wb") as said:
        child = subprocess.Popen(words, cwd=folder, stdout=said, stderr=subprocess.STDOUT, env=environment)
        while True:
            ended, status, spent = os.wait4(child.pid, os.WNOHANG)
            if ended:
                break
            if time.perf_counter() >= next_glance:
                pids = _tree(child.pid)
                worked |= {pid: seconds for pid in pids if (seconds := _processor(pid)) is not None}
                peak = max(peak, sum(_megabytes(pid) for pid in pids))
                next_glance = time.perf_counter() + GLANCE
            time.sleep(0.005)
    wall = time.perf_counter() - began
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        last = told.read_text("utf-8", "replace")[-2_000:]
        raise RuntimeError(f"{' '.join(words)}: exit code {child.returncode}\n{last}")
    below = [seconds for pid, seconds in worked.items() if pid != child.pid]
    total = max(spent.ru_utime + spent.ru_stime, sum(worked.values()))
    first = worked.get(child.pid, total) if below else total
    return Watched(wall, total, first + max(below, default=0.0), peak)


def _tree(pid: int) -> list[int]:
    """The process and those below it."""
    found, at = [pid], 0
    while at < len(found):
        try:
            for task in Path(f"/proc/{found[at]}/task").iterdir():
                found += map(int, (task / "children").read_text("ascii").split())
        except OSError:
            pass  # It has ended since.
        at += 1
    return found


def _processor(pid: int) -> float | None:
    """Seconds a process has worked; None when it has ended."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text("utf-8", "replace").rpartition(")")[2].split()
    except OSError:
        return None
    return (int(fields[11]) + int(fields[12])) / _TICK


def _megabytes(pid: int) -> float:
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text("ascii").splitlines()
    except OSError:
        return 0.0
    return sum(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1000.0


def quiet(processes: int = 2) -> bool:
    """Whether this many processes that do nothing but work get their processors to themselves just now."""
    spin = (
        "import time; b = time.perf_counter(); c = time.process_time()\n"
        f"while time.perf_counter() - b < {SPIN}: pass\n"
        "print((time.process_time() - c) / (time.perf_counter() - b))"
    )
    children = [
        subprocess.Popen([sys.executable, "-c", spin], stdout=subprocess.PIPE) for _ in range(processes)
    ]
    shares = [float(child.communicate()[0]) for child in children]
    return min(shares) >= SHARE


def spent_below(pid: int) -> float:
    """Processor seconds of a process and all below it, with those that have ended and been waited for."""
    total = 0.0
    for one in _tree(pid):
        try:
            fields = Path(f"/proc/{one}/stat").read_text("utf-8", "replace").rpartition(")")[2].split()
        except OSError:
            continue
        total += sum(map(int, fields[11:15])) / _TICK
    return total
