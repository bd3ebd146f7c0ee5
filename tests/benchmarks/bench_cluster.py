"""A campaign on a cluster of dask.distributed on this machine against the same on local processes.

    python tests/benchmarks/bench_cluster.py [--cases 6000] [--repeats 5]

The short one-lane cases of ``bench_campaign.py``, in blocks of 300: about a second where other work is under way, half
of that on a machine at rest. Two workers of one thread each stand ready, as those of a cluster do; the local processes
are started by their command. Wall time of whole commands, in turn, and the processor time of all that takes part,
which decides where two processes cannot have their processors to themselves. Needs the extra ``cluster``.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import short_work
from bench_campaign import campaign
from bench_start import PROGRAM
from measurement import Row, command, of_pairs, taken_in_turn
from watched import quiet, spent_below, watched

MOST = 25.0


def on_cluster(folder: Path, address: str, processors: list[float]) -> float:
    """Wall seconds of the campaign there; ``processors`` gets the seconds worked by the command and the cluster."""
    out = folder / "clustered"
    shutil.rmtree(out, ignore_errors=True)
    before = spent_below(os.getpid())
    plan = str(folder / "plan.toml")
    wall = watched([*PROGRAM, "campaign", plan, "--cluster", address, "--out", str(out)], folder).wall
    processors.append(spent_below(os.getpid()) - before)
    return wall


def locally(folder: Path, processors: list[float]) -> float:
    """The same on two local processes."""
    before = spent_below(os.getpid())
    wall = campaign(folder, 2).wall
    processors.append(spent_below(os.getpid()) - before)
    return wall


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    from distributed import LocalCluster

    count = 2 if asked.quick else asked.cases
    crowded = not quiet()
    there: list[float] = []
    here: list[float] = []
    with tempfile.TemporaryDirectory() as scratch:
        place = short_work.folder_of(Path(scratch, "work"), "one_lane", count)
        with LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, local_directory=scratch
        ) as cluster:
            sides = [
                partial(locally, place, here),
                partial(on_cluster, place, cluster.scheduler_address, there),
            ]
            taken_in_turn(sides, 1)
            del here[:], there[:]
            walls = taken_in_turn(sides, asked.repeats)
    what, beside = f"campaign of {count:,} short cases on dask, 2 workers, above", "2 local processes and their start"
    by_wall = [100.0 * (other / one - 1.0) for one, other in walls]
    worked = [100.0 * (other / one - 1.0) for one, other in zip(here, there, strict=True)]
    for clock, found, judged in (("wall", by_wall, not crowded), ("processor", worked, crowded)):
        yield of_pairs(what, found, "%", beside, clock=clock, at_most=MOST if judged else None)


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cases", type=int, default=6_000, help="whole thousands, or at most 100")


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 5, options))
