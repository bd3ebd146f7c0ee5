"""A flight-test card as text, to read on a screen or to print."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from tabulate import tabulate

from leverproof import CAUTION
from leverproof.conduct.card import Card
from leverproof.report.card_table import blank_table
from leverproof.report.card_words import Section, heading, sections
from leverproof.report.wording import fill, visible


def render(card: Card, *, width: int = 90) -> str:
    """The card, text of about ``width`` columns; only the table to fill in may be wider."""
    title, *under = heading(card)
    out = [visible(title), "=" * len(visible(title)), *(fill(line, width) for line in under)]
    for section in sections(card):
        out += _section(section, width)
    table = blank_table(card)
    if table is not None:
        out += ["", "Table to fill in", ""]
        wrapped = [["\n".join(textwrap.wrap(cell, 12)) for cell in row] for row in table]
        out.append(tabulate(wrapped[1:], wrapped[0], tablefmt="grid", disable_numparse=True))
    out += ["", fill(f"Caution: {card.case.caution} {CAUTION}", width)]
    return "\n".join(out) + "\n"


def _section(section: Section, width: int) -> Iterator[str]:
    yield ""
    yield section.title
    for index, line in enumerate(section.lines, start=1):
        mark = f"{index:2}. " if section.numbered else "  - "
        yield fill(line, width, indent=mark, hang="    ")
