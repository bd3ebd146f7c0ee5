"""A prediction as static SVG: bands as filled areas, medians as lines, readable in black and white."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM, KEY = 760, 310, 80, 24, 40, 70, 165
_DASHES = ("", "7 4", "2 3", "9 3 2 3")
_PANELS = (
    ("Brake power at take-off pressure and rpm, or what is left of it", (("brake_power", "throttle first"),)),
    ("Manifold pressure held", (("manifold_pressure", "manifold pressure"),)),
    ("Split-lever advantage at equal manifold pressure, of the samples that can hold it",
     (("split_lever_advantage", "whole"), ("split_lever_advantage.charge_temperature", "charge temperature"),
      ("split_lever_advantage.filling", "filling"), ("split_lever_advantage.pumping", "pumping"))),
    ("Level speed at take-off pressure and rpm, of the samples that can hold it",
     (("level_speed.throttle_first", "throttle first"), ("level_speed.levers_together", "levers together"))),
    ("Turbo speed needed", (("turbo_speed", "turbo speed"),)),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Curve:
    """Points (altitude ft, low, median, high) of one number, in order of altitude."""

    label: str
    unit: str
    points: tuple[tuple[float, float, float, float], ...]


def render(document: Mapping[str, Any]) -> str:
    """The SVG text of a prediction document. Panels without at least two points are left out."""
    panels = [(title, [c for name, label in curves if (c := _curve(document, name, label)).points])
              for title, curves in _PANELS]  # fmt: skip
    panels = [(title, curves) for title, curves in panels if any(len(c.points) > 1 for c in curves)]
    head = 54
    height = head + HEIGHT * len(panels) + 24
    said = f"{document['sheet']}: predicted from the sheet, seed {document['seed']}, {document['samples']} samples"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" '
        f'height="{height}" font-family="sans-serif" font-size="12" role="img">',
        f"<title>{escape(said)}</title>",
        f'<rect width="{WIDTH}" height="{height}" fill="#fff"/>',
        f'<text x="{LEFT}" y="22" font-size="15" font-weight="bold">{escape(said)}</text>',
        f'<text x="{LEFT}" y="40">median and 5-95 % band; {document["airspeed"]["value"]:g} kt true, auto rich</text>',
        *(_panel(title, curves, head + i * HEIGHT) for i, (title, curves) in enumerate(panels)),
        f'<text x="{LEFT}" y="{height - 8}" font-style="italic">{escape(document["caution"])}</text>',
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _curve(document: Mapping[str, Any], name: str, label: str) -> Curve:
    found = [n for n in document["numbers"] if n["name"].partition("@")[0] == name and n["altitude"] is not None]
    points = sorted(
        (float(n["altitude"]), float(n["low"]), float(n["median"]), float(n["high"]))
        for n in found
        if n["median"] is not None
    )
    return Curve(label, found[0]["unit"] if found else "", tuple(points))


def _ticks(low: float, high: float, count: int = 6) -> list[float]:
    """Round numbers from at or below ``low`` to at or above ``high``."""
    rough = max(high - low, 1e-9) / count
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(k * unit for k in (1, 2, 2.5, 5, 10) if k * unit >= rough)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [i * step for i in range(first, last + 1)]


def _panel(title: str, curves: Sequence[Curve], top: float) -> str:
    heights = [p[0] for c in curves for p in c.points]
    values = [v for c in curves for p in c.points for v in p[1:]]
    across, up = _ticks(min(heights), max(heights)), _ticks(min(values), max(values))
    right, base, roof = WIDTH - RIGHT, top + HEIGHT - BOTTOM, top + TOP

    def x(height: float) -> float:
        return LEFT + (height - across[0]) / (across[-1] - across[0]) * (right - LEFT)

    def y(value: float) -> float:
        return base - (value - up[0]) / (up[-1] - up[0]) * (base - roof)

    out = [f'<text x="{LEFT}" y="{top + 24}" font-weight="bold">{escape(title)}</text>']
    for tick in up:
        out.append(f'<path d="M{LEFT} {y(tick):.1f}H{right}" stroke="#ccc"/>')
        out.append(f'<text x="{LEFT - 6}" y="{y(tick) + 4:.1f}" text-anchor="end">{tick:g}</text>')
    for tick in across:
        out.append(f'<path d="M{x(tick):.1f} {base}v5" stroke="#000"/>')
        out.append(f'<text x="{x(tick):.1f}" y="{base + 18}" text-anchor="middle">{tick:g}</text>')
    out.append(f'<path d="M{LEFT} {roof}V{base}H{right}" fill="none" stroke="#000"/>')
    out.append(f'<text x="{(LEFT + right) / 2}" y="{base + 36}" text-anchor="middle">pressure altitude, ft</text>')
    out.append(
        f'<text transform="translate(18 {(base + roof) / 2}) rotate(-90)" text-anchor="middle">'
        f"{escape(_axis(curves))}</text>"
    )
    out += [_drawn(c, i, x, y) for i, c in enumerate(curves)]
    if len(curves) > 1:
        out += [_key(c.label, i, LEFT + KEY * i, base + 56) for i, c in enumerate(curves)]
    return "\n".join(out)


def _axis(curves: Sequence[Curve]) -> str:
    unit = next(c.unit for c in curves if c.unit)
    shared = {"kt": "level speed"}.get(unit, "power")
    return f"{curves[0].label if len(curves) == 1 else shared}, {unit}"


def _drawn(curve: Curve, index: int, x: Any, y: Any) -> str:
    """The band as a filled area (of the first curve) and the median as a line of its own dash."""
    points = curve.points
    out = ""
    if index == 0 and len(points) > 1:
        edge = [(p[0], p[3]) for p in points] + [(p[0], p[1]) for p in reversed(points)]
        outline = "L".join(f"{x(h):.1f} {y(v):.1f}" for h, v in edge)
        out = f'<path d="M{outline}Z" fill="#bbb" fill-opacity="0.6" stroke="none"/>\n'
    line = "L".join(f"{x(p[0]):.1f} {y(p[2]):.1f}" for p in points)
    dash = f' stroke-dasharray="{_DASHES[index % 4]}"' if _DASHES[index % 4] else ""
    return out + f'<path d="M{line}" fill="none" stroke="#000" stroke-width="{2 if index == 0 else 1.4}"{dash}/>'


def _key(label: str, index: int, left: float, at: float) -> str:
    """What a dash means, below the panel, where it can hide no curve."""
    dash = f' stroke-dasharray="{_DASHES[index % 4]}"' if _DASHES[index % 4] else ""
    return (
        f'<path d="M{left} {at}h30" stroke="#000" stroke-width="{2 if index == 0 else 1.4}"{dash}/>'
        f'<text x="{left + 36}" y="{at + 4}">{escape(label)}</text>'
    )
