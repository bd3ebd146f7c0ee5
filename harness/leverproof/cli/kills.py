"""``leverproof kills``: runs the embedded engine once with each seeded defect and prints what catches
what."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.progress import ProgressLine
from leverproof.cli.run import SEED
from leverproof.cli.screen import say, width, write_file


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--defect", metavar="NAME", action="append", default=[], help="only this one; may be repeated")
    parser.add_argument("--seed", metavar="N", type=int, default=SEED, help=f"for off-points (default: {SEED})")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also keep the results for `leverproof coverage`")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the matrix; 0 when it could be made."""
    from leverproof.kills import fly, text_of
    from leverproof.report.kill_matrix import render

    found = fly(options.defect, options.seed, command=options.words, shown=ProgressLine)
    if options.json is not None:
        write_file(options.json, text_of(found))
    say(render(found.runs, width=width()))
    return 0
