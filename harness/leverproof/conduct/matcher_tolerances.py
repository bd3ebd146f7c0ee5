"""How near something flown by hand must come to what a program asks. All of these are harness choices."""

from __future__ import annotations

from leverproof.channels import CHANNELS
from leverproof.timegrid import TICKS_PER_SECOND

LEVER = 0.03
"""Lever travel: a lever stands where it was asked to stand, and boost beside the throttle while they are coupled."""

SURROUNDINGS = {
    "pressure_altitude": 150.0,
    "temperature_offset": 1.0,
    "true_airspeed": 10.0,
    "relative_humidity": 0.1,
}
"""ft, K, kt and parts of saturation: a height, a day and a speed are those of the case."""

HAND = {"manifold_pressure": 0.3, "engine_speed": 15.0, "turbo_speed": 150.0}
"""How near a person sets a channel by hand, in its unit; elsewhere five times the channel's steadiness band. What is
left of the target is corrected or counted as doubt when judging, as after any seek."""

AT_STOP = 0.015
"""Travel from a stop within which a lever is at it."""

AT_LIMIT = 0.005
"""Share of a guarded limit below it within which a channel stands at it."""

REST = 0.01
"""Travel a lever may show within a second and still be at rest: what a potentiometer's noise makes of a still hand."""

REST_TIME = TICKS_PER_SECOND
SETTLED_TIME = 2 * TICKS_PER_SECOND
"""A lever is at rest after 1 s; a seek has ended when its channel was where it should be for 2 s."""

QUICK = 2 * TICKS_PER_SECOND
QUICK_ALLOWANCE = TICKS_PER_SECOND
"""Moves of at most 2 s are slams and chops, whose quickness is the point: they may take 1 s longer than stated. All
other moves may take as long as they like."""

RUNNING = 200.0
STOPPED = 10.0
"""rpm: an engine that has turned faster since its mixture was last cut off is running, slower is stopped."""


def of_input(name: str, place: float) -> float:
    """How far an input may be from its place; 0 for discrete levers, which are where they are. A lever's stop is found
    without looking, so a lever asked to be at one must be at it."""
    if CHANNELS[name].states:
        return 0.0
    if name in SURROUNDINGS:
        return SURROUNDINGS[name]
    return AT_STOP if place in (0.0, 1.0) else LEVER


def of_seek(channel: str, within: float, resolution: float) -> float:
    """How far the channel of a seek may be from its target."""
    return max(within, resolution, HAND.get(channel, 5.0 * CHANNELS[channel].band))
