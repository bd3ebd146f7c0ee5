"""Processes that a child has started and that left its process group: found by a mark in their environment (Linux).

Whoever starts a session of its own escapes a signal to the group, and without its parent its descent is lost. The
environment is handed on all the same. One that was given another environment on purpose is not found.
"""

from __future__ import annotations

import os
import signal
import uuid
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

_NAME = "LEVERPROOF_CHILD"
_ROUNDS = 5
"""Looks at most: what is found may start another while it is being ended."""


def new_mark() -> str:
    """A mark that no other child has."""
    return uuid.uuid4().hex


def marked(environment: Mapping[str, str], mark: str) -> dict[str, str]:
    """The environment with the mark in it."""
    return {**environment, _NAME: mark}


def end_stragglers(mark: str) -> None:
    """Kills every process with the mark; does nothing where processes cannot be looked at."""
    for _ in range(_ROUNDS):
        found = [number for number in _bearers(mark) if _kill(number, mark)]
        if not found:
            return


def _bearers(mark: str) -> Iterator[int]:
    sought = f"{_NAME}={mark}".encode()
    for entry in Path("/proc").glob("[0-9]*/environ"):
        with suppress(OSError):
            if sought in entry.read_bytes():
                yield int(entry.parent.name)


def _kill(number: int, mark: str) -> bool:
    """Kills a process if it still bears the mark; holding it first keeps its number from going to another."""
    with suppress(OSError):
        held = os.pidfd_open(number)
        try:
            if f"{_NAME}={mark}".encode() in Path(f"/proc/{number}/environ").read_bytes():
                signal.pidfd_send_signal(held, signal.SIGKILL)
                return True
        finally:
            os.close(held)
    return False
