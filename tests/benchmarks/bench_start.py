"""Start-up: ``leverproof --help`` against an interpreter that starts and does nothing, and the first case of a library.

    python tests/benchmarks/bench_start.py [--repeats 15]

Processes of their own, in turn, wall time: that is what a person waits for. Modules are compiled beforehand.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

from measurement import Row, command, of_pairs, taken_in_turn

PROGRAM = (sys.executable, "-c", "import sys; from leverproof.cli.main import main; sys.exit(main())")
NOTHING = (sys.executable, "-c", "pass")
MOST = 3.0


def waited(words: Sequence[str]) -> float:
    """Wall seconds of a command that ends well."""
    began = time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    nothing = "interpreter that starts and does nothing"
    with tempfile.TemporaryDirectory() as scratch:
        one = (*PROGRAM, "run", "--case", "idle-speed", "--out", str(Path(scratch, "record")))
        said = taken_in_turn(
            [partial(waited, words) for words in (NOTHING, (*PROGRAM, "--help"))], asked.repeats
        )
        yield of_pairs(nothing, [1e3 * pair[0] for pair in said], "ms", clock="wall")
        yield of_pairs(
            "leverproof --help", [b / a for a, b in said], "x", nothing, clock="wall", at_most=MOST
        )
        if asked.quick:
            return
        longer = [partial(waited, words) for words in (NOTHING, (*PROGRAM, "cases"), one)]
        taken_in_turn(longer, 1)
        rounds = taken_in_turn(longer, max(1, asked.repeats // 3))
    for at, what in (
        (1, "leverproof cases: the library listed"),
        (2, "leverproof run of one case, record and report"),
    ):
        yield of_pairs(what, [each[at] / each[0] for each in rounds], "x", nothing, clock="wall")


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 15))
