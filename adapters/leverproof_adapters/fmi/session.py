"""A unit as a session, for the worker process that hosts it. Importing this loads no unit."""

from __future__ import annotations

import atexit
import ctypes
import os
import shutil
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leverproof.errors import StandError
from leverproof.stand.port import Array, Capabilities, Hello, Session, Signal, Start
from leverproof.stand.trouble import trouble
from leverproof.stand.wire import MOST_NUMBERS
from leverproof_adapters.fmi.binding import Interface, run
from leverproof_adapters.fmi.fmi2 import Fmi2
from leverproof_adapters.fmi.fmi3 import Fmi3
from leverproof_adapters.fmi.plan import Plan, Setting, Wire, read_plan
from leverproof_adapters.fmi.vectors import TICKS, Group, addresses, points, vectors

_INTERFACES: dict[int, type[Interface]] = {2: Fmi2, 3: Fmi3}
_WATCH = 1.0
"""Seconds between two looks whether the harness is still there."""


def hosted(settings: dict[str, Any]) -> Session:
    """The session of the unit unpacked in the folder ``settings`` name; raises :class:`StandError` for code that
    cannot be loaded.

    The folder is removed with the process if the harness is no longer there to do it.
    """
    folder = str(settings["folder"])
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    watch = threading.Thread(target=_leave_with, args=(os.getppid(), folder), name="watch", daemon=True)
    watch.start()
    # A unit that writes to its working folder writes to the one that will be removed.
    os.chdir(folder)
    plan = read_plan(Path(folder))
    return UnitSession(plan, _INTERFACES[plan.major](plan, folder))


def _leave_with(harness: int, folder: str) -> None:
    """Ends this process when the harness is gone, in whatever call the unit hangs."""
    while os.getppid() == harness:
        time.sleep(_WATCH)
    shutil.rmtree(folder, ignore_errors=True)
    os._exit(1)


class Lane:
    """One instance: where its clock is, and whether there is still something to free."""

    def __init__(self, interface: Interface, name: str) -> None:
        self._interface, self._name = interface, name
        self._handle: ctypes.c_void_p | None = interface.instantiate(name)
        self._begun = False
        self._done = 0

    @property
    def handle(self) -> ctypes.c_void_p:
        """What the unit gave for this instance; raises when it was given back."""
        if self._handle is None:
            raise trouble(f"{self._name} was given back", "refused")
        return self._handle

    def begin(self, settings: Sequence[Setting], inputs: Columns, row: Array) -> None:
        """From instantiated to the first communication point, at 0 s, with the inputs ``row`` (1, inputs)."""
        for setting in settings:
            self._set(setting)
        held = inputs.encoded(row)
        # Before initialisation they are start values; in it they are what the unit initialises with.
        self._move("Set", inputs.groups, held)
        self._interface.enter(self.handle)
        self._move("Set", inputs.groups, held)
        self._interface.leave(self.handle)
        self._begun, self._done = True, 0

    def _set(self, setting: Setting) -> None:
        if isinstance(setting.value, str):
            self._interface.set_text(self.handle, setting)
            return
        wire = Wire(setting.name, "1", setting.reference, setting.type)
        group = vectors([wire], self._interface.kinds).groups[0]
        self._move("Set", [group], [np.array([[setting.value]]).astype(group.kind.dtype)])

    def _move(self, verb: str, groups: Sequence[Group], held: Sequence[NDArray[Any]]) -> None:
        for group, array in zip(groups, held, strict=True):
            mover = self._interface.mover(verb, self.handle, group)
            mover.move(array.ctypes.data, self._interface.talk)

    def read(self, outputs: Columns) -> Array:
        """The outputs now, shape (1, outputs)."""
        held = outputs.room(1)
        self._move("Get", outputs.groups, held)
        return outputs.decoded(held, 1)

    def advance(self, rows: Array, inputs: Columns, outputs: Columns, ticks: int) -> Array:
        """Through ``rows`` (n, inputs) in steps of ``ticks``; returns (n, outputs)."""
        count, interface, handle = rows.shape[0], self._interface, self.handle
        given, taken = inputs.encoded(rows), outputs.room(count)
        sets = [
            (interface.mover("Set", handle, group), addresses(held))
            for group, held in zip(inputs.groups, given, strict=True)
        ]
        gets = [
            (interface.mover("Get", handle, group), addresses(held))
            for group, held in zip(outputs.groups, taken, strict=True)
        ]
        instants = points(ticks, self._done, count)
        run(sets, interface.stepper(handle, ticks / TICKS), gets, instants, interface.talk)
        self._done += count
        return outputs.decoded(taken, count)

    def end(self) -> None:
        """Terminates the instance if it was stepping."""
        if self._begun:
            self._begun = False
            self._interface.terminate(self.handle)

    def reset(self) -> None:
        """Back to instantiated by the unit's own reset."""
        self.end()
        self._interface.reset(self.handle)

    def free(self) -> None:
        """Gives the instance back: once, whatever happens, because the second time ends the process."""
        if self._handle is None:
            return
        try:
            self.end()
        finally:
            handle, self._handle = self._handle, None
            self._interface.free(handle)


