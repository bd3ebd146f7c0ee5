"""Reading a stored reference curve of a case."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from leverproof.cases.model import Curve
from leverproof.cases.values import finite
from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.quantities import parse


def parse_curve(entry: Mapping[str, Any] | None, where: str, channel: str) -> Curve | None:
    """A curve of ``channel``; None where there is none. Its times begin at 0 s and rise, and it ends elsewhere than it
    began, because increments are judged."""
    if entry is None:
        return None
    symbol = CHANNELS[channel].unit
    seconds, values = [], []
    for index, (time, value) in enumerate(entry["points"]):
        at = f"{where}.points[{index}]"
        seconds.append(finite(parse(time, at).to("s", at), time, at))
        values.append(finite(parse(value, at).to(symbol, at), value, at))
    at = f"{where}.points"
    if seconds[0] != 0.0:
        raise InputError(
            f"a curve begins with the lever movement, at 0 s, not at {seconds[0]:g} s",
            f"{at}[0]",
            "begin with a point at 0 s",
            "curve",
        )
    fall = next((i for i, (one, later) in enumerate(pairwise(seconds), start=1) if not one < later), None)
    if fall is not None:
        raise InputError("the times of a curve must rise", f"{at}[{fall}]", "sort the points", "curve")
    if values[-1] == values[0]:
        raise InputError(
            "a curve that ends where it began has no increment to judge",
            at,
            "let the last point differ from the first",
            "curve",
        )
    doubt = None
    if "doubt" in entry:
        doubt = parse(entry["doubt"], f"{where}.doubt").difference_in(symbol, f"{where}.doubt")
    if doubt is not None and doubt < 0.0:
        raise InputError(
            "a doubt is not below zero", f"{where}.doubt", "write how far off the curve may be (95 %)", "range"
        )
    return Curve(tuple(seconds), tuple(values), doubt)
