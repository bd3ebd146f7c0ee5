"""A small honest engine, and the same engine with one vice each, for the conformance kit.

``VICES`` names every vice with the item of the kit that must catch it. ``make(options, defect)`` mounts it in the
process: ``options["vice"]`` is the vice and ``options["clock"]`` a clock that slow vices turn on, so that no test
waits for them. As a program, ``--vice NAME`` serves it on the standard streams.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Signal, Start

VICES: dict[str, tuple[str, str]] = {
    "dies-at-start": ("handshake", "raises before it can say hello"),
    "other-names": ("handshake", "names its levers in a way the stand file does not map"),
    "nameless-states": ("states", "gives the mixture as numbers without names"),
    "kilopascals-as-inches": ("units", "declares inHg and answers in kPa"),
    "kilograms-as-pounds": ("units", "declares lb/h and answers in kg/h"),
    "throttle-backwards": ("levers", "closes when the throttle is opened"),
    "dead-propeller": ("levers", "never looks at the propeller lever"),
    "burns-at-cut-off": ("levers", "goes on burning fuel at cut-off"),
    "height-of-the-start": ("surroundings", "reads the height at the start alone"),
    "noise": ("repeat", "adds noise from a generator that runs on"),
    "seeded-by-the-opening": ("reopened", "draws a tolerance when it is opened"),
    "warm-from-before": (
        "initialised-again",
        "keeps its heat through initialise once it has been at full throttle",
    ),
    "reset-leaves-heat": ("reset", "adds a trace at each reset"),
    "late-by-a-batch": ("single-steps", "applies the first row of a batch one row late"),
    "odd-batches": ("random-batches", "leaves out the last row of a batch of odd length"),
    "runs-on-when-left": ("paused", "goes on by a clock when nothing was asked for a while"),
    "own-column-order": ("column-order", "answers in its own order of columns"),
    "draught-from-neighbours": ("lanes", "lets the number of lanes into the pressure"),
    "all-lanes-move": ("some-lanes", "advances lanes that were not named"),
    "holds-the-last": ("nan", "takes the last good value for NaN"),
    "hangs-on-nan": ("nan", "never comes back from NaN"),
    "guesses-names": ("refusal", "takes zero for a column it does not know"),
    "slow-rows": ("timing", "takes 15 ms for a row"),
    "waits-now-and-then": ("jitter", "waits 4 s at one step in a hundred"),
    "stops-after-a-minute": ("clock", "stands still after 60 s"),
    "own-step": ("clock", "takes 0.05 s for every row"),
    "droops-with-the-step": ("grid-step", "settles lower the longer the step"),
    "close-raises": ("clean-end", "raises when it is told to close"),
}

TICKS = 36_000.0
MIXTURES = ("cut_off", "auto_lean", "auto_rich", "full_rich")
FUEL = (0.0, 0.42, 0.50, 0.60)
INPUTS = ("throttle", "propeller", "mixture", "pressure_altitude", "temperature_offset", "true_airspeed")
INPUT_UNITS = ("1", "1", "1", "ft", "K", "kt")
OUTPUTS = {
    "manifold_pressure": "inHg",
    "engine_speed": "rpm",
    "brake_power": "hp",
    "fuel_flow": "lb/h",
    "ambient_pressure": "inHg",
    "ambient_temperature": "degC",
}
REST = {"throttle": 0.0, "propeller": 1.0, "mixture": 2.0}


@dataclass(frozen=True)
class Air:
    """Ambient pressure (inHg) and temperature (degC)."""

    pressure: float
    temperature: float


@dataclass
class Lane:
    """One engine: manifold pressure (inHg), speed (rpm), what it was last told and how long it has run (s)."""

    running: bool
    told: dict[str, float]
    start: dict[str, float]
    pressure: float = 0.0
    speed: float = 0.0
    seconds: float = 0.0


class Engine:
    """Lanes of the engine with one vice, or none."""

    def __init__(
        self, vice: str, tick: Callable[[float], None], now: Callable[[], float] = time.monotonic
    ) -> None:
        self._vice, self._tick, self._now = vice, tick, now
        self._answered = now()
        self._noise = random.Random(7)
        self._tolerance = int.from_bytes(os.urandom(4)) * 1e-12 if vice == "seeded-by-the-opening" else 0.0
        self._heat, self._hot, self._singles = 0.0, False, 0
        self._lanes: list[Lane] = []
        self._inputs: tuple[str, ...] = ()
        self._outputs: tuple[str, ...] = ()
        self._step = 0.05

    def hello(self) -> Hello:
        """Names and units."""
        states = {"mixture": () if self._vice == "nameless-states" else MIXTURES}
        inputs = tuple(Signal(n, u, states.get(n, ())) for n, u in zip(INPUTS, INPUT_UNITS, strict=True))
        if self._vice == "other-names":
            inputs = tuple(replace(signal, name=f"my_{signal.name}") for signal in inputs)
        return Hello(
            model="Rill with a vice",
            version="1",
            inputs=inputs,
            outputs=tuple(Signal(name, unit) for name, unit in OUTPUTS.items()),
            capabilities=Capabilities(lanes=8),
            derived_from="lags, invented",
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Lanes at equilibrium or standing still."""
        if self._vice != "guesses-names" and not (
            set(inputs) <= set(INPUTS) and set(outputs) <= set(OUTPUTS)
        ):
            raise ValueError("a column this engine does not have")
        if step_ticks <= 0 or 18_000 % step_ticks:
            raise ValueError(f"a grid step of {step_ticks} ticks")
        if any(start.engine not in ("running", "stopped") for start in starts):
            raise ValueError("an engine starts running or stopped")
        if self._vice == "warm-from-before" and self._hot:
            self._heat = 0.01
        self._inputs, self._outputs = tuple(inputs), tuple(outputs)
        self._step = 0.05 if self._vice == "own-step" else step_ticks / TICKS
        self._lanes = []
        for start in starts:
            told = self._told(start.row, {})
            lane = Lane(start.engine == "running", told, told)
            lane.pressure, lane.speed = self._targets(lane, told)
            self._lanes.append(lane)
        return np.array([self._row(lane) for lane in self._lanes])

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """See the port."""
        self._tick(0.015 * len(rows) if self._vice == "slow-rows" else 0.0)
        self._singles = self._singles + 1 if len(rows) == 1 else 0
        left, self._answered = self._now() - self._answered, self._now()
        if self._vice == "runs-on-when-left" and left > 0.4:
            for number in lanes:
                for _ in range(round(left / self._step)):
                    self._go(self._lanes[number], self._lanes[number].told)
        if self._vice == "waits-now-and-then" and self._singles % 100 == 99:
            self._tick(4.0)
        out = np.empty((len(rows), len(lanes), len(self._outputs)))
        skipped = len(rows) - 1 if self._vice == "odd-batches" and len(rows) > 1 and len(rows) % 2 else -1
        for i, row in enumerate(rows.tolist()):
            for k, number in enumerate(lanes):
                lane = self._lanes[number]
                before, lane.told = lane.told, self._told(row[k], lane.told)
                late = self._vice == "late-by-a-batch" and i == 0
                if i != skipped:
                    self._go(lane, before if late else lane.told)
                out[i, k] = self._row(lane)
            if self._vice == "all-lanes-move":
                for number in set(range(len(self._lanes))) - set(lanes):
                    self._go(self._lanes[number], self._lanes[number].told)
        return out

    def reset(self) -> None:
        """Forgets the lanes."""
        self._lanes = []
        if self._vice == "reset-leaves-heat":
            self._heat += 0.01

    def close(self) -> None:
        """Ends."""
        if self._vice == "close-raises":
            raise RuntimeError("the log cannot be written")

    def _told(self, row: Sequence[float], before: dict[str, float]) -> dict[str, float]:
        given = dict(zip(self._inputs, row, strict=True))
        if self._vice == "holds-the-last":
            given = {name: before.get(name, 0.0) if math.isnan(x) else x for name, x in given.items()}
        while self._vice == "hangs-on-nan" and any(math.isnan(x) for x in given.values()):
            time.sleep(0.01)
        return {name: given.get(name, REST.get(name, 0.0)) for name in INPUTS}

    def _air(self, lane: Lane, told: dict[str, float]) -> Air:
        height = (lane.start if self._vice == "height-of-the-start" else told)["pressure_altitude"]
        pressure = 29.9213 * (1.0 - 6.87559e-6 * height) ** 5.25588
        return Air(pressure, 15.0 - 0.0019812 * height + told["temperature_offset"])

    def _targets(self, lane: Lane, told: dict[str, float]) -> tuple[float, float]:
        """Manifold pressure and speed that the lane tends to."""
        air = self._air(lane, told)
        if not lane.running:
            return air.pressure, 0.0
        throttle = 1.0 - told["throttle"] if self._vice == "throttle-backwards" else told["throttle"]
        pressure = air.pressure * (0.35 + 0.6 * throttle) + self._heat + self._tolerance
        if self._vice == "droops-with-the-step":
            pressure -= 20.0 * self._step
        if self._vice == "draught-from-neighbours":
            pressure += 1e-6 * len(self._lanes)
        propeller = 0.5 if self._vice == "dead-propeller" else told["propeller"]
        burning = self._fuel(told) > 0.0
        return pressure, (2600.0 if burning else 1300.0) * (0.6 + 0.4 * propeller)

    def _fuel(self, told: dict[str, float]) -> float:
        index = int(told["mixture"])
        return FUEL[1] if self._vice == "burns-at-cut-off" and index == 0 else FUEL[index]

    def _go(self, lane: Lane, told: dict[str, float]) -> None:
        """One step: both lags solved exactly over it, so that the step makes no difference."""
        lane.seconds += self._step
        self._hot = self._hot or told["throttle"] > 0.95
        if self._vice == "stops-after-a-minute" and lane.seconds > 60.0:
            return
        pressure, speed = self._targets(lane, told)
        lane.pressure += (pressure - lane.pressure) * (1.0 - math.exp(-self._step / 0.8))
        lane.speed += (speed - lane.speed) * (1.0 - math.exp(-self._step / 1.5))
        if self._vice == "noise":
            lane.pressure += self._noise.gauss(0.0, 1e-4)

    def _row(self, lane: Lane) -> list[float]:
        air, fuel = self._air(lane, lane.told), self._fuel(lane.told)
        fires = lane.running and fuel > 0.0
        power = 0.004 * lane.pressure * lane.speed if fires else -0.01 * lane.speed
        values = {
            "manifold_pressure": lane.pressure * (3.38639 if self._vice == "kilopascals-as-inches" else 1.0),
            "engine_speed": lane.speed,
            "brake_power": power,
            "fuel_flow": fuel * power * (0.45359 if self._vice == "kilograms-as-pounds" else 1.0)
            if fires
            else 0.0,
            "ambient_pressure": air.pressure,
            "ambient_temperature": air.temperature,
        }
        names = tuple(OUTPUTS) if self._vice == "own-column-order" else self._outputs
        return [values.get(name, 0.0) for name in names]


def make(options: dict[str, Any], defect: str | None) -> Engine:
    """The engine with ``options["vice"]``; ``options["clock"]`` has a method ``turn(seconds)``."""
    vice = options.get("vice", "none")
    if vice == "dies-at-start":
        raise RuntimeError("no fuel in the tank")
    clock = options.get("clock")
    if clock is None:
        return Engine(vice, lambda seconds: None)
    return Engine(vice, clock.turn, clock)


def main() -> None:
    """Serves it on the standard streams; ``--end`` says how the program behaves after close."""
    from leverproof.stand.server import serve

    parser = argparse.ArgumentParser()
    parser.add_argument("--vice", default="none")
    parser.add_argument("--end", choices=("clean", "lingers", "code"), default="clean")
    options = parser.parse_args()
    serve(make({"vice": options.vice}, None))
    if options.end == "lingers":
        time.sleep(60.0)
    sys.exit(3 if options.end == "code" else 0)


if __name__ == "__main__":
    main()
