"""``leverproof shakedown``: the conformance kit for authors of models and adapters."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.progress import ProgressLine
from leverproof.cli.run import SEED
from leverproof.cli.screen import colour, say, width, write_file


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--stand", metavar="FILE", required=True, help="how the model is mounted")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also write the result as one JSON object")
    parser.add_argument("--item", metavar="NAME", action="append", default=[], help="only this item; may be repeated")
    parser.add_argument(
        "--seed", metavar="N", type=int, default=SEED, help=f"for what is drawn at random (default: {SEED})"
    )
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the items; 0 when all that apply passed, 1 when one did not, 3 when there was no handshake."""
    import json

    from leverproof.errors import UsageError
    from leverproof.report import shakedown_table
    from leverproof.stand.shakedown.document import document_of
    from leverproof.stand.shakedown.kit import shakedown

    if options.seed < 0:
        raise UsageError("a seed cannot be negative", "--seed", "any whole number from 0", "range")
    with ProgressLine() as progress:
        found = shakedown(options.stand, items=options.item, seed=options.seed, progress=progress)
    document = document_of(found)
    say(shakedown_table.render(document, width=width(), colour=colour()))
    if options.json is not None:
        text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
        write_file(options.json, text + "\n")
    return found.exit_code
