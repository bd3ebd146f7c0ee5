"""The record of a large session, and every report that is made of it.

    python tests/benchmarks/bench_report.py [--repeats 3]

120 cases of 3 runs, 12 channels and 2,400 samples without noise, every fourth case failed: written, read, and rendered
in every form that ``leverproof report`` has. Rendering is measured beside the reading that always comes before it.
``bench_guide.py`` has the aims of the HTML guide.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from statistics import median

from measurement import Row, by_both_clocks, command, of_pairs, taken_in_turn, worked
from watched import quiet

from leverproof.cli.run import rendered
from leverproof.record import read_record

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
from guide_records import Shape, write_record

FORMS = ("table", "json", "junit", "markdown", "html", "sarif")
LARGE, TINY = Shape(cases=120, runs=3, samples=2_400, noise=0.0), Shape(cases=4, runs=3, samples=300)
MEGABYTES, SECONDS = 25.0, 1.0


def read_whole(folder: Path) -> None:
    """The record with every history, as judging again reads it."""
    record = read_record(folder)
    for planned in record.expectations:
        record.conducted(planned.case.id)


def written(folder: Path, shape: Shape) -> tuple[float, float]:
    """Wall and processor seconds of writing a record."""
    wall, processor = time.perf_counter(), time.process_time()
    write_record(folder, shape)
    return time.perf_counter() - wall, time.process_time() - processor


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    shape = TINY if asked.quick else LARGE
    crowded = not quiet(1)
    with tempfile.TemporaryDirectory() as name:
        folders = [Path(name, f"record-{number}") for number in range(asked.repeats)]
        wall, processor = zip(*(written(folder, shape) for folder in folders), strict=True)
        size = sum(path.stat().st_size for path in folders[0].rglob("*") if path.is_file()) / 1e6
        record = read_record(folders[0])
        sides = [partial(worked, partial(rendered, record, form)) for form in FORMS]
        rounds = taken_in_turn([partial(worked, partial(read_whole, folders[0])), *sides], asked.repeats)
    shaped = f"{shape.cases} cases x {shape.runs} runs x 12 channels x {shape.samples:,} samples"
    yield from by_both_clocks(f"record of {shaped}, written", wall, processor, SECONDS, crowded=crowded)
    yield Row("record of these, on disk", size, "MB", clock="", at_most=MEGABYTES)
    yield of_pairs("record of these, every history read", [each[0] for each in rounds], "s")
    for at, form in enumerate(FORMS, 1):
        note = f"{1e3 * median(each[at] for each in rounds):.0f} ms"
        yield of_pairs(
            f"report as {form}", [each[at] / each[0] for each in rounds], "x", "reading the record", note=note
        )


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 3))
