"""The executor on processes of this machine. Each can be killed: a model that ends its process, or hangs in it, costs
exactly the case that made it do so.

A block whose process dies or falls silent is flown again item by item; an item that does it alone is the culprit and
gets its own result, with the reason. Processes are started anew (never forked), the same on every system.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from leverproof import __version__
from leverproof.blas import forget, one_thread
from leverproof.campaign.expand import alone
from leverproof.campaign.flying import Beat, Flyer, Lines, lost
from leverproof.campaign.model import Block
from leverproof.conduct.batch import MOST_ROWS
from leverproof.errors import UsageError

Done = Callable[[Block, Lines], None]
_READY = "ready"
_GLANCE = 0.5
_START = 120.0
"""Seconds a process is given to import what it needs."""
_IN_PROCESS = ("in_process", "reference_engine")
_REOPENED = 4
"""How often the start of a model in a process of its own, which is waited for no longer than its deadlines there, may
be waited for before a word is heard: once, and three attempts after a failure."""
_MARGIN = 5.0
"""Beyond the deadlines: for the harness's own work, and for the pauses of a run, which last at most 2 s."""
_STARTS = 3
_FAREWELL = 3.0
"""Seconds that a worker is given to end its model, which may be a process that ends by nothing else."""
_PART = 1.0
"""Seconds after which a worker hands over what it has finished of its block: so much a kill or an interrupt may cost,
and what is under way."""


class WorkerError(UsageError):
    """Processes end before they have begun any work: nothing can be flown here. What was finished is kept."""


class Workers:
    """``jobs`` processes that fly blocks; use it in a ``with`` statement. They are started with the first block, or
    ahead of it by :meth:`start`, kept from one :meth:`run` to the next, and ended with their models at the end,
    whatever they are doing.
    """

    def __init__(self, fly: Flyer | None, jobs: int, *, clock: Callable[[], float] = time.monotonic) -> None:
        self.fly, self.jobs, self._clock = fly, jobs, clock
        self._workers: list[_Worker] = []
        self._stillborn = 0
        self._studied_again: set[str] = set()

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self._workers:
            worker.dismiss()
        for worker in self._workers:
            worker.kill()
        self._workers = []

    def start(self) -> None:
        """Starts all processes, which import what they need while the plan is read. They do nothing before they are
        given what flies: ``fly``."""
        while len(self._workers) < self.jobs:
            self._workers.append(_Worker(self._clock))

    def run(self, blocks: Iterable[Block], on_done: Done, between: Callable[[], None] | None = None) -> None:
        """Flies all blocks; ``on_done`` is told each with its lines, in the order in which they are done. A block may
        be told in parts, when its items had to be flown one by one. ``between`` is called when every worker has
        something to do."""
        queue = _Queue(iter(blocks))
        while True:
            self._hand_out(queue)
            if between is not None:
                between()
            busy = [worker for worker in self._workers if worker.block is not None]
            if not busy:
                return
            heard = wait([w.line for w in busy] + [w.process.sentinel for w in busy], timeout=_GLANCE)
            for worker in busy:
                if worker.line in heard or worker.process.sentinel in heard:
                    self._listen(worker, queue, on_done)
                elif silence := self._silent(worker):
                    self._lose(worker, queue, on_done, silence)

    def _hand_out(self, queue: _Queue) -> None:
        """Gives every idle worker a block; starts workers up to the number wanted while there are blocks."""
        for worker in [w for w in self._workers if w.block is None]:
            block = queue.next()
            if block is None:
                return
            self._give(worker, block)
        while len(self._workers) < self.jobs and (block := queue.next()) is not None:
            worker = _Worker(self._clock)
            self._workers.append(worker)
            self._give(worker, block)

    def _give(self, worker: _Worker, block: Block) -> None:
        fly = self._flyer()
        worker.give(fly, block, self._clock(), patience(fly, block))

    def _flyer(self) -> Flyer:
        if self.fly is None:
            raise RuntimeError("there is nothing that flies blocks yet")
        return self.fly

    def _listen(self, worker: _Worker, queue: _Queue, on_done: Done) -> None:
        try:
            told: Any = worker.line.recv() if worker.line.poll() else None
        except (EOFError, OSError):
            told = None
        if told is None:
            if not worker.process.is_alive() or worker.line.closed:
                self._lose(worker, queue, on_done, worker.last_words())
            return
        if told == _READY:
            worker.ready = True
            self._stillborn = 0
            return
        if worker.block is not None and isinstance(told, _Part):
            on_done(worker.gave(told.items), told.lines)
            return
        block, worker.block = worker.block, None
        if block is not None and isinstance(told, _Fault):
            self._found_out(block, queue, on_done, told.words, shared=worker.shared)
        elif block is not None:
            on_done(block, told)

    def _silent(self, worker: _Worker) -> str:
        """Why a worker must be ended that has not been heard of for too long; "" otherwise."""
        now, beats = self._clock(), worker.beats.value
        if beats != worker.heard:
            worker.heard, worker.since = beats, now
        limit = worker.patience if worker.ready else _START
        return f"the model did not answer for {limit:g} s; its process was ended" if now - worker.since > limit else ""

    def _lose(self, worker: _Worker, queue: _Queue, on_done: Done, words: str) -> None:
        """Ends a worker and finds out whose doing it was."""
        worker.dismiss()
        worker.kill()
        self._workers.remove(worker)
        block = worker.block
        if not worker.ready:
            self._stillborn += 1
            if self._stillborn >= _STARTS:
                raise WorkerError(
                    f"{_STARTS} processes one after the other ended before they had begun: {words}",
                    "",
                    "see what they wrote; the same command goes on with what is not finished",
                    "workers",
                )
            if block is not None:
                queue.again([block])
        elif block is not None:
            self._found_out(block, queue, on_done, words, shared=worker.shared)

    def _found_out(self, block: Block, queue: _Queue, on_done: Done, words: str, *, shared: bool) -> None:
        """Has what is left of a block with several items flown one by one; one that was alone is the culprit. All items
        of a model are judged by its step study, so that is given a second chance too."""
        if shared:
            queue.again(alone(block))
        elif not block.items and block.id not in self._studied_again:
            self._studied_again.add(block.id)
            queue.again([block])
        else:
            on_done(block, lost(self._flyer().plan, block, words))


