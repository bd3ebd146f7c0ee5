"""Static SVG: curves against time, and findings against their tolerance. Drawn in ``currentColor`` and told apart by
dash as well as by colour, so that they print in black and white and follow a dark page."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.judge.words import number
from leverproof.report.html.markup import Markup, element, escaped, joined
from leverproof.report.html.series import thinned

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 720, 232, 74, 26, 22, 38
DRAWN = 240
ROW = 30
_NAMED = 46
_MARKED = 24

Scale = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Line:
    """A curve: label, seconds and values of one length, and which run it is of (its dash and colour)."""

    label: str
    times: NDArray[np.float64]
    values: NDArray[np.float64]
    index: int


@dataclass(frozen=True, slots=True)
class Band:
    """What is expected of the curves: a value, and how far from it is tolerated (0: a line only)."""

    value: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class Instant:
    """A named moment of a run, in seconds."""

    name: str
    time: float


def chart(
    title: str,
    unit: str,
    lines: Sequence[Line],
    *,
    instants: Sequence[Instant] = (),
    read: Sequence[Line] = (),
    band: Band | None = None,
    states: Sequence[str] = (),
    against: str = "time, s",
    until: float | None = None,
) -> Markup:
    """Curves against time, or against what ``against`` says, with a dot at each point of ``read``; the axis reaches
    to ``until`` at least. Empty when there is nothing finite to draw."""
    shown = [line for line in lines if line.times.size and np.isfinite(line.values).any()]
    if not shown:
        return Markup("")
    ends = [float(v) for line in shown for v in (np.nanmin(_finite(line)), np.nanmax(_finite(line)))]
    if band is not None:
        ends += [band.value - band.tolerance, band.value + band.tolerance]
    up = [float(i) for i in range(len(states))] if states else ticks(min(ends), max(ends), 5)
    reach = [float(line.times[-1]) for line in shown]
    start = min(float(line.times[0]) for line in shown)
    across = ticks(start, max(reach if until is None else [*reach, until]), 8)
    right, base = WIDTH - RIGHT, HEIGHT - BOTTOM

    def x(time: float) -> float:
        return LEFT + (time - across[0]) / (across[-1] - across[0]) * (right - LEFT)

    def y(value: float) -> float:
        return base - (value - up[0]) / ((up[-1] - up[0]) or 1.0) * (base - TOP)

    parts = [_expected(band, x(across[0]), right, y)] if band is not None else []
    parts += [_rule(tick, y(tick), states) for tick in up]
    parts += [_tick(tick, x(tick), base) for tick in across]
    parts.append(Markup(f'<path class="axis" d="M{LEFT} {TOP - 8}V{base}H{right}"/>'))
    parts.append(element("text", against, x=str(right), y=str(HEIGHT - 4), text_anchor="end"))
    parts += _instants([i for i in instants if across[0] <= i.time <= across[-1]], x, base)
    parts += [_curve(line, x, y) for line in shown]
    parts += [_dots(line, x, y) for line in (*shown, *read) if line.times.size <= _MARKED]
    heading = title if unit in ("", "1") else f"{title}, {unit}"
    parts.append(element("text", heading, x="4", y="12", class_="head"))
    said = f"{heading}; {', '.join(line.label for line in shown)}"
    return _svg(HEIGHT, said, parts)


def _finite(line: Line) -> NDArray[np.float64]:
    return np.where(np.isfinite(line.values), line.values, np.nan)


def ticks(low: float, high: float, count: int) -> list[float]:
    """Round numbers from at or below ``low`` to at or above ``high``; never fewer than two."""
    span = max(high - low, 1e-6 * max(abs(low), abs(high)), 1e-9)
    rough = span / count
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(k * power for k in (1, 2, 2.5, 5, 10) if k * power >= rough * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [i * step for i in range(first, max(last, first + 1) + 1)]


def _rule(tick: float, y: float, states: Sequence[str]) -> Markup:
    word = escaped(states[int(tick)].replace("_", " ")) if states else tick_words(tick)
    return Markup(
        f'<path class="rule" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/>'
        f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{word}</text>'
    )


def _tick(tick: float, x: float, base: float) -> Markup:
    return Markup(
        f'<path class="axis" d="M{x:.1f} {base}v5"/>'
        f'<text x="{x:.1f}" y="{base + 18:.0f}" text-anchor="middle">{tick_words(tick)}</text>'
    )


def tick_words(tick: float) -> str:
    """A number on an axis."""
    return number(0.0 if abs(tick) < 1e-12 else tick)


def _expected(band: Band, left: float, right: float, y: Scale) -> Markup:
    high, low = y(band.value + band.tolerance), y(band.value - band.tolerance)
    area = f'<path class="band" d="M{left:.1f} {high:.1f}H{right}V{low:.1f}H{left:.1f}Z"/>' if low - high > 0.5 else ""
    return Markup(f'{area}<path class="expected" d="M{left:.1f} {y(band.value):.1f}H{right}"/>')


def _instants(instants: Sequence[Instant], x: Scale, base: float) -> list[Markup]:
    out, taken = [], -1e9
    for instant in sorted(instants, key=lambda i: i.time):
        at = x(instant.time)
        out.append(Markup(f'<path class="instant" d="M{at:.1f} {TOP - 8}V{base}"/>'))
        if at - taken >= _NAMED:
            name = instant.name if len(instant.name) <= 18 else instant.name[:17] + "…"
            turned = "end" if at > WIDTH - 90 else "start"
            shift = -3 if turned == "end" else 3
            out.append(
                element(
                    "text",
                    name,
                    x=f"{at + shift:.1f}",
                    y=f"{base - 5:.0f}",
                    text_anchor=turned,
                    class_="mark",
                )
            )
            taken = at
    return out


def _curve(line: Line, x: Scale, y: Scale) -> Markup:
    """The curve thinned to least and greatest values; a gap where it is not finite."""
    drawn = thinned(line.values.astype(np.float32)[:, None], points=DRAWN)
    path, pen = [], "M"
    for row, value in zip(drawn.rows.tolist(), drawn.data[:, 0].tolist(), strict=True):
        if not math.isfinite(value):
            pen = "M"
            continue
        path.append(f"{pen}{x(line.times[row]):.0f} {y(value):.1f}".replace(".0", ""))
        pen = "L"
    return Markup(f'<path class="run r{line.index % 6}" d="{"".join(path)}"/>')


def _dots(line: Line, x: Scale, y: Scale) -> Markup:
    """The points of a short curve."""
    pairs = zip(line.times.tolist(), line.values.tolist(), strict=True)
    dots = [f'<circle cx="{x(t):.1f}" cy="{y(v):.1f}" r="3.5"/>' for t, v in pairs if math.isfinite(v)]
    return Markup(f'<g class="dots r{line.index % 6}">{"".join(dots)}</g>')


def key(lines: Sequence[Line]) -> Markup:
    """What each dash means, as a list beside the figure."""
    items = [
        element("li", Markup(f'<svg viewBox="0 0 34 8" aria-hidden="true"><path class="run r{line.index % 6}" '
                             f'd="M1 4h32"/></svg>'), line.label)
        for line in lines
    ]  # fmt: skip
    return element("ul", items, class_="key")


@dataclass(frozen=True, slots=True)
class Placed:
    """One point of a finding on the scale of its tolerance: how far beyond the expectation, the tolerance and the
    doubt, in one unit."""

    label: str
    excess: float
    limit: float
    w: float


def distances(placed: Sequence[Placed], unit: str, said: str) -> Markup:
    """How far each point lies beyond its expectation, with its doubt, beside what is tolerated. Hatched is beyond."""
    shown = [p for p in placed if all(map(math.isfinite, (p.excess, p.limit, p.w)))]
    if not shown:
        return Markup("")
    highest = max(max(p.excess + p.w, p.limit) for p in shown)
    lowest = min(min(p.excess - p.w, 0.0) for p in shown)
    across = ticks(lowest, highest, 6)
    left, right, height = 172, WIDTH - RIGHT - 20, TOP + ROW * len(shown) + BOTTOM

    def x(value: float) -> float:
        return left + (value - across[0]) / (across[-1] - across[0]) * (right - left)

    base = TOP + ROW * len(shown)
    parts = [
        Markup(
            f'<path class="rule" d="M{x(t):.1f} {TOP - 6}V{base}"/>'
            f'<text x="{x(t):.1f}" y="{base + 16}" text-anchor="middle">{tick_words(t)}</text>'
        )
        for t in across
    ]
    parts += [_distance(p, TOP + ROW * i + ROW / 2 - 4, x, left, right) for i, p in enumerate(shown)]
    unit_words = "" if unit in ("", "1") else f", {unit}"
    parts.append(Markup(f'<text x="{right}" y="{height - 5}" text-anchor="end">beyond the expectation{unit_words}; '
                        f"shaded: not tolerated</text>"))  # fmt: skip
    return _svg(height, said, parts)


def _distance(point: Placed, y: float, x: Scale, left: float, right: float) -> Markup:
    at, edge = x(point.excess), x(point.limit)
    beyond = "out" if point.excess > point.limit else "in"
    low, high = x(point.excess - point.w), x(point.excess + point.w)
    name = point.label if len(point.label) <= 24 else point.label[:23] + "…"
    marker = (
        f'<path d="M{at:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z"/>'
        if beyond == "out"
        else f'<circle cx="{at:.1f}" cy="{y:.1f}" r="5"/>'
    )
    return joined(
        [
            Markup(f'<path class="beyond" d="M{edge:.1f} {y - 11:.1f}H{right}V{y + 11:.1f}H{edge:.1f}Z"/>'),
            Markup(f'<path class="edge" d="M{edge:.1f} {y - 12:.1f}v24"/>'),
            element("text", name, x=str(left - 10), y=f"{y + 4:.1f}", text_anchor="end"),
            Markup(f'<g class="at {beyond}"><path class="doubt" d="M{low:.1f} {y - 5:.1f}v10M{low:.1f} {y:.1f}'
                   f'H{high:.1f}M{high:.1f} {y - 5:.1f}v10"/>{marker}</g>'),
        ]
    )  # fmt: skip


def _svg(height: float, said: str, parts: Sequence[Markup]) -> Markup:
    return element(
        "svg", element("title", said), parts, viewBox=f"0 0 {WIDTH} {height:.0f}", role="img", class_="still"
    )
