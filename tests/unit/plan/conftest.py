"""Small cases and grounds to plan on."""

from collections.abc import Callable
from typing import Any

import pytest

from leverproof.cases.loader import parse_case
from leverproof.cases.model import ReferenceCase
from leverproof.channels import LEVERS, READINGS, SURROUNDINGS
from leverproof.conduct.plan import Ground
from leverproof.sheet.loader import parse_sheet
from leverproof.timegrid import TimeGrid

SHEET = """\
format = 1
id = "corrie-plan"
title = "An engine to plan on"
revision = "1"
caution = "A simulated engine of an invented family; never a power setting for a real one."
[hardware]
arrangement = { value = "two_stage", source = "s" }
boost_acts_on = { value = "gate", source = "s" }
overspeed_protection = { value = "none", source = "s" }
link = { value = "mechanical", source = "s" }
takeoff_boost = { value = "back", source = "s" }
coordination = { value = "none", source = "s" }
full_rich = { value = "compensated", source = "s" }
light = { value = "three_state", source = "s" }
propeller = { value = "constant_speed", source = "s" }
service = { value = "heavy", source = "s" }
intercooler = { value = "shutter", source = "s" }
[levers.throttle]
rate = { value = "0.1 1/s", source = "s", doubt = "0 1/s" }
[levers.boost]
rate = { value = "0.05 1/s", source = "s", doubt = "0 1/s" }
[levers.propeller]
rate = { value = "0.1 1/s", source = "s", doubt = "0 1/s" }
[levers.intercooler_shutter]
rate = { value = "0.2 1/s", source = "s", doubt = "0 1/s" }
[levers.mixture]
[levers.lever_link]
[takeoff]
manifold_pressure = { value = "52 inHg", source = "s", doubt = "0 inHg" }
engine_speed = { value = "2640 rpm", source = "s", doubt = "0 rpm" }
brake_power = { value = "2090 hp", source = "s", doubt = "40 hp" }
minutes = { value = "5 min", source = "s", doubt = "0 min" }
[maximum_continuous]
manifold_pressure = { value = "45 inHg", source = "s", doubt = "0 inHg" }
engine_speed = { value = "2550 rpm", source = "s", doubt = "0 rpm" }
brake_power = { value = "1760 hp", source = "s", doubt = "35 hp", from_model = true }
[climb]
manifold_pressure = { value = "39.5 inHg", source = "s", doubt = "0 inHg" }
engine_speed = { value = "2500 rpm", source = "s", doubt = "0 rpm" }
brake_power = { value = "1630 hp", source = "s", doubt = "35 hp", from_model = true }
full_throttle_height = { value = "12200 ft", source = "s", doubt = "300 ft" }
[cruise]
manifold_pressure = { value = "31 inHg", source = "s", doubt = "0 inHg" }
engine_speed = { value = "2100 rpm", source = "s", doubt = "0 rpm" }
[idle]
engine_speed = { value = "680 rpm", source = "s", doubt = "20 rpm" }
[limits]
turbo_speed = { value = "18250 rpm", source = "s", doubt = "0 rpm" }
carburettor_air_temperature = { value = "45 degC", source = "s", doubt = "0 K" }
[light]
blinking_above = { value = "2500 rpm", source = "s", doubt = "0 rpm" }
off_above = { value = "9000 rpm", source = "s", doubt = "0 rpm" }
on_above = { value = "18250 rpm", source = "s", doubt = "0 rpm" }
hysteresis = { value = "60 rpm", source = "s", doubt = "0 rpm" }
[link]
above = { value = "7000 ft", source = "s", doubt = "0 ft" }
[response]
takeoff_time = { value = "4 s", source = "s", doubt = "0.5 s" }
[split_lever]
advantage = { value = "95 hp", source = "s", doubt = "15 hp", from_model = true }
"""
HEAD = """\
format = 1
id = "{id}"
subject = "throttle"
title = "t"
question = "q"
consequence = "c"
caution = "A statement about a simulated engine."
applies = {{ {applies} lost = "all of it" }}
start = {{ engine = "running" }}
{sweep}
[surroundings]
pressure_altitude = {altitude}
temperature_offset = {offset}
relative_humidity = 0
true_airspeed = "0 kt"
"""
RUN = """
[[run]]
name = "{name}"
{extra}
steps = [ {{ do = "set", throttle = 0.3 }}, {steps} {{ do = "read", name = "end of it", limit = "60 s" }} ]
"""
JUDGEMENT = """
[[judgement]]
id = "{id}"
asked = "a question"
basis = "practice"
source = "common practice, no published source"
weight = "required"
{body}
"""
VALUE = """what = "value"
reading = "one.end of it"
channel = "manifold_pressure"
expected = "30 inHg"
tolerance = { absolute = "0.5 inHg", reason = "r" }"""
SWEEP = '[sweep.altitude]\npoints = ["0 ft", "5000 ft", "10000 ft"]\n'
OFF = SWEEP + 'between = ["1000 ft", "9000 ft"]\noff_points = 3\n'


@pytest.fixture
def case_of() -> Callable[..., ReferenceCase]:
    """A case from its pieces: ``runs`` are (name, steps, extra), ``judgements`` TOML bodies by id."""

    def make(
        *,
        case_id: str = "made-up",
        applies: str = "",
        sweep: str = "",
        altitude: str = '"0 ft"',
        offset: str = '"0 K"',
        runs: tuple[tuple[str, str, str], ...] = (("one", "", ""),),
        judgements: dict[str, str] | None = None,
    ) -> ReferenceCase:
        text = HEAD.format(id=case_id, applies=applies, sweep=sweep, altitude=altitude, offset=offset)
        text += "".join(RUN.format(name=n, steps=s, extra=e) for n, s, e in runs)
        text += "".join(JUDGEMENT.format(id=i, body=b) for i, b in (judgements or {"v": VALUE}).items())
        return parse_case(text, f"{case_id}.toml")

    return make


@pytest.fixture
def ground_of() -> Callable[..., Ground]:
    """The ground of a stand with everything and the sheet above, but for what is named. ``replaced`` changes the
    sheet's text; ``without`` removes channels."""

    def make(
        *,
        without: tuple[str, ...] = (),
        replaced: tuple[tuple[str, str], ...] = (),
        capabilities: tuple[str, ...] = ("stepped", "deterministic", "settable_surroundings"),
        **changes: Any,
    ) -> Ground:
        text = SHEET
        for old, new in replaced:
            assert old in text
            text = text.replace(old, new, 1)
        return Ground(
            sheet=parse_sheet(text, "plan.sheet.toml"),
            inputs=frozenset({*LEVERS, *SURROUNDINGS} - set(without)),
            outputs=frozenset(set(READINGS) - set(without)),
            capabilities=frozenset(capabilities),
            grid=TimeGrid(changes.get("step", 1800)),
            seed=changes.get("seed", 1),
        )

    return make
