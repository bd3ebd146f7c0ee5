"""Corrie-22: an invented two-stage turbo-supercharged radial built from curves and lags, mounted in process.

A modelling style of its own, sharing nothing with the harness's physics: it shows whether the reference cases
accept an honest engine they were not written around. ``factory(options, defect)`` gives a session; there are
no options and no seeded defects.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from leverproof.errors import StandError
from leverproof.stand.port import Array, Capabilities, Hello, Signal, Start


def _beside(name: str) -> None:
    """Make a sibling file importable by name: this file is loaded by path, not as part of a package."""
    if name in sys.modules:
        return
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    if spec is None or spec.loader is None:
        raise StandError(f"{name}.py is not beside {__file__}", code="no_program")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)


_beside("second_engine_tables")
_beside("second_engine_lane")

from second_engine_lane import Air, Lane, Levers, Steps, steps, surroundings  # noqa: E402

TICKS_PER_SECOND, CONTROL_TICKS, SUB_STEP_TICKS = 36_000, 18_000, 450
SETTLE_STEPS, SETTLE_STEP, SETTLE_HASTE = 240, 0.05, 6.0

# name -> (unit, states, value where the harness does not drive it)
INPUTS: dict[str, tuple[str, tuple[str, ...], float]] = {
    "throttle": ("1", (), 0.0),
    "boost": ("1", (), 0.0),
    "propeller": ("1", (), 1.0),
    "mixture": ("1", ("cut_off", "auto_lean", "auto_rich", "full_rich"), 2.0),
    "intercooler_shutter": ("1", (), 1.0),
    "cowl_flaps": ("1", (), 0.5),
    "lever_link": ("1", ("off", "on"), 0.0),
    "pressure_altitude": ("ft", (), 0.0),
    "temperature_offset": ("K", (), 0.0),
    "relative_humidity": ("1", (), 0.0),
    "true_airspeed": ("kt", (), 0.0),
}
OUTPUTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "manifold_pressure": ("inHg", ()),
    "engine_speed": ("rpm", ()),
    "turbo_speed": ("rpm", ()),
    "brake_power": ("hp", ()),
    "torque": ("lbf.ft", ()),
    "fuel_flow": ("lb/h", ()),
    "carburettor_air_temperature": ("degC", ()),
    "carburettor_deck_pressure": ("inHg", ()),
    "exhaust_back_pressure": ("inHg", ()),
    "manifold_temperature": ("degC", ()),
    "exhaust_gas_temperature": ("degC", ()),
    "cylinder_head_temperature": ("degC", ()),
    "wastegate_opening": ("1", ()),
    "blade_angle": ("deg", ()),
    "turbo_overspeed_light": ("1", ("off", "blinking", "on")),
    "throttle_position": ("1", ()),
    "boost_position": ("1", ()),
    "ambient_pressure": ("inHg", ()),
    "ambient_temperature": ("degC", ()),
}
LIGHT_INDEX_ON = 2.0


def _clip(x: float) -> float:
    return min(max(x, 0.0), 1.0)


class CurveEngine:
    """Session of independent lanes, each stepped alone: a lane cannot feel its neighbours."""

    def __init__(self) -> None:
        self._lanes: list[Lane] = []
        self._inputs: tuple[str, ...] = ()
        self._outputs: tuple[str, ...] = ()
        self._steps: Steps = steps(SUB_STEP_TICKS / TICKS_PER_SECOND)
        self._count = 1

    def hello(self) -> Hello:
        """Names, units and abilities; the same at each call."""
        return Hello(
            model="Corrie-22 by curves and lags",
            version="1",
            inputs=tuple(Signal(n, unit, states) for n, (unit, states, _) in INPUTS.items()),
            outputs=tuple(Signal(n, unit, states) for n, (unit, states) in OUTPUTS.items()),
            capabilities=Capabilities(lanes=64),
            derived_from="own curves drawn by hand; shares no physics or coefficient with the harness",
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Fresh lanes; outputs at t_0, shape (lanes, outputs). A running engine begins near equilibrium."""
        if step_ticks <= 0 or CONTROL_TICKS % step_ticks:
            raise StandError(f"a grid step of {step_ticks} ticks does not divide 0.5 s", code="protocol")
        unknown = [n for n in inputs if n not in INPUTS] + [n for n in outputs if n not in OUTPUTS]
        if unknown:
            raise StandError(f"this engine has no channel {unknown[0]!r}", code="protocol")
        self._inputs, self._outputs = tuple(inputs), tuple(outputs)
        self._count = -(-step_ticks // SUB_STEP_TICKS)
        self._steps = steps(step_ticks / TICKS_PER_SECOND / self._count)
        self._lanes = [self._begin(start) for start in starts]
        return np.array([self._row(lane) for lane in self._lanes], dtype=np.float64)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Named lanes through ``rows`` (n, lanes, inputs); returns (n, lanes, outputs)."""
        out = np.empty((len(rows), len(lanes), len(self._outputs)))
        for k, index in enumerate(lanes):
            if not 0 <= index < len(self._lanes):
                raise StandError(f"there is no lane {index}", code="protocol")
            lane, seen, held = self._lanes[index], None, None
            for i, row in enumerate(rows[:, k, :].tolist()):
                if row != seen or held is None:
                    seen, held = row, self._read(row)
                for _ in range(self._count):
                    lane.advance(*held, self._steps)
                out[i, k] = self._row(lane)
        return out

    def reset(self) -> None:
        """Forget all lanes."""
        self._lanes = []

    def close(self) -> None:
        """Nothing is held outside this object."""
        self._lanes = []

    def _begin(self, start: Start) -> Lane:
        if start.engine not in ("running", "stopped"):
            raise StandError(f"an engine starts running or stopped, not {start.engine!r}", code="protocol")
        air, levers = self._read(list(start.row))
        lane = Lane(air, levers, running=start.engine == "running")
        hasty = steps(SETTLE_STEP, SETTLE_HASTE)
        for _ in range(SETTLE_STEPS if start.engine == "running" else 0):
            lane.advance(air, levers, hasty)
        return lane

    def _read(self, row: Sequence[float]) -> tuple[Air, Levers]:
        if len(row) != len(self._inputs) or not all(math.isfinite(x) for x in row):
            raise StandError("a row of inputs is short, long or not finite", code="protocol")
        v = {name: default for name, (_, _, default) in INPUTS.items()}
        v.update(zip(self._inputs, row, strict=True))
        mixture = round(v["mixture"])
        if not 0 <= mixture <= 3:
            raise StandError(f"mixture has no state {mixture}", code="protocol")
        air = surroundings(
            v["pressure_altitude"],
            v["temperature_offset"],
            _clip(v["relative_humidity"]),
            max(v["true_airspeed"], 0.0),
        )
        levers = Levers(
            throttle=_clip(v["throttle"]),
            boost=_clip(v["boost"]),
            propeller=_clip(v["propeller"]),
            mixture=mixture,
            shutter=_clip(v["intercooler_shutter"]),
            cowl=_clip(v["cowl_flaps"]),
            linked=v["lever_link"] >= 0.5,
        )
        return air, levers

    def _row(self, lane: Lane) -> list[float]:
        values = lane.readings()
        values["turbo_overspeed_light"] *= LIGHT_INDEX_ON
        return [values[n] for n in self._outputs]


def factory(options: dict[str, Any], defect: str | None) -> CurveEngine:
    """A fresh session. There are no options and no seeded defects; asking for one is refused."""
    if options or defect is not None:
        raise StandError("the Corrie-22 by curves has no options and no seeded defects", code="refused")
    return CurveEngine()
