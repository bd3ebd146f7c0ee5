"""The HTML test guide: how long it takes to write, how large it is, and when a browser first shows something of it.

``python tests/benchmarks/bench_guide.py [--rounds 3]``. Writing: 120 cases of 3 runs, 12 channels, 2,400 samples, every
fourth case failed, wall and processor time of reading the record and rendering; the best round counts, because other
work on the machine disturbs it. First view: first contentful paint of a guide of 300 such cases (1 run each) in
headless Chromium, a new tab each round, the median. Exit code 1 when an aim is missed.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from pathlib import Path

from leverproof.record import read_record
from leverproof.report import html

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))
from devtools import Browser, find_chromium
from guide_records import Shape, write_record

WRITTEN = Shape(cases=120, runs=3, samples=2_400)
SEEN = Shape(cases=300, runs=1, samples=2_400)
SECONDS, BYTES, FIRST_VIEW = 3.0, 8_000_000, 1_000.0


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


def main() -> int:
    options = argparse.ArgumentParser()
    options.add_argument("--rounds", type=int, default=3)
    rounds = options.parse_args().rounds
    program = find_chromium()
    if program is None:
        print("Chromium is needed and is not installed", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        record, page = write_record(folder / "large", WRITTEN), folder / "large.html"
        times = [written(record, page) for _ in range(rounds)]
        wall, processor = min(times)
        size = page.stat().st_size
        many = folder / "many.html"
        many.write_text(html.render(read_record(write_record(folder / "many", SEEN))), "utf-8")
        browser = Browser(program, folder / "profile")
        views = [first_view(browser, many) for _ in range(rounds)]
        browser.close()
    shown = statistics.median(views)
    print(f"written: {wall:.2f} s wall, {processor:.2f} s processor (aim {SECONDS:g} s); rounds "
          f"{', '.join(f'{w:.2f}' for w, _ in times)}")  # fmt: skip
    print(f"size:    {size / 1e6:.2f} MB (aim {BYTES / 1e6:g} MB)")
    print(f"view:    {shown:.0f} ms (aim {FIRST_VIEW:g} ms); rounds {', '.join(f'{v:.0f}' for v in views)}")
    return 0 if wall <= SECONDS and size <= BYTES and shown <= FIRST_VIEW else 1


if __name__ == "__main__":
    sys.exit(main())