class Columns:
    """The inputs or outputs of a session in the unit's kinds."""

    def __init__(self, wires: Sequence[Wire], interface: Interface) -> None:
        found = vectors(wires, interface.kinds)
        self.groups, self.width = found.groups, found.width

    def encoded(self, rows: Array) -> list[NDArray[Any]]:
        """``rows`` (n, columns) by kind."""
        return [group.encoded(rows) for group in self.groups]

    def room(self, count: int) -> list[NDArray[Any]]:
        """Room for ``count`` rows by kind."""
        return [group.room(count) for group in self.groups]

    def decoded(self, held: Sequence[NDArray[Any]], count: int) -> Array:
        """The rows held by kind, shape (count, columns)."""
        out = np.empty((count, self.width))
        for group, array in zip(self.groups, held, strict=True):
            group.decode(array, out)
        return out


class UnitSession:
    """The port over a loaded unit: a lane is an instance, and lanes run one after another."""

    def __init__(self, plan: Plan, interface: Interface) -> None:
        self._plan, self._interface = plan, interface
        self._lanes: list[Lane] = []
        self._inputs = self._outputs = Columns((), interface)
        self._ticks = 0
        self._made = 0

    def hello(self) -> Hello:
        """The description, from the plan."""
        plan = self._plan
        surroundings = {"pressure_altitude", "temperature_offset"}
        return Hello(
            model=plan.model,
            version=plan.version,
            inputs=tuple(Signal(wire.name, wire.unit, wire.states) for wire in plan.inputs),
            outputs=tuple(Signal(wire.name, wire.unit, wire.states) for wire in plan.outputs),
            capabilities=Capabilities(
                lanes=plan.lanes,
                max_values=MOST_NUMBERS,
                settable_surroundings=bool(surroundings.intersection(plan.set_channels)),
            ),
            derived_from=plan.origin,
        )

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs)."""
        _check_step(step_ticks, self._plan.inner_step)
        self._inputs = Columns(_chosen(self._plan.inputs, inputs), self._interface)
        self._outputs = Columns(_chosen(self._plan.outputs, outputs), self._interface)
        self._ticks = step_ticks
        self._renew(len(starts))
        out = np.empty((len(starts), len(outputs)))
        for number, (lane, start) in enumerate(zip(self._lanes, starts, strict=True)):
            row = np.array([start.row], dtype=np.float64)
            lane.begin((*self._plan.settings, *self._for_start(start)), self._inputs, row)
            out[number] = lane.read(self._outputs)[0]
        return out

    def _for_start(self, start: Start) -> tuple[Setting, ...]:
        if start.engine == "running":
            return self._plan.running
        if self._plan.stopped is None:
            raise trouble(
                "the stand file does not say how the unit begins with the engine stopped",
                "refused",
                hint="write the start values for it under [options.stopped], or an empty table",
            )
        return self._plan.stopped

    def _renew(self, count: int) -> None:
        """``count`` instances as good as new."""
        kept = self._lanes[:count] if self._plan.renewal == "reset" else []
        for lane in self._lanes[len(kept) :]:
            lane.free()
        self._lanes = kept
        for lane in kept:
            lane.reset()
        while len(self._lanes) < count:
            self._made += 1
            self._lanes.append(Lane(self._interface, f"engine {self._made}"))

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs)."""
        out = np.empty((rows.shape[0], len(lanes), self._outputs.width))
        for place, number in enumerate(lanes):
            lane = self._lanes[number]
            out[:, place] = lane.advance(rows[:, place], self._inputs, self._outputs, self._ticks)
        return out

    def reset(self) -> None:
        """Gives all instances back."""
        lanes, self._lanes = self._lanes, []
        for lane in lanes:
            lane.free()

    def close(self) -> None:
        """Gives all instances back; a unit that complains then has been heard on standard error."""
        try:
            self.reset()
        except StandError:
            return


def _check_step(ticks: int, inner: float | None) -> None:
    """Returns when the unit's own step divides the grid step."""
    if inner is None:
        return
    times = ticks / TICKS / inner
    if abs(times - round(times)) > 1e-9 * max(1.0, times) or round(times) < 1:
        raise trouble(
            f"the unit steps by {inner:g} s inside, which does not divide a grid step of {ticks / TICKS:g} s",
            "refused",
            hint="choose a grid_step whose half is a whole number of the unit's steps",
        )


def _chosen(wires: Sequence[Wire], names: Sequence[str]) -> list[Wire]:
    by_name = {wire.name: wire for wire in wires}
    return [by_name[name] for name in names]
