"""``leverproof compare``: several records side by side."""

from __future__ import annotations

import argparse
from pathlib import Path

from leverproof.cli.opening import opened
from leverproof.cli.screen import say, width, write_file

_FORMATS = ("html", "text", "markdown")


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument(
        "records", metavar="RECORD", type=Path, nargs="+", help="the folder that a run left, or a bundle; two or more"
    )
    parser.add_argument("--format", choices=_FORMATS, help="default: html into a file, text on standard output")
    parser.add_argument("--out", metavar="FILE", type=Path, help="write there instead of standard output")
    parser.set_defaults(do=run)


def run(options: argparse.Namespace) -> int:
    """Compares; 0 whatever the records say."""
    from leverproof.cli.run import check_place
    from leverproof.report.comparison import page, text
    from leverproof.report.comparison.fold import compare

    for folder in options.records if options.out is not None else ():
        check_place("out", options.out, folder)
    found = compare([opened(path) for path in options.records])
    kind = options.format or ("text" if options.out is None else "html")
    if kind == "html":
        told = page.render(found)
    elif kind == "markdown":
        told = text.markdown(found)
    else:
        told = text.render(found, width=width() if options.out is None else 110)
    if options.out is None:
        say(told)
    else:
        write_file(options.out, told)
    return 0
