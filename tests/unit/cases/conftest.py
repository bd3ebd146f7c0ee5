"""A case that uses most of what a case can say, and a way to spoil it."""

# ruff: noqa: E501 - inline tables of TOML stay on one line

from collections.abc import Callable

import pytest

CASE = """\
format = 1
id = "sample-case"
subject = "throttle"
title = "A sample"
question = "Does it load?"
consequence = "Nothing would."
caution = "A statement about a simulated engine."
applies = { sheet = { "hardware.arrangement" = ["two_stage"] }, data = ["takeoff.manifold_pressure"], levers = ["throttle"], channels = ["manifold_pressure"], capabilities = ["stepped"], lost = "everything" }
start = { engine = "running" }

[sweep.altitude]
points = ["0 ft", "5000 ft", "10000 ft"]
between = ["1000 ft", "9000 ft"]
off_points = 2

[surroundings]
pressure_altitude = { sweep = "altitude" }
temperature_offset = "0 K"
relative_humidity = 0
true_airspeed = "150 kt"

[[run]]
name = "one"
steps = [
  { do = "set", throttle = 0.3, boost = "back", propeller = "rated", mixture = "auto_rich" },
  { do = "seek", name = "up", lever = "throttle", channel = "manifold_pressure", value = { sheet = "takeoff.manifold_pressure", times = 0.8 }, within = "0.05 inHg", or = ["stop", "turbo_speed limit"], limit = "90 s" },
  { do = "read", name = "high", limit = "40 s" },
  { do = "move", name = "closing", throttle = 0.2, over = "2 s" },
  { do = "hold", name = "waiting", for = "10 s" },
  { do = "read", name = "low", limit = "40 s" },
]

[[run]]
name = "two"
surroundings = { pressure_altitude = "2000 ft" }
steps = [
  { do = "set", throttle = 0.3, boost = "back", propeller = "rated", mixture = "auto_rich" },
  { do = "read", name = "high", limit = "40 s" },
  { do = "move", name = "closing", throttle = 0.2, over = "2 s" },
  { do = "read", name = "low", limit = "40 s" },
]

[[judgement]]
id = "pressure"
what = "value"
asked = "pressure at the seek's end"
reading = "one.high"
channel = "manifold_pressure"
expected = { sheet = "takeoff.manifold_pressure", times = 0.8 }
tolerance = { absolute = "0.5 inHg", percent = 2, of = "expected", reason = "wide enough to read" }
basis = "sheet"
source = "invented for the demonstration"
weight = "required"

[[judgement]]
id = "limit"
what = "limit"
asked = "never above the rating"
run = "one"
channel = "manifold_pressure"
at_most = { sheet = "takeoff.manifold_pressure" }
tolerance = { absolute = "0.3 inHg", reason = "a needle's width" }
window = ["closing", "end"]
basis = "sheet"
source = "invented for the demonstration"
weight = "required"

[[judgement]]
id = "more"
what = "difference"
asked = "more power at more pressure"
channel = "brake_power"
more = "one.high"
less = "one.low"
at_least = "5 hp"
basis = "physics"
source = "from memory"
weight = "required"

[[judgement]]
id = "trend"
what = "trend"
asked = "power changes with height"
channel = "brake_power"
reading = "one.high"
over = "altitude"
direction = "falling"
least_step = "1 hp"
span = ["0 ft", "10000 ft"]
while_ending = ["reached"]
basis = "physics"
source = "from memory"
weight = "advisory"

[[judgement]]
id = "order"
what = "order"
asked = "the lever leads"
run = "one"
events = [
  { name = "lever", channel = "throttle_position", fraction = 0.5, between = ["high", "low"] },
  { name = "pressure", channel = "manifold_pressure", crosses = "20 inHg", direction = "falling" },
]
least_gap = "0 s"
basis = "physics"
source = "from memory"
weight = "required"

[[judgement]]
id = "light"
what = "state"
asked = "light off at the end"
run = "one"
channel = "turbo_overspeed_light"
at = "low"
expected = "off"
basis = "practice"
source = "common practice, no published source"
weight = "required"

[[judgement]]
id = "time"
what = "response"
asked = "power gone soon"
run = "one"
channel = "brake_power"
since = "closing"
between = ["high", "low"]
measure = "t90"
at_most = "8 s"
tolerance = { absolute = "1 s", reason = "half a breath" }
basis = "practice"
source = "common practice, no published source"
weight = "required"
"""


@pytest.fixture(scope="session")
def sample() -> str:
    """The text of the sample case."""
    return CASE


@pytest.fixture(scope="session")
def spoilt() -> Callable[[str, str], str]:
    """The sample with one piece replaced; the piece must be there."""

    def make(old: str, new: str) -> str:
        assert old in CASE
        return CASE.replace(old, new, 1)

    return make
