"""A deadline on every wait, whatever the model is: a call that does not come back costs its item, nothing else.

A model in a process of its own is ended by its adapter. One in the harness's process cannot be: its thread is
left behind, asked to stop (which ends a loop written in Python), and whatever it still says is not heard.
"""

from __future__ import annotations

import ctypes
import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

from leverproof.stand.port import Array, Deadlines, Hello, Session, Start
from leverproof.stand.trouble import trouble

T = TypeVar("T")

POLL = 0.25
"""Seconds between two looks at the deadline in force; a deadline is overrun by this much at most."""


class Watch:
    """The deadline of the call under way. ``grace`` in seconds is added to each, so that an adapter with
    deadlines of its own comes first and ends its process."""

    def __init__(self, grace: float) -> None:
        self._grace = grace
        self._until, self._allowed, self._doing = math.inf, math.inf, ""
        self._left = False

    @contextmanager
    def within(self, seconds: float, doing: str) -> Iterator[None]:
        """Allows ``seconds`` for what is inside; raises when the item was given up before."""
        if self._left:
            raise SystemExit("given up: its deadline passed")
        before = self._until, self._allowed, self._doing
        until = time.monotonic() + seconds + self._grace
        if until < self._until:
            self._allowed, self._doing, self._until = seconds, doing, until
        try:
            yield
        finally:
            self._until, self._allowed, self._doing = before

    def run(self, work: Callable[[], T]) -> T:
        """What ``work`` returns; raises :class:`leverproof.errors.StandError` ``hang`` when a call inside it is
        still under way at its deadline."""
        done = threading.Event()
        box: list[T] = []
        errors: list[BaseException] = []

        def inside() -> None:
            try:
                box.append(work())
            except BaseException as error:
                errors.append(error)
            finally:
                done.set()

        thread = threading.Thread(target=inside, daemon=True, name="leverproof-shakedown")
        thread.start()
        while not done.wait(min(POLL, max(self._until - time.monotonic(), 0.0) + 0.01)):
            if time.monotonic() > self._until:
                allowed, doing = self._allowed, self._doing
                self._leave(thread)
                raise trouble(f"no answer to {doing} within {allowed:g} s", "hang")
        if errors:
            raise errors[0]
        return box[0]

    def _leave(self, thread: threading.Thread) -> None:
        self._left = True
        if thread.ident is not None:
            ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread.ident), ctypes.py_object(SystemExit))


class WatchedSession:
    """``session`` with each call under its deadline of the stand file. One that is ``paced`` by the model's own clock
    has deadlines of its own for that clock."""

    def __init__(self, session: Session, deadlines: Deadlines, watch: Watch, *, paced: bool = False) -> None:
        self._session, self._deadlines, self._watch, self._paced = session, deadlines, watch, paced

    def _allowed(self, rows: int) -> float:
        if self._paced:
            return math.inf
        return self._deadlines.request + rows * self._deadlines.row

    def hello(self) -> Hello:
        """The model's description."""
        with self._watch.within(self._deadlines.start, "hello"):
            return self._session.hello()

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs)."""
        with self._watch.within(self._allowed(len(starts)), "initialise"):
            return self._session.initialise(starts, step_ticks, inputs, outputs)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs)."""
        with self._watch.within(self._allowed(rows.shape[0] * len(lanes)), "advance"):
            return self._session.advance(lanes, rows)

    def reset(self) -> None:
        """Forget all lanes."""
        with self._watch.within(self._deadlines.request, "reset"):
            self._session.reset()

    def close(self) -> None:
        """End the model."""
        with self._watch.within(self._deadlines.request, "close"):
            self._session.close()
