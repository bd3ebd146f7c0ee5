"""The reference engine as a session of the port: many lanes of one build, stepped in lockstep."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from leverproof import __version__
from leverproof.channels import CHANNELS, READINGS, SURROUNDINGS
from leverproof.errors import StandError, nearest
from leverproof.stand.port import Array, Capabilities, Hello, Signal, Start
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid
from leverproof_adapters.reference_engine import dynamics
from leverproof_adapters.reference_engine.components import Build
from leverproof_adapters.reference_engine.state import (
    CARRIED,
    GIVEN,
    SHOWN,
    Air,
    Levers,
    Pace,
    Point,
    State,
    in_rows,
    point_of,
)

LANES = 4096
AT_ONCE = 12_000
"""Rows times lanes unpacked and shown at a time: what they take stays near the processor."""
FELT_SILENCE = 0.45
"""Seconds between two requests from which an engine with a clock of its own has run on meanwhile."""
REST = {"mixture": 2.0, "propeller": 1.0, "intercooler_shutter": 1.0, "cowl_flaps": 1.0}
"""Where a lever stands that the conversation never names: auto rich, full forward, open; all others at zero."""
TOPS = {name: float(max(len(CHANNELS[name].states) - 1, 1)) for name in Levers.__slots__}
"""Most a lever can be asked: the last of its positions, or the end of its travel."""
OF_THE_TURBO = ("turbo_speed", "wastegate_opening")


def _refused(message: str, hint: str = "") -> StandError:
    return StandError(message, hint=hint, code="refused")


def levers_of(build: Build) -> tuple[str, ...]:
    """The levers this variant has."""
    p = build.parameters
    present = {
        "boost": p.has_boost,
        "intercooler_shutter": p.has_cooler,
        "lever_link": p.has_link,
        "coordination": p.has_coordination,
        "blower_gear": p.arrangement == "geared_two_speed",
        "carburettor_heat": p.has_carburettor_heat,
        "cowl_flaps": p.has_cowl_flaps,
        "starter": p.has_starter,
    }
    order = ("throttle", "boost", "propeller", "mixture", *present)
    return tuple(dict.fromkeys(name for name in order if present.get(name, True)))


def readings_of(build: Build) -> tuple[str, ...]:
    """The readings this variant gives: all, less those of parts it does not have."""
    p = build.parameters
    absent = set() if p.has_turbo else set(OF_THE_TURBO)
    if not p.has_boost:
        absent.add("boost_position")
    if p.light_kind == "none":
        absent.add("turbo_overspeed_light")
    return tuple(name for name in READINGS if name not in absent)


class ReferenceSession:
    """Session over lanes of one build; see :mod:`leverproof.stand.port` for the contract."""

    def __init__(self, build: Build, model: str) -> None:
        self._build = build
        self._model = model
        self._inputs: tuple[str, ...] = levers_of(build) + SURROUNDINGS
        self._readings = readings_of(build)
        self._forget()

    def _forget(self) -> None:
        self._store: Array = np.zeros((len(CARRIED), 0))
        self._columns: dict[str, int] = {}
        self._outputs: tuple[str, ...] = ()
        self._named: list[int] = []
        self._index = np.empty(0, dtype=np.intp)
        self._step_ticks = 0
        self._lanes_of_pace = -1
        self._memory: dict[str, Array] = {}
        self._answered = 0.0

    def hello(self) -> Hello:
        """The variant, its levers and its readings, in canonical units."""

        def signal(name: str) -> Signal:
            return Signal(name, CHANNELS[name].unit, CHANNELS[name].states)

        return Hello(
            model=self._model,
            version=__version__,
            inputs=tuple(signal(n) for n in self._inputs),
            outputs=tuple(signal(n) for n in self._readings),
            capabilities=Capabilities(lanes=LANES, max_values=20_000_000),
            derived_from=f"leverproof reference engine, {self._build.parameters.variant}",
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Fresh lanes; returns the outputs at t_0, shape (lanes, outputs). What is refused changes nothing."""
        self._check_names(inputs, outputs)
        if len(starts) > LANES:
            raise _refused(f"{len(starts)} lanes asked, at most {LANES}")
        TimeGrid(step_ticks)
        for start in starts:
            if start.engine not in ("running", "stopped") or len(start.row) != len(inputs):
                raise _refused(f"bad start: {start.engine!r} with {len(start.row)} of {len(inputs)} inputs")
        rows = np.array([s.row for s in starts], dtype=np.float64).reshape(1, len(starts), len(inputs))
        _check_finite(rows)
        self._forget()
        self._columns = {name: i for i, name in enumerate(inputs)}
        self._outputs = tuple(outputs)
        self._step_ticks = step_ticks
        pace = dynamics.pace(self._build, step_ticks, len(starts))
        air, levers = self._unpack(rows)
        running = np.array([1.0 if s.engine == "running" else 0.0 for s in starts])
        first, position = in_rows(air, Air.__slots__, 1)[0], in_rows(levers, Levers.__slots__, 1)[0]
        state = dynamics.starting_state(self._build.parameters, running, position, first)
        point = self._build.evaluate(state, position, first)
        self._build.light(self._build.coefficients, state, position, first, point, pace)
        self._store = state.settled()
        if self._build.clock is not None:
            self._answered = self._build.clock()
        found = np.empty((len(starts), len(outputs)))
        self._show(found, state, first, point)
        return found

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Advance the named lanes; see the port. Work is proportional to the number of lanes named."""
        index = self._lane_index(lanes)
        rows = np.asarray(rows, dtype=np.float64)
        if rows.ndim != 3 or rows.shape[1:] != (len(index), len(self._columns)):
            raise _refused(f"rows of shape {rows.shape} for {len(index)} lanes of {len(self._columns)} inputs")
        if len(index) == 0:
            return np.empty((len(rows), 0, len(self._outputs)))
        clock = self._build.clock
        if clock is None:
            return self._advanced(index, rows)
        silent = clock() - self._answered
        if silent > FELT_SILENCE and len(rows):
            self._advanced(index, rows[:1].repeat(int(silent * TICKS_PER_SECOND) // self._step_ticks, axis=0))
        found = self._advanced(index, rows)
        self._answered = clock()
        return found

    def _advanced(self, index: NDArray[np.intp], rows: Array) -> Array:
        if len(index) == 1:
            # NumPy takes three times as long to change an array in place that holds one number.
            return self._stepped(index.repeat(2), rows.repeat(2, axis=1))[:, :1].copy()
        return self._stepped(index, rows)

    def reset(self) -> None:
        """Forget all lanes."""
        self._forget()

    def close(self) -> None:
        """Nothing is held open."""
        self._forget()

    def _check_names(self, inputs: Sequence[str], outputs: Sequence[str]) -> None:
        for name in inputs:
            if name not in self._inputs:
                raise _refused(f"this engine has no input {name!r}", nearest(name, self._inputs))
        for name in outputs:
            if name not in self._readings:
                raise _refused(f"this engine has no output {name!r}", nearest(name, self._readings))
        missing = [name for name in SURROUNDINGS if name not in inputs]
        if missing or len(set(inputs)) != len(inputs):
            raise _refused(f"inputs given twice or missing: {', '.join(missing) or 'given twice'}")

    def _lane_index(self, lanes: Sequence[int]) -> NDArray[np.intp]:
        if lanes == self._named:
            return self._index
        index = np.array(lanes, dtype=np.intp)
        count = self._store.shape[1]
        if len(set(index.tolist())) != len(index) or np.any(index < 0) or np.any(index >= count):
            raise _refused(f"bad lane numbers for {count} lanes: {list(lanes)[:8]}")
        self._named, self._index = list(lanes), index
        return index

    def _pace_of(self, lanes: int) -> Pace:
        """The inner step, made for a number of lanes."""
        if lanes != self._lanes_of_pace:
            self._pace, self._lanes_of_pace = dynamics.pace(self._build, self._step_ticks, lanes), lanes
        return self._pace

    def _unpack(self, rows: Array) -> tuple[Air, Levers]:
        """Surroundings and levers of a batch, each attribute (rows, lanes) and contiguous."""
        _check_finite(rows)
        columns = self._room("columns", rows.shape[2], *rows.shape[:2])
        columns[...] = rows.transpose(2, 0, 1)
        column = {name: columns[i] for name, i in self._columns.items()}
        levers = Levers()
        for name in Levers.__slots__:
            position = column.get(name)
            if position is None:
                position = np.full(rows.shape[:2], REST.get(name, 0.0))
            else:
                np.maximum(position, 0.0, out=position)
                np.minimum(position, TOPS[name], out=position)
            setattr(levers, name, position)
        air = self._build.surroundings(self._build.parameters, *(column[name] for name in SURROUNDINGS))
        return air, levers

    def _stepped(self, index: NDArray[np.intp], rows: Array) -> Array:
        """The lanes stepped through ``rows``; what they show, shape (rows, lanes, outputs)."""
        count, lanes = rows.shape[:2]
        state = State(self._store.take(index, axis=1))
        found = np.empty((count, lanes, len(self._outputs)))
        at_once = max(AT_ONCE // lanes, 1)
        for first in range(0, count, at_once):
            part = slice(first, first + at_once)
            self._step_part(state, rows[part], found[part])
        self._store[:, index] = state.stack
        return found

    def _step_part(self, state: State, rows: Array, found: Array) -> None:
        """Moves the state through ``rows`` and writes what it shows after each."""
        carried = self._room("carried", len(CARRIED), *rows.shape[:2])
        shown = self._room("shown", len(SHOWN), *rows.shape[:2])
        air = self._move(state, rows, carried, shown)
        self._show(found, State.without_memory(carried), air, point_of(shown, SHOWN))

    def _move(self, state: State, rows: Array, carried: Array, shown: Array) -> Air:
        """Moves the state through ``rows``, keeps what readings are made of, and returns the surroundings."""
        air, levers = self._unpack(rows)
        given = self._build.conditions(levers, air)
        count, lanes = rows.shape[:2]
        inner, pace = range(dynamics.inner_steps(self._step_ticks)), self._pace_of(lanes)
        instants = zip(
            in_rows(air, Air.__slots__, count),
            in_rows(levers, Levers.__slots__, count),
            in_rows(given, GIVEN, count),
            strict=True,
        )
        for i, (now, position, point) in enumerate(instants):
            for _ in inner:
                dynamics.step(self._build, state, position, now, pace, point)
            carried[:, i] = state.settled()
            shown[:, i] = state.shown_at(point)
        return air

    def _room(self, purpose: str, *shape: int) -> Array:
        """Memory of a shape for a purpose: the same in every call, because new pages cost more than numbers."""
        size = math.prod(shape)
        memory = self._memory.get(purpose)
        if memory is None or memory.size < size:
            memory = self._memory[purpose] = np.empty(size)
        return memory[:size].reshape(shape)

    def _show(self, target: Array, s: State, air: Air, x: Point) -> None:
        """Writes the outputs, whose axis is the last."""
        readings = dynamics.readings(self._build, s, air, x)
        for i, name in enumerate(self._outputs):
            target[..., i] = readings[name]


def _check_finite(rows: Array) -> None:
    if not np.all(np.isfinite(rows)):
        raise _refused("an input is not a finite number")
