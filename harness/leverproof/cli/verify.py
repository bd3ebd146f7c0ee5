"""``leverproof verify``: checks a bundle or a record, and judges every finding again from its histories."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.screen import say, width


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("file", metavar="FILE", type=Path, help="a bundle, or the folder of a record")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the answer; 0 when all agrees, 1 when something does not."""
    from leverproof.report import verified
    from leverproof.verify import verify

    found = verify(options.file)
    say(verified.render(found, width=width()))
    return 1 if found.objections else 0
