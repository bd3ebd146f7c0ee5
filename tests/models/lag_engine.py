"""A small engine in Python, mounted in process by ``make`` and as a child process by running this file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, Start

MIXTURES = ("full_rich", "auto_rich", "auto_lean", "cut_off")


class LagEngine:
    """Manifold pressure (kPa) follows the throttle with a lag; the mixture states run backwards."""

    def __init__(self, options: dict[str, Any], defect: str | None) -> None:
        self.lag = float(options.get("lag", 1.7))
        self.defect = defect

    def hello(self) -> Hello:
        return Hello(
            model="lag engine",
            version="1",
            inputs=(Signal("throttle", "1"), Signal("mix", "1", MIXTURES), Signal("bleed", "1")),
            outputs=(
                Signal("map", "kPa"),
                Signal("engine_speed", "rad/s"),
                Signal("carburettor_air_temperature", "degF"),
                Signal("mood", "1"),
            ),
            capabilities=Capabilities(lanes=8, max_values=60),
            derived_from="a first-order lag, invented",
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.inputs, self.outputs, self.step = list(inputs), list(outputs), step_ticks / 36000.0
        rows = np.array([start.row for start in starts])
        self.pressure = 30.0 + 70.0 * rows[:, self.inputs.index("throttle")] / 3.0
        return self._reading(rows, np.arange(len(starts)))

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        chosen = np.array(lanes)
        reply = np.empty((len(rows), len(chosen), len(self.outputs)))
        for i, row in enumerate(rows):
            target = 30.0 + 70.0 * row[:, self.inputs.index("throttle")] / 3.0
            self.pressure[chosen] += (target - self.pressure[chosen]) * (1.0 - np.exp(-self.step / self.lag))
            reply[i] = self._reading(row, chosen)
        return reply

    def _reading(self, row: Array, lanes: Any) -> Array:
        mixture = row[:, self.inputs.index("mix")] if "mix" in self.inputs else np.zeros(len(lanes))
        pressure = self.pressure[lanes]
        if self.defect == "charge-ignores-pressure":
            pressure = np.full_like(pressure, 50.0)
        values = {
            "map": pressure,
            "engine_speed": np.where(mixture == 3, 0.0, 2.1 * pressure),
            "carburettor_air_temperature": np.full_like(pressure, 59.0),
            "mood": mixture,
        }
        return np.stack([values[name] for name in self.outputs], axis=-1)

    def reset(self) -> None:
        self.pressure = np.empty(0)

    def close(self) -> None:
        self.closed = True


def make(options: dict[str, Any], defect: str | None) -> Session:
    return LagEngine(options, defect)


def broken(options: dict[str, Any], defect: str | None) -> Session:
    raise RuntimeError("the factory is on strike")


class Shapeless(LagEngine):
    """Answers in a shape of its own."""

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        return np.zeros((1, 1))


class Complex(LagEngine):
    """Answers with numbers that have an imaginary part."""

    def advance(self, lanes: Sequence[int], rows: Any) -> Any:
        return super().advance(lanes, rows) + 1j


class Raising(LagEngine):
    """Raises in the middle of a run."""

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        raise ZeroDivisionError("valve overlap of zero")


class Leaving(LagEngine):
    """Asks for the end of the interpreter."""

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        raise SystemExit(2)


class Detented(LagEngine):
    """Takes the mixture lever as a number, cut off at 3."""

    def hello(self) -> Hello:
        said = super().hello()
        return replace(said, inputs=(said.inputs[0], Signal("mix", "1"), said.inputs[2]))


class Meddling(LagEngine):
    """Writes into the rows it is given and answers with the same array each time."""

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        rows[...] = -1.0
        self.kept = getattr(self, "kept", np.zeros((len(rows), len(lanes), len(self.outputs))))
        self.kept += 1.0
        return self.kept


def not_a_session(options: dict[str, Any], defect: str | None) -> dict[str, int]:
    return {"hello": 1}


if __name__ == "__main__":
    import sys

    from leverproof.stand.server import serve

    print("this line goes to standard error once the protocol is served", file=sys.stderr)
    made = globals()[sys.argv[2]] if "--class" in sys.argv else LagEngine
    serve(made({}, sys.argv[2] if "--defect" in sys.argv else None))
