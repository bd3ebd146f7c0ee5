"""The HTML test guide: how long it takes to write, how large it is, and when a browser first shows something of it.

    python tests/benchmarks/bench_guide.py [--repeats 3]

Writing: 120 cases of 3 runs, 12 channels, 2,400 samples, every fourth case failed, wall and processor time of reading
the record and rendering. First view: first contentful paint of a guide of 300 such cases (1 run each) in headless
Chromium, a new tab each round. Exit code 1 when an aim is missed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from measurement import MissingError, Row, by_both_clocks, command, of_pairs
from watched import quiet

from leverproof.record import read_record
from leverproof.report import html

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
from devtools import Browser, find_chromium
from guide_records import Shape, write_record

WRITTEN = Shape(cases=120, runs=3, samples=2_400)
SEEN = Shape(cases=300, runs=1, samples=2_400)
SECONDS, MEGABYTES, FIRST_VIEW = 3.0, 8.0, 1_000.0


def written(record: Path, page: Path) -> tuple[float, float]:
    """Wall and processor seconds from the record on disk to the page on disk."""
    wall, processor = time.perf_counter(), time.process_time()
    page.write_text(html.render(read_record(record)), "utf-8")
    return time.perf_counter() - wall, time.process_time() - processor


def first_view(browser: Browser, page: Path) -> float:
    """Milliseconds from asking for the page to its first contentful paint."""
    tab = browser.open(page)
    tab.until("performance.getEntriesByName('first-contentful-paint').length > 0")
    found = float(tab.run("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
    tab.close()
    return found


def views(program: str, folder: Path, shape: Shape, rounds: int) -> list[float]:
    """Milliseconds to the first view of a guide of that shape, round by round."""
    page = folder / "seen.html"
    page.write_text(html.render(read_record(write_record(folder / "seen", shape))), "utf-8")
    browser = Browser(program, folder / "profile")
    try:
        return [first_view(browser, page) for _ in range(rounds)]
    finally:
        browser.close()


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    program = find_chromium()
    if program is None:
        raise MissingError("Chromium")
    large, seen = (
        replace(shape, cases=4, samples=300) if asked.quick else shape for shape in (WRITTEN, SEEN)
    )
    crowded = not quiet(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        record, page = write_record(folder / "large", large), folder / "large.html"
        times = [written(record, page) for _ in range(asked.repeats)]
        size = page.stat().st_size / 1e6
        shown = views(program, folder, seen, asked.repeats)
    what = f"HTML guide of {large.cases} cases, read and written"
    wall, processor = zip(*times, strict=True)
    yield from by_both_clocks(what, wall, processor, SECONDS, crowded=crowded)
    yield Row(f"{what}, on disk, a quarter of them failed", size, "MB", clock="", at_most=MEGABYTES)
    yield of_pairs(
        f"first view of a guide of {seen.cases} cases", shown, "ms", clock="wall", at_most=FIRST_VIEW
    )


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 3))
