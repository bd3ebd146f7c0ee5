"""``leverproof coverage``: which complaints about simulated engines the reference cases were seen to catch."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.progress import ProgressLine
from leverproof.cli.run import SEED
from leverproof.cli.screen import say, width, write_file


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument(
        "--from",
        dest="kept",
        metavar="PATH",
        type=Path,
        help="fly nothing: take results kept by `kills --json`, or a folder of records of `run --defect`",
    )
    parser.add_argument("--leave", metavar="DIR", type=Path, help="leave the records of the runs there")
    parser.add_argument("--keep", metavar="FILE", type=Path, help="also keep the results, to be read with --from")
    parser.add_argument("--seed", metavar="N", type=int, default=SEED, help=f"for off-points (default: {SEED})")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also write the table as one JSON object")
    parser.add_argument("--markdown", metavar="FILE", type=Path, help="also write the table as a page")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the table; 0 when every class is covered or out of scope, 1 when one is open."""
    import json

    from leverproof.coverage import coverage, defects_elsewhere
    from leverproof.kills import fly, read, text_of
    from leverproof.report import coverage_table as table

    kept = options.kept
    flown = {"command": options.words, "shown": ProgressLine, "beside": defects_elsewhere(), "leave": options.leave}
    kills = read(kept) if kept else fly((), options.seed, **flown)
    found = coverage(kills)
    if options.keep is not None:
        write_file(options.keep, text_of(kills))
    if options.json is not None:
        write_file(options.json, json.dumps(table.document(found), indent=1, ensure_ascii=False) + "\n")
    if options.markdown is not None:
        write_file(options.markdown, table.page(found))
    say(table.render(found, width=width()))
    return table.exit_code(found)
