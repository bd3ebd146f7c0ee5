"""The C interface of FMI 3.0 for co-simulation without events (FMI 3.0, chapters 2 and 4). For the worker process
only."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, ClassVar

import numpy as np

from leverproof.stand.trouble import trouble
from leverproof_adapters.fmi.binding import (
    ADDRESS,
    DOUBLE,
    INT,
    SIZE,
    Call,
    Library,
    Moves,
    Talk,
    checked,
    failed,
)
from leverproof_adapters.fmi.plan import Plan, Setting
from leverproof_adapters.fmi.vectors import Kind

_BOOL = ctypes.c_bool
_LOGGER = ctypes.CFUNCTYPE(None, ADDRESS, INT, ctypes.c_char_p, ctypes.c_char_p)
_PLAIN = ("Float64", "Float32", "Int8", "UInt8", "Int16", "UInt16", "Int32", "UInt32", "Int64", "UInt64")


class _Flags(ctypes.Structure):
    """What ``fmi3DoStep`` tells beside its status; ``word`` is not zero when any of it is true."""

    _fields_ = (("event", _BOOL), ("terminate", _BOOL), ("early", _BOOL), ("none", ctypes.c_uint8))


class _Told(ctypes.Union):
    _fields_ = (("flags", _Flags), ("word", ctypes.c_uint32))


class Fmi3:
    """A loaded unit of FMI 3.0."""

    kinds: ClassVar[dict[str, Kind]] = {
        **{name: Kind(name, np.dtype(name.lower())) for name in _PLAIN},
        "Enumeration": Kind("Int64", np.dtype(np.int64)),
        "Boolean": Kind("Boolean", np.dtype(np.uint8)),
    }

    def __init__(self, plan: Plan, folder: str) -> None:
        self._plan, self._talk = plan, Talk()
        self._resources = str(Path(folder, "resources")) + os.sep
        library = Library(str(Path(folder, plan.library)), plan.model)
        self._library, function = library, library.function
        self._instantiate = function(
            "fmi3InstantiateCoSimulation", ctypes.c_char_p, ctypes.c_char_p, ctypes.c_char_p, _BOOL, _BOOL, _BOOL,
            _BOOL, ADDRESS, SIZE, ADDRESS, _LOGGER, ADDRESS, result=ADDRESS,
        )  # fmt: skip
        self._enter = function("fmi3EnterInitializationMode", ADDRESS, _BOOL, DOUBLE, DOUBLE, _BOOL, DOUBLE)
        self._leave = function("fmi3ExitInitializationMode", ADDRESS)
        self._do_step = function("fmi3DoStep", ADDRESS, DOUBLE, DOUBLE, _BOOL, *[ADDRESS] * 4)
        self._terminate = function("fmi3Terminate", ADDRESS)
        self._free = function("fmi3FreeInstance", ADDRESS, result=None)
        self._logger = _LOGGER(lambda _env, status, kind, text: self._talk.note(status, kind, text))

    def instantiate(self, name: str) -> ctypes.c_void_p:
        """A fresh instance; raises :class:`StandError` when the unit gives none."""
        handle = self._instantiate(
            name.encode(), self._plan.token.encode(), self._resources.encode(), False, False, False, False, None, 0,
            None, self._logger, None,
        )  # fmt: skip
        if not handle:
            raise trouble(f"the unit gives no instance of itself{self._talk.taken()}", "refused")
        return ctypes.c_void_p(handle)

    def getter(self, kind: Kind) -> Any:
        """``fmi3GetFloat64`` and its like."""
        return self._library.function(f"fmi3Get{kind.suffix}", ADDRESS, ADDRESS, SIZE, ADDRESS, SIZE)

    def setter(self, kind: Kind) -> Any:
        """``fmi3SetFloat64`` and its like."""
        return self._library.function(f"fmi3Set{kind.suffix}", ADDRESS, ADDRESS, SIZE, ADDRESS, SIZE)

    def set_text(self, handle: ctypes.c_void_p, setting: Setting) -> None:
        """Sets a text."""
        function = self._library.function("fmi3SetString", ADDRESS, ADDRESS, SIZE, ADDRESS, SIZE)
        reference, text = ctypes.c_uint32(setting.reference), ctypes.c_char_p(str(setting.value).encode())
        status = function(handle, ctypes.byref(reference), 1, ctypes.byref(text), 1)
        checked(f"fmi3SetString of {setting.name}", status, self._talk)

    def move(self, handle: ctypes.c_void_p, calls: Sequence[Call], addresses: Sequence[int]) -> None:
        """Sets or gets the values at ``addresses``, once."""
        for (function, references, count), address in zip(calls, addresses, strict=True):
            checked(function.__name__, function(handle, references, count, address, count), self._talk)

    def enter(self, handle: ctypes.c_void_p) -> None:
        """From instantiated to initialisation, for a run from 0 s on without an end."""
        status = self._enter(handle, False, 0.0, 0.0, False, 0.0)
        checked("fmi3EnterInitializationMode", status, self._talk)

    def leave(self, handle: ctypes.c_void_p) -> None:
        """From initialisation to stepping."""
        checked("fmi3ExitInitializationMode", self._leave(handle), self._talk)

    def run(
        self, handle: ctypes.c_void_p, sets: Moves, gets: Moves, points: Iterable[float], step: float
    ) -> None:
        """For each communication point: sets inputs, performs the step, gets outputs; every status is looked at."""
        do_step, talk = self._do_step, self._talk
        set_calls, get_calls = tuple(sets[0]), tuple(gets[0])
        told, reached = _Told(), ctypes.c_double()
        first = ctypes.addressof(told)
        event, terminate, early = (ctypes.c_void_p(first + place) for place in range(3))
        last = ctypes.c_void_p(ctypes.addressof(reached))
        for point, given, taken in zip(points, sets[1], gets[1], strict=True):
            for (function, references, count), address in zip(set_calls, given):  # noqa: B905
                if status := function(handle, references, count, address, count):
                    checked(function.__name__, status, talk, point)
            status = do_step(handle, point, step, True, event, terminate, early, last)
            if status or told.word:
                self._judge_step(status, told.flags, point, reached.value)
                told.word = 0
            for (function, references, count), address in zip(get_calls, taken):  # noqa: B905
                if status := function(handle, references, count, address, count):
                    checked(function.__name__, status, talk, point)

    def _judge_step(self, status: int, flags: _Flags, point: float, reached: float) -> None:
        """Nobody asked for events or an early return, so only a unit that breaks off is refused."""
        more = " and wants to end" if flags.terminate else ""
        if flags.early:
            more += f" and returned early, at {reached:g} s"
        if more or status not in (0, 1):
            raise failed("fmi3DoStep", status, self._talk, point, more)

    def terminate(self, handle: ctypes.c_void_p) -> None:
        """Ends the stepping of an instance."""
        checked("fmi3Terminate", self._terminate(handle), self._talk)

    def reset(self, handle: ctypes.c_void_p) -> None:
        """Back to instantiated by the unit's own reset."""
        checked("fmi3Reset", self._library.function("fmi3Reset", ADDRESS)(handle), self._talk)

    def free(self, handle: ctypes.c_void_p) -> None:
        """Gives an instance back; its handle is dead afterwards."""
        self._free(handle)
