"""One session over several processes of the same model, its lanes dealt out among them.

Lane g runs in process g mod n. Requests to all processes are under way at once, one in each; each has its own
deadlines. A lane's numbers do not depend on its neighbours, so they do not depend on the number of processes either.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import replace
from typing import TypeVar

import numpy as np

from leverproof.errors import LeverproofError, StandError
from leverproof.stand.guard import GuardedSession
from leverproof.stand.port import Array, Hello, Session, Start
from leverproof.stand.trouble import trouble

T = TypeVar("T")


def open_processes(opened: Callable[[], Session], count: int) -> ProcessesSession:
    """A session over ``count`` sessions made one after the other; when one cannot be made the others are closed."""
    sessions: list[GuardedSession] = []
    try:
        for _ in range(count):
            session = opened()
            sessions.append(session if isinstance(session, GuardedSession) else GuardedSession(session))
    except BaseException:
        for made in sessions:
            made.close()
        raise
    return ProcessesSession(sessions)


class ProcessesSession:
    """A session over ``sessions``, which it owns. A :class:`StandError` of it names in ``lanes`` all lanes of the
    processes that failed; every other process has answered by then."""

    def __init__(self, sessions: Sequence[GuardedSession]) -> None:
        self._sessions = tuple(sessions)
        self._lanes = 0
        self._outputs = 0
        self._said: Hello | None = None
        self._pool = ThreadPoolExecutor(len(sessions), thread_name_prefix="process of a model")

    @property
    def groups(self) -> tuple[int | None, ...]:
        """Of each process the id of its group, as far as its session tells."""
        return tuple(getattr(session.guarded, "group", None) for session in self._sessions)

    @property
    def farewell(self) -> str:
        """What was wrong with how the first of them ended that did not end in order; else empty."""
        return next((session.farewell for session in self._sessions if session.farewell), "")

    def hello(self) -> Hello:
        """What they all say of themselves, with the lanes and the room in messages of all together.

        Raises :class:`StandError` ``protocol`` when they differ: a case must not depend on where it is flown.
        """
        if self._said is None:
            said = self._ask({number: s.hello for number, s in enumerate(self._sessions)})
            first = said[0]
            if any(replace(other, warnings=first.warnings) != first for other in said.values()):
                raise trouble("two processes of the model describe themselves differently", "protocol")
            can, count = first.capabilities, len(self._sessions)
            able = replace(can, lanes=count * can.lanes, max_values=count * can.max_values)
            warnings = tuple(dict.fromkeys(line for other in said.values() for line in other.warnings))
            self._said = replace(first, capabilities=able, warnings=warnings)
        return self._said

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs)."""
        self._lanes, self._outputs = len(starts), len(outputs)
        count = len(self._sessions)
        calls = {
            number: _initialising(session, starts[number::count], step_ticks, inputs, outputs)
            for number, session in enumerate(self._sessions[: len(starts)])
        }
        out = np.empty((len(starts), len(outputs)))
        for number, rows in self._ask(calls).items():
            out[number::count] = rows
        return out

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs)."""
        count = len(self._sessions)
        owner = np.array(lanes, dtype=np.intp) % count
        places = {number: np.flatnonzero(owner == number) for number in range(count)}
        calls = {
            number: _advancing(self._sessions[number], [lanes[at] // count for at in held.tolist()], rows[:, held])
            for number, held in places.items()
            if held.size
        }
        out = np.empty((rows.shape[0], len(lanes), self._outputs))
        for number, reply in self._ask(calls).items():
            out[:, places[number]] = reply
        return out

    def reset(self) -> None:
        """Forget all lanes, in every process."""
        self._lanes = 0
        self._ask({number: session.reset for number, session in enumerate(self._sessions)})

    def close(self) -> None:
        """End every process; never raises, may be called twice."""
        try:
            wait([self._pool.submit(session.close) for session in self._sessions])
        except RuntimeError:
            # The pool has been shut down: everything is closed.
            return
        self._pool.shutdown()

    def _ask(self, calls: Mapping[int, Callable[[], T]]) -> dict[int, T]:
        """What each call returns; all are under way at once, and all have ended when this does."""
        futures = {number: self._pool.submit(call) for number, call in calls.items()}
        try:
            wait(futures.values())
        except BaseException:
            # An interrupt waits for no deadline: without their processes the calls end at once.
            for session in self._sessions:
                getattr(session.guarded, "abort", _nothing)()
            wait(futures.values())
            raise
        failed = {number: error for number, f in futures.items() if (error := f.exception()) is not None}
        if failed:
            raise self._blamed(failed)
        return {number: future.result() for number, future in futures.items()}

    def _blamed(self, failed: Mapping[int, BaseException]) -> BaseException:
        """The first error, with the lanes of all processes that failed."""
        worst = [error for error in failed.values() if not isinstance(error, LeverproofError)]
        error = worst[0] if worst else failed[min(failed)]
        if isinstance(error, StandError):
            count = len(self._sessions)
            error.lanes = tuple(lane for lane in range(self._lanes) if lane % count in failed)
        return error


def _nothing() -> None:
    pass


def _initialising(
    session: Session, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
) -> Callable[[], Array]:
    return lambda: session.initialise(starts, step_ticks, inputs, outputs)


def _advancing(session: Session, lanes: Sequence[int], rows: Array) -> Callable[[], Array]:
    return lambda: session.advance(lanes, rows)
