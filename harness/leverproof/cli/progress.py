"""Progress on standard error: a bar on a terminal, else one plain line every ten seconds."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

EVERY = 10.0


class ProgressLine:
    """Called with work done, work in all and what is being done; use it in a ``with`` statement."""

    def __init__(self, stream: TextIO | None = None, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._clock = clock
        self._last = clock()
        self._bar: Progress | None = None
        self._task: TaskID | None = None

    def __enter__(self) -> ProgressLine:
        if self._stream.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

            self._bar = Progress(
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                TaskProgressColumn(),
                console=Console(file=self._stream),
                transient=True,
            )
            self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()
            self._bar = None

    def __call__(self, done: float, total: float, what: str) -> None:
        """Reports that ``done`` of ``total`` is finished and ``what`` is going on."""
        if self._bar is not None:
            if self._task is None:
                self._task = self._bar.add_task(what, total=total)
            self._bar.update(self._task, completed=done, total=total, description=what)
            return
        now = self._clock()
        if now - self._last >= EVERY:
            self._last = now
            share = 100.0 * done / total if total else 0.0
            print(f"{share:.0f} % {what}", file=self._stream, flush=True)
