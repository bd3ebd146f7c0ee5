"""``leverproof report``: renders a record again, from the record alone."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.run import rendered
from leverproof.cli.screen import say, write_file


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("record", metavar="RECORD", type=Path, help="the folder that a run left")
    parser.add_argument(
        "--format",
        choices=("table", "json", "junit", "markdown", "html", "sarif"),
        default="table",
        help="default: table",
    )
    parser.add_argument("--out", metavar="FILE", type=Path, help="write there instead of standard output")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Renders; 0 whatever the record says."""
    from leverproof.record.reader import read_record
    from leverproof.report import terminal

    record = read_record(options.record)
    if options.out is None:
        say(rendered(record, options.format))
    else:
        table = options.format == "table"
        write_file(options.out, terminal.render(record) if table else rendered(record, options.format))
    return 0
