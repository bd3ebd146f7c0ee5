"""How far a session is, for people: a bar on a terminal, one plain line every ten seconds elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

EVERY = 10.0

Report = Callable[[float, float], None]


@contextmanager
def shown(stream: TextIO, *, quiet: bool, clock: Callable[[], float] = time.monotonic) -> Iterator[Report | None]:
    """A callback for :func:`leverproof.conduct.scheduler.conduct` that draws on ``stream``; None when
    ``quiet``."""
    if quiet:
        yield None
    elif stream.isatty():
        with _bar(stream) as bar:
            task = bar.add_task("flying", total=None)
            yield lambda done, total: bar.update(task, completed=done, total=total)
    else:
        yield lines(stream, clock)


def _bar(stream: TextIO) -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        TextColumn("{task.completed:,.0f} lane-seconds"),
        TimeRemainingColumn(),
        console=Console(file=stream),
        transient=True,
    )


def lines(stream: TextIO, clock: Callable[[], float]) -> Report:
    """Writes one line every ten seconds, the first after ten seconds."""
    due = clock() + EVERY

    def report(done: float, total: float) -> None:
        nonlocal due
        now = clock()
        if now >= due:
            due = now + EVERY
            share = 100.0 * done / total if total else 100.0
            stream.write(f"flown {done:,.0f} of about {total:,.0f} lane-seconds ({share:.0f} %)\n")
            stream.flush()

    return report
