"""The summary of a campaign as text for a terminal, and as Markdown."""

from __future__ import annotations

from collections.abc import Iterator

from leverproof import CAUTION
from leverproof.campaign.summary import Summary
from leverproof.report.campaign_tables import (
    Table,
    chart_table,
    charts,
    curve_table,
    curves,
    draws_table,
    sensitivity_table,
    share_tables,
    trouble_table,
    worst_tables,
)
from leverproof.report.campaign_words import (
    CELLS,
    COUNTED,
    DRAWS,
    INTERVAL,
    MARGIN,
    RANKS,
    SECTIONS,
    head,
    headline,
    title,
)
from leverproof.report.columns import columns, markdown_rows, within
from leverproof.report.markdown import cell
from leverproof.report.wording import count, fill, visible

LARGEST = 900_000
"""Bytes of Markdown, as for one record."""
FIGURES, LINES = (4, 24), (12, 200)
"""Figures of a kind, and lines of a long table: on a terminal, in Markdown."""

Part = tuple[str, list[str], list[Table], str]
"""A section: its heading, what is said before its tables, they, and what is said after them."""


def parts(found: Summary, *, figures: int, lines: int) -> Iterator[Part]:
    """The sections that have something to say."""
    shares = [_first(table, lines) for table in share_tables(found)]
    draws = [draws_table(found)] if found.draws else []
    yield SECTIONS["shares"], [COUNTED, INTERVAL, *([DRAWS] if draws else [])], [*shares, *draws], ""
    kept = [_first(table, lines) for _, table in worst_tables(found)]
    if kept:
        yield SECTIONS["margins"], [MARGIN], kept, ""
    over, single = charts(found), curves(found)
    shown = [*map(chart_table, over[:figures]), *map(curve_table, single[:figures])]
    more = len(over) + len(single) - len(shown)
    if shown:
        rest = f"{count(more, 'further figure is', 'further figures are')} in the JSON report." if more else ""
        yield SECTIONS["surfaces"], [CELLS], shown, rest
    if found.sensitivities:
        more = max(0, len(found.sensitivities) - lines)
        rest = (
            f"{count(more, 'further correlation is', 'further correlations are')} in the JSON report." if more else ""
        )
        yield SECTIONS["sensitivity"], [RANKS], [sensitivity_table(found, lines)], rest
    if found.troubles:
        yield SECTIONS["troubles"], [], [_first(trouble_table(found), lines)], ""


def _first(table: Table, lines: int) -> Table:
    """The first rows of a table, and how many there are in all."""
    if len(table.rows) <= lines:
        return table
    return Table(
        f"{table.caption} (the first {lines} of {len(table.rows):,})",
        table.heads,
        table.rows[:lines],
        table.numbers,
    )


def render(found: Summary, *, width: int = 110) -> str:
    """The summary as text of at most about ``width`` columns."""
    out = [visible(title(found)), *(fill(line, width, indent="  ", hang="      ") for line in head(found))]
    for heading, said, tables, rest in parts(found, figures=FIGURES[0], lines=LINES[0]):
        out.append(f"\n{heading}")
        out += [fill(line, width) for line in said]
        for table in tables:
            out.append(f"\n{fill(table.caption, width)}\n\n{columns(table.heads, table.rows, width)}")
        out += [f"\n{rest}"] if rest else []
    return "\n".join([*out, "\n" + fill(headline(found), width), fill(CAUTION, width)]) + "\n"


def markdown(found: Summary, *, largest: int = LARGEST) -> str:
    """The summary as Markdown of at most ``largest`` bytes; what is too long is cut from the end, and it says so."""
    return within(_markdown(found), largest, "the JSON report holds the rest")


def _markdown(found: Summary) -> Iterator[str]:
    yield f"# {cell(title(found))}\n"
    yield f"**{cell(headline(found))}**\n"
    yield f"{CAUTION}\n"
    yield from (f"- {cell(line)}" for line in head(found))
    for heading, said, tables, rest in parts(found, figures=FIGURES[1], lines=LINES[1]):
        yield f"\n## {heading}\n"
        yield from (f"{cell(line)}\n" for line in said)
        for table in tables:
            yield f"\n### {cell(table.caption)}\n"
            yield from markdown_rows(table.heads, table.rows)
        if rest:
            yield f"\n{cell(rest)}"
