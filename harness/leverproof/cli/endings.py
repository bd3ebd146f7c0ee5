"""How a command ends that somebody else ends."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def ended_in_order() -> Iterator[None]:
    """Takes a termination, or the loss of the terminal, for an interrupt: the model is ended and what was finished is
    kept. A signal that somebody else handles, or ignores as ``nohup`` does, is left to them."""

    def interrupt(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    changed = []
    if threading.current_thread() is threading.main_thread():
        known = (getattr(signal, name, None) for name in ("SIGTERM", "SIGHUP"))
        changed = [number for number in known if number and signal.getsignal(number) is signal.SIG_DFL]
    for number in changed:
        signal.signal(number, interrupt)
    try:
        yield
    finally:
        for number in changed:
            signal.signal(number, signal.SIG_DFL)
