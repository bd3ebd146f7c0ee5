"""``leverproof discrepancies``: open findings over several records."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof.cli.opening import opened
from leverproof.cli.screen import say, width, write_file

if TYPE_CHECKING:
    from datetime import date


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument(
        "records", metavar="RECORD", type=Path, nargs="+", help="the folder that a run left, or a bundle"
    )
    parser.add_argument(
        "--closed", action="store_true", help="also those that pass in the last record that judged them"
    )
    parser.add_argument("--today", metavar="DAY", help="the day deferrals are looked at, such as 2026-12-31")
    parser.add_argument("--json", metavar="FILE", type=Path, help="also everything as one JSON object")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Prints the list; 0 whatever is on it."""
    from leverproof.cli.run import check_place
    from leverproof.report import discrepancies

    for folder in options.records if options.json is not None else ():
        check_place("json", options.json, folder)
    today = _day(options.today)
    records = [opened(path) for path in dict.fromkeys(options.records)]
    found = discrepancies.discrepancies(records, today)
    remarks = discrepancies.unfinished(records)
    say(discrepancies.render(found, len(records), closed=options.closed, remarks=remarks, width=width()))
    if options.json is not None:
        write_file(options.json, discrepancies.render_json(found, len(records), today, remarks))
    return 0


def _day(text: str | None) -> date:
    from datetime import UTC, date, datetime

    from leverproof.errors import UsageError

    if text is None:
        return datetime.now(UTC).date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{text!r} is no day", "--today", "write it as 2026-12-31", "date") from None
