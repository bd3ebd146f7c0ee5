"""The C interface of FMI 2.0 for co-simulation (FMI 2.0.4, chapters 2 and 4). For the worker process only."""

from __future__ import annotations

import ctypes
from pathlib import Path
from typing import Any, ClassVar

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

_CO_SIMULATION = 1
_DISCARD, _LAST_TIME, _TERMINATED = 2, 2, 3
_LOGGER = ctypes.CFUNCTYPE(None, ADDRESS, ctypes.c_char_p, INT, ctypes.c_char_p, ctypes.c_char_p)
_WHOLE = Kind("Integer", np.dtype(np.int32))


class _Callbacks(ctypes.Structure):
    """``fmi2CallbackFunctions``."""

    _fields_ = (
        ("logger", _LOGGER),
        ("allocate", ADDRESS),
        ("free", ADDRESS),
        ("finished", ADDRESS),
        ("environment", ADDRESS),
    )


class Fmi2:
    """A loaded unit of FMI 2.0."""

    kinds: ClassVar[dict[str, Kind]] = {
        "Real": Kind("Real", np.dtype(np.float64)),
        "Integer": _WHOLE,
        "Enumeration": _WHOLE,
        "Boolean": Kind("Boolean", np.dtype(np.int32)),
    }

    def __init__(self, plan: Plan, folder: str) -> None:
        self._plan, self.talk = plan, Talk()
        self._resources = Path(folder, "resources").as_uri()
        library = Library(str(Path(folder, plan.library)), plan.model)
        self._library, function = library, library.function
        self._instantiate = function(
            "fmi2Instantiate",
            ctypes.c_char_p,
            INT,
            ctypes.c_char_p,
            ctypes.c_char_p,
            ADDRESS,
            INT,
            INT,
            result=ADDRESS,
        )
        self._setup = function("fmi2SetupExperiment", ADDRESS, INT, DOUBLE, DOUBLE, INT, DOUBLE)
        self._enter = function("fmi2EnterInitializationMode", ADDRESS)
        self._leave = function("fmi2ExitInitializationMode", ADDRESS)
        library.prepared("fmi2DoStep")
        self._terminate = function("fmi2Terminate", ADDRESS)
        self._free = function("fmi2FreeInstance", ADDRESS, result=None)
        self._callbacks = self._made_callbacks()

    def _made_callbacks(self) -> _Callbacks:
        # The logger of FMI 2.0 takes more arguments, for the format in its message. The formatter puts itself before
        # ours; without it the ABI lets us leave them, and a message is shown with its format.
        def note(_env: Any, _name: Any, status: int, category: bytes | None, message: bytes | None) -> None:
            self.talk.note(status, category, message)

        c = ctypes.CDLL(None)
        allocate, free = ctypes.cast(c.calloc, ADDRESS), ctypes.cast(c.free, ADDRESS)
        self._logger = _LOGGER(note)
        callbacks = _Callbacks(self._logger, allocate, free, None, None)
        if self._plan.formatter:
            put_before = ctypes.CDLL(self._plan.formatter).addLoggerProxy
            put_before.argtypes, put_before.restype = [ADDRESS], None
            put_before(ctypes.byref(callbacks))
        return callbacks

    def instantiate(self, name: str) -> ctypes.c_void_p:
        """A fresh instance; raises :class:`StandError` when the unit gives none."""
        handle = self._instantiate(
            name.encode(), _CO_SIMULATION, self._plan.token.encode(), self._resources.encode(),
            ctypes.byref(self._callbacks), 0, 0,
        )  # fmt: skip
        if not handle:
            raise trouble(f"the unit gives no instance of itself{self.talk.taken()}", "refused")
        return ctypes.c_void_p(handle)

    def mover(self, verb: str, handle: ctypes.c_void_p, group: Group) -> Mover:
        """``fmi2SetReal``, ``fmi2GetReal`` and their like."""
        name = f"fmi2{verb}{group.kind.suffix}"
        (references, count), pointer = group.vector, ctypes.c_void_p()
        arguments = (handle, references, count, pointer)
        return Mover(name, self._library.prepared(name), arguments, pointer)

    def set_text(self, handle: ctypes.c_void_p, setting: Setting) -> None:
        """Sets a text."""
        function = self._library.function("fmi2SetString", ADDRESS, ADDRESS, SIZE, ADDRESS)
        reference, text = ctypes.c_uint32(setting.reference), ctypes.c_char_p(str(setting.value).encode())
        status = function(handle, ctypes.byref(reference), 1, ctypes.byref(text))
        checked(f"fmi2SetString of {setting.name}", status, self.talk)

    def enter(self, handle: ctypes.c_void_p) -> None:
        """From instantiated to initialisation, for a run from 0 s on without an end."""
        checked("fmi2SetupExperiment", self._setup(handle, 0, 0.0, 0.0, 0, 0.0), self.talk)
        checked("fmi2EnterInitializationMode", self._enter(handle), self.talk)

    def leave(self, handle: ctypes.c_void_p) -> None:
        """From initialisation to stepping."""
        checked("fmi2ExitInitializationMode", self._leave(handle), self.talk)

    def stepper(self, handle: ctypes.c_void_p, step: float) -> Stepper:
        """``fmi2DoStep``; no state is ever fetched back."""
        instant = ctypes.c_double()
        arguments = (handle, instant, ctypes.c_double(step), ctypes.c_int(1))

        def judge(status: int, point: float) -> None:
            if status != WARNING:
                more = self._where_it_stopped(handle) if status == _DISCARD else ""
                raise failed("fmi2DoStep", status, self.talk, point, more)

        return Stepper(self._library.prepared("fmi2DoStep"), arguments, instant, ctypes.c_uint32(), judge)

    def _where_it_stopped(self, handle: ctypes.c_void_p) -> str:
        time, over, more = ctypes.c_double(), ctypes.c_int(), ""
        if self._told("fmi2GetRealStatus", handle, _LAST_TIME, time):
            more = f" (it came to {time.value:g} s)"
        if self._told("fmi2GetBooleanStatus", handle, _TERMINATED, over) and over.value:
            more += " and wants to end"
        return more

    def _told(self, name: str, handle: ctypes.c_void_p, what: int, into: Any) -> bool:
        if not self._library.offers(name):
            return False
        return int(self._library.function(name, ADDRESS, INT, ADDRESS)(handle, what, ctypes.byref(into))) == 0

    def terminate(self, handle: ctypes.c_void_p) -> None:
        """Ends the stepping of an instance."""
        checked("fmi2Terminate", self._terminate(handle), self.talk)

    def reset(self, handle: ctypes.c_void_p) -> None:
        """Back to instantiated by the unit's own reset."""
        checked("fmi2Reset", self._library.function("fmi2Reset", ADDRESS)(handle), self.talk)

    def free(self, handle: ctypes.c_void_p) -> None:
        """Gives an instance back; its handle is dead afterwards."""
        self._free(handle)
