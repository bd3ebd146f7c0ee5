"""How far a model may move from what was accepted and still count as the same: the regression tier.

Against itself a model is right when nothing moved, so these are no measure of how good it is. One table for every
model, each entry with its reason; a baseline keeps the table it was accepted with. Where a model needs another, its
owner writes that down with a reason, in a file.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from leverproof.baseline.model import Regression
from leverproof.channels import CHANNELS, Channel
from leverproof.errors import InputError, nearest
from leverproof.quantities import parse
from leverproof.schema import check
from leverproof.sheet.error_line import with_line
from leverproof.timegrid import CONTROL_TICKS, TICKS_PER_SECOND
from leverproof.toml_file import parse_toml

ASSUMED = "assumption"
TIME = CONTROL_TICKS / TICKS_PER_SECOND
LEVER = 0.005
_VALUE = (
    "one steadiness band of the channel: a reading counts as steady while it moves by this much, so a smaller "
    "difference is no other reading"
)
_LEVER = "half a hundredth of the lever's travel: what a seek may end apart where the model answers the same"
_STATE = "a state is another or it is the same"
_LATE = (
    f"in time {TIME:g} s: levers are decided upon on a grid of that step, so a decision may fall one step early or late"
)


def usual_tolerances() -> dict[str, Regression]:
    """The table by channel: every reading, and every lever, whose place a seek finds."""
    return {name: _usual(c) for name, c in sorted(CHANNELS.items()) if c.kind in ("reading", "lever")}


def _usual(channel: Channel) -> Regression:
    if channel.states:
        return Regression(0.0, TIME, channel.unit, f"{_STATE}; {_LATE}", ASSUMED)
    if channel.kind == "lever":
        return Regression(LEVER, TIME, channel.unit, f"{_LEVER}; {_LATE}", ASSUMED)
    return Regression(channel.band, TIME, channel.unit, f"{_VALUE}; {_LATE}", ASSUMED)


def unit_of_doubt(name: str, tolerance: Regression, *studies: Mapping[str, float]) -> float:
    """Standard uncertainty of a channel: the largest of its step studies and of its tolerance as the width of a
    rectangular distribution, which for a usual tolerance is what liveness counts in too; 0 for a state."""
    known = CHANNELS.get(name)
    if known is not None and known.states:
        return 0.0
    return max(tolerance.value / math.sqrt(12.0), *(study.get(name, 0.0) for study in studies), 0.0)


def parse_tolerances(text: str, where: str, before: Mapping[str, Regression]) -> dict[str, Regression]:
    """The table ``before`` with the entries of a file in place of its own; ``where`` names the file in errors.

    Raises :class:`InputError` for a channel that is not there, a unit of the wrong dimension, or no tolerance."""
    document = parse_toml(text, where)
    check(document, "baseline-tolerances", where, text=text)
    out = dict(before)
    try:
        for name, entry in document.get("channel", {}).items():
            out[name] = _entry(name, entry, f"{where}: channel.{name}", before)
    except InputError as error:
        raise with_line(error, where, text) from None
    return dict(sorted(out.items()))


def _entry(name: str, entry: Mapping[str, Any], where: str, before: Mapping[str, Regression]) -> Regression:
    if name not in before:
        raise InputError(f"unknown channel {name!r}", where, nearest(name, before), "channel")
    held, unit = before[name], CHANNELS[name].unit
    value, time = held.value, held.time
    if "value" in entry:
        if CHANNELS[name].states:
            raise InputError(f"{name} has states, not numbers", f"{where}.value", "remove it", "tolerance")
        value = parse(entry["value"], f"{where}.value").difference_in(unit, f"{where}.value")
    if "time" in entry:
        time = parse(entry["time"], f"{where}.time").to("s", f"{where}.time")
    for key, number in (("value", value), ("time", time)):
        if not (math.isfinite(number) and number >= 0.0) or (key == "value" and key in entry and number == 0.0):
            raise InputError(f"a tolerance of {number:g}", f"{where}.{key}", "more than nothing", "tolerance")
    return Regression(value, time, unit, entry["reason"], entry.get("source", ASSUMED))
