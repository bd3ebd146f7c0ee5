"""A cheap engine for campaigns, mounted in process: manifold pressure lags behind throttle and air pressure.

``make`` has one lane and a plain Python loop, ``make_lanes`` many lanes in arrays. The option ``coefficients`` sets
``gain`` and ``lag``; with a gain above ``most_gain`` there is no model. The options ``dies_at``, ``hangs_at``,
``raises_at`` and ``spews_at`` (ft) make the process end, or the model never answer, raise, or give what is no number,
in a run at that height.
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, Start

INPUTS = ("throttle", "propeller", "mixture", "pressure_altitude", "temperature_offset", "true_airspeed")
OUTPUTS = ("manifold_pressure", "engine_speed", "brake_power")
MIXTURES = ("cut_off", "auto_lean", "auto_rich", "full_rich")
NOMINAL = {"gain": 1.0, "lag": 0.8}


class CampaignEngine:
    """One lane."""

    lanes = 1

    def __init__(self, options: dict[str, Any]) -> None:
        told = {**NOMINAL, **options.get("coefficients", {})}
        self.gain, self.lag = float(told["gain"]), float(told["lag"])
        if self.gain > options.get("most_gain", math.inf):
            raise ValueError("no engine has so much of it")
        self.dies, self.hangs, self.raises = (options.get(name) for name in ("dies_at", "hangs_at", "raises_at"))
        self.spews = options.get("spews_at")
        self.pause = float(options.get("pause", 0.0))
        self.log = str(options.get("log", ""))

    def hello(self) -> Hello:
        units = {"pressure_altitude": "ft", "temperature_offset": "K", "true_airspeed": "kt"}
        return Hello(
            model="campaign engine",
            version="1",
            inputs=tuple(
                Signal(
                    n, units.get(n, "1"), ("cut_off", "auto_lean", "auto_rich", "full_rich") if n == "mixture" else ()
                )
                for n in INPUTS
            ),
            outputs=(Signal("manifold_pressure", "inHg"), Signal("engine_speed", "rpm"), Signal("brake_power", "hp")),
            capabilities=Capabilities(lanes=self.lanes, max_values=5_000_000),
            derived_from="a first-order lag, invented",
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.share = 1.0 - math.exp(-step_ticks / 36000.0 / self.lag)
        self.columns = [list(inputs).index(name) for name in ("throttle", "propeller", "pressure_altitude")]
        self.order = [OUTPUTS.index(name) for name in outputs]
        rows = np.array([start.row for start in starts])
        self.pressure = self.target(*(rows[:, column] for column in self.columns))
        self.heights = set(rows[:, self.columns[2]].tolist())
        if self.log:
            with (Path(self.log) / "flights.log").open("a") as log:
                log.writelines(f"{os.getpid()} {height}\n" for height in rows[:, self.columns[2]])
        return self.reading(self.pressure, rows[:, self.columns[1]])[:, self.order]

    def target(self, throttle: Any, propeller: Any, height: Any) -> Any:
        return self.gain * (8.0 + 22.0 * throttle) * (1.0 - 6.8756e-6 * height) ** 5.2559

    def reading(self, pressure: Array, propeller: Array) -> Array:
        speed = 1600.0 + 1000.0 * propeller
        return np.stack([pressure, speed, pressure * speed / 40.0], axis=-1)

    def misbehave(self) -> None:
        if self.pause:
            time.sleep(self.pause)
        if self.dies in self.heights:
            os._exit(3)
        if self.hangs in self.heights:
            time.sleep(3600.0)
        if self.raises in self.heights:
            raise RuntimeError("the model is on strike")

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        self.misbehave()
        throttle, propeller, height = self.columns
        pressure, share, gain = float(self.pressure[0]), self.share, self.gain
        reply = []
        for row in rows[:, 0].tolist():
            target = gain * (8.0 + 22.0 * row[throttle]) * (1.0 - 6.8756e-6 * row[height]) ** 5.2559
            pressure += share * (target - pressure)
            speed = 1600.0 + 1000.0 * row[propeller]
            reply.append((pressure, speed, pressure * speed / 40.0))
        self.pressure[0] = pressure
        if self.spews in self.heights:
            reply[-1] = (math.nan, math.nan, math.nan)
        return np.array(reply)[:, None, self.order]

    def reset(self) -> None:
        self.pressure = np.empty(0)

    def close(self) -> None:
        pass


class CampaignLanes(CampaignEngine):
    """Many lanes side by side."""

    lanes = 300

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        self.misbehave()
        chosen = np.array(lanes)
        throttle, propeller, height = self.columns
        reply = np.empty((len(rows), len(chosen), len(OUTPUTS)))
        pressure = self.pressure[chosen]
        targets = self.target(rows[:, :, throttle], None, rows[:, :, height])
        for i, target in enumerate(targets):
            pressure += self.share * (target - pressure)
            reply[i, :, 0] = pressure
        self.pressure[chosen] = pressure
        reply[..., 1] = 1600.0 + 1000.0 * rows[:, :, propeller]
        reply[..., 2] = reply[..., 0] * reply[..., 1] / 40.0
        return reply[..., self.order]


class CampaignForgetsNothing(CampaignEngine):
    """Can be begun once only."""

    def hello(self) -> Hello:
        said = super().hello()
        return replace(said, capabilities=replace(said.capabilities, reset=False))

    def initialise(self, *asked: Any) -> Array:
        if hasattr(self, "pressure"):
            raise RuntimeError("begun already")
        return super().initialise(*asked)


def make_once(options: dict[str, Any], defect: str | None) -> Session:
    return CampaignForgetsNothing(options)


def make(options: dict[str, Any], defect: str | None) -> Session:
    return CampaignEngine(options)


def make_lanes(options: dict[str, Any], defect: str | None) -> Session:
    return CampaignLanes(options)
