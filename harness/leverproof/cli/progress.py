"""Progress on standard error: a bar on a terminal, else one plain line every ten seconds."""

from __future__ import annotations

import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

EVERY = 10.0
_LOOK = 0.5
"""Seconds between two looks at the clock while nothing is reported."""
_SETTLED = 1.0
"""Seconds of work before a rate is told."""


class ProgressLine:
    """Called with work done, work in all and what is being done; use it in a ``with`` statement. It tells the rate, in
    ``unit`` a second, and the time left at that rate; what was done before the first call does not count for it."""

    def __init__(
        self, stream: TextIO | None = None, *, unit: str = "", clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._unit = unit
        self._clock = clock
        self._last = clock()
        self._first: tuple[float, float] | None = None
        self._bar: Progress | None = None
        self._task: TaskID | None = None
        self._line: tuple[float, float, str] | None = None
        self._one = threading.Lock()
        self._over = threading.Event()
        self._watch: threading.Thread | None = None

    def __enter__(self) -> ProgressLine:
        if self._stream.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

            self._bar = Progress(
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                TaskProgressColumn(),
                TextColumn("{task.fields[pace]}", markup=False),
                console=Console(file=self._stream),
                transient=True,
            )
            self._bar.start()
        else:
            # A line is due every ten seconds, also while one slow case takes minutes.
            self._watch = threading.Thread(target=self._watching, name="progress", daemon=True)
            self._watch.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        if self._watch is not None:
            self._watch.join()
            self._watch = None
        if self._bar is not None:
            self._bar.stop()
            self._bar = None

    def __call__(self, done: float, total: float, what: str) -> None:
        """Reports that ``done`` of ``total`` is finished and ``what`` is going on."""
        now = self._clock()
        pace = self._pace(done, total, now)
        if self._bar is not None:
            if self._task is None:
                self._task = self._bar.add_task(what, total=total, pace=pace)
            self._bar.update(self._task, completed=done, total=total, description=what, pace=pace)
            return
        with self._one:
            self._line = done, total, what
            self._told(now, pace)

    def _watching(self) -> None:
        if hasattr(signal, "pthread_sigmask"):
            # An interrupt is the first thread's, which may have put it off for a moment.
            signal.pthread_sigmask(signal.SIG_BLOCK, signal.valid_signals())
        while not self._over.wait(_LOOK):
            # Where nobody can read the lines any more, the next report says so.
            with self._one, suppress(OSError, ValueError):
                if self._line is not None:
                    now = self._clock()
                    self._told(now, self._pace(*self._line[:2], now))

    def _told(self, now: float, pace: str) -> None:
        """Writes the line that is due, if one is."""
        if self._line is None or now - self._last < EVERY:
            return
        self._last = now
        done, total, what = self._line
        share = 100.0 * done / total if total else 0.0
        print(f"{share:.0f} % {what}{', ' if pace else ''}{pace}", file=self._stream, flush=True)

    def _pace(self, done: float, total: float, now: float) -> str:
        """Rate and time left in words; "" until there is something to tell."""
        if self._first is None:
            self._first = (now, done)
        since, before = self._first
        if now - since < _SETTLED or done <= before:
            return ""
        rate = (done - before) / (now - since)
        told = f"{rate:,.0f}" if rate >= 10.0 else f"{rate:.2g}"
        counted = f"{told} {self._unit} a second, " if self._unit else ""
        return f"{counted}{_time(max(0.0, total - done) / rate)} left"


def _time(seconds: float) -> str:
    """So many seconds in the two largest units that say anything."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600:,} h {whole % 3600 // 60} min"
