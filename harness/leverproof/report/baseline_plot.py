"""One number over accepted versions as static SVG: its band, its values, and which of them belong together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from leverproof.baseline.drift import Series, Spot
from leverproof.judge.words import number
from leverproof.report.html.markup import Markup, escaped

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 420, 176, 66, 14, 10, 34
_HALF = 0.35
_TOLD = 12
_LABELS = 8


class _Frame:
    """Where versions and numbers lie on the drawing."""

    def __init__(self, spots: Sequence[Spot]) -> None:
        self.first, self.last = spots[0].version, spots[-1].version
        values = [spot.found for spot in spots]
        values += [edge for spot in spots for edge in (spot.low, spot.high) if edge is not None]
        low, high = min(values), max(values)
        room = 0.08 * (high - low) or max(abs(high) * 0.02, 1e-6)
        self.low, self.high = low - room, high + room

    def x(self, version: float) -> float:
        span = max(1, self.last - self.first) + 2 * _HALF
        return round(LEFT + (version - self.first + _HALF) / span * (WIDTH - LEFT - RIGHT), 1)

    def y(self, value: float | None, otherwise: float) -> float:
        shown = otherwise if value is None else value
        share = (shown - self.low) / (self.high - self.low)
        return round(HEIGHT - BOTTOM - share * (HEIGHT - BOTTOM - TOP), 1)


def drawing(series: Series, said: str) -> Markup:
    """The SVG of a number; ``said`` is its name for a screen reader, its last values are added."""
    spots = [*series.earlier, *series.spots]
    frame = _Frame(spots)
    told = ", ".join(f"version {spot.version}: {number(spot.found)}" for spot in spots[-_TOLD:])
    parts = [
        f'<svg class="still" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escaped(f"{said}. {told}")}">',
        *_grid(frame, spots),
        *_bands(frame, series.spots),
        *_bands(frame, series.earlier),
        _line(frame, series.earlier, "run r5"),
        _line(frame, series.spots, "run r0"),
        *(_mark(frame, spot) for spot in spots),
        "</svg>",
    ]
    return Markup("".join(parts))


def _grid(frame: _Frame, spots: Sequence[Spot]) -> Iterator[str]:
    right, base = WIDTH - RIGHT, HEIGHT - BOTTOM
    for value in _ticks(frame.low, frame.high):
        y = frame.y(value, value)
        yield f'<path class="rule" d="M{LEFT} {y}H{right}"/>'
        yield f'<text x="{LEFT - 6}" y="{y + 4}" text-anchor="end">{escaped(number(value))}</text>'
    yield f'<path class="axis" d="M{LEFT} {TOP}V{base}H{right}"/>'
    step = max(1, math.ceil(len(spots) / _LABELS))
    for index, spot in enumerate(spots):
        if index % step == 0:
            yield f'<text x="{frame.x(spot.version)}" y="{base + 15}" text-anchor="middle">{spot.version}</text>'
    yield f'<text x="{(LEFT + right) / 2}" y="{base + 30}" text-anchor="middle">accepted version</text>'


def _ticks(low: float, high: float, most: int = 4) -> list[float]:
    """Round numbers within the drawing."""
    rough = (high - low) / most
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(k * unit for k in (1, 2, 2.5, 5, 10) if k * unit >= rough * (1 - 1e-9))
    return [i * step for i in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _bands(frame: _Frame, spots: Sequence[Spot]) -> Iterator[str]:
    """What is allowed at each version, as a block of its width; its edges as strokes."""
    for spot in spots:
        if spot.low is None and spot.high is None:
            continue
        left, right = frame.x(spot.version - _HALF), frame.x(spot.version + _HALF)
        top, bottom = frame.y(spot.high, frame.high), frame.y(spot.low, frame.low)
        yield f'<path class="band" d="M{left} {top}H{right}V{bottom}H{left}Z"/>'
        for edge, y in ((spot.high, top), (spot.low, bottom)):
            if edge is not None:
                yield f'<path class="limit" d="M{left} {y}H{right}"/>'


def _line(frame: _Frame, spots: Sequence[Spot], kind: str) -> str:
    if len(spots) < 2:
        return ""
    line = "L".join(f"{frame.x(spot.version)} {frame.y(spot.found, 0.0)}" for spot in spots)
    return f'<path class="{kind}" d="M{line}"/>'


def _mark(frame: _Frame, spot: Spot) -> str:
    """A ring inside the band, a filled square outside."""
    x, y = frame.x(spot.version), frame.y(spot.found, 0.0)
    outside = (spot.low is not None and spot.found < spot.low) or (spot.high is not None and spot.found > spot.high)
    if outside:
        return f'<path class="at out" d="M{x - 4} {y - 4}h8v8h-8Z"/>'
    return f'<circle class="at in" cx="{x}" cy="{y}" r="3.5"/>'
