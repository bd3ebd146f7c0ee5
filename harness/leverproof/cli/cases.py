"""``leverproof cases``: lists the reference cases, or shows one on a page."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable

from leverproof.cli.screen import problem_words, say, width


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("--cases", metavar="DIR", action="append", default=[], help="a folder of further cases")
    parser.set_defaults(do=listed)
    actions = parser.add_subparsers(title="to see one", metavar="show")
    show = actions.add_parser("show", help="print question, procedure, tolerance, basis and source of one case")
    show.add_argument("id", metavar="ID", help="as `leverproof cases` lists it")
    show.add_argument(
        "--cases", metavar="DIR", action="append", default=argparse.SUPPRESS, help="a folder of further cases"
    )
    show.set_defaults(do=shown)


def listed(options: argparse.Namespace) -> int:
    """One line a case: id, subject, title. 2 when a file of the user's is invalid, after listing the
    others."""
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.report.case_list import render

    catalogue = load_catalogue(options.cases)
    say(render(catalogue.cases))
    return _problems(catalogue.problems)


def shown(options: argparse.Namespace) -> int:
    """One case on a page."""
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.report.case_page import render

    catalogue = load_catalogue(options.cases)
    code = _problems(catalogue.problems)
    say(render(catalogue.case(options.id), width=min(width(), 100)))
    return code


def _problems(problems: Iterable[Exception]) -> int:
    code = 0
    for problem in problems:
        print(problem_words(problem), file=sys.stderr)
        code = 2
    return code