def patience(fly: Flyer, block: Block) -> float:
    """Seconds without a word after which a model counts as hung: its stand's deadlines, for the longest of what may
    happen between two words, and a margin for the harness's own work."""
    stand = fly.plan.models[block.model].stand
    told, starts = stand.deadlines, 1 if stand.kind in _IN_PROCESS else _REOPENED
    return max(starts * told.start, told.request + MOST_ROWS * told.row) + _MARGIN


@dataclass(frozen=True, slots=True)
class _Part:
    """What has been finished of a block so far, and was not told yet: ids of items, and lines."""

    items: frozenset[str]
    lines: Lines


class _Parts:
    """Hands over what a worker finishes, in parts of at least :data:`_PART` seconds of its work; :meth:`rest` is what
    was not handed over."""

    def __init__(self, send: Callable[[_Part], None]) -> None:
        self._send = send
        self._items: list[str] = []
        self._lines: list[bytes] = []
        self._due = time.monotonic() + _PART

    def keep(self, item: str, line: bytes) -> None:
        self._lines.append(line)
        if not item:
            return
        self._items.append(item)
        if time.monotonic() >= self._due:
            self._send(_Part(frozenset(self._items), self.rest()))
            self._items = []
            self._due = time.monotonic() + _PART

    def rest(self) -> Lines:
        rest, self._lines = tuple(self._lines), []
        return rest


@dataclass(frozen=True, slots=True)
class _Fault:
    """What went wrong in the harness itself."""

    words: str


class _Queue:
    """Blocks to be flown: those that come again go first."""

    def __init__(self, blocks: Iterator[Block]) -> None:
        self._blocks = blocks
        self._again: deque[Block] = deque()

    def next(self) -> Block | None:
        return self._again.popleft() if self._again else next(self._blocks, None)

    def again(self, blocks: Iterable[Block]) -> None:
        self._again.extend(blocks)


