"""What it is worth that a person's levers stood beside the places a program asks for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.matcher_track import Track, runs
from leverproof.history import Reading
from leverproof.timegrid import TICKS_PER_SECOND

LEAST_TRAVEL = 0.05
ANSWER_TIME = 10 * TICKS_PER_SECOND
NEGLIGIBLE = 0.001
AT_REST = 50.0
"""Harness choices: a lever must travel 5 % on its own before a slope is taken from it; the channel is given 10 s to
answer; a thousandth of the travel is no offset; an engine below 50 rpm, less than any starter turns it, stands."""


def offsets(track: Track, places: Mapping[str, float], begin: int, end: int) -> dict[str, float]:
    """How far each continuous lever stood from its place over rows [begin, end). At a stop it stands at the stop,
    whatever its potentiometer says."""
    found = {}
    for name, place in places.items():
        if CHANNELS[name].kind == "lever" and not CHANNELS[name].states and place not in (0.0, 1.0):
            off = abs(float(np.mean(track.column(name)[begin:end])) - place)
            if off > NEGLIGIBLE:
                found[name] = off
    return found


def placed(track: Track, reading: Reading, off: Mapping[str, float], begin: int, end: int) -> Reading:
    """The reading with what the offsets are worth in each channel: offset times slope, as a standard uncertainty
    because the slope is only the mean one over the lever's own moves in rows [begin, end), or anywhere in the stretch
    where it was not moved there. NaN where no move shows a slope. What a lever does to a running engine says nothing
    of one that stands, nor the other way about."""
    stands = _stands(reading.values.get("engine_speed", math.nan))
    worth: dict[str, float] = {}
    for lever, distance in off.items():
        for name in track.outputs:
            if CHANNELS[name].states:
                continue
            slope = _slope(track, lever, name, begin, end, stands)
            if slope is None:
                slope = _slope(track, lever, name, 0, track.last + 1, stands)
            effect = math.nan if slope is None else distance * slope
            worth[name] = math.hypot(worth.get(name, 0.0), effect)
    return replace(reading, placing=worth)


def _stands(engine_speed: float) -> bool:
    return engine_speed < AT_REST


def _slope(track: Track, lever: str, channel: str, begin: int, end: int, stands: bool) -> float | None:
    """The steepest mean slope of a channel over moves of one lever alone, of an engine that ``stands`` or not; None
    without such a move."""
    moving = ~track.still(lever)[begin:end]
    for name in track.inputs:
        if name != lever and CHANNELS[name].kind == "lever":
            moving &= track.still(name)[begin:end]
    found = None
    for first, last in runs(moving, 0, moving.size):
        upto = min(end, begin + last + track.grid.rows(ANSWER_TIME))
        travel = float(np.ptp(track.column(lever)[begin + first : begin + last]))
        change = float(np.ptp(track.column(channel)[begin + first : upto]))
        if "engine_speed" in track.outputs:
            turning = track.column("engine_speed")[begin + first : upto]
            if _stands(float(turning.max())) != stands:
                continue
        if travel >= LEAST_TRAVEL and math.isfinite(change):
            found = max(found or 0.0, change / travel)
    return found
