"""The reference engine as a session of the port: many lanes of one build, stepped in lockstep."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from leverproof import __version__
from leverproof.channels import CHANNELS, READINGS, SURROUNDINGS
from leverproof.errors import StandError, nearest
from leverproof.stand.port import Array, Capabilities, Hello, Signal, Start
from leverproof.timegrid import TimeGrid
from leverproof_adapters.reference_engine import dynamics
from leverproof_adapters.reference_engine.components import Build
from leverproof_adapters.reference_engine.state import CARRIED, Air, Levers, State

LANES = 4096
REST = {"mixture": 2.0, "propeller": 1.0, "intercooler_shutter": 1.0, "cowl_flaps": 1.0}
"""Where a lever stands that the conversation never names: auto rich, full forward, open; all others at zero."""
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
        self._step_ticks = 0

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
        self._pace = dynamics.pace(self._build, step_ticks)
        air, levers = self._unpack(rows)
        running = np.array([1.0 if s.engine == "running" else 0.0 for s in starts])
        first, position = air.row(0), _lever_row(levers, 0)
        state = dynamics.starting_state(self._build.parameters, running, position, first)
        point = self._build.evaluate(state, position, first)
        self._build.light(self._build.parameters, state, position, first, point, self._pace)
        self._store = np.zeros((len(CARRIED), len(starts)))
        state.scatter(self._store, np.arange(len(starts)))
        found = np.empty((len(outputs), len(starts)))
        self._write(found, dynamics.readings(self._build, state, first, point))
        return np.ascontiguousarray(found.T)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Advance the named lanes; see the port. Work is proportional to the number of lanes named."""
        index = self._lane_index(lanes)
        rows = np.asarray(rows, dtype=np.float64)
        if rows.ndim != 3 or rows.shape[1:] != (len(index), len(self._columns)):
            raise _refused(
                f"rows of shape {rows.shape} for {len(index)} lanes of {len(self._columns)} inputs"
            )
        found = np.empty((rows.shape[0], len(self._outputs), len(index)))
        air, levers = self._unpack(rows)
        state = State.gathered(self._store, index)
        inner = dynamics.inner_steps(self._step_ticks)
        for i in range(rows.shape[0]):
            now, position = air.row(i), _lever_row(levers, i)
            for _ in range(inner):
                point = dynamics.step(self._build, state, position, now, self._pace)
            self._write(found[i], dynamics.readings(self._build, state, now, point))
        state.scatter(self._store, index)
        return np.ascontiguousarray(found.transpose(0, 2, 1))

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
        index = np.array(lanes, dtype=np.intp)
        count = self._store.shape[1]
        if len(set(index.tolist())) != len(index) or np.any(index < 0) or np.any(index >= count):
            raise _refused(f"bad lane numbers for {count} lanes: {list(lanes)[:8]}")
        return index

    def _unpack(self, rows: Array) -> tuple[Air, Levers]:
        """Surroundings and levers of a batch, each attribute (rows, lanes) and contiguous."""
        _check_finite(rows)
        column = {name: np.ascontiguousarray(rows[:, :, i]) for name, i in self._columns.items()}
        levers = Levers()
        for name in Levers.__slots__:
            given = column.get(name)
            if given is None:
                rest = np.broadcast_to(np.full(rows.shape[1], REST.get(name, 0.0)), rows.shape[:2])
                setattr(levers, name, rest)
                continue
            top = float(max(len(CHANNELS[name].states) - 1, 1))
            setattr(levers, name, np.minimum(np.maximum(given, 0.0), top))
        air = self._build.surroundings(self._build.parameters, *(column[name] for name in SURROUNDINGS))
        return air, levers

    def _write(self, target: Array, found: dict[str, Array]) -> None:
        for i, name in enumerate(self._outputs):
            target[i] = found[name]


def _check_finite(rows: Array) -> None:
    if not np.all(np.isfinite(rows)):
        raise _refused("an input is not a finite number")


def _lever_row(levers: Levers, index: int) -> Levers:
    """The levers of one row of a batch."""
    part = Levers()
    for name in Levers.__slots__:
        setattr(part, name, getattr(levers, name)[index])
    return part
