"""A one-lane engine in plain Python whose step costs what its stand file's options say, for ``bench_one_lane.py``.

Lagged laws of nine inputs and thirteen readings, and between them inner steps of a combustion-like recurrence: idle
arithmetic, whose result each reading takes part in, so that it cannot be left out. ``make`` mounts it in process.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, sqrt
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, Start

INPUTS = (
    "throttle", "boost", "propeller", "mixture", "intercooler_shutter",
    "pressure_altitude", "temperature_offset", "relative_humidity", "true_airspeed",
)  # fmt: skip
OUTPUTS = {
    "manifold_pressure": "inHg", "engine_speed": "rpm", "turbo_speed": "rpm", "brake_power": "hp",
    "torque": "lbf.ft", "fuel_flow": "lb/h", "carburettor_air_temperature": "degC",
    "carburettor_deck_pressure": "inHg", "exhaust_back_pressure": "inHg", "manifold_temperature": "degC",
    "exhaust_gas_temperature": "degC", "cylinder_head_temperature": "degC", "wastegate_opening": "1",
}  # fmt: skip
MIXTURES = ("cut_off", "auto_lean", "auto_rich", "full_rich")
LAGS = (0.6, 0.4, 1.5, 0.5, 0.5, 0.3, 1.0, 0.6, 0.4, 0.8, 1.2, 1.9, 0.3)
BASE = (18.0, 900.0, 4000.0, 150.0, 700.0, 120.0, 15.0, 25.0, 26.0, 40.0, 500.0, 120.0, 0.1)
BY_THROTTLE = (22.0, 1500.0, 9000.0, 1100.0, 1500.0, 600.0, 6.0, 4.0, 9.0, 25.0, 250.0, 80.0, 0.5)
BY_BOOST = (9.0, 20.0, 9000.0, 240.0, 300.0, 90.0, 30.0, 11.0, 9.0, 20.0, 40.0, 20.0, -0.4)


class OneLaneEngine:
    """The engine itself: :meth:`begin` and then :meth:`step`, floats in and floats out."""

    def __init__(self, inner: int) -> None:
        self.inner = inner
        self.state: list[float] = []
        self.shares: list[float] = []

    def begin(self, row: Sequence[float], seconds: float) -> list[float]:
        self.shares = [1.0 - exp(-seconds / lag) for lag in LAGS]
        self.state = self._aims(row)
        return self.state

    def step(self, row: Sequence[float]) -> list[float]:
        aims = self._aims(row)
        self.state = [
            old + (aim - old) * share for old, aim, share in zip(self.state, aims, self.shares, strict=True)
        ]
        return self.state

    def _aims(self, row: Sequence[float]) -> list[float]:
        throttle, boost, propeller = row[0], row[1], row[2]
        burn = 0.5
        for _ in range(self.inner):
            burn = sqrt(burn * 0.9 + 0.05)
        gain = burn * propeller
        return [
            base + gain * throttle * one + boost * other
            for base, one, other in zip(BASE, BY_THROTTLE, BY_BOOST, strict=True)
        ]


class OneLaneSession:
    """The engine as the port wants it, written as one writes it: rows to lists, steps, lists to an array."""

    def __init__(self, options: dict[str, Any]) -> None:
        self.engine = OneLaneEngine(int(options.get("inner", 1)))

    def hello(self) -> Hello:
        inputs = tuple(Signal(name, _unit(name), MIXTURES if name == "mixture" else ()) for name in INPUTS)
        outputs = tuple(Signal(name, unit) for name, unit in OUTPUTS.items())
        return Hello("one lane in Python", "1", inputs, outputs, Capabilities(), "invented lags")

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        if tuple(inputs) != INPUTS or tuple(outputs) != tuple(OUTPUTS):
            raise ValueError("this model takes and gives all its channels in its own order")
        return np.array([self.engine.begin(starts[0].row, step_ticks / 36000.0)])

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        step = self.engine.step
        return np.array([step(row) for row in rows[:, 0].tolist()])[:, None]

    def reset(self) -> None:
        self.engine.state = []

    def close(self) -> None:
        pass


def _unit(name: str) -> str:
    return {"pressure_altitude": "ft", "temperature_offset": "K", "true_airspeed": "kt"}.get(name, "1")


def make(options: dict[str, Any], defect: str | None) -> Session:
    return OneLaneSession(options)
