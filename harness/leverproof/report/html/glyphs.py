"""A shape for each verdict, so that colour never says anything alone. The word always stands beside or behind it."""

from __future__ import annotations

from leverproof.judge.model import VERDICTS
from leverproof.report.html.markup import Markup, element, joined

_SHAPES = {
    "pass": '<circle cx="8" cy="8" r="6.5" class="o"/><path d="M4.8 8.2l2.3 2.3l4.2 -4.8" class="l"/>',
    "conditional pass": '<circle cx="8" cy="8" r="6.5" class="o" stroke-dasharray="2.6 2"/>'
    '<path d="M4.8 8.2l2.3 2.3l4.2 -4.8" class="l"/>',
    "conditional fail": '<path d="M8 1l7 7l-7 7l-7 -7z" class="o"/><path d="M8 1l7 7l-7 7z" class="f"/>',
    "fail": '<path d="M1.5 1.5h13v13h-13z" class="f"/><path d="M5 5l6 6m0 -6l-6 6" class="h"/>',
    "inconclusive": '<path d="M8 1.5l7 12.5h-14z" class="o"/><path d="M4.5 11h7" class="l"/>',
    "invalid run": '<path d="M8 14.5l7 -12.5h-14z" class="o"/><path d="M8 4.5v4" class="l"/>',
    "error": '<path d="M5 1.5h6l3.5 3.5v6l-3.5 3.5h-6l-3.5 -3.5v-6z" class="f"/><path d="M8 4v5m0 1.6v1.6" class="h"/>',
    "flaky": '<path d="M1.5 11l3.2 -6l3.3 6l3.3 -6l3.2 6" class="l"/>',
    "blocked": '<path d="M1.5 1.5h13v13h-13z" class="o"/><path d="M4 8h8" class="l"/>',
    "deferred": '<path d="M3 1.5h10l-10 13h10z" class="o"/>',
    "not applicable": '<path d="M2.5 8h11" class="l"/>',
    "not run": '<circle cx="8" cy="8" r="6" class="o" stroke-dasharray="1 2.4"/>',
}


def sprite() -> Markup:
    """The shapes, once for the page."""
    symbols = [
        element("symbol", Markup(_SHAPES[verdict]), id=f"g-{verdict.replace(' ', '-')}", viewBox="0 0 16 16")
        for verdict in VERDICTS
    ]
    return element("svg", symbols, class_="sprite", aria_hidden="true", width="0", height="0")


def glyph(verdict: str) -> Markup:
    """The shape of a verdict, with its name for those who do not see it."""
    name = verdict.replace(" ", "-")
    drawn = Markup(f'<svg class="g g-{name}" aria-hidden="true"><use href="#g-{name}"></use></svg>')
    return joined([drawn, element("span", f"{verdict}: ", class_="unseen")])
