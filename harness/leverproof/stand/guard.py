"""A session that keeps the port's promises whatever the model behind it does.

Exceptions become :class:`StandError`, shapes are checked, arrays are copied both ways so that neither side
can change the other's numbers later, and a session that failed once stays closed.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np

from leverproof.errors import LeverproofError, StandError
from leverproof.stand.port import Array, ClockSeen, Hello, Session, Signal, Start
from leverproof.stand.trouble import trouble

T = TypeVar("T")
_TAIL = 4_000
SEE_TRACEBACK = "the traceback is with the evidence"
"""The advice with an exception of the model, for who shows the evidence too."""


def traceback_tail(error: BaseException) -> str:
    """The last 4,000 characters of the traceback of ``error``, without the harness's own call of the model."""
    frames = error.__traceback__
    while frames is not None and (
        frames.tb_frame.f_globals.get("__name__") == __name__ or frames.tb_frame.f_code.co_name == "<lambda>"
    ):
        frames = frames.tb_next
    return "".join(traceback.format_exception(type(error), error, frames))[-_TAIL:]


def guarded_call(call: Callable[[], T], doing: str) -> T:
    """What ``call`` returns; any exception of the model becomes :class:`StandError` ``crash``.

    ``SystemExit`` counts as a crash too: a model that calls for the interpreter's end must not end the
    harness.
    """
    try:
        return call()
    except LeverproofError:
        raise
    except (Exception, SystemExit) as error:
        said = str(error).strip().splitlines()
        what = f"{type(error).__name__}: {said[0]}" if said else type(error).__name__
        message, evidence = f"the model raised {what} while {doing}", traceback_tail(error)
        raise trouble(message, "crash", hint=SEE_TRACEBACK, evidence=evidence) from error


class GuardedSession:
    """``session`` behind its promises; see the module. A hang inside ``session`` is not found here."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._said: Hello | None = None
        self._columns: tuple[int, int] | None = None
        self._lanes = 0
        self._dead: StandError | None = None
        self._farewell = ""

    @property
    def guarded(self) -> Session:
        """The session behind the guard, for who wants to speak to it unguarded."""
        return self._session

    @property
    def farewell(self) -> str:
        """What was wrong with how the model ended when it was told to close, empty when nothing was; a session may say
        so itself, by an attribute of this name."""
        return self._farewell or str(getattr(self._session, "farewell", ""))

    def _ask(self, call: Callable[[], T], doing: str) -> T:
        if self._dead is not None:
            message = f"the model ended earlier: {self._dead.message}"
            raise trouble(message, self._dead.code, evidence=self._dead.evidence)
        try:
            return guarded_call(call, doing)
        except StandError as error:
            self._dead = error
            raise

    def _fail(self, message: str) -> StandError:
        self._dead = trouble(message, "protocol")
        return self._dead

    def _array(self, reply: object, shape: tuple[int, ...], doing: str) -> Array:
        try:
            raw = np.asarray(reply)
            if np.iscomplexobj(raw):  # NumPy would only warn, and leave the imaginary part out
                raise TypeError("the numbers are complex")
            array = np.array(raw, dtype=np.float64)
        except (TypeError, ValueError) as error:
            raise self._fail(f"the reply to {doing} is not an array of numbers: {error}") from error
        if array.shape != shape:
            raise self._fail(f"the reply to {doing} has shape {array.shape}, expected {shape}")
        return array

    def hello(self) -> Hello:
        """The model's description, asked for once."""
        if self._said is None:
            said: object = self._ask(self._session.hello, "saying hello")
            if not isinstance(said, Hello):
                raise self._fail(f"hello returned {type(said).__name__}, expected Hello")
            for kind, signals in (("input", said.inputs), ("output", said.outputs)):
                self._signals(kind, signals)
            if said.capabilities.lanes < 1 or said.capabilities.max_values < 1:
                raise self._fail("hello declares fewer than one lane or one number in a message")
            self._said = said
        return self._said

    def _signals(self, kind: str, signals: Sequence[Signal]) -> None:
        names = [signal.name for signal in signals]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise self._fail(f"hello names the {kind} {twice[0]!r} twice")
        if "" in names:
            raise self._fail(f"hello has an {kind} without a name")

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs)."""
        most = self.hello().capabilities.lanes
        if not 1 <= len(starts) <= most:
            raise trouble(f"{len(starts)} lanes asked for, the model has 1 to {most}", "refused")
        if any(len(start.row) != len(inputs) for start in starts):
            raise ValueError("a start row has another length than the inputs named")
        self._columns, self._lanes = (len(inputs), len(outputs)), len(starts)
        reply = self._ask(
            lambda: self._session.initialise(tuple(starts), step_ticks, tuple(inputs), tuple(outputs)),
            "initialising",
        )
        return self._array(reply, (len(starts), len(outputs)), "initialise")

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs)."""
        if self._columns is None:
            raise ValueError("advance before initialise")
        inputs, outputs = self._columns
        sent = np.array(rows, dtype=np.float64)
        if sent.ndim != 3 or sent.shape[1:] != (len(lanes), inputs):
            raise ValueError(f"rows of shape {sent.shape}, expected (n, {len(lanes)}, {inputs})")
        if len(set(lanes)) != len(lanes) or not all(0 <= lane < self._lanes for lane in lanes):
            raise ValueError(f"lanes {list(lanes)} of {self._lanes}")
        reply = self._ask(lambda: self._session.advance(tuple(lanes), sent), "advancing")
        return self._array(reply, (sent.shape[0], len(lanes), outputs), "advance")

    def clock_seen(self) -> ClockSeen | None:
        """What the clock of a free-running model showed in the run under way; None for any other."""
        seen = getattr(self._session, "clock_seen", None)
        found = seen() if callable(seen) else None
        return found if isinstance(found, ClockSeen) else None

    def reset(self) -> None:
        """Forget all lanes."""
        self._columns, self._lanes = None, 0
        self._ask(self._session.reset, "resetting")

    def close(self) -> None:
        """End the model; never raises."""
        if self._dead is None:
            self._dead = trouble("the session is closed", "refused")
        try:
            self._session.close()
        except (Exception, SystemExit) as error:
            self._farewell = f"told to close, the model raised {type(error).__name__}: {error}"
            self._dead = trouble("the model raised while closing", "crash", evidence=traceback_tail(error))
