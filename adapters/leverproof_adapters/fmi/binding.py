"""A unit's code seen from Python: a loaded library, its logger, its statuses. For the worker process only."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Iterable, Sequence
from typing import Any, ClassVar, Protocol

from leverproof.errors import StandError
from leverproof.stand.trouble import trouble
from leverproof_adapters.fmi.plan import Plan, Setting
from leverproof_adapters.fmi.vectors import Kind

WARNING = 1
STATUSES = ("ok", "warning", "discard", "error", "fatal", "pending")
ADDRESS, SIZE, DOUBLE, INT = ctypes.c_void_p, ctypes.c_size_t, ctypes.c_double, ctypes.c_int
_MOST_SAID = 500

Call = tuple[Any, ctypes.c_void_p, int]
"""A C function that sets or gets values, the address of its value references and their number."""
Moves = tuple[Sequence[Call], Iterable[tuple[int, ...]]]
"""Calls, and for each step the addresses of their values."""


class Library:
    """A unit's code, loaded; raises :class:`StandError` ``no_program`` when that fails.

    A function is looked up when it is asked for, so a unit that lacks one nobody calls still runs.
    """

    def __init__(self, path: str, model: str) -> None:
        self._model = model
        try:
            self._library = ctypes.CDLL(path)
        except OSError as reason:
            raise trouble(f"the code of {model!r} cannot be loaded: {reason}", "no_program") from reason

    def function(self, name: str, *arguments: Any, result: Any = INT) -> Any:
        """The C function ``name``; raises :class:`StandError` ``no_program`` when the unit does not have it."""
        try:
            found = getattr(self._library, name)
        except AttributeError:
            raise trouble(f"the code of {self._model!r} has no function {name}", "no_program") from None
        found.argtypes, found.restype = arguments, result
        return found

    def offers(self, name: str) -> bool:
        """Whether the unit has the C function ``name``."""
        return hasattr(self._library, name)


class Talk:
    """What a unit says through its logger: all of it on standard error, the last complaint kept for an error."""

    def __init__(self) -> None:
        self._last = ""

    def note(self, status: int, category: bytes | None, message: bytes | None) -> None:
        """One message of the unit."""
        said = (message or b"").decode("utf-8", "replace").strip()[:_MOST_SAID]
        if status >= WARNING:
            self._last = said
        kind = (category or b"").decode("utf-8", "replace")[:60]
        sys.stderr.write(f"the unit says ({status_word(status)}, {kind}): {said}\n")
        sys.stderr.flush()

    def taken(self) -> str:
        """The last complaint, with a colon before it; forgotten afterwards."""
        said, self._last = self._last, ""
        return f": {said}" if said else ""


def status_word(status: int) -> str:
    """A status in words."""
    return STATUSES[status] if 0 <= status < len(STATUSES) else f"status {status}, which FMI does not know"


def failed(function: str, status: int, talk: Talk, point: float | None = None, more: str = "") -> StandError:
    """The error for a status worse than a warning, with what the unit said."""
    at = "" if point is None else f" at {point:g} s"
    return trouble(
        f"the unit answered {function}{at} with {status_word(status)}{more}{talk.taken()}", "refused"
    )


def checked(function: str, status: int, talk: Talk, point: float | None = None) -> None:
    """Returns for ok and warning; raises :class:`StandError` for any other status."""
    if status not in (0, WARNING):
        raise failed(function, status, talk, point)


class Interface(Protocol):
    """A loaded unit of one FMI version. A handle is what the unit gave for an instance; statuses are checked here."""

    kinds: ClassVar[dict[str, Kind]]

    def __init__(self, plan: Plan, folder: str) -> None: ...

    def instantiate(self, name: str) -> ctypes.c_void_p:
        """A fresh instance; raises :class:`StandError` when the unit gives none."""
        ...

    def getter(self, kind: Kind) -> Any:
        """The C function that reads values of a kind."""
        ...

    def setter(self, kind: Kind) -> Any:
        """The C function that sets values of a kind."""
        ...

    def set_text(self, handle: ctypes.c_void_p, setting: Setting) -> None:
        """Sets a text."""
        ...

    def move(self, handle: ctypes.c_void_p, calls: Sequence[Call], addresses: Sequence[int]) -> None:
        """Sets or gets the values at ``addresses``, once."""
        ...

    def enter(self, handle: ctypes.c_void_p) -> None:
        """From instantiated to initialisation, for a run from 0 s on."""
        ...

    def leave(self, handle: ctypes.c_void_p) -> None:
        """From initialisation to stepping."""
        ...

    def run(
        self, handle: ctypes.c_void_p, sets: Moves, gets: Moves, points: Iterable[float], step: float
    ) -> None:
        """For each communication point: sets inputs, performs the step of ``step`` seconds, gets outputs."""
        ...

    def terminate(self, handle: ctypes.c_void_p) -> None:
        """Ends the stepping of an instance."""
        ...

    def reset(self, handle: ctypes.c_void_p) -> None:
        """Back to instantiated by the unit's own reset."""
        ...

    def free(self, handle: ctypes.c_void_p) -> None:
        """Gives an instance back; its handle is dead afterwards."""
        ...
