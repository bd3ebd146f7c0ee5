"""``leverproof bundle``: a record as one file, to be handed on."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.run import check_place
from leverproof.cli.screen import say, write_bytes


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("record", metavar="RECORD", type=Path, help="the folder that a run left")
    parser.add_argument("--out", metavar="FILE", type=Path, required=True, help="the bundle, such as FILE.zip")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Writes the bundle; 0 when the record is whole and as it was written."""
    import hashlib

    from leverproof.record.bundle import bundle_of

    check_place("out", options.out, options.record)
    content = bundle_of(options.record)
    write_bytes(options.out, content)
    say(f"{options.out}: {len(content):,} bytes, SHA-256 {hashlib.sha256(content).hexdigest()}\n")
    return 0
