"""Cost by number of cases: 1, 4 and 16 times the library loaded and validated, and 1, 4 and 16 times some of its cases
flown with the embedded engine. Linear means that a case costs no more among many than among few.

    python tests/benchmarks/bench_cases.py [--repeats N]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path

from tabulate import tabulate

from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.session import RunRequest, run_session

TIMES = (1, 4, 16)
FLOWN = (
    "idle-speed",
    "mixture-order",
    "boost-at-idle",
    "rpm-lever-response",
    "temperature-exponent",
    "split-lever-advantage",
)
# What timing scatters by on a shared machine, and what caches and the garbage collector cost with 16 times as much in
# memory; a cost that grows with the square of the number would be 16.
SCATTER = 1.25


def copied(catalogue: Catalogue, ids: Iterable[str], times: int, folder: Path) -> Path:
    """A folder in which each case stands ``times`` - 1 more times, under ids of its own."""
    folder.mkdir(parents=True)
    for case in ids:
        text = catalogue.texts[case]
        for copy in range(1, times):
            new = f"{case}-copy-{copy}"
            renamed = text.replace(f'id = "{case}"', f'id = "{new}"', 1)
            if renamed == text:
                raise ValueError(f"{case}: no line with its id")
            (folder / f"{new}.toml").write_text(renamed, encoding="utf-8")
    return folder


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Best processor time of a few."""
    best = float("inf")
    for _ in range(repeats):
        began = time.process_time()
        work()
        best = min(best, time.process_time() - began)
    return best


def loading(catalogue: Catalogue, scratch: Path, repeats: int) -> dict[int, float]:
    """Seconds to load and validate, by times."""
    found = {}
    for times in TIMES:
        folder = str(copied(catalogue, catalogue.texts, times, scratch / f"load-{times}"))
        loaded = load_catalogue([folder])
        if loaded.problems or len(loaded.cases) != times * len(catalogue.cases):
            raise ValueError(f"{len(loaded.cases)} cases, problems {loaded.problems[:1]}")
        found[times] = seconds(lambda folder=folder: load_catalogue([folder]), repeats)
    return found


def flying(catalogue: Catalogue, scratch: Path, repeats: int) -> dict[int, float]:
    """Seconds of a whole run without the report, by times."""
    found = {}
    for times in TIMES:
        folder = str(copied(catalogue, FLOWN, times, scratch / f"fly-{times}"))
        chosen = (*FLOWN, *(f"{case}-copy-*" for case in FLOWN if times > 1))
        request = RunRequest(cases=chosen, case_folders=(folder,), out=scratch / f"record-{times}")
        found[times] = seconds(lambda request=request: run_session(request), repeats)
    return found


def rows(what: str, cases: int, found: dict[int, float]) -> list[list[object]]:
    """One row for each number of cases, with the cost of a case against that at 1x."""
    table: list[list[object]] = []
    for times, spent in found.items():
        ratio = spent / found[1] / times
        table.append(
            [
                f"{what}, {times}x",
                times * cases,
                f"{spent:.2f} s",
                f"{1e3 * spent / times / cases:.1f} ms",
                f"{ratio:.2f} x",
                "yes" if ratio <= SCATTER else "NO",
            ]
        )
    return table


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=2)
    asked = parser.parse_args()
    catalogue = load_catalogue()
    with tempfile.TemporaryDirectory() as scratch:
        table = rows("load and validate", len(catalogue.cases), loading(catalogue, Path(scratch), asked.repeats))
        table += rows("fly", len(FLOWN), flying(catalogue, Path(scratch), asked.repeats))
    heads = ["what", "cases", "processor", "a case", f"against 1x (<= {SCATTER:g})", "linear"]
    print(tabulate(table, headers=heads, disable_numparse=True))


if __name__ == "__main__":
    main()
