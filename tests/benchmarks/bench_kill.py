"""A campaign killed with SIGKILL at ten moments drawn uniformly over it, three of them in a half-written line.

    python tests/benchmarks/bench_kill.py [--cases 2000] [--repeats 1]

The kills are those of ``tests/integration/test_campaign_kill.py``, on more cases: what was finished and is lost, what
was flown for nothing, and whether the results are those of a campaign that nobody disturbed. Counts, no times; another
seed each round.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from measurement import Row, command

from leverproof.campaign import store

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "integration"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "models"))
import campaign_plans
from test_campaign_kill import COMMAND, JOBS, STUDY, ended_flights, killed, started, words

KILLS, TORN = 10, 3
TOP = 12_000.0


def disturbed(folder: Path, cases: int, seed: int) -> tuple[int, float, bool]:
    """Finished cases lost; the largest part of a block for each worker flown for nothing by one kill; whether the
    results are unlike those of an undisturbed campaign."""
    heights = f"{{ from = '0 ft', to = '{TOP - TOP / cases:g} ft', step = '{TOP / cases:g} ft' }}"
    plan = campaign_plans.write_plan(
        folder / "p", heights=heights, options={"log": str(folder), "pause": 0.002}
    )
    draw = random.Random(seed)
    moments = sorted(draw.uniform(1.0, cases - 1.0) for _ in range(KILLS))
    torn = set(draw.sample(range(KILLS), TORN))
    out = folder / "out"
    there: set[int] = set()
    lost, before, most = 0, 0, 0.0
    for index, moment in enumerate(moments):
        killed(plan, out, round(moment), index in torn)
        flights, now = ended_flights(folder), store.finished(out)
        lost += len(there - now)
        # A block is at most half of what falls to each worker.
        block = -(-(cases - len(there)) // (2 * JOBS))
        most = max(most, (flights - before - len(now - there) - STUDY) / (JOBS * block))
        there, before = set(now), flights
    undisturbed = folder / "undisturbed"
    for end in (out, undisturbed):
        ended = started(COMMAND, *words(plan, end))
        if ended.returncode != 0:
            raise RuntimeError(ended.stderr.decode("utf-8", "replace"))
    return lost, most, store.digest(out) != store.digest(undisturbed)


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    cases = 60 if asked.quick else asked.cases
    found = []
    for seed in range(asked.repeats):
        with tempfile.TemporaryDirectory() as scratch:
            found.append(disturbed(Path(scratch), cases, seed))
    what = f"campaign of {cases:,} cases killed {KILLS} times, {TORN} of them in a half-written line"
    lost, most, unlike = zip(*found, strict=True)
    note = f"worst of {asked.repeats}" if asked.repeats > 1 else ""
    yield Row(f"{what}: finished and lost", float(max(lost)), "cases", clock="", at_most=0.0, note=note)
    unit = "blocks a worker"
    yield Row(f"{what}: flown for nothing by one kill", max(most), unit, clock="", at_most=1.0, note=note)
    unlike_all = float(sum(unlike))
    beside = "an undisturbed campaign"
    yield Row(f"{what}: result sets unlike", unlike_all, "", beside, clock="", at_most=0.0)


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--cases", type=int, default=2_000)


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 1, options))
