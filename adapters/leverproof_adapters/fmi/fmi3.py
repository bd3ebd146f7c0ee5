"""The C interface of FMI 3.0 for co-simulation without events (FMI 3.0, chapters 2 and 4). For the worker process
only."""

from __future__ import annotations

import ctypes
import os
from pathlib import Path
from typing import ClassVar

import numpy as np

from leverproof.stand.trouble import trouble
from leverproof_adapters.fmi.binding import (
    ADDRESS,
    DOUBLE,
    INT,
    SIZE,
    WARNING,
    Library,
    Mover,
    Stepper,
    Talk,
    checked,
    failed,
)
from leverproof_adapters.fmi.plan import Plan, Setting
from leverproof_adapters.fmi.vectors import Group, Kind

_BOOL = ctypes.c_bool
_LOGGER = ctypes.CFUNCTYPE(None, ADDRESS, INT, ctypes.c_char_p, ctypes.c_char_p)
_PLAIN = ("Float64", "Float32", "Int8", "UInt8", "Int16", "UInt16", "Int32", "UInt32", "Int64", "UInt64")


class Fmi3:
    """A loaded unit of FMI 3.0."""

    kinds: ClassVar[dict[str, Kind]] = {
        **{name: Kind(name, np.dtype(name.lower())) for name in _PLAIN},
        "Enumeration": Kind("Int64", np.dtype(np.int64)),
        "Boolean": Kind("Boolean", np.dtype(np.uint8)),
    }

    def __init__(self, plan: Plan, folder: str) -> None:
        self._plan, self.talk = plan, Talk()
        self._resources = str(Path(folder, "resources")) + os.sep
        library = Library(str(Path(folder, plan.library)), plan.model)
        self._library, function = library, library.function
        self._instantiate = function(
            "fmi3InstantiateCoSimulation", ctypes.c_char_p, ctypes.c_char_p, ctypes.c_char_p, _BOOL, _BOOL, _BOOL,
            _BOOL, ADDRESS, SIZE, ADDRESS, _LOGGER, ADDRESS, result=ADDRESS,
        )  # fmt: skip
        self._enter = function("fmi3EnterInitializationMode", ADDRESS, _BOOL, DOUBLE, DOUBLE, _BOOL, DOUBLE)
        self._leave = function("fmi3ExitInitializationMode", ADDRESS)
        library.prepared("fmi3DoStep")
        self._terminate = function("fmi3Terminate", ADDRESS)
        self._free = function("fmi3FreeInstance", ADDRESS, result=None)
        self._logger = _LOGGER(lambda _env, status, kind, text: self.talk.note(status, kind, text))

    def instantiate(self, name: str) -> ctypes.c_void_p:
        """A fresh instance; raises :class:`StandError` when the unit gives none."""
        handle = self._instantiate(
            name.encode(), self._plan.token.encode(), self._resources.encode(), False, False, False, False, None, 0,
            None, self._logger, None,
        )  # fmt: skip
        if not handle:
            raise trouble(f"the unit gives no instance of itself{self.talk.taken()}", "refused")
        return ctypes.c_void_p(handle)

    def mover(self, verb: str, handle: ctypes.c_void_p, group: Group) -> Mover:
        """``fmi3SetFloat64``, ``fmi3GetFloat64`` and their like."""
        name = f"fmi3{verb}{group.kind.suffix}"
        (references, count), pointer = group.vector, ctypes.c_void_p()
        arguments = (handle, references, count, pointer, count)
        return Mover(name, self._library.prepared(name), arguments, pointer)

    def set_text(self, handle: ctypes.c_void_p, setting: Setting) -> None:
        """Sets a text."""
        function = self._library.function("fmi3SetString", ADDRESS, ADDRESS, SIZE, ADDRESS, SIZE)
        reference, text = ctypes.c_uint32(setting.reference), ctypes.c_char_p(str(setting.value).encode())
        status = function(handle, ctypes.byref(reference), 1, ctypes.byref(text), 1)
        checked(f"fmi3SetString of {setting.name}", status, self.talk)

    def enter(self, handle: ctypes.c_void_p) -> None:
        """From instantiated to initialisation, for a run from 0 s on without an end."""
        status = self._enter(handle, False, 0.0, 0.0, False, 0.0)
        checked("fmi3EnterInitializationMode", status, self.talk)

    def leave(self, handle: ctypes.c_void_p) -> None:
        """From initialisation to stepping."""
        checked("fmi3ExitInitializationMode", self._leave(handle), self.talk)

    def stepper(self, handle: ctypes.c_void_p, step: float) -> Stepper:
        """``fmi3DoStep``; no state is ever fetched back, and nobody asked for events or an early return."""
        instant, reached, flags = ctypes.c_double(), ctypes.c_double(), ctypes.c_uint32()
        first = ctypes.addressof(flags)
        event, terminate, early = (ctypes.c_void_p(first + place) for place in range(3))
        arguments = (
            handle, instant, ctypes.c_double(step), _BOOL(True), event, terminate, early, ctypes.pointer(reached)
        )  # fmt: skip

        def judge(status: int, point: float) -> None:
            _, over, short, _ = (bool(byte) for byte in bytes(flags))
            flags.value = 0
            more = " and wants to end" if over else ""
            more += f" and returned early, at {reached.value:g} s" if short else ""
            if more or status not in (0, WARNING):
                raise failed("fmi3DoStep", status, self.talk, point, more)

        return Stepper(self._library.prepared("fmi3DoStep"), arguments, instant, flags, judge)

    def terminate(self, handle: ctypes.c_void_p) -> None:
        """Ends the stepping of an instance."""
        checked("fmi3Terminate", self._terminate(handle), self.talk)

    def reset(self, handle: ctypes.c_void_p) -> None:
        """Back to instantiated by the unit's own reset."""
        checked("fmi3Reset", self._library.function("fmi3Reset", ADDRESS)(handle), self.talk)

    def free(self, handle: ctypes.c_void_p) -> None:
        """Gives an instance back; its handle is dead afterwards."""
        self._free(handle)
