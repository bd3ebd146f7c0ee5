"""The rows a model is given: an ordinary cruise, and rows drawn at random around it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.stand.port import Array, Start

CRUISE: Mapping[str, float] = {
    "throttle": 0.5,
    "boost": 0.0,
    "propeller": 0.9,
    "intercooler_shutter": 1.0,
    "cowl_flaps": 0.5,
    "pressure_altitude": 3000.0,
    "true_airspeed": 150.0,
}
"""Where the inputs stand unless an item moves them; what is not named here stands at zero, the mixture where it
fires (see :func:`cruise`)."""

_DRAWN: Mapping[str, tuple[float, float]] = {
    "throttle": (0.3, 0.8),
    "boost": (0.0, 0.5),
    "propeller": (0.6, 1.0),
    "pressure_altitude": (0.0, 9000.0),
    "temperature_offset": (-10.0, 15.0),
    "true_airspeed": (110.0, 170.0),
}
_WAYPOINTS = 4


@dataclass(frozen=True, slots=True)
class Program:
    """A run: how each lane starts and its rows, shape (n, lanes, inputs), columns in the order of ``inputs``."""

    inputs: tuple[str, ...]
    starts: tuple[Start, ...]
    rows: Array

    def lane(self, index: int) -> Program:
        """The run of one lane alone."""
        return Program(self.inputs, (self.starts[index],), self.rows[:, [index]])


def firing(states: Sequence[str]) -> tuple[float, ...]:
    """The indices of the mixture states in which the engine fires, the usual one of a cruise first."""
    every = CHANNELS["mixture"].states
    order = [name for name in ("auto_rich", "full_rich", "auto_lean") if name in (states or every)]
    return tuple(float(every.index(name)) for name in order)


def cruise(inputs: Sequence[str], states: Mapping[str, Sequence[str]], **changes: float) -> list[float]:
    """One row of an ordinary cruise in the order of ``inputs``, with ``changes``."""
    rich = firing(states.get("mixture", ()))
    values = {**CRUISE, "mixture": rich[0] if rich else 0.0, **changes}
    return [float(values.get(name, 0.0)) for name in inputs]


def ramped(ends: Sequence[Sequence[float]], parts: tuple[int, int, int]) -> Array:
    """Rows of shape (n, inputs): ``parts`` rows at the first of two ``ends``, from it to the second, and at
    the second."""
    before, between, after = parts
    share = np.concatenate([np.zeros(before), np.linspace(0.0, 1.0, between), np.ones(after)])[:, None]
    begin, end = (np.asarray(place, dtype=np.float64) for place in ends)
    rows: Array = begin + share * (end - begin)
    return rows


def drawn(
    rng: np.random.Generator,
    inputs: Sequence[str],
    states: Mapping[str, Sequence[str]],
    *,
    lanes: int,
    rows: int,
) -> Program:
    """A program drawn at random: continuous inputs run through points drawn about a cruise, discrete ones change
    their state, and the engine goes on firing throughout."""
    out = np.empty((rows, lanes, len(inputs)), dtype=np.float64)
    at = np.linspace(0.0, 1.0, _WAYPOINTS)
    times = np.linspace(0.0, 1.0, rows)
    for column, name in enumerate(inputs):
        for lane in range(lanes):
            if CHANNELS[name].states:
                known = [float(CHANNELS[name].states.index(state)) for state in states[name]]
                choice = list(firing(states[name])) if name == "mixture" else known
                points = rng.choice(choice, _WAYPOINTS)
                out[:, lane, column] = points[np.minimum((times * _WAYPOINTS).astype(int), _WAYPOINTS - 1)]
            else:
                low, high = _DRAWN.get(name, (0.1, 0.9))
                out[:, lane, column] = np.interp(times, at, rng.uniform(low, high, _WAYPOINTS))
    starts = tuple(Start("running", tuple(out[0, lane].tolist())) for lane in range(lanes))
    return Program(tuple(inputs), starts, out)
