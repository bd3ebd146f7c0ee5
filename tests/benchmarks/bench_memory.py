"""Peak memory of a campaign, parent and workers together, by number of equal cases.

    python tests/benchmarks/bench_memory.py [--repeats 2]

1,000 and 20,000 of the short cases of ``bench_campaign.py`` on two processes; proportional set size, ten looks a
second. Memory that grows with the cases would show as some kilobytes for each of the 19,000 more.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import short_model
import short_work
from bench_campaign import campaign
from measurement import Row, command, of_pairs, taken_in_turn

COUNTS, QUICK = (1_000, 20_000), (5, 10)
MOST = 1.1


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    few, many = QUICK if asked.quick else COUNTS
    for way in ("one_lane",) if asked.quick else ("one_lane", "laned"):
        with tempfile.TemporaryDirectory() as scratch:
            places = [short_work.folder_of(Path(scratch, str(count)), way, count) for count in (few, many)]
            each = taken_in_turn([partial(campaign, place, 2) for place in places], asked.repeats)
        lanes = "one lane" if way == "one_lane" else f"{short_model.LANES} lanes"
        what = f"peak of parent and 2 workers, {many:,} equal cases, {lanes}"
        yield of_pairs(what, [one[1].peak for one in each], "MB", clock="memory")
        against = f"{few:,} of them"
        yield of_pairs(
            what, [one[1].peak / one[0].peak for one in each], "x", against, clock="memory", at_most=MOST
        )


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 2))
