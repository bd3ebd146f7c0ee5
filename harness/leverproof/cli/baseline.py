"""``leverproof baseline``: accepts a run, holds a run against the accepted one, and draws what was accepted."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.screen import say, width, write_file

FOLDER = "leverproof-baseline"


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    actions = parser.add_subparsers(title="what to do", metavar="accept | check | history", required=True)
    accept = actions.add_parser(
        "accept",
        allow_abbrev=False,
        help="store a record as what the model gives from now on, with name and reason",
        description="Stores a record as the accepted run and adds a line to the log of acceptances. Refuses a record "
        "that is not whole, or that fails without a reason for accepting that.",
    )
    accept.add_argument("record", metavar="RECORD", type=Path, help="the folder that a run left, or a bundle")
    accept.add_argument("--by", metavar="NAME", required=True, help="the person who accepts it")
    accept.add_argument("--why", metavar="TEXT", required=True, help="why this run is right")
    accept.add_argument(
        "--to", metavar="DIR", type=Path, default=Path(FOLDER), help=f"the baseline (default: {FOLDER}/)"
    )
    accept.add_argument(
        "--with-failures", metavar="TEXT", default="", help="accept required findings that fail, for this reason"
    )
    accept.add_argument(
        "--fewer-cases", metavar="TEXT", default="", help="hold fewer cases than before, for this reason"
    )
    accept.add_argument(
        "--tolerances", metavar="FILE", help="a file of tolerances in place of the usual ones, each with its reason"
    )
    accept.set_defaults(do=accepted)
    check = actions.add_parser(
        "check",
        allow_abbrev=False,
        help="hold a record against the accepted run: what moved first, when, and by how much",
        description="Holds readings and histories of a record against the accepted run. Exits 0 when nothing moved "
        "out of its tolerance, 1 when something did or cannot be compared, 2 without a baseline.",
    )
    check.add_argument("record", metavar="RECORD", type=Path, help="the folder that a run left, or a bundle")
    _against(check)
    check.add_argument("--json", metavar="FILE", type=Path, help="also the answer as one JSON object")
    check.add_argument("--markdown", metavar="FILE", type=Path, help="also the answer as Markdown")
    check.add_argument("--junit", metavar="FILE", type=Path, help="also the answer as JUnit XML, one test case a case")
    check.set_defaults(do=checked)
    history = actions.add_parser(
        "history",
        allow_abbrev=False,
        help="draw every judged number and its readings over the accepted versions, and say what drifts",
        description="Tells every acceptance and what drifts over them: inside its tolerance still, and how long.",
    )
    _against(history)
    history.add_argument("--out", metavar="FILE", type=Path, help="write the page with every number drawn (HTML)")
    history.add_argument("--json", metavar="FILE", type=Path, help="also the numbers as one JSON object")
    history.set_defaults(do=told)


def _against(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--against", metavar="DIR", type=Path, default=Path(FOLDER), help=f"the baseline (default: {FOLDER}/)"
    )


def accepted(options: argparse.Namespace) -> int:
    """Accepts; 0 when it stands."""
    from leverproof.baseline.accept import Wish, accept
    from leverproof.record.bundle import open_record
    from leverproof.report.baseline_accepted import render
    from leverproof.toml_file import read_text

    tolerances = read_text(options.tolerances, what="file of tolerances") if options.tolerances else ""
    wish = Wish(
        options.by, options.why, options.with_failures, options.fewer_cases, tolerances, options.tolerances or ""
    )
    say(render(accept(open_record(options.record), options.to, wish), width=width()))
    return 0


def checked(options: argparse.Namespace) -> int:
    """Checks; 0 when the run is what was accepted, else 1."""
    from leverproof.baseline.check import check
    from leverproof.baseline.store import read_baseline
    from leverproof.cli.run import check_place
    from leverproof.record.bundle import open_record
    from leverproof.report import baseline_check, baseline_machine

    forms = {
        "json": baseline_machine.render_json,
        "markdown": baseline_check.markdown,
        "junit": baseline_machine.render_junit,
    }
    wanted = {kind: path for kind in forms if (path := getattr(options, kind)) is not None}
    for kind, path in wanted.items():
        check_place(kind, path, options.record)
        check_place(kind, path, options.against)
    kept = read_baseline(options.against)
    found = check(open_record(options.record), kept)
    say(baseline_check.render(found, width=width()))
    for kind, path in wanted.items():
        write_file(path, forms[kind](found))
    return 0 if found.passed else 1


def told(options: argparse.Namespace) -> int:
    """Draws; 0 whatever drifts."""
    from leverproof.baseline.drift import past
    from leverproof.baseline.store import read_baseline, read_versions
    from leverproof.cli.run import check_place
    from leverproof.report import baseline_history, baseline_page

    for kind in ("out", "json"):
        if getattr(options, kind) is not None:
            check_place(kind, getattr(options, kind), options.against)
    kept = read_baseline(options.against)
    found = past(kept, read_versions(kept))
    say(baseline_history.render(found, width=width()))
    if options.out is not None:
        write_file(options.out, baseline_page.render(found))
    if options.json is not None:
        write_file(options.json, baseline_history.render_json(found))
    return 0
