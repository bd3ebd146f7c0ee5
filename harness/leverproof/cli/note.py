"""``leverproof note``: adds what a reviewer has judged by eye to a file beside a record."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.screen import say, write_file


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("record", metavar="RECORD", type=Path, help="the folder that a run left, or a bundle")
    parser.add_argument("text", metavar="TEXT", help="what was looked at and seen")
    parser.add_argument("--into", metavar="FILE", type=Path, required=True, help="the file of items; made if need be")
    parser.add_argument("--by", metavar="NAME", required=True, help="who judges")
    parser.add_argument(
        "--about", metavar="WHAT", default="run", help="a case, CASE/JUDGEMENT, or run for all of it (default: run)"
    )
    parser.add_argument(
        "--says", choices=("looks_right", "looks_wrong", "remark"), default="remark", help="default: remark"
    )
    parser.add_argument("--date", metavar="DAY", help="year-month-day (default: today, UTC)")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Writes the item; 0 when it is in the file."""
    from datetime import UTC, datetime

    from leverproof.cli.run import check_place
    from leverproof.record.bundle import open_record
    from leverproof.report.by_eye import Item, with_item, words

    check_place("into", options.into, options.record)
    day = options.date or datetime.now(UTC).date().isoformat()
    item = Item(options.by, day, options.about, options.says, options.text)
    write_file(options.into, with_item(options.into, item, open_record(options.record)))
    say(f"{options.into}: {words([item])[0]}\n")
    return 0
