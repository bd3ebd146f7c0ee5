"""``leverproof campaign``: models x sheets x cases x surroundings x coefficients, flown in blocks; merging shards."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof.cli.progress import ProgressLine
from leverproof.cli.screen import problem_words, say, width, write_file

if TYPE_CHECKING:
    from leverproof.campaign.cluster import Cluster
    from leverproof.campaign.conducting import Tally
    from leverproof.campaign.expand import Shard
    from leverproof.campaign.flying import Flyer
    from leverproof.campaign.local import Workers
    from leverproof.campaign.summary import Fold

FOLDER = "leverproof-campaign"
MERGE = "merge"
_REPORTS = ("html", "markdown", "json")
_CALLED = {"html": "one page for a browser", "markdown": "Markdown", "json": "one JSON object"}


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.usage = "leverproof campaign PLAN.toml [options]\n       leverproof campaign merge DIR... --out DIR"
    parser.add_argument("what", metavar="PLAN.toml", help="the plan; or the word 'merge', before folders of its shards")
    parser.add_argument(
        "folders", metavar="DIR", nargs="*", default=[], type=Path, help="with merge: the folders of the shards"
    )
    parser.add_argument("--jobs", metavar="N", type=int, help="processes at once (default: one for each processor)")
    parser.add_argument("--shard", metavar="I/N", help="only part I of N, for several machines; merge them later")
    parser.add_argument("--cluster", metavar="ADDRESS", help="fly on the workers of this dask scheduler")
    parser.add_argument(
        "--out", metavar="DIR", type=Path, help=f"the results, taken up again when there (default: {FOLDER}/)"
    )
    parser.add_argument(
        "--errors-again", action="store_true", help="fly again what ended in an error there, such as a missed deadline"
    )
    for kind in _REPORTS:
        parser.add_argument(f"--{kind}", metavar="FILE", type=Path, help=f"also write the summary as {_CALLED[kind]}")
    parser.add_argument(
        "--parquet", metavar="DIR", type=Path, help="also write the results as Parquet partitions, by model and sheet"
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
    from leverproof.campaign.conducting import Counting, exit_code, fly_campaign
    from leverproof.campaign.flying import Flyer
    from leverproof.campaign.plan_file import load_plan
    from leverproof.campaign.summary import Fold
    from leverproof.cli.endings import ended_in_order
    from leverproof.errors import UsageError

    if options.cluster is not None and options.jobs is not None:
        raise UsageError("a cluster has workers of its own", "--jobs", "leave this out, or --cluster")
    shard, jobs = _shard(options.shard), _jobs(options.jobs)
    out: Path = options.out or Path(FOLDER)
    _check_places(options, out)
    with ExitStack() as stack:
        stack.enter_context(ended_in_order())
        workers = None if options.cluster is not None else stack.enter_context(_started(jobs))
        loaded = load_plan(options.what)
        for problem in loaded.problems:
            print(problem_words(problem), file=sys.stderr)
        flying = _flying(stack, workers, options.cluster, Flyer(loaded.plan))
        progress = stack.enter_context(ProgressLine(unit="cases"))
        fold = Fold()
        counting = Counting(fold.add)
        flown = fly_campaign(
            loaded.plan,
            out,
            flying.run,
            shard=shard,
            jobs=flying.jobs,
            progress=progress,
            counting=counting,
            errors_again=options.errors_again,
        )
    counted = _recounted(options, out) if flown.interrupted else _summarised(options, out, fold, counting.tally())
    if flown.interrupted:
        print(
            f"interrupted: {flown.done:,} of {flown.items:,} cases are kept in {out}/; to fly the rest:\n"
            f"  {shlex.join(word for word in options.words if word != '--errors-again')}",
            file=sys.stderr,
        )
    return exit_code(flown, counted, problems=bool(loaded.problems))


def _started(jobs: int) -> Workers:
    """Processes that come up while the plan is read."""
    from leverproof.campaign.local import Workers

    workers = Workers(None, jobs)
    workers.start()
    return workers


def _flying(stack: ExitStack, workers: Workers | None, cluster: str | None, fly: Flyer) -> Cluster | Workers:
    """What flies the blocks: processes here, or the workers of a cluster."""
    if workers is not None:
        workers.fly = fly
        return workers
    from leverproof.campaign.cluster import Cluster

    return stack.enter_context(Cluster(fly, cluster or ""))


def _merged(options: argparse.Namespace) -> int:
    from leverproof.campaign.merge import merge
    from leverproof.errors import UsageError

    for name in ("jobs", "shard", "cluster"):
        if getattr(options, name) is not None:
            raise UsageError("merging flies nothing", f"--{name}", "leave this out")
    if options.errors_again:
        raise UsageError("merging flies nothing", "--errors-again", "leave this out")
    if options.out is None or not options.folders:
        raise UsageError(
            "merging needs folders to read and one to write", MERGE, "leverproof campaign merge DIR... --out DIR"
        )
    _check_places(options, options.out)
    merged = merge(options.folders, options.out)
    counted = _recounted(options, options.out)
    missing = merged.planned - merged.items
    if missing:
        print(
            f"incomplete: {missing:,} of {merged.planned:,} cases are in none of these folders; to fly them:\n"
            f"  leverproof campaign PLAN.toml --out {shlex.quote(str(options.out))}",
            file=sys.stderr,
        )
    return counted.exit_code or int(bool(missing))


def _check_places(options: argparse.Namespace, out: Path) -> None:
    from leverproof.cli.run import check_place

    for kind in _REPORTS:
        path = getattr(options, kind)
        if path is not None:
            check_place(kind, path, out)
    if options.parquet is not None:
        from leverproof.campaign import parquet

        parquet.check(options.parquet, out)


def _recounted(options: argparse.Namespace, out: Path) -> Tally:
    """:func:`_summarised` of what is in the folder, whoever wrote it."""
    from leverproof.campaign.conducting import tally
    from leverproof.campaign.summary import Fold

    fold = Fold()
    return _summarised(options, out, fold, tally(out, fold.add))


def _summarised(options: argparse.Namespace, out: Path, fold: Fold, counted: Tally) -> Tally:
    """Says what the results come to, and writes it where it is asked for."""
    from leverproof.campaign import store
    from leverproof.report import campaign_json, campaign_page, campaign_text

    told = store.manifest(out) or {}
    title, plan = (str(told.get(key, "")) for key in ("title", "plan"))
    found = fold.summary(title=title, plan=plan, notes=tuple(counted.remarks))
    say(campaign_text.render(found, width=width()))
    say(f"results: {out}/, sha256 {counted.digest}\n")
    rendered = {"html": campaign_page.render, "markdown": campaign_text.markdown, "json": campaign_json.render}
    for kind in _REPORTS:
        path = getattr(options, kind)
        if path is not None:
            write_file(path, rendered[kind](found))
    if options.parquet is not None:
        from leverproof.campaign import parquet

        parquet.write(out, options.parquet)
    return counted


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
    here = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return asked or here or 1
