"""``leverproof report``: renders a record again, from the record alone."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.opening import opened
from leverproof.cli.run import rendered
from leverproof.cli.screen import say, write_file


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("record", metavar="RECORD", type=Path, help="the folder that a run left, or a bundle")
    parser.add_argument(
        "--format",
        choices=("table", "json", "junit", "markdown", "html", "sarif"),
        default="table",
        help="default: table",
    )
    parser.add_argument("--out", metavar="FILE", type=Path, help="write there instead of standard output")
    parser.add_argument("--by-eye", metavar="FILE", help="also show what a reviewer has judged by eye (see: note)")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Renders; 0 whatever the record says."""
    from leverproof.report import terminal
    from leverproof.report.by_eye import read_by_eye

    record = opened(options.record)
    by_eye = read_by_eye(options.by_eye, record) if options.by_eye else ()
    if options.out is None:
        say(rendered(record, options.format, by_eye))
    else:
        table = options.format == "table"
        write_file(
            options.out, terminal.render(record, by_eye=by_eye) if table else rendered(record, options.format, by_eye)
        )
    return 0
