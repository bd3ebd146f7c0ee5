"""A page without script: one file that needs nothing else and fetches nothing, in the style of the test guide."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files

from leverproof import __version__
from leverproof.report.html.glyphs import sprite
from leverproof.report.html.markup import Child, Markup, element

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def still_page(
    title: str, header: Markup, sections: Mapping[str, str], main: Child, *, made: str, style: tuple[str, ...]
) -> str:
    """The page as text. ``sections`` are ids and titles for the contents, ``made`` says what it was made from, and
    ``style`` is the path of its own style sheet below ``leverproof.report``, which comes after the guide's."""
    links = [element("li", element("a", words, href=f"#{name}")) for name, words in sections.items()]
    body = [
        sprite(),
        header,
        element("nav", element("ul", links), aria_label="Contents", class_="contents"),
        element("main", main),
        element("footer", element("p", f"Made by leverproof {__version__} {made}")),
    ]
    head = [
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        Markup('<meta name="color-scheme" content="light dark">'),
        element("title", title),
        Markup(f"<style>{_styles(style)}</style>"),
    ]
    return f"<!doctype html>\n{element('html', element('head', head), element('body', body), lang='en')}\n"


def _styles(own: tuple[str, ...]) -> str:
    report = files("leverproof.report")
    return "\n".join(report.joinpath(*path).read_text("utf-8") for path in (("html", "guide.css"), own))
