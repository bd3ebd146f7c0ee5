"""A small engine in Python that breaks at one pressure altitude: it ends its process, hangs, or takes its parent along.

Options: ``at`` (ft) and ``how`` (``signal``, ``exit``, ``hang``, ``parent``: the process that started this one, where
the environment has ``MAY_BE_KILLED``), ``pace`` (seconds of wall time that a row takes), ``lanes`` and the coefficient
``filling``.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Sequence
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, Start

INPUTS = ("throttle", "propeller", "pressure_altitude", "temperature_offset", "true_airspeed")
OUTPUTS = ("manifold_pressure", "engine_speed", "brake_power")


class BreakingEngine:
    """Manifold pressure follows the throttle with a lag of 1 s, engine speed the propeller lever at once."""

    def __init__(self, options: dict[str, Any]) -> None:
        self.at, self.how = float(options.get("at", -1.0)), str(options.get("how", ""))
        self.pace, self.lanes = float(options.get("pace", 0.0)), int(options.get("lanes", 1))
        self.filling = float(options.get("coefficients", {}).get("filling", 1.0))

    def hello(self) -> Hello:
        return Hello(
            model="breaking engine",
            version="1",
            inputs=tuple(Signal(name, unit) for name, unit in zip(INPUTS, ("1", "1", "ft", "K", "kt"), strict=True)),
            outputs=(
                Signal("manifold_pressure", "inHg"),
                Signal("engine_speed", "rpm"),
                Signal("brake_power", "hp"),
            ),
            capabilities=Capabilities(lanes=self.lanes),
            derived_from="a first-order lag, invented",
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.columns = [list(inputs).index(name) for name in INPUTS]
        self.told = [OUTPUTS.index(name) for name in outputs]
        self.share = 1.0 - np.exp(-step_ticks / 36000.0)
        rows = np.array([start.row for start in starts])[:, self.columns]
        self.pressure = self.target(rows)
        return self.reading(rows, self.pressure)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        chosen = np.array(lanes)
        reply = np.empty((len(rows), len(chosen), len(self.told)))
        for i, row in enumerate(rows[:, :, self.columns]):
            if (row[:, 2] == self.at).any():
                self.breaks()
            self.pressure[chosen] += (self.target(row) - self.pressure[chosen]) * self.share
            reply[i] = self.reading(row, self.pressure[chosen])
        time.sleep(self.pace * len(rows))
        return reply

    def target(self, row: Array) -> Array:
        """Manifold pressure that the throttle asks for, inHg."""
        ambient: Array = 29.92 * (1.0 - 6.8756e-6 * row[:, 2]) ** 5.2559
        return ambient * (0.4 + 0.6 * row[:, 0])

    def reading(self, row: Array, pressure: Array) -> Array:
        speed = 1500.0 + 1100.0 * row[:, 1]
        told: Array = np.stack([pressure, speed, self.filling * 0.02 * pressure * speed], axis=-1)[:, self.told]
        return told

    def breaks(self) -> None:
        if self.how == "signal":
            os.kill(os.getpid(), signal.SIGKILL)
        elif self.how == "exit":
            os._exit(7)
        elif self.how == "hang":
            time.sleep(3600.0)
        elif self.how == "parent" and "MAY_BE_KILLED" in os.environ:
            os.kill(os.getppid(), signal.SIGKILL)
            time.sleep(3600.0)

    def reset(self) -> None:
        self.pressure = np.empty(0)

    def close(self) -> None:
        pass


def make(options: dict[str, Any], defect: str | None) -> Session:
    return BreakingEngine(options)
