"""An aeroplane with several Corrie-22, in one model with its own names, units and order of states.

``options.names`` has a word for each engine; its columns are ``<word>/MAP`` and so on, the air is shared. Seeded
defects: ``boost-levers-swapped`` (the first two engines answer each other's boost lever) and ``gauges-of-the-first``
(the last engine's gauges show the first engine).
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from leverproof.errors import StandError
from leverproof.stand.port import Array, Hello, Session, Signal, Start

# ours -> (their short name, their unit, theirs = ours x scale + offset)
LEVERS: dict[str, tuple[str, str, float, float]] = {
    "throttle": ("Thr", "%", 100.0, 0.0),
    "boost": ("Bst", "%", 100.0, 0.0),
    "propeller": ("Prop", "%", 100.0, 0.0),
    "mixture": ("Mix", "1", 1.0, 0.0),
    "intercooler_shutter": ("Cooler", "%", 100.0, 0.0),
    "cowl_flaps": ("Cowl", "%", 100.0, 0.0),
    "lever_link": ("Link", "1", 1.0, 0.0),
}
AIR: dict[str, tuple[str, str, float, float]] = {
    "pressure_altitude": ("Alt", "m", 0.3048, 0.0),
    "temperature_offset": ("DeltaT", "K", 1.0, 0.0),
    "relative_humidity": ("Hum", "%", 100.0, 0.0),
    "true_airspeed": ("TAS", "km/h", 1.852, 0.0),
}
HPA, KW, NM, KG_H = 33.86389, 0.745699871582270, 1.3558179483314, 0.45359237
READINGS: dict[str, tuple[str, str, float, float]] = {
    "manifold_pressure": ("MAP", "hPa", HPA, 0.0),
    "engine_speed": ("RPM", "rpm", 1.0, 0.0),
    "turbo_speed": ("Turbo", "rpm", 1.0, 0.0),
    "brake_power": ("Power", "kW", KW, 0.0),
    "torque": ("Torque", "N.m", NM, 0.0),
    "fuel_flow": ("Fuel", "kg/h", KG_H, 0.0),
    "carburettor_air_temperature": ("CAT", "degF", 1.8, 32.0),
    "carburettor_deck_pressure": ("Deck", "hPa", HPA, 0.0),
    "exhaust_back_pressure": ("Back", "hPa", HPA, 0.0),
    "manifold_temperature": ("MTemp", "degC", 1.0, 0.0),
    "exhaust_gas_temperature": ("EGT", "degC", 1.0, 0.0),
    "cylinder_head_temperature": ("CHT", "degC", 1.0, 0.0),
    "turbo_overspeed_light": ("Light", "1", 1.0, 0.0),
}
MIXTURES = ("full_rich", "auto_rich", "auto_lean", "cut_off")
"""Counted the other way round, as in levers that run backwards."""
DEFECTS = ("boost-levers-swapped", "gauges-of-the-first")


def single() -> Session:
    """One Corrie-22 alone."""
    name = "second_engine"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        assert spec is not None and spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    made: Session = sys.modules[name].factory({}, None)
    return made


def factory(options: dict[str, Any], defect: str | None) -> Session:
    """The aeroplane of the stand file."""
    return Aeroplane(list(options["names"]), defect)


class Aeroplane:
    """Engines of one kind side by side; nothing is shared but the air."""

    def __init__(self, names: list[str], defect: str | None) -> None:
        self.engines = [single() for _ in names]
        self.names, self.defect = names, defect
        self.inputs: list[tuple[int | None, str]] = []
        self.outputs: list[tuple[int, str]] = []
        self.own = tuple(s.name for s in self.engines[0].hello().inputs)

    def hello(self) -> Hello:
        """Every engine's columns, then the air."""
        said = self.engines[0].hello()
        states = {"mixture": MIXTURES, "lever_link": ("off", "on")}
        levers = [
            Signal(f"{word}/{short}", unit, states.get(ours, ()))
            for word in self.names
            for ours, (short, unit, _, _) in LEVERS.items()
        ]
        light = {s.name: s.states for s in said.outputs}
        readings = [
            Signal(f"{word}/{short}", unit, light[ours])
            for word in self.names
            for ours, (short, unit, _, _) in READINGS.items()
        ]
        air = [Signal(short, unit) for short, unit, _, _ in AIR.values()]
        return replace(said, model="Corrie-22 aeroplane", inputs=(*levers, *air), outputs=tuple(readings))

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0."""
        self.inputs = [self._place(name, {**LEVERS, **AIR}) for name in inputs]
        found = [self._place(name, READINGS) for name in outputs]
        self.outputs = [(engine, ours) for engine, ours in found if engine is not None]
        rows = np.array([start.row for start in starts], dtype=np.float64)
        first = [
            engine.initialise(
                [Start(start.engine, tuple(row)) for start, row in zip(starts, given.tolist(), strict=True)],
                step_ticks,
                self.own,
                tuple(READINGS),
            )
            for engine, given in zip(self.engines, self._given(rows), strict=True)
        ]
        return self._shown(first)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of the rows."""
        parts = zip(self.engines, self._given(rows), strict=True)
        return self._shown([engine.advance(lanes, given) for engine, given in parts])

    def reset(self) -> None:
        """Forget all lanes."""
        for engine in self.engines:
            engine.reset()

    def close(self) -> None:
        """Nothing is open."""

    def _place(self, name: str, known: dict[str, tuple[str, str, float, float]]) -> tuple[int | None, str]:
        word, _, short = name.rpartition("/")
        ours = next((ours for ours, entry in known.items() if entry[0] == short), "")
        if not ours or (word and word not in self.names):
            raise StandError(f"unknown name {name!r}", code="refused")
        return (self.names.index(word) if word else None), ours

    def _given(self, rows: Array) -> list[Array]:
        """What each engine is given, in our units and the order of its own inputs."""
        neutral = {"propeller": 1.0, "mixture": 2.0, "intercooler_shutter": 1.0, "cowl_flaps": 0.5}
        out = []
        for engine in range(len(self.names)):
            made = np.empty((*rows.shape[:-1], len(self.own)))
            made[...] = [neutral.get(name, 0.0) for name in self.own]
            for column, (whose, ours) in enumerate(self.inputs):
                if whose is not None and whose != self._lever(engine, ours):
                    continue
                _, _, scale, offset = {**LEVERS, **AIR}[ours]
                value = (rows[..., column] - offset) / scale
                made[..., self.own.index(ours)] = 3.0 - value if ours == "mixture" else value
            out.append(made)
        return out

    def _lever(self, engine: int, ours: str) -> int:
        swapped = self.defect == "boost-levers-swapped" and ours == "boost" and engine < 2
        return 1 - engine if swapped else engine

    def _shown(self, made: list[Array]) -> Array:
        """The outputs asked for, in their units."""
        if self.defect == "gauges-of-the-first":
            made = [*made[:-1], made[0]]
        out = np.empty((*made[0].shape[:-1], len(self.outputs)))
        order = list(READINGS)
        for column, (engine, ours) in enumerate(self.outputs):
            _, _, scale, offset = READINGS[ours]
            out[..., column] = made[engine][..., order.index(ours)] * scale + offset
        return out
