"""``leverproof card``: prints a case as a card that a person flies by hand, and the table to fill in."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from leverproof.cli.screen import say, width, write_file

if TYPE_CHECKING:
    from leverproof.conduct.card import Card


def add(parser: argparse.ArgumentParser) -> None:
    """Adds what the command takes."""
    parser.add_argument("case", metavar="CASE", nargs="+", help="as `leverproof cases` lists it")
    parser.add_argument("--sheet", metavar="FILE", required=True, help="an engine sheet, or a shipped sheet's id")
    parser.add_argument("--format", choices=("text", "html"), default="text", help="default: text")
    parser.add_argument("--out", metavar="FILE", type=Path, help="write the card there instead of standard output")
    parser.add_argument("--table", metavar="FILE", type=Path, help="also write the table to fill in, as CSV")
    parser.add_argument("--torque", action="store_true", help="the cockpit has a torque gauge")
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="for off-points (1)")
    parser.add_argument("--cases", metavar="DIR", action="append", default=[], help="a folder of further cases")
    parser.set_defaults(do=do)


def do(options: argparse.Namespace) -> int:
    """Prints what can be flown and says of the rest why not; 0 when there is a card, else 2."""
    from leverproof.report import card_html, card_table

    cards = _cards(options)
    flown = [card for card in cards if not card.refused]
    for card in cards:
        if card.refused:
            print(f"{card.case.id} cannot be flown by hand: {card.refused}", file=sys.stderr)
    if not flown:
        return 2
    if options.table is not None:
        command = card_table.command_words(flown[0], str(options.table))
        write_file(options.table, card_table.template(_one(flown, options.table), command=command))
    text = card_html.render(flown) if options.format == "html" else "\n\n".join(_text(card, options) for card in flown)
    if options.out is None:
        say(text)
    else:
        write_file(options.out, text)
    return 0


def _text(card: Card, options: argparse.Namespace) -> str:
    from leverproof.report import card_text

    return card_text.render(card, width=90 if options.out is not None else min(width(), 100))


def _cards(options: argparse.Namespace) -> list[Card]:
    from leverproof.cases.catalogue import load_catalogue
    from leverproof.conduct.card import card_of
    from leverproof.errors import UsageError
    from leverproof.sheet.loader import load_sheet

    if options.seed < 0:
        raise UsageError("a seed cannot be negative", "--seed", "any whole number from 0", "range")
    sheet = load_sheet(options.sheet)
    catalogue = load_catalogue(options.cases)
    cases = [catalogue.case(name) for name in dict.fromkeys(options.case)]
    asked = ("--sheet", options.sheet, *(word for folder in options.cases for word in ("--cases", folder)))
    return [card_of(case, sheet, seed=options.seed, torque=options.torque, asked=asked) for case in cases]


def _one(cards: list[Card], path: Path) -> Card:
    """The card whose table is asked for; refused where there are several, or nothing to write down."""
    from leverproof.errors import UsageError

    if len(cards) > 1:
        raise UsageError("a table belongs to one case", f"--table {path}", "ask for one card at a time", "table")
    if not cards[0].rows:
        raise UsageError(
            f"nothing of {cards[0].case.id} can be judged from numbers written down",
            f"--table {path}",
            "fly it with a recording",
            "table",
        )
    return cards[0]
