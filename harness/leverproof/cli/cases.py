"""``leverproof cases``: lists the reference cases, shows one on a page, begins and checks a user's own."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path

from leverproof.cli.screen import problem_words, say, width, write_new


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--cases", metavar="DIR", action="append", default=[], help="a folder of further cases")
    parser.set_defaults(do=listed)
    actions = parser.add_subparsers(title="to see, begin or check one", metavar="show | new | check")
    show = actions.add_parser("show", help="print question, procedure, tolerance, basis and source of one case")
    show.add_argument("id", metavar="ID", help="as `leverproof cases` lists it")
    show.add_argument(
        "--cases", metavar="DIR", action="append", default=argparse.SUPPRESS, help="a folder of further cases"
    )
    show.set_defaults(do=shown)
    new = actions.add_parser(
        "new", allow_abbrev=False, help="begin a case of your own from another, every key explained"
    )
    new.add_argument("--like", metavar="ID", required=True, help="the case to begin from")
    new.add_argument("--out", metavar="FILE", type=Path, required=True, help="the file that is written")
    new.add_argument("--id", metavar="ID", help="its id (default: the name of the file)")
    new.add_argument(
        "--cases", metavar="DIR", action="append", default=argparse.SUPPRESS, help="a folder of further cases"
    )
    new.set_defaults(do=begun)
    check = actions.add_parser("check", help="say what is wrong with case files, without running them")
    check.add_argument("paths", metavar="DIR|FILE", nargs="+", help="case files, and folders of them")
    check.set_defaults(do=checked)


def listed(options: argparse.Namespace) -> int:
    """One line a case: id, subject, title. 2 when a file of the user's is invalid, after listing the
    others."""
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.report.case_list import render

    catalogue = load_catalogue(options.cases)
    say(render(catalogue.cases))
    _notes(catalogue.notes())
    return _problems(catalogue.problems)


def shown(options: argparse.Namespace) -> int:
    """One case on a page."""
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.report.case_page import render

    catalogue = load_catalogue(options.cases)
    code = _problems(catalogue.problems)
    say(render(catalogue.case(options.id), width=min(width(), 100)))
    return code


def begun(options: argparse.Namespace) -> int:
    """Writes a case of the user's own."""
    from leverproof.cases.authoring import case_like
    from leverproof.cases.catalogue import load_catalogue

    catalogue = load_catalogue(options.cases)
    code = _problems(catalogue.problems)
    write_new(options.out, case_like(catalogue, options.like, options.out, new_id=options.id))
    say(f"written: {options.out}\nthen:\n  leverproof cases check {options.out}\n")
    return code


def checked(options: argparse.Namespace) -> int:
    """One line a valid case; 2 when a file is invalid."""
    from leverproof.cases.check import check_cases
    from leverproof.report.case_list import render

    found = check_cases(options.paths)
    say(render(found.cases) if found.cases else "")
    _notes(found.notes)
    return _problems(found.problems)


def _notes(notes: Iterable[str]) -> None:
    for words in notes:
        print(f"warning: {words}", file=sys.stderr)


def _problems(problems: Iterable[Exception]) -> int:
    code = 0
    for problem in problems:
        print(problem_words(problem), file=sys.stderr)
        code = 2
    return code
