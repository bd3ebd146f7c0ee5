"""``leverproof sheet``: builds an engine sheet from answers, and checks one against itself and physics."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from leverproof.cli.answers import Lines
from leverproof.cli.screen import problem_words, say, write_new


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    actions = parser.add_subparsers(title="to begin or check one", metavar="new | check", required=True)
    new = actions.add_parser(
        "new",
        allow_abbrev=False,
        help="ask what a pilot's handbook says and write the sheet",
        description="Asks what a pilot's handbook says of an engine and writes its sheet. After each blank it says "
        "which cases no longer apply. Nothing that exists is overwritten.",
    )
    new.add_argument("--out", metavar="FILE", type=Path, help="the file that is written (default: ID.sheet.toml)")
    new.add_argument("--id", metavar="ID", help="id of the sheet (default: made of its title)")
    new.add_argument(
        "--answer",
        metavar="KEY=TEXT",
        action="append",
        default=[],
        help="answers one question; may be repeated",
    )
    new.add_argument(
        "--defaults", action="store_true", help="ask nothing: what no option answers is blank or the default"
    )
    new.add_argument("--list", action="store_true", help="list the questions, and write nothing")
    new.set_defaults(do=begun)
    check = actions.add_parser(
        "check", allow_abbrev=False, help="hold a sheet's numbers against each other and against physics"
    )
    check.add_argument("sheets", metavar="FILE", nargs="+", help="a sheet's file, or a shipped sheet's id")
    check.set_defaults(do=checked)


def begun(options: argparse.Namespace) -> int:
    """Writes the sheet and says what to do next."""
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.conduct.applicable import judged
    from leverproof.sheet.authoring.files import new_sheet, pairs
    from leverproof.sheet.authoring.questions import QUESTIONS

    if options.list:
        reach = max(len(question.key) for question in QUESTIONS)
        say("".join(f"{question.key:{reach}}  {question.words}\n" for question in QUESTIONS))
        return 0
    cases = load_catalogue().cases
    given = pairs(options.answer)
    made = new_sheet(
        given,
        Lines(silent=options.defaults),
        lambda sheet: judged(cases, sheet),
        out=options.out,
        sheet_id=options.id,
    )
    write_new(made.path, made.text)
    say(
        f"written: {made.path}\napplicable: {made.applicable} of {len(cases)} cases, on a stand that gives everything\n"
    )
    say("".join(f"note: {words}\n" for words in made.notes))
    say(f"then:\n  leverproof sheet check {made.path}\n")
    return 0


def checked(options: argparse.Namespace) -> int:
    """Every remark on every sheet; 2 when one is invalid, else 1 when one contradicts itself."""
    from leverproof.errors import LeverproofError
    from leverproof.report.sheet_remarks import render
    from leverproof.sheet.checks.every import check_sheet
    from leverproof.sheet.checks.remark import CONTRADICTION
    from leverproof.sheet.loader import load_sheet

    code = 0
    for name in options.sheets:
        try:
            remarks = check_sheet(load_sheet(name))
        except LeverproofError as problem:
            print(problem_words(problem), file=sys.stderr)
            code = 2
            continue
        say(render(remarks, name))
        if any(remark.kind == CONTRADICTION for remark in remarks):
            code = max(code, 1)
    return code
