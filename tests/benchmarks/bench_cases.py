"""Cost by number of cases: 1, 4 and 16 times the library loaded and validated, and 1, 4 and 16 times some of its cases
flown with the embedded engine. Linear means that a case costs no more among many than among few.

    python tests/benchmarks/bench_cases.py [--repeats N]
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from pathlib import Path

from measurement import Row, command, of_pairs, taken_in_turn, worked

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


def _folders(catalogue: Catalogue, ids: Iterable[str], times: int, folder: Path) -> tuple[str, ...]:
    """Where cases stand beside the shipped ones; a folder without any would be a problem."""
    return (str(copied(catalogue, ids, times, folder)),) if times > 1 else ()


def loading(catalogue: Catalogue, times: int, scratch: Path) -> Callable[[], object]:
    """Loads and validates the library ``times`` times."""
    folders = _folders(catalogue, catalogue.texts, times, scratch / f"load-{times}")
    loaded = load_catalogue(folders)
    if loaded.problems or len(loaded.cases) != times * len(catalogue.cases):
        raise ValueError(f"{len(loaded.cases)} cases, problems {loaded.problems[:1]}")
    return lambda: load_catalogue(folders)


def flying(catalogue: Catalogue, ids: Sequence[str], times: int, scratch: Path) -> Callable[[], object]:
    """A whole run without the report of some cases, ``times`` times."""
    folders = _folders(catalogue, ids, times, scratch / f"fly-{times}")
    chosen = (*ids, *(f"{case}-copy-*" for case in ids if times > 1))
    request = RunRequest(cases=chosen, case_folders=folders, out=scratch / f"record-{times}")
    return lambda: run_session(request)


def compared(
    what: str, cases: int, times: Sequence[int], works: list[Callable[[], object]], repeats: int
) -> Iterator[Row]:
    """A case among few in milliseconds, and a case among many against it."""
    rounds = taken_in_turn([partial(worked, work) for work in works], repeats)
    yield of_pairs(
        f"{what} a case, {times[0] * cases} cases",
        [1e3 * each[0] / times[0] / cases for each in rounds],
        "ms",
    )
    for at, often in enumerate(times[1 : len(works)], 1):
        ratios = [each[at] / each[0] * times[0] / often for each in rounds]
        against = f"a case among {times[0] * cases}"
        yield of_pairs(f"{what} a case among {often * cases:,}", ratios, "x", against, at_most=SCATTER)


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    times, flown = ((1, 2), FLOWN[:1]) if asked.quick else (TIMES, FLOWN)
    catalogue = load_catalogue()
    with tempfile.TemporaryDirectory() as name:
        scratch = Path(name)
        loads = [loading(catalogue, often, scratch) for often in times]
        yield from compared("loading and validating", len(catalogue.cases), times, loads, asked.repeats)
        flights = [flying(catalogue, flown, often, scratch) for often in times[: 1 if asked.quick else None]]
        yield from compared("planning, flying, judging, recording", len(flown), times, flights, asked.repeats)


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 5))
