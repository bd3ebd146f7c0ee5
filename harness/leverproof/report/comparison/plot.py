"""A panel of a comparison as static SVG: a line a model, told apart by dash and mark as well as by colour."""

from __future__ import annotations

import math
from collections.abc import Sequence

from leverproof.report.comparison.model import Band, Comparison, Curve, Panel
from leverproof.report.html.markup import escaped

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 720, 320, 76, 36, 14, 46
_DASHES = ("", "7 4", "2 3", "9 3 2 3")
_COLOURS = 6
_NAME = 14


def drawing(found: Comparison, panel: Panel) -> str:
    """The SVG of a panel, with its own title and description for a screen reader."""
    across = _ticks([h for h, _ in _points(panel)] + [h for band in panel.bands for h in _heights(band)])
    up = _ticks([v for _, v in _points(panel)] + [v for band in panel.bands for v in _values(band)])
    frame = _Frame(across, up)
    letters = [found.models[curve.model].letter for curve in panel.curves]
    said = f"{panel.title}, in {panel.unit}, against pressure altitude in ft, for {', '.join(letters)}"
    out = [
        f'<svg class="still" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{_text(said)}">',
        *_grid(frame, panel.unit),
        *(_band(band, frame) for band in panel.bands),
        *(_curve(curve, frame) for curve in panel.curves),
        *_names([(letter, *_places(curve, frame)[-1]) for letter, curve in zip(letters, panel.curves, strict=True)]),
        "</svg>",
    ]
    return "".join(out)


def key(model: int) -> str:
    """The piece of line that stands for a model, for a legend."""
    mark = _mark(model, 20.0, 7.0)
    return f'<svg class="mk" viewBox="0 0 40 14" aria-hidden="true"><path class="c m{model % _COLOURS}" d="M2 7H38"' + (
        f' stroke-dasharray="{_DASHES[model % 4]}"/>{mark}</svg>' if _DASHES[model % 4] else f"/>{mark}</svg>"
    )


def _text(text: str) -> str:
    return escaped(text[:400])


class _Frame:
    """Where numbers lie on the drawing."""

    def __init__(self, across: Sequence[float], up: Sequence[float]) -> None:
        self.across, self.up = across, up

    def x(self, height: float) -> float:
        share = (height - self.across[0]) / (self.across[-1] - self.across[0])
        return round(LEFT + share * (WIDTH - RIGHT - LEFT), 1)

    def y(self, value: float) -> float:
        share = (value - self.up[0]) / (self.up[-1] - self.up[0])
        return round(HEIGHT - BOTTOM - share * (HEIGHT - BOTTOM - TOP), 1)


def _points(panel: Panel) -> list[tuple[float, float]]:
    return [point for curve in panel.curves for point in curve.points]


def _heights(band: Band) -> list[float]:
    return [v[0] for v in band.values] + [h for box in band.heights for h in box[:2]]


def _values(band: Band) -> list[float]:
    return [v for one in band.values for v in one[1:]] + [box[2] for box in band.heights]


def _ticks(numbers: Sequence[float], count: int = 6) -> list[float]:
    """Round numbers from at or below the least to at or above the largest; two at least."""
    low, high = min(numbers), max(numbers)
    if high - low < 1e-9 * max(1.0, abs(high)):
        low, high = low - max(1.0, abs(low) * 0.05), high + max(1.0, abs(high) * 0.05)
    rough = (high - low) / count
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(k * unit for k in (1, 2, 2.5, 5, 10) if k * unit >= rough * (1 - 1e-9))
    first, last = math.floor(low / step), math.ceil(high / step)
    return [i * step for i in range(first, max(last, first + 1) + 1)]


def _grid(frame: _Frame, unit: str) -> list[str]:
    right, base = WIDTH - RIGHT, HEIGHT - BOTTOM
    out = []
    for value in frame.up:
        y = frame.y(value)
        out.append(f'<path class="grid" d="M{LEFT} {y}H{right}"/>')
        out.append(f'<text x="{LEFT - 8}" y="{y + 4}" text-anchor="end">{value:,.6g}</text>')
    for height in frame.across:
        x = frame.x(height)
        out.append(f'<path class="axis" d="M{x} {base}v5"/>')
        out.append(f'<text x="{x}" y="{base + 18}" text-anchor="middle">{height:,.6g}</text>')
    out.append(f'<path class="axis" d="M{LEFT} {TOP}V{base}H{right}"/>')
    out.append(f'<text x="{(LEFT + right) / 2}" y="{base + 38}" text-anchor="middle">pressure altitude, ft</text>')
    middle = (base + TOP) / 2
    out.append(f'<text transform="translate(14 {middle}) rotate(-90)" text-anchor="middle">{_text(unit)}</text>')
    return out


def _band(band: Band, frame: _Frame) -> str:
    title = f"<title>{_text(band.words)}</title>"
    if len(band.values) > 1:
        edge = [(h, high) for h, _, high in band.values] + [(h, low) for h, low, _ in reversed(band.values)]
        line = "L".join(f"{frame.x(h)} {frame.y(v)}" for h, v in edge)
        return f'<path class="band" d="M{line}Z">{title}</path>'
    if band.values:
        height, low, high = band.values[0]
        x, top, bottom = frame.x(height), frame.y(high), frame.y(low)
        return f'<path class="span" d="M{x} {top}V{bottom}M{x - 6} {top}h12M{x - 6} {bottom}h12">{title}</path>'
    low, high, value = band.heights[0]
    y, left, right = frame.y(value), frame.x(low), frame.x(high)
    return f'<path class="span" d="M{left} {y}H{right}M{left} {y - 6}v12M{right} {y - 6}v12">{title}</path>'


def _places(curve: Curve, frame: _Frame) -> list[tuple[float, float]]:
    return [(frame.x(h), frame.y(v)) for h, v in curve.points]


def _names(ends: Sequence[tuple[str, float, float]]) -> list[str]:
    """The letters at the ends of the curves; those that would lie over one another stand in a row."""
    taken: list[tuple[float, float]] = []
    out = []
    for letter, x, y in ends:
        at = x - 4
        while any(abs(at - other) < _NAME and abs(y - height) < _NAME for other, height in taken):
            at = round(at - _NAME, 1)
        taken.append((at, y))
        out.append(f'<text class="name" x="{at}" y="{y - 9}" text-anchor="end">{_text(letter)}</text>')
    return out


def _curve(curve: Curve, frame: _Frame) -> str:
    places = _places(curve, frame)
    dash = f' stroke-dasharray="{_DASHES[curve.model % 4]}"' if _DASHES[curve.model % 4] else ""
    line = "L".join(f"{x} {y}" for x, y in places)
    drawn = f'<path class="c m{curve.model % _COLOURS}"{dash} d="M{line}"/>' if len(places) > 1 else ""
    return drawn + "".join(_mark(curve.model, *place) for place in places)


def _mark(model: int, x: float, y: float) -> str:
    """Circle, square, triangle, cross, lozenge, stroke: another shape for each of six models."""
    shapes = (
        f"M{x - 3.5} {y}a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0Z",
        f"M{x - 3} {y - 3}h6v6h-6Z",
        f"M{x} {y - 4}l4 7h-8Z",
        f"M{x - 3.5} {y - 3.5}l7 7m-7 0l7 -7",
        f"M{x} {y - 4.5}l4 4.5l-4 4.5l-4 -4.5Z",
        f"M{x} {y - 4}v8",
    )
    return f'<path class="k m{model % _COLOURS}" d="{shapes[model % len(shapes)]}"/>'
