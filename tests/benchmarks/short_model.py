"""A light engine for ``bench_campaign.py``: some microsecond a step in plain Python, and the same laws over lanes.

Four inputs and five readings, each a lag behind a straight line of two inputs. ``one_lane`` and ``laned`` mount it in
process; the bare loop and the pytest items written by hand drive the same two sessions without the harness.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, Start

INPUTS = {"throttle": "1", "pressure_altitude": "ft", "temperature_offset": "K", "true_airspeed": "kt"}
LAWS = {
    "manifold_pressure": ("inHg", 12.0, 18.0, -2e-4, 1, 0.5),
    "engine_speed": ("rpm", 900.0, 1500.0, 0.2, 3, 0.8),
    "brake_power": ("hp", 20.0, 240.0, -0.4, 2, 0.6),
    "fuel_flow": ("lb/h", 12.0, 110.0, -1e-3, 1, 0.4),
    "carburettor_air_temperature": ("degC", 15.0, 4.0, 1.0, 2, 0.9),
}
"""Unit; where it settles at closed throttle, how much more at full throttle, how much more by the input of which
number; lag in seconds. Invented."""
LANES = 500

Row = Sequence[float]
Law = tuple[float, float, float, int, float]


def laws(seconds: float) -> list[Law]:
    """What one step of every reading takes: base, by throttle, by the other input, which, share of the way."""
    return [
        (base, gain, slope, other, 1.0 - exp(-seconds / lag))
        for _, base, gain, slope, other, lag in LAWS.values()
    ]


def settled(row: Row) -> list[float]:
    """The readings at rest; floats or arrays of lanes."""
    return [base + gain * row[0] + slope * row[other] for _, base, gain, slope, other, _ in LAWS.values()]


def stepped(state: list[float], rows: Sequence[Row], own: Sequence[Law]) -> list[list[float]]:
    """The readings after each row."""
    found = []
    for row in rows:
        throttle = row[0]
        state = [
            old + (base + gain * throttle + slope * row[other] - old) * share
            for old, (base, gain, slope, other, share) in zip(state, own, strict=True)
        ]
        found.append(state)
    return found


class _Short:
    lanes = 1

    def hello(self) -> Hello:
        inputs = tuple(Signal(name, unit) for name, unit in INPUTS.items())
        outputs = tuple(Signal(name, law[0]) for name, law in LAWS.items())
        return Hello(
            "short", "1", inputs, outputs, Capabilities(lanes=self.lanes), "invented straight lines and lags"
        )

    def _columns(self, inputs: Sequence[str], outputs: Sequence[str]) -> None:
        if tuple(inputs) != tuple(INPUTS) or tuple(outputs) != tuple(LAWS):
            raise ValueError("this model takes and gives all its channels in its own order")

    def reset(self) -> None:
        pass

    def close(self) -> None:
        pass


class OneLane(_Short):
    """One lane in plain Python."""

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self._columns(inputs, outputs)
        self.laws = laws(step_ticks / 36000.0)
        self.state = settled(starts[0].row)
        return np.array([self.state])

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        found = stepped(self.state, rows[:, 0].tolist(), self.laws)
        self.state = found[-1]
        return np.array(found)[:, None]


class Laned(_Short):
    """The same laws over all lanes at once."""

    lanes = LANES

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self._columns(inputs, outputs)
        base, gain, slope, other, share = zip(*laws(step_ticks / 36000.0), strict=True)
        self.base, self.gain, self.slope, self.share = (np.array(one) for one in (base, gain, slope, share))
        self.other = list(other)
        self.state = self._aims(np.array([start.row for start in starts]))
        return self.state.copy()

    def _aims(self, rows: Array) -> Array:
        return self.base + self.gain * rows[..., :1] + self.slope * rows[..., self.other]

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        chosen = np.array(lanes)
        state = self.state[chosen]
        reply = self._aims(rows)
        for aim in reply:
            state = state + (aim - state) * self.share
            aim[...] = state
        self.state[chosen] = state
        return reply


def one_lane(options: dict[str, Any], defect: str | None) -> Session:
    return OneLane()


def laned(options: dict[str, Any], defect: str | None) -> Session:
    return Laned()
