"""A unit's code seen from Python: a loaded library, its logger, its statuses. For the worker process only."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import Any, ClassVar, Protocol

from leverproof.errors import StandError
from leverproof.stand.trouble import trouble
from leverproof_adapters.fmi.plan import Plan, Setting
from leverproof_adapters.fmi.vectors import Group, Kind

WARNING = 1
STATUSES = ("ok", "warning", "discard", "error", "fatal", "pending")
ADDRESS, SIZE, DOUBLE, INT = ctypes.c_void_p, ctypes.c_size_t, ctypes.c_double, ctypes.c_int
_MOST_SAID = 500


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
        """The C function ``name`` with its argument types; raises :class:`StandError` ``no_program`` when the unit does
        not have it."""
        found = self.prepared(name)
        found.argtypes, found.restype = arguments, result
        return found

    def prepared(self, name: str) -> Any:
        """The C function ``name``, a private copy for calls with prepared arguments.

        Without argument types nothing is converted at a call, which halves its cost: every argument must be a
        ``ctypes`` object of the very type.
        """
        try:
            found = self._library[name]
        except AttributeError:
            raise trouble(f"the code of {self._model!r} has no function {name}", "no_program") from None
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
    return trouble(f"the unit answered {function}{at} with {status_word(status)}{more}{talk.taken()}", "refused")


def checked(function: str, status: int, talk: Talk, point: float | None = None) -> None:
    """Returns for ok and warning; raises :class:`StandError` for any other status."""
    if status not in (0, WARNING):
        raise failed(function, status, talk, point)


@dataclass(frozen=True, slots=True)
class Mover:
    """A prepared call that sets or gets the values at ``pointer``, which is pointed at each row in turn."""

    name: str
    function: Any
    arguments: tuple[Any, ...]
    pointer: ctypes.c_void_p

    def move(self, address: int, talk: Talk) -> None:
        """One row."""
        self.pointer.value = address
        checked(self.name, self.function(*self.arguments), talk)


@dataclass(frozen=True, slots=True)
class Stepper:
    """A prepared call that performs one step from ``instant`` on.

    After it, ``told`` is not zero when the unit told anything beside its status. ``judge`` is then given the status
    and the communication point, and raises :class:`StandError` unless the unit may go on.
    """

    function: Any
    arguments: tuple[Any, ...]
    instant: ctypes.c_double
    told: ctypes.c_uint32
    judge: Callable[[int, float], None]


class Interface(Protocol):
    """A loaded unit of one FMI version. A handle is what the unit gave for an instance; statuses are checked here."""

    kinds: ClassVar[dict[str, Kind]]
    talk: Talk

    def __init__(self, plan: Plan, folder: str) -> None: ...

    def instantiate(self, name: str) -> ctypes.c_void_p:
        """A fresh instance; raises :class:`StandError` when the unit gives none."""
        ...

    def mover(self, verb: str, handle: ctypes.c_void_p, group: Group) -> Mover:
        """The call that sets or gets (``verb``) a row of ``group``."""
        ...

    def stepper(self, handle: ctypes.c_void_p, step: float) -> Stepper:
        """The call that performs a step of ``step`` seconds."""
        ...

    def set_text(self, handle: ctypes.c_void_p, setting: Setting) -> None:
        """Sets a text."""
        ...

    def enter(self, handle: ctypes.c_void_p) -> None:
        """From instantiated to initialisation, for a run from 0 s on."""
        ...

    def leave(self, handle: ctypes.c_void_p) -> None:
        """From initialisation to stepping."""
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


def run(
    sets: Sequence[tuple[Mover, Iterable[int]]],
    stepper: Stepper,
    gets: Sequence[tuple[Mover, Iterable[int]]],
    points: Sequence[float],
    talk: Talk,
) -> None:
    """For each communication point: sets inputs, performs the step, gets outputs; every status is looked at.

    A mover comes with the address of each row.
    """
    instant, told, do_step, step_arguments = (
        stepper.instant,
        stepper.told,
        stepper.function,
        stepper.arguments,
    )
    before, after = _calls(sets), _calls(gets)
    given, taken = _rows(sets, len(points)), _rows(gets, len(points))
    for point, into, out in zip(points, given, taken, strict=True):
        for (function, arguments, pointer, name), address in zip(before, into):  # noqa: B905
            pointer.value = address
            if status := function(*arguments):
                checked(name, status, talk, point)
        instant.value = point
        if (status := do_step(*step_arguments)) or told.value:
            stepper.judge(status, point)
        for (function, arguments, pointer, name), address in zip(after, out):  # noqa: B905
            pointer.value = address
            if status := function(*arguments):
                checked(name, status, talk, point)


def _calls(
    movers: Sequence[tuple[Mover, Iterable[int]]],
) -> tuple[tuple[Any, tuple[Any, ...], ctypes.c_void_p, str], ...]:
    return tuple((one.function, one.arguments, one.pointer, one.name) for one, _ in movers)


def _rows(movers: Sequence[tuple[Mover, Iterable[int]]], count: int) -> Iterable[tuple[int, ...]]:
    return zip(*(rows for _, rows in movers), strict=True) if movers else repeat((), count)