@dataclass(init=False)
class _Worker:
    """A process, the line to it, the block it flies, and when it was last heard of."""

    process: Any
    line: Connection
    beats: Any
    ready: bool = False
    equipped: bool = False
    block: Block | None = None
    shared: bool = False
    heard: int = 0
    since: float = 0.0
    patience: float = field(default=0.0)

    def __init__(self, clock: Callable[[], float]) -> None:
        context = multiprocessing.get_context("spawn")
        self.line, theirs = context.Pipe()
        self.beats = context.RawValue("Q", 0)
        self.ready, self.block, self.heard, self.equipped = False, None, 0, False
        with _uninterrupted(), one_thread() as calmed:
            self.process = context.Process(target=_work, args=(theirs, self.beats, calmed), daemon=False)
            self.process.start()
        theirs.close()
        self.since = clock()

    def give(self, fly: Flyer, block: Block, now: float, patience: float) -> None:
        """Sends a block, and before the first what flies it."""
        self.block, self.since, self.patience = block, now, patience
        self.shared = len(block.items) > 1
        try:
            if not self.equipped:
                self.line.send(fly)
                self.equipped = True
            self.line.send(block)
        except OSError:
            # It has ended meanwhile; its sentinel will tell.
            return

    def gave(self, items: frozenset[str]) -> Block:
        """The part of its block that these items are, which is not under way any more."""
        if self.block is None:
            raise RuntimeError("a worker without a block gives nothing")
        whole = self.block
        self.block = replace(whole, items=tuple(item for item in whole.items if item.id not in items))
        return replace(whole, items=tuple(item for item in whole.items if item.id in items))

    def dismiss(self) -> None:
        """Has it end with its model: by itself where it is idle, at once where it is not."""
        if self.block is None:
            self.line.close()
        else:
            self.process.terminate()

    def kill(self) -> None:
        """Waits for the end of one that is dismissed, and ends one that does not."""
        self.process.join(_FAREWELL)
        self.process.kill()
        self.process.join()
        self.line.close()

    def last_words(self) -> str:
        self.process.join(1.0)
        code = self.process.exitcode
        if code is not None and code < 0:
            try:
                name = signal.Signals(-code).name
            except ValueError:
                name = str(-code)
            return f"the model ended its process by signal {name}"
        return f"the model ended its process with exit code {code}"


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """What is started meanwhile is never interrupted: that is for its parent to act upon, which hears of it after."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _work(line: Connection, beats: Any, calmed: bool) -> None:
    """A worker: what flies, then blocks in, lines out, until nobody is at the other end. ``calmed`` if it was started
    with a setting of ours for NumPy, which has been loaded by now."""
    if calmed:
        forget()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _end)
    threading.Thread(target=_follow, daemon=True).start()
    # What a model prints must not mix with the results of the command.
    os.dup2(sys.stderr.fileno() if sys.stderr is not None else 2, 1)

    def beat() -> None:
        beats.value += 1

    fly: Flyer | None = None
    try:
        fly = line.recv()
        # What is there by now stays: the collector need not look at it again and again.
        gc.freeze()
        line.send(_READY)
        while True:
            line.send(_flown(fly, line.recv(), beat, _Parts(line.send)))
    except _Dismissed:
        # No time for a farewell: the end of this interpreter ends the processes of models that it has started.
        return
    except (EOFError, OSError):
        if fly is not None:
            fly.close()


def _flown(fly: Flyer, block: Block, beat: Beat, parts: _Parts) -> Lines | _Fault:
    try:
        fly(block, beat, parts.keep)
        return parts.rest()
    except Exception as fault:
        fly.close()
        where = traceback.extract_tb(fault.__traceback__)[-1]
        told = f"{type(fault).__name__}: {fault} ({Path(where.filename).name}:{where.lineno})"
        return _Fault(f"a fault of leverproof {__version__}, please report it: {told}")


class _Dismissed(BaseException):
    """A worker is to end, whatever it is doing. No keyboard interrupt: runs that are under way do not outlast it."""


def _end(number: int, frame: object) -> None:
    # Once: the end that follows is not to be interrupted.
    signal.signal(number, signal.SIG_IGN)
    raise _Dismissed


def _follow() -> None:
    """Ends this process with its model as soon as its parent has gone, even while a model is at work."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        if hasattr(signal, "pthread_kill"):
            signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGTERM)
            time.sleep(_FAREWELL)
        os._exit(1)
