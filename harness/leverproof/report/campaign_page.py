"""The summary of a campaign as one HTML file that needs nothing else: no script, nothing fetched, every text escaped.
It looks like the test guide, with whose parts it is made."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from leverproof import CAUTION
from leverproof.campaign.shares import REQUIRED, Share
from leverproof.campaign.summary import Summary
from leverproof.campaign.surfaces import Surface
from leverproof.judge.model import VERDICTS
from leverproof.report.campaign_plot import heat_map, interval_drawing, shades_key
from leverproof.report.campaign_tables import (
    Curves,
    Table,
    chart_table,
    charts,
    curve_name,
    curve_table,
    curves,
    draws_table,
    grouped,
    sensitivity_table,
    share_table,
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
from leverproof.report.html.drawing import Line, chart, key
from leverproof.report.html.glyphs import glyph
from leverproof.report.html.markup import Child, Markup, element, number_cell, number_head, table
from leverproof.report.html.still_page import still_page
from leverproof.report.wording import count

FIGURES, OPEN, LINES = 24, 4, 60
"""Figures of a kind on the page, those of them that are not folded away, and lines of a long table."""


def render(found: Summary) -> str:
    """The page as text."""
    main = [_shares(found), _margins(found), _surfaces(found), _sensitivity(found), _troubles(found)]
    made = f"from the results alone. {CAUTION}"
    return still_page(title(found), _header(found), SECTIONS, main, made=made, style=("campaign_page.css",))


def _header(found: Summary) -> Markup:
    return element(
        "header",
        element("p", "; ".join(list(head(found))[:2]), class_="kicker"),
        element("h1", title(found)),
        element("p", headline(found), class_="headline"),
        element("p", CAUTION, class_="caution"),
        element("ul", [element("li", line) for line in (*found.notes, *found.left_out)])
        if found.notes or found.left_out
        else None,
    )


def _section(name: str, *inside: Child) -> Markup:
    return element("section", element("h2", SECTIONS[name]), inside, id=name)


def _told(one: Table, extra: Sequence[Markup] = (), heading: str = "") -> Markup:
    """A table of texts; ``extra`` is a column of drawings under ``heading``; only the first lines of a long one."""
    heads: list[Child] = [number_head(h) if i in one.numbers else h for i, h in enumerate(one.heads)]
    rows: list[list[Child]] = [
        [number_cell(c) if i in one.numbers else c for i, c in enumerate(row)] for row in one.rows[:LINES]
    ]
    if extra:
        heads.append(heading)
        for row, drawn in zip(rows, extra, strict=False):
            row.append(element("td", drawn))
    cut = len(one.rows) > LINES
    caption = f"{one.caption} (the first {LINES} of {len(one.rows):,})" if cut else one.caption
    return table(heads, rows, caption=caption, class_="kept")


def _shares(found: Summary) -> Markup:
    out: list[Child] = [element("p", COUNTED), element("p", INTERVAL)]
    for kind, groups in grouped(found):
        made = _with_intervals(share_table(kind, groups), [group.share for group in groups])
        folded = element("details", element("summary", f"By case: {count(len(groups), 'case')}"), made)
        out.append(folded if kind == "case" and len(groups) > 2 * OPEN else made)
    if found.draws:
        out += [element("p", DRAWS), _with_intervals(draws_table(found), [d.share for d in found.draws])]
    return _section("shares", out)


def _with_intervals(one: Table, shares: Sequence[Share]) -> Markup:
    return _told(one, [interval_drawing(told) for told in shares], "0 to 100 %")


def _margins(found: Summary) -> Markup:
    made: dict[str, list[Markup]] = {}
    for standing, one in worst_tables(found):
        made.setdefault(standing, []).append(_worst(one))
    open_ = made.pop(REQUIRED, [])
    folded = [
        element("details", element("summary", f"{standing.replace('_', '-').capitalize()} outcomes"), tables)
        for standing, tables in made.items()
    ]
    return _section("margins", element("p", MARGIN if open_ or folded else "Nothing was judged."), open_, folded)


def _worst(one: Table) -> Markup:
    verdict, margin = one.heads.index("verdict"), one.heads.index("margin")
    rows: list[list[Child]] = []
    for row in one.rows:
        cells: list[Child] = [number_cell(c) if i in one.numbers else c for i, c in enumerate(row)]
        shown = row[verdict]
        cells[verdict] = element("td", glyph(shown) if shown in VERDICTS else None, shown)
        beyond = not row[margin].startswith("+")
        cells[margin] = element("td", row[margin], class_="n beyond-it" if beyond else "n")
        rows.append(cells)
    heads: list[Child] = [number_head(h) if i in one.numbers else h for i, h in enumerate(one.heads)]
    return table(heads, rows, caption=one.caption, class_="kept")


def _surfaces(found: Summary) -> Markup:
    over, single = charts(found), curves(found)
    first = [*map(_heat, over[:OPEN]), *map(_curves, single[:OPEN])]
    rest = [*map(_heat, over[OPEN:FIGURES]), *map(_curves, single[OPEN:FIGURES])]
    if not first:
        return _section("surfaces", element("p", "Nothing was found at two altitudes."))
    more = len(over) + len(single) - len(first) - len(rest)
    return _section(
        "surfaces",
        element("p", CELLS),
        first,
        element("details", element("summary", count(len(rest), "further figure")), rest) if rest else None,
        element("p", f"{count(more, 'more is', 'more are')} in the JSON report.") if more else None,
    )


def _heat(surface: Surface) -> Markup:
    numbers = chart_table(surface)
    return element(
        "figure",
        element("figcaption", numbers.caption),
        element("div", heat_map(surface), class_="scroll", tabindex="0", role="region", aria_label=numbers.caption),
        shades_key(surface),
        element("details", element("summary", "The numbers as a table"), _told(numbers)),
    )


def _curves(figure: Curves) -> Markup:
    numbers = curve_table(figure)
    lines = [
        Line(
            curve_name(surface, figure),
            np.array([surface.altitudes[cell.altitude] for cell in surface.cells]),
            np.array([cell.mean for cell in surface.cells]),
            index,
        )
        for index, surface in enumerate(figure.curves)
    ]
    return element(
        "figure",
        element("figcaption", numbers.caption),
        chart(figure.what, figure.unit, lines, against="pressure altitude, ft"),
        key(lines) if len(lines) > 1 else None,
        element("details", element("summary", "The numbers as a table"), _told(numbers)),
    )


def _sensitivity(found: Summary) -> Markup:
    if not found.sensitivities:
        return _section("sensitivity", element("p", "No coefficients were sampled, or too few samples."))
    return _section("sensitivity", element("p", RANKS), _told(sensitivity_table(found, len(found.sensitivities))))


def _troubles(found: Summary) -> Markup:
    if not found.troubles:
        return _section("troubles", element("p", "Everything that was flown could be judged."))
    return _section("troubles", _told(trouble_table(found)))
