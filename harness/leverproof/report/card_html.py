"""Flight-test cards as one self-contained page to print: black and white, A4 or Letter, nothing fetched, no script."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from leverproof import CAUTION
from leverproof.conduct.card import Card
from leverproof.report.card_table import blank_table
from leverproof.report.card_words import Section, heading, sections
from leverproof.report.wording import visible

_STYLE = """
@page { margin: 14mm 12mm; }
@page wide { size: landscape; margin: 12mm 10mm; }
* { box-sizing: border-box; }
html { font: 11pt/1.4 system-ui, sans-serif; color: #000; background: #fff; }
body { max-width: 190mm; margin: 0 auto; padding: 6mm 4mm; }
h1 { font-size: 17pt; line-height: 1.2; margin: 0 0 2mm; }
h2 { font-size: 12pt; margin: 5mm 0 1mm; break-after: avoid; }
p { margin: 0 0 2mm; } ul, ol { margin: 0; padding-left: 6mm; } li { margin: 0 0 1mm; break-inside: avoid; }
.first { border: 2px solid #000; padding: 2mm 4mm 3mm; margin: 4mm 0; } .first h2 { margin-top: 0; }
.fill { overflow-x: auto; } table { border-collapse: collapse; width: 100%; font-size: 8pt; }
caption { text-align: left; font-weight: bold; font-size: 12pt; margin: 5mm 0 1mm; }
th { overflow-wrap: break-word; hyphens: auto; }
th, td { border: 1px solid #000; padding: 1mm 1.2mm; text-align: left; vertical-align: bottom; }
thead { display: table-header-group; } tr { break-inside: avoid; } tbody td { height: 9mm; }
tbody tr:first-child { border-bottom: 2px solid #000; }
.note { border-top: 1px solid #000; margin-top: 5mm; padding-top: 2mm; font-size: 9.5pt; }
article + article { break-before: page; border-top: 3px double #000; padding-top: 4mm; }
@media print {
  body { padding: 0; max-width: none; } article + article { border: 0; }
  .fill { overflow: visible; page: wide; } .fill + .note { page: wide; }
}
"""


def render(cards: Sequence[Card]) -> str:
    """One page with all cards, each beginning on a new sheet of paper. Every text is escaped."""
    title = heading(cards[0])[0] if len(cards) == 1 else f"{len(cards)} flight-test cards"
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    head = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        f"<title>{_text(title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
    )
    return head + "\n".join(_card(card) for card in cards) + "\n</main>\n</body>\n</html>\n"


def _text(words: str) -> str:
    return escape(visible(words), quote=True)


def _card(card: Card) -> str:
    title, *under = heading(card)
    body = sections(card)
    parts = ["<article>", f"<h1>{_text(title)}</h1>", *(f"<p>{_text(line)}</p>" for line in under)]
    parts += [_section(section) for section in body]
    parts += _table(card)
    parts.append(f'<p class="note">Caution: {_text(card.case.caution)} {_text(CAUTION)}</p>')
    return "\n".join([*parts, "</article>"])


def _section(section: Section) -> str:
    tag = "ol" if section.numbered else "ul"
    lines = "".join(f"<li>{_text(line)}</li>" for line in section.lines)
    first = ' class="first"' if section.boxed else ""
    return f"<section{first}>\n<h2>{_text(section.title)}</h2>\n<{tag}>{lines}</{tag}>\n</section>"


def _table(card: Card) -> Iterator[str]:
    table = blank_table(card)
    if table is None:
        return
    heads = "".join(f'<th scope="col">{_text(cell)}</th>' for cell in table[0])
    yield f'<div class="fill"><table><caption>Table to fill in</caption>\n<thead><tr>{heads}</tr></thead>\n<tbody>'
    for row in table[1:]:
        yield "<tr>" + "".join(f"<td>{_text(cell)}</td>" for cell in row) + "</tr>"
    yield "</tbody></table></div>"
