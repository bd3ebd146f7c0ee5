"""``leverproof campaign``: models x sheets x cases x surroundings x coefficients, flown in blocks; merging shards."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof.cli.progress import ProgressLine
from leverproof.cli.screen import problem_words, say

if TYPE_CHECKING:
    from leverproof.campaign.conducting import Execute, Tally
    from leverproof.campaign.expand import Shard
    from leverproof.campaign.flying import Flyer

FOLDER = "leverproof-campaign"
MERGE = "merge"


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.usage = "leverproof campaign PLAN.toml [options]\n       leverproof campaign merge DIR... --out DIR"
    parser.add_argument("what", metavar="PLAN.toml", help="the plan; or the word 'merge', before folders of its shards")
    parser.add_argument("folders", metavar="DIR", nargs="*", type=Path, help="with merge: the folders of the shards")
    parser.add_argument("--jobs", metavar="N", type=int, help="processes at once (default: one for each processor)")
    parser.add_argument("--shard", metavar="I/N", help="only part I of N, for several machines; merge them later")
    parser.add_argument("--cluster", metavar="ADDRESS", help="fly on the workers of this dask scheduler")
    parser.add_argument(
        "--out", metavar="DIR", type=Path, help=f"the results, taken up again when there (default: {FOLDER}/)"
    )
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Flies what is left of the plan, or merges; ends with the summary."""
    from leverproof.errors import UsageError

    if options.what == MERGE:
        return _merged(options)
    if options.folders:
        raise UsageError(
            "a plan is flown by itself",
            str(options.folders[0]),
            "to merge folders write: leverproof campaign merge DIR...",
        )
    return _flown(options)


def _flown(options: argparse.Namespace) -> int:
    from leverproof.campaign.conducting import Flown, exit_code, fly_campaign, tally
    from leverproof.campaign.flying import Flyer
    from leverproof.campaign.plan_file import load_plan

    shard, jobs = _shard(options.shard), _jobs(options.jobs)
    out: Path = options.out or Path(FOLDER)
    loaded = load_plan(options.what)
    for problem in loaded.problems:
        print(problem_words(problem), file=sys.stderr)
    with ProgressLine() as progress, _Executor(options.cluster, Flyer(loaded.plan), jobs) as execute:
        flown: Flown = fly_campaign(loaded.plan, out, execute, shard=shard, jobs=jobs, progress=progress)
    counted = tally(out)
    say(_summary(out, counted))
    code = exit_code(flown, counted, problems=bool(loaded.problems))
    if flown.interrupted:
        print(
            f"interrupted: {flown.done:,} of {flown.items:,} items are kept in {out}/; to fly the rest:\n"
            f"  {shlex.join(options.words)}",
            file=sys.stderr,
        )
    return code


def _merged(options: argparse.Namespace) -> int:
    from leverproof.campaign.conducting import tally
    from leverproof.campaign.merge import merge
    from leverproof.errors import UsageError

    for name in ("jobs", "shard", "cluster"):
        if getattr(options, name) is not None:
            raise UsageError("merging flies nothing", f"--{name}", "leave this out")
    if options.out is None or not options.folders:
        raise UsageError(
            "merging needs folders to read and one to write", MERGE, "leverproof campaign merge DIR... --out DIR"
        )
    merged = merge(options.folders, options.out)
    counted = tally(options.out)
    say(_summary(options.out, counted))
    missing = merged.planned - merged.items
    if missing:
        print(f"incomplete: {missing:,} of {merged.planned:,} items are in none of these folders", file=sys.stderr)
    return counted.exit_code or int(bool(missing))


def _summary(folder: Path, counted: Tally) -> str:
    """What the results come to, as text."""
    from leverproof.campaign import store

    lines = [f"{counted.items:,} items in {folder}/"]
    for kind in ("required", "advisory", "self_referential"):
        told = getattr(counted, kind)
        lines += [f"{kind.replace('_', '-'):16} {verdict:17} {number:>9,}" for verdict, number in sorted(told.items())]
    lines += [f"note: {words}" for words in store.notes(folder)]
    lines.append(f"results: sha256 {counted.digest}")
    return "\n".join(lines) + "\n"


def _shard(text: str | None) -> Shard:
    from leverproof.campaign.expand import Shard
    from leverproof.errors import UsageError

    if text is None:
        return Shard()
    number, slash, of = text.partition("/")
    good = bool(slash) and all(part.isascii() and part.isdigit() and len(part) < 7 for part in (number, of))
    if not good or not 1 <= int(number) <= int(of):
        raise UsageError(f"{text!r} is no part of a whole", "--shard", "write for example --shard 2/5", "shard")
    return Shard(int(number), int(of))


def _jobs(asked: int | None) -> int:
    from leverproof.errors import UsageError

    if asked is not None and not 1 <= asked <= 1024:
        raise UsageError(f"{asked} processes cannot be started", "--jobs", "give 1, 2, 3, ... up to 1024", "jobs")
    return asked or len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else asked or os.cpu_count() or 1


class _Executor:
    """What flies the blocks: processes here, or the workers of a cluster."""

    def __init__(self, cluster: str | None, fly: Flyer, jobs: int) -> None:
        from leverproof.campaign.local import Workers

        self._local = Workers(fly, jobs)

    def __enter__(self) -> Execute:
        return self._local.run

    def __exit__(self, *_: object) -> None:
        self._local.__exit__()
