"""Drawings of a campaign as static SVG: a surface as a heat map that shows its numbers, and a share with its interval.

Shades of one hue, from light to dark (the other way round on a dark page), so that they stay in order for every eye and
in black and white; the number stands in each cell, and what does not pass has a frame and a mark of its own."""

from __future__ import annotations

from leverproof.campaign.shares import Share
from leverproof.campaign.surfaces import Mean, Surface
from leverproof.judge.words import number
from leverproof.report.campaign_tables import cell_words
from leverproof.report.campaign_words import surface_title
from leverproof.report.html.markup import Markup, element, escaped, joined

SHADES = 7
_WIDE, _TALL, _LEFT, _TOP, _BOTTOM, _RIGHT = 96, 48, 96, 26, 44, 10
_LIGHTER_TEXT_FROM = 4
_SWATCH = 30


def heat_map(surface: Surface) -> Markup:
    """A surface: engine speeds across, altitudes upward, the mean of each cell in it."""
    columns, rows = len(surface.speeds), len(surface.altitudes)
    width, height = _LEFT + _WIDE * columns + _RIGHT, _TOP + _TALL * rows + _BOTTOM
    places = {(cell.altitude, cell.speed): cell for cell in surface.cells}
    low, high = min(c.mean for c in surface.cells), max(c.mean for c in surface.cells)
    parts = [_axis_text("pressure altitude, ft", 4, 14, "start")]
    for up, altitude in enumerate(surface.altitudes):
        y = _TOP + _TALL * (rows - 1 - up)
        parts.append(_axis_text(number(altitude), _LEFT - 8, y + _TALL / 2 + 4, "end"))
        for across in range(columns):
            parts.append(_cell(places.get((up, across)), _LEFT + _WIDE * across, y, low, high))
    base = _TOP + _TALL * rows
    for across, speed in enumerate(surface.speeds):
        parts.append(_axis_text(number(speed), _LEFT + _WIDE * (across + 0.5), base + 16, "middle"))
    parts.append(_axis_text("engine speed, rpm", _LEFT + _WIDE * columns / 2, base + 36, "middle"))
    said = f"{surface_title(surface)}, {surface.unit}; {number(low)} to {number(high)}; the numbers stand in a table"
    return Markup(
        f'<svg class="heat" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        f'aria-label="{escaped(said)}">{joined(parts)}</svg>'
    )


def _axis_text(text: str, x: float, y: float, anchor: str) -> Markup:
    return element("text", text, x=f"{x:g}", y=f"{y:g}", text_anchor=anchor)


def _cell(cell: Mean | None, x: float, y: float, low: float, high: float) -> Markup:
    if cell is None:
        return Markup(f'<path class="gap" d="M{x + 4} {y + 4}h{_WIDE - 8}v{_TALL - 8}h{8 - _WIDE}Z"/>')
    level = shade(cell.mean, low, high)
    text = "lit" if level >= _LIGHTER_TEXT_FROM else "dim"
    spread = (number(cell.low), number(cell.high))
    lines = [number(cell.mean)] + ([f"{spread[0]} to {spread[1]}"] if spread[0] != spread[1] else [])
    middle = x + _WIDE / 2
    first = y + _TALL / 2 + (4 if len(lines) == 1 else -2)
    drawn = [
        Markup(f'<path class="h{level}" d="M{x + 1} {y + 1}h{_WIDE - 2}v{_TALL - 2}h{2 - _WIDE}Z"/>'),
        element("text", lines[0], x=f"{middle:g}", y=f"{first:g}", text_anchor="middle", class_=text),
    ]
    if len(lines) > 1:
        drawn.append(
            element(
                "text",
                lines[1],
                x=f"{middle:g}",
                y=f"{first + 15:g}",
                text_anchor="middle",
                class_=f"{text} small",
            )
        )
    if cell.failing:
        drawn.append(Markup(f'<path class="edge" d="M{x + 3} {y + 3}h{_WIDE - 6}v{_TALL - 6}h{6 - _WIDE}Z"/>'))
        at, up = x + _WIDE - 16, y + 5
        drawn.append(Markup(f'<path class="mark" d="M{at} {up}h11v11h-11Z"/>'
                            f'<path class="cross" d="M{at + 3} {up + 3}l5 5m0 -5l-5 5"/>'))  # fmt: skip
    return element("g", element("title", cell_words(cell)), drawn)


def shade(value: float, low: float, high: float) -> int:
    """Which of the shades stands for a value between two others."""
    if not high > low:
        return 0
    return min(SHADES - 1, int(SHADES * (value - low) / (high - low)))


def shades_key(surface: Surface) -> Markup:
    """What the shades mean, least to largest, and the mark of what does not pass."""
    low, high = min(c.mean for c in surface.cells), max(c.mean for c in surface.cells)
    steps = "".join(f'<path class="h{i}" d="M{_SWATCH * i} 0h{_SWATCH}v12h-{_SWATCH}Z"/>' for i in range(SHADES))
    ramp = Markup(
        f'<svg class="ramp" viewBox="0 0 {_SWATCH * SHADES} 12" width="{_SWATCH * SHADES}" height="12" '
        f'aria-hidden="true">{steps}</svg>'
    )
    items = [
        element(
            "li",
            f"{number(low)} ",
            ramp,
            f" {number(high)}{'' if surface.unit == '1' else ' ' + surface.unit}",
        )
    ]
    if any(cell.failing for cell in surface.cells):
        mark = Markup(
            '<svg class="ramp" viewBox="0 0 14 12" width="14" height="12" aria-hidden="true">'
            '<path class="mark" d="M0.5 0.5h11v11h-11Z"/><path class="cross" d="M3.5 3.5l5 5m0 -5l-5 5"/></svg>'
        )
        items.append(element("li", mark, " something required does not pass there"))
    return element("ul", items, class_="key")


def interval_drawing(told: Share) -> Markup:
    """A share from 0 to 100 % with its interval; the numbers stand beside it."""
    if told.low is None or told.high is None:
        return Markup("")
    width, middle = 120.0, 8.0

    def x(part: float) -> str:
        return f"{4 + part * (width - 8):.1f}"

    low, high, at = x(told.low), x(told.high), x(told.passed / told.judged)
    return Markup(
        f'<svg class="iv" viewBox="0 0 {width:g} 16" width="{width:g}" height="16" aria-hidden="true">'
        f'<path class="rule" d="M4 {middle}H{width - 4:g}M4 4v8M{width - 4:g} 4v8"/>'
        f'<path class="reach" d="M{low} {middle}H{high}M{low} 4v8M{high} 4v8"/>'
        f'<circle cx="{at}" cy="{middle}" r="3.5"/></svg>'
    )
