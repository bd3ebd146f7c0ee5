"""Campaign throughput: short cases on one process and two, against a bare loop and against pytest items.

    python tests/benchmarks/bench_campaign.py [--cases 10000] [--repeats 3]

The case (``short_work.py``) has 590 steps of a light Python engine, some 0.7 ms on a machine at rest, at so many
combinations of height, temperature and airspeed. Everything runs in processes of its own, in turn, from the start of
the command to its end. *By hand* are plain parametrised pytest items that drive the same model and assert the
same difference of means: no trim, no doubt, no record. *Through the harness* are items that plan, fly and
judge each its own case: the same work, and the aim stands beside them. Where the engine has lanes an item on its own
can only give it one.

Wall time is what counts where two processes get their processors to themselves, which is tried first; elsewhere the
processor time along the longest path (the first process and the busiest of those it started) is judged instead, and
the row says so.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

import short_model
import short_work
from bench_start import PROGRAM
from measurement import Row, command, of_pairs, taken_in_turn
from watched import Watched, quiet, watched

TWO, ITEMS, ITEMS_LANED, SCATTER = 1.5, 3.0, 15.0, 1.25
FEW = 4
"""So many times fewer pytest items where each costs several milliseconds; their cost is then taken a case."""
LOOP = """\
import short_model, short_work
lever = short_work.lever()
for point in short_work.points({count}):
    short_work.check(short_work.flown(short_model.{way}, *point, lever))
"""


def campaign(folder: Path, jobs: int) -> Watched:
    """The whole command, into a folder that does not exist yet."""
    out = folder / "results"
    shutil.rmtree(out, ignore_errors=True)
    return watched([*PROGRAM, "campaign", "plan.toml", "--jobs", str(jobs), "--out", str(out)], folder)


def pytest_items(folder: Path, name: str, text: str, way: str, whole: int, count: int) -> Watched:
    """The first ``count`` of all the cases."""
    words = short_work.pytest_words(folder, name, text.format(way=way, whole=whole, count=count))
    return watched(words, folder, short_work.plain_environment())


def bare_loop(folder: Path, way: str, count: int) -> Watched:
    words = [sys.executable, "-c", LOOP.format(way=way, count=count)]
    return watched(words, folder, short_work.plain_environment())


def both_clocks(
    what: str,
    against: str,
    pairs: Sequence[tuple[Watched, Watched]],
    scale: float,
    least: float | None,
    crowded: bool,
) -> Iterator[Row]:
    """How many times as fast, by either clock, a case; ``scale`` times as many cases on the second side. The aim is on
    the clock that can show it."""
    for clock, judged in (("wall", not crowded), ("path", crowded)):
        ratios = [getattr(other, clock) / getattr(one, clock) / scale for one, other in pairs]
        said = "processor, longest path" if clock == "path" else clock
        yield of_pairs(what, ratios, "x", against, clock=said, at_least=least if judged else None)


def one_lane_rows(folder: Path, count: int, rounds: int) -> Iterator[Row]:
    place = short_work.folder_of(folder / "one_lane", "one_lane", count)
    crowded = not quiet()
    few = max(1, count // FEW) if count > short_work.HEIGHTS else count
    each = taken_in_turn(
        [
            partial(campaign, place, 1), partial(campaign, place, 2), partial(bare_loop, place, "one_lane", count),
            partial(pytest_items, place, "by_hand", short_work.BY_HAND, "one_lane", count, count),
            partial(pytest_items, place, "harness", short_work.THROUGH_HARNESS, "one_lane", count, few),
        ],
        rounds,
    )  # fmt: skip
    what = f"campaign of {count:,} short cases, one lane"
    for jobs, words in ((0, "1 process"), (1, "2 processes")):
        a_case = [1e3 * one[jobs].wall / count for one in each]
        yield of_pairs(f"{what}, {words}, a case", a_case, "ms", clock="wall")
    loops = [one[0].processor / one[2].processor for one in each]
    yield of_pairs(f"{what}, 1 process, all it costs", loops, "x", "bare loop over the same cases")
    for at, beside, scale, least in (
        (0, "1 process", 1.0, TWO),
        (3, "plain pytest items by hand, which do less", 1.0, None),
        (4, "plain pytest items of the same work, through the harness", few / count, ITEMS),
    ):
        pairs = [(one[1], one[at]) for one in each]
        yield from both_clocks(f"{what}, 2 processes, as fast", beside, pairs, scale, least, crowded)


def laned_rows(folder: Path, count: int, rounds: int) -> Iterator[Row]:
    place = short_work.folder_of(folder / "laned", "laned", count)
    crowded = not quiet()
    few = max(1, count // FEW) if count > short_work.HEIGHTS else count
    each = taken_in_turn(
        [
            partial(campaign, place, 1), partial(campaign, place, 2),
            partial(pytest_items, place, "by_hand", short_work.BY_HAND, "laned", count, few),
            partial(pytest_items, place, "harness", short_work.THROUGH_HARNESS, "laned", count, few),
        ],
        rounds,
    )  # fmt: skip
    what = f"campaign of {count:,} short cases, {short_model.LANES} lanes"
    a_case = [1e3 * one[1].wall / count for one in each]
    yield of_pairs(f"{what}, 2 processes, a case", a_case, "ms", clock="wall")
    for at, beside, scale, least in (
        (0, "1 process", 1.0, None),
        (2, "plain pytest items by hand, which do less", few / count, None),
        (3, "plain pytest items of the same work, through the harness", few / count, ITEMS_LANED),
    ):
        pairs = [(one[1], one[at]) for one in each]
        yield from both_clocks(f"{what}, 2 processes, as fast", beside, pairs, scale, least, crowded)


def scaling_rows(folder: Path, counts: Sequence[int], rounds: int) -> Iterator[Row]:
    """What a case costs among 1, 4 and 16 times as many, without the start and end that a campaign of two cases has."""
    places = [short_work.folder_of(folder / f"scale-{count}", "one_lane", count) for count in (2, *counts)]
    each = taken_in_turn([partial(campaign, place, 1) for place in places], rounds)
    yield of_pairs("campaign, its start and end", [one[0].processor for one in each], "s")
    costs = [
        [(many.processor - one[0].processor) / count for many, count in zip(one[1:], counts, strict=True)]
        for one in each
    ]
    least = f"a case among {counts[0]:,}"
    yield of_pairs(f"campaign, {least}", [1e3 * cost[0] for cost in costs], "ms")
    for at, count in enumerate(counts[1:], 1):
        ratios = [cost[at] / cost[0] for cost in costs]
        yield of_pairs(f"campaign, a case among {count:,}", ratios, "x", least, at_most=SCATTER)


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as scratch:
        # So that modules are compiled before anything is timed.
        campaign(short_work.folder_of(Path(scratch, "first"), "one_lane", 1), 1)
        yield from one_lane_rows(Path(scratch), 2 if asked.quick else asked.cases, asked.repeats)
        if asked.quick:
            return
        yield from laned_rows(Path(scratch), asked.cases, asked.repeats)
        yield from scaling_rows(Path(scratch), (1_000, 4_000, 16_000), asked.repeats)


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cases", type=int, default=10_000, help="whole thousands, or at most 100")


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 3, options))
