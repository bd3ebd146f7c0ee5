"""The embedded engine behind gauges and levers of other makes: honest ones, and ones with a fault.

``factory(options, defect)``: ``options["set"]`` names the parameter set, ``options["fitting"]`` what is put between
engine and harness, one of :data:`FITTINGS`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Hello, Session, StandFile, Start
from leverproof_adapters.reference_engine import open_stand

LEVERS = ("throttle", "boost", "propeller", "intercooler_shutter")
FROZEN_AFTER = 60.0
STEPS = {"manifold_pressure": 0.1, "engine_speed": 10.0, "turbo_speed": 100.0, "brake_power": 5.0}


class Fitting:
    """Sees all rows of a session. ``inputs`` and ``outputs`` map a name to its column."""

    def begin(self, lanes: int, step: float, inputs: dict[str, int], outputs: dict[str, int]) -> None:
        self.step, self.inputs, self.outputs = step, inputs, outputs
        self.seconds = np.zeros(lanes)

    def levers(self, rows: Array, lanes: list[int]) -> Array:
        return rows

    def gauges(self, shown: Array, rows: Array, lanes: list[int]) -> Array:
        return shown


class SlowActuators(Fitting):
    """Every lever follows with a lag of half a second: honest."""

    def begin(self, lanes: int, step: float, inputs: dict[str, int], outputs: dict[str, int]) -> None:
        super().begin(lanes, step, inputs, outputs)
        self.columns = [inputs[name] for name in LEVERS if name in inputs]
        self.at = np.full((lanes, len(self.columns)), np.nan)

    def levers(self, rows: Array, lanes: list[int]) -> Array:
        share = -math.expm1(-self.step / 0.5)
        for row in rows:
            asked = row[:, self.columns]
            at = np.where(np.isnan(self.at[lanes]), asked, self.at[lanes])
            self.at[lanes] = at + share * (asked - at)
            row[:, self.columns] = self.at[lanes]
        return rows


class CoarseGauges(Fitting):
    """Gauges that move in steps as large as a panel's: honest."""

    def gauges(self, shown: Array, rows: Array, lanes: list[int]) -> Array:
        for name, step in STEPS.items():
            if name in self.outputs:
                shown[..., self.outputs[name]] = np.round(shown[..., self.outputs[name]] / step) * step
        return shown


class Frozen(Fitting):
    """One gauge stops a minute after the model was started."""

    def __init__(self, name: str) -> None:
        self.name = name

    def begin(self, lanes: int, step: float, inputs: dict[str, int], outputs: dict[str, int]) -> None:
        super().begin(lanes, step, inputs, outputs)
        self.held = np.full(lanes, np.nan)

    def gauges(self, shown: Array, rows: Array, lanes: list[int]) -> Array:
        column = self.outputs[self.name]
        for at, row in enumerate(shown):
            late = self.seconds[lanes] + (at + 1) * self.step >= FROZEN_AFTER
            fresh = late & np.isnan(self.held[lanes])
            self.held[lanes] = np.where(fresh, row[:, column], self.held[lanes])
            row[:, column] = np.where(late, self.held[lanes], row[:, column])
        return shown


class FrameLag(Fitting):
    """One gauge goes a twentieth of the way in every frame, however long a frame lasts."""

    def __init__(self, name: str) -> None:
        self.name = name

    def begin(self, lanes: int, step: float, inputs: dict[str, int], outputs: dict[str, int]) -> None:
        super().begin(lanes, step, inputs, outputs)
        self.at = np.full(lanes, np.nan)

    def gauges(self, shown: Array, rows: Array, lanes: list[int]) -> Array:
        column = self.outputs[self.name]
        for row in shown:
            at = np.where(np.isnan(self.at[lanes]), row[:, column], self.at[lanes])
            self.at[lanes] = at + 0.05 * (row[:, column] - at)
            row[:, column] = self.at[lanes]
        return shown


class Shown(Fitting):
    """One gauge shows ``law(itself, all outputs by name)``."""

    def __init__(self, name: str, law: Callable[[Array, dict[str, Array]], Array]) -> None:
        self.name, self.law = name, law

    def gauges(self, shown: Array, rows: Array, lanes: list[int]) -> Array:
        column = self.outputs[self.name]
        named = {name: shown[..., at] for name, at in self.outputs.items()}
        shown[..., column] = self.law(shown[..., column].copy(), named)
        return shown


class NoFullRichWideOpen(Fitting):
    """The full rich position is auto rich beyond six tenths of the throttle."""

    def levers(self, rows: Array, lanes: list[int]) -> Array:
        mixture = rows[..., self.inputs["mixture"]]
        wide = rows[..., self.inputs["throttle"]] > 0.6
        rows[..., self.inputs["mixture"]] = np.where(wide & (mixture == 3.0), 2.0, mixture)
        return rows


FITTINGS: dict[str, Callable[[], Fitting]] = {
    "none": Fitting,
    "slow actuators": SlowActuators,
    "coarse gauges": CoarseGauges,
    "frozen fuel flow": lambda: Frozen("fuel_flow"),
    "frozen torque": lambda: Frozen("torque"),
    "frozen heads": lambda: Frozen("cylinder_head_temperature"),
    "fuel flow by the frame": lambda: FrameLag("fuel_flow"),
    "manifold pressure by the frame": lambda: FrameLag("manifold_pressure"),
    "back pressure by gauge": lambda: Shown(
        "exhaust_back_pressure", lambda own, all_: own - all_["ambient_pressure"] + 29.92
    ),
    "warm manifold thermometer": lambda: Shown("manifold_temperature", lambda own, all_: own + 20.0),
    "no full rich wide open": NoFullRichWideOpen,
}


class WrappedEngine:
    """The session of the embedded engine seen through a fitting."""

    def __init__(self, inner: Session, fitting: Fitting) -> None:
        self._inner, self._fitting = inner, fitting
        self._names: tuple[str, ...] = ()
        self._wanted: list[int] = []

    def hello(self) -> Hello:
        return self._inner.hello()

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self._names = tuple(signal.name for signal in self._inner.hello().outputs)
        self._wanted = [self._names.index(name) for name in outputs]
        rows = np.array([[start.row for start in starts]], dtype=np.float64)
        columns, readings = ({n: i for i, n in enumerate(names)} for names in (inputs, self._names))
        self._fitting.begin(len(starts), step_ticks / 36_000, columns, readings)
        lanes = list(range(len(starts)))
        moved = self._fitting.levers(rows.copy(), lanes)[0]
        begun = [Start(start.engine, tuple(row)) for start, row in zip(starts, moved, strict=True)]
        first = self._inner.initialise(begun, step_ticks, inputs, self._names)[None]
        return self._fitting.gauges(first, rows, lanes)[0][:, self._wanted]

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        named = list(lanes)
        moved = self._fitting.levers(np.array(rows, dtype=np.float64), named)
        shown = self._fitting.gauges(self._inner.advance(named, moved).copy(), rows, named)
        self._fitting.seconds[named] += len(rows) * self._fitting.step
        return shown[..., self._wanted]

    def reset(self) -> None:
        self._inner.reset()

    def close(self) -> None:
        self._inner.close()


def factory(options: dict[str, Any], defect: str | None) -> WrappedEngine:
    """The embedded engine of ``options["set"]`` behind ``options["fitting"]``."""
    stand = StandFile(path="", title="", kind="reference_engine", target=str(options["set"]))
    return WrappedEngine(open_stand(stand, defect=None), FITTINGS[str(options["fitting"])]())
