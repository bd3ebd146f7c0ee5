"""The first items: the handshake, names of states, and units that fit physics."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from leverproof.atmosphere import pressure_at_feet
from leverproof.channels import CHANNELS, LEVERS
from leverproof.quantities import convert
from leverproof.stand.shakedown.bench import Bench
from leverproof.stand.shakedown.model import Outcome, failed, passed
from leverproof.stand.shakedown.programs import cruise


def handshake(bench: Bench) -> Outcome:
    """The model comes up twice, says the same of itself both times, and has a lever and a reading of ours.

    The second time is the fresh model that every item begins with, this one too."""
    said = bench.mounted.hello
    levers = [name for name in bench.inputs if name in LEVERS]
    if not levers or not bench.outputs:
        what = "lever" if not levers else "reading"
        return failed(
            f"none of the model's names is a {what} of ours",
            f"map at least one {what} in the stand file: [channels.NAME] with name = your name for it",
        )
    links = bench.mounted.links
    spare = [*links.unmapped_inputs, *links.unmapped_outputs]
    rest = f"; not used: {', '.join(spare)}" if spare else ""
    return passed(
        f"{said.model} {said.version}: {len(bench.inputs)} inputs and {len(bench.outputs)} outputs are channels{rest}",
        inputs=len(bench.inputs),
        outputs=len(bench.outputs),
    )


_USUAL = "auto_rich"


def states(bench: Bench) -> Outcome:
    """Every discrete channel lists its states by name, takes each and answers with one of them."""
    links = bench.mounted.links
    both = {**links.inputs, **links.outputs}
    discrete = [name for name in both if CHANNELS[name].states]
    nameless = [name for name in discrete if not both[name].signal.states and not both[name].to_model]
    if nameless:
        return failed(
            f"hello lists no states for {', '.join(nameless)}: which number is which can only be guessed",
            f"list them in hello in your order, for example states = {list(CHANNELS[nameless[0]].states)}",
        )
    if "mixture" in bench.inputs and _USUAL not in bench.states["mixture"]:
        return failed(
            f"the mixture has {', '.join(bench.states['mixture'])} and no {_USUAL}, which nearly every case needs",
            f"call the position for ordinary running {_USUAL} in the states that hello lists",
        )
    tried = 0
    for name in (n for n in bench.inputs if CHANNELS[n].states):
        for state in bench.states[name]:
            index = float(CHANNELS[name].states.index(state))
            bench.fly_row(cruise(bench.inputs, bench.states, **{name: index}))
            tried += 1
    row = bench.fly_row(cruise(bench.inputs, bench.states))
    for name in (n for n in bench.outputs if CHANNELS[n].states):
        value = float(row[bench.outputs.index(name)])
        if value not in range(len(CHANNELS[name].states)):
            return failed(
                f"{name} answers {value:g}, which is none of its {len(bench.states[name])} states",
                "answer with the index of the state in the list that hello gives, 0 for the first",
            )
    if not discrete:
        return passed("there are no discrete channels")
    return passed(f"{len(discrete)} discrete channels, {tried} lever states taken", channels=len(discrete))


_SEA_LEVEL = float(convert(101_325.0, "Pa", "inHg"))
"""The standard atmosphere (ISO 2533:1975)."""

_STILL: Mapping[str, tuple[float, float]] = {
    "manifold_pressure": (0.97 * _SEA_LEVEL, 1.03 * _SEA_LEVEL),
    "carburettor_deck_pressure": (0.97 * _SEA_LEVEL, 1.03 * _SEA_LEVEL),
    "exhaust_back_pressure": (0.97 * _SEA_LEVEL, 1.03 * _SEA_LEVEL),
    "ambient_pressure": (0.99 * _SEA_LEVEL, 1.01 * _SEA_LEVEL),
    "ambient_temperature": (13.0, 17.0),
    "carburettor_air_temperature": (0.0, 40.0),
    "manifold_temperature": (0.0, 40.0),
    "exhaust_gas_temperature": (0.0, 40.0),
    "cylinder_head_temperature": (0.0, 40.0),
    "engine_speed": (-1.0, 1.0),
    "turbo_speed": (-10.0, 10.0),
    "brake_power": (-1.0, 1.0),
    "torque": (-1.0, 1.0),
    "fuel_flow": (-0.1, 0.1),
}
"""A cold engine standing still at sea level on a standard day: what is open to the air has its pressure and is
near its temperature, what turns or flows is at zero. Physics; the margins are assumptions."""

_CRUISING: Mapping[str, tuple[float, float]] = {
    "manifold_pressure": (8.0, 90.0),
    "carburettor_deck_pressure": (15.0, 90.0),
    "exhaust_back_pressure": (15.0, 120.0),
    "engine_speed": (500.0, 6000.0),
    "turbo_speed": (0.0, 150_000.0),
    "brake_power": (10.0, 6000.0),
    "torque": (20.0, 20_000.0),
    "fuel_flow": (5.0, 4000.0),
    "carburettor_air_temperature": (-30.0, 150.0),
    "manifold_temperature": (-30.0, 300.0),
    "exhaust_gas_temperature": (300.0, 1200.0),
    "cylinder_head_temperature": (40.0, 320.0),
    "wastegate_opening": (0.0, 1.0),
    "blade_angle": (0.0, 90.0),
    "throttle_position": (0.0, 1.0),
    "boost_position": (0.0, 1.0),
}
"""A piston engine running at half throttle: wide enough for any, too narrow for kPa, rad/s, degF or K under the
wrong name (common practice, no published source)."""

_LEAST_CONSUMPTION, _MOST_CONSUMPTION = 0.33, 1.5
"""lb/(hp h): below the first a spark-ignition engine would turn more than 41 % of petrol's 18,700 BTU/lb into
work; above the second the charge is too rich to burn (both limits are assumptions on that physics)."""


def units(bench: Bench) -> Outcome:
    """Start values fit the unit each channel is declared in, by physics and not by any model's numbers."""
    still = cruise(bench.inputs, bench.states, throttle=0.0, pressure_altitude=0.0, true_airspeed=0.0)
    running = cruise(bench.inputs, bench.states, pressure_altitude=0.0)
    stops = not bench.paced or bench.mounted.capabilities.reset
    at_rest = dict(zip(bench.outputs, bench.fly_row(still, "stopped").tolist(), strict=True)) if stops else {}
    turning = dict(zip(bench.outputs, bench.fly_row(running).tolist(), strict=True))
    wrong = [
        *_outside(at_rest, _STILL if _sea_level(bench) else _anywhere(), "standing still at sea level"),
        *_outside(turning, _CRUISING, "running at half throttle"),
        *_crossed(turning),
    ]
    if wrong:
        return failed(
            "; ".join(wrong),
            "set the unit the model really uses, in hello or as unit = ... of the channel in the stand file, and "
            "scale where it has none; an engine started as stopped stands still, and shows 29.92 inHg and 15 degC "
            "at sea level",
        )
    shown = [name for name in ("manifold_pressure", "ambient_pressure") if name in at_rest][:1]
    words = "".join(f", {name} {at_rest[name]:.2f} inHg stopped" for name in shown)
    when = "stopped and running" if stops else "running; it cannot be put back to begin stopped"
    return passed(f"{len(turning)} readings plausible {when}{words}", readings=len(turning))


