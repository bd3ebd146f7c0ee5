"""Building HTML from plain functions: a text becomes markup only by being escaped.

:class:`Markup` is text that is already safe to put into a page. Everything else that is handed to :func:`element` is
made visible (control and direction characters show as ``\\u202e``), cut where it is endless, and escaped.
"""

from __future__ import annotations

import html
import json
from collections.abc import Iterable

from leverproof.report.wording import visible

LONGEST = 2_000
_NUMBER = 24
_VOID = frozenset({"meta", "link", "br", "hr", "input", "use", "path", "rect", "circle", "line"})


class Markup(str):
    """Text that needs no escaping any more."""

    __slots__ = ()


Child = str | None | Iterable["Child"]


def escaped(text: str) -> Markup:
    """``text`` as markup that shows it and does nothing else; more than 2,000 characters are cut, and the cut is
    told."""
    if isinstance(text, Markup):
        return text
    shown = text if len(text) <= LONGEST else f"{text[:LONGEST]} ... ({len(text) - LONGEST:,} characters left out)"
    return Markup(html.escape(visible(shown), quote=True))


def joined(children: Iterable[Child], between: str = "") -> Markup:
    """The children one after another, each escaped; None is left out."""
    return Markup(Markup(html.escape(between)).join(_each(children)))


def _each(children: Iterable[Child]) -> Iterable[str]:
    for child in children:
        if child is None:
            continue
        if isinstance(child, str):
            yield escaped(child)
        else:
            yield from _each(child)


def element(tag: str, *children: Child, **attributes: str | bool | None) -> Markup:
    """``<tag ...>children</tag>``. Attribute names may end in ``_`` (``class_``), and ``_`` within becomes ``-``;
    True is an attribute without value, None and False leave it out."""
    said = []
    for name, value in attributes.items():
        if value is None or value is False:
            continue
        key = name.rstrip("_").replace("_", "-")
        said.append(f" {key}" if value is True else f' {key}="{escaped(str(value))}"')
    opened = f"<{tag}{''.join(said)}>"
    if tag in _VOID:
        return Markup(opened)
    return Markup(f"{opened}{joined(children)}</{tag}>")


def data_script(identifier: str, data: object) -> Markup:
    """Plain data for the page's own script, as JSON in an element that no browser executes. Nothing in it can end
    that element, whatever it holds."""
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    safe = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup(f'<script type="application/json" id="{escaped(identifier)}">{safe}</script>')


def table(
    heads: Iterable[Child],
    rows: Iterable[Iterable[Child]],
    *,
    caption: str,
    class_: str = "",
    first: bool = True,
) -> Markup:
    """A table with a caption and column heads; with ``first`` the first cell of each row is its head. A cell that is
    markup of its own ``td`` or ``th`` is taken as it is."""
    body = []
    for row in rows:
        cells = [_cell(cell, head=first and index == 0) for index, cell in enumerate(row)]
        body.append(element("tr", cells))
    head = element("thead", element("tr", [_cell(h, head=True, scope="col") for h in heads]))
    drawn = element("table", element("caption", caption), head, element("tbody", body), class_=class_ or None)
    return element("div", drawn, class_="scroll", tabindex="0", role="region", aria_label=caption)


def _cell(cell: Child, *, head: bool, scope: str = "row") -> Markup:
    if isinstance(cell, Markup) and cell.startswith(("<td", "<th")):
        return cell
    return element("th", cell, scope=scope) if head else element("td", cell)


def number_cell(text: str) -> Markup:
    """A cell whose digits stand under one another."""
    return element("td", text, class_="n")


def value_cell(text: str) -> Markup:
    """A cell for what was found or expected: a number stands right, its details below it; words stand left."""
    number, bracket, detail = text.partition(" (")
    if not _is_number(number):
        return element("td", text)
    below = element("div", f"({detail}", class_="sub") if bracket else None
    return element("td", number, below, class_="n")


def _is_number(text: str) -> bool:
    return bool(text) and text[0] in "-+0123456789" and len(text) <= _NUMBER


def value_head(text: str, cells: Iterable[str]) -> Markup:
    """The head of a column of :func:`value_cell`: over numbers it stands right as they do, over words left."""
    numbers = [_is_number(cell.partition(" (")[0]) for cell in cells]
    return number_head(text) if 2 * sum(numbers) > len(numbers) else element("th", text, scope="col")


def number_head(text: str) -> Markup:
    """The head of a column of numbers."""
    return element("th", text, class_="n", scope="col")
