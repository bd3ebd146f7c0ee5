"""A child process that never outlives its owner (POSIX).

The child leads a session and process group of its own; ending it ends the whole group, and what has left the group
where that can be found. What it says beside the
protocol is drained all the time by a thread into a ring of 64 KiB, because a full pipe would stop it.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import selectors
import signal
import subprocess
import threading
import time
import weakref
from collections.abc import Callable, Mapping, Sequence
from typing import IO

from leverproof_adapters.stragglers import end_stragglers, marked, new_mark

_RING = 64 * 1024
_ROOM = 1024 * 1024
"""Bytes a pipe to or from a child shall hold, where the system allows."""
_GRACE = 0.5
"""Seconds between the terminate signal and the kill signal."""


class TalkRing:
    """The last 64 KiB a child wrote beside the protocol, collected by a thread of its own."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._wake, self._waker = os.pipe()
        self._kept = bytearray()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._drain, name="talk of a model", daemon=True)
        self._thread.start()

    def _drain(self) -> None:
        with selectors.DefaultSelector() as selector:
            selector.register(self._descriptor, selectors.EVENT_READ)
            selector.register(self._wake, selectors.EVENT_READ)
            while True:
                ready = {key.fd for key, _ in selector.select()}
                if self._descriptor in ready:
                    chunk = os.read(self._descriptor, _RING)
                    if not chunk:
                        return
                    with self._lock:
                        self._kept += chunk
                        del self._kept[:-_RING]
                elif self._wake in ready:
                    return

    def finish(self) -> None:
        """Reads what is left and stops; a grandchild that holds the pipe open does not delay this."""
        if self._waker < 0:
            return
        os.write(self._waker, b"x")
        self._thread.join()
        os.close(self._waker)
        os.close(self._wake)
        self._waker = -1

    def text(self) -> str:
        """The tail so far, with bytes that are not UTF-8 replaced."""
        with self._lock:
            return self._kept.decode("utf-8", "replace")


class Child:
    """A running child; raises :class:`OSError` when it cannot be started. One owner calls :meth:`end`.

    With ``speaks`` its standard streams carry the protocol: ``incoming`` and ``outgoing`` are descriptors for a
    channel, which owns them, and its standard error is its talk. Else it has no input, and all it says is talk.
    """

    def __init__(
        self,
        argv: Sequence[str],
        folder: str,
        *,
        speaks: bool,
        environment: Mapping[str, str] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock = clock
        self._mark = new_mark()
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(
            list(argv),
            cwd=folder,
            env=marked(os.environ if environment is None else environment, self._mark),
            stdin=pipe if speaks else subprocess.DEVNULL,
            stdout=pipe,
            stderr=pipe if speaks else subprocess.STDOUT,
            bufsize=0,
            start_new_session=True,
        )
        self._talk = self._process.stderr if speaks else self._process.stdout
        assert self._talk
        self.incoming = self.outgoing = -1
        if speaks:
            assert self._process.stdin and self._process.stdout
            self.incoming, self.outgoing = _taken(self._process.stdout), _taken(self._process.stdin)
        self._ring = TalkRing(self._talk.fileno())
        self._ended = False
        self._lingered = False
        self._reaping = threading.Lock()
        # An interpreter that ends without close leaves no group behind; a fork of it owns none.
        self._finalizer = weakref.finalize(self, _last_resort, os.getpid(), self._process.pid, self._mark)

    @property
    def group(self) -> int:
        """The id of the process group the child leads."""
        return self._process.pid

    def has_exited(self) -> bool:
        """Whether the child has ended; it is left unreaped, which keeps the id of its group from being
        reused."""
        if self._process.returncode is not None:
            return True
        return os.waitid(os.P_PID, self._process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None

    def wait(self, seconds: float) -> bool:
        """Whether the child ends by itself within ``seconds``."""
        until, pause = self._clock() + seconds, 0.001
        while not self.has_exited():
            if self._clock() >= until:
                return False
            time.sleep(pause)
            pause = min(0.02, 2.0 * pause)
        return True

    def end(self, *, patience: float = 0.0) -> int:
        """Ends the child and its whole group, reaps it and returns its exit code, negative for a signal.

        It has ``patience`` seconds to end by itself, then the terminate signal, then the kill signal. May be
        called twice.
        """
        if not self._ended:
            if not self.wait(patience):
                self._lingered = True
                _signal_group(self._process.pid, signal.SIGTERM)
                self.wait(_GRACE)
            with self._reaping:
                self._ended = True
            _kill_group(self._process.pid)
            end_stragglers(self._mark)
            self._finalizer.detach()
            self._process.wait()
            self._ring.finish()
            assert self._talk
            self._talk.close()
        return int(self._process.returncode)

    def abort(self) -> None:
        """Ends the group at once, from any thread; whoever waits for the child's words finds their end."""
        with self._reaping:
            if not self._ended:
                _kill_group(self._process.pid)

    @property
    def misfortune(self) -> str:
        """How the child ended in words, when it ended by itself and not with exit code 0; else empty."""
        code = self._process.returncode
        return exit_words(int(code)) if self._ended and code and not self._lingered else ""

    def tail(self) -> str:
        """The last 64 KiB of its talk."""
        return self._ring.text()


def _taken(stream: IO[bytes]) -> int:
    """A descriptor of the same pipe, made as roomy as a message where the system allows, with ``stream``
    closed."""
    descriptor = os.dup(stream.fileno())
    stream.close()
    if hasattr(fcntl, "F_SETPIPE_SZ"):
        # A user's quota of roomy pipes may be spent; the pipe then works as it is.
        with contextlib.suppress(OSError):
            fcntl.fcntl(descriptor, fcntl.F_SETPIPE_SZ, _ROOM)
    return descriptor


def _signal_group(group: int, number: signal.Signals) -> None:
    try:
        os.killpg(group, number)
    except (ProcessLookupError, PermissionError):
        # Nobody is left, or (macOS) only a process that has ended and is not reaped yet.
        return


def _kill_group(group: int) -> None:
    _signal_group(group, signal.SIGKILL)


def _last_resort(owner: int, group: int, mark: str) -> None:
    if os.getpid() == owner:
        _kill_group(group)
        end_stragglers(mark)


def exit_words(code: int) -> str:
    """An exit code in words: ``exit code 3`` or ``ended by signal SIGSEGV``."""
    if code >= 0:
        return f"exit code {code}"
    try:
        return f"ended by signal {signal.Signals(-code).name}"
    except ValueError:
        return f"ended by signal {-code}"