def _sea_level(bench: Bench) -> bool:
    return "pressure_altitude" in bench.inputs


def _anywhere() -> Mapping[str, tuple[float, float]]:
    """Where the model cannot be told its height: anything up to 40,000 ft."""
    high = float(np.asarray(pressure_at_feet(40_000.0))) / float(np.asarray(pressure_at_feet(0.0))) * _SEA_LEVEL
    pressures = {name: (high, 1.1 * _SEA_LEVEL) for name in _STILL if name.endswith("pressure")}
    temperatures = {name: (-70.0, 60.0) for name in _STILL if name.endswith("temperature")}
    return {**_STILL, **pressures, **temperatures}


def _outside(values: Mapping[str, float], limits: Mapping[str, tuple[float, float]], when: str) -> list[str]:
    out = []
    for name, value in values.items():
        low, high = limits.get(name, (-math.inf, math.inf))
        if not math.isfinite(value) or not low <= value <= high:
            unit = "" if CHANNELS[name].unit == "1" else f" {CHANNELS[name].unit}"
            out.append(f"{name} is {value:.6g}{unit} {when}, plausible are {low:.4g} to {high:.4g}")
    return out


def _crossed(values: Mapping[str, float]) -> list[str]:
    """Readings that physics ties to one another."""
    out = []
    if {"brake_power", "torque", "engine_speed"} <= values.keys():
        made = values["torque"] * values["engine_speed"] * 2.0 * math.pi / 33_000.0
        if not abs(made - values["brake_power"]) <= 0.03 * abs(values["brake_power"]) + 1.0:
            out.append(f"torque x engine_speed gives {made:.1f} hp, brake_power says {values['brake_power']:.1f} hp")
    if {"brake_power", "fuel_flow"} <= values.keys() and values["brake_power"] > 0.0:
        spent = values["fuel_flow"] / values["brake_power"]
        if not _LEAST_CONSUMPTION <= spent <= _MOST_CONSUMPTION:
            out.append(
                f"fuel_flow over brake_power is {spent:.3f} lb/(hp h), plausible are {_LEAST_CONSUMPTION} to "
                f"{_MOST_CONSUMPTION}"
            )
    return out
