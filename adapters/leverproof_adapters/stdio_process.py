"""A child process spoken to in lines, with a deadline on every exchange, that never outlives its owner
(POSIX).

The child leads a session and process group of its own; ending it ends the whole group. Its standard error is
drained all the time by a thread into a ring of 64 KiB, because a full pipe would stop it.
"""

from __future__ import annotations

import os
import selectors
import signal
import subprocess
import threading
import time
import weakref
from collections.abc import Callable, Sequence

_RING = 64 * 1024
_CHUNK = 1024 * 1024
_LAST_WORDS = 1.0
"""Seconds a child that closed its output is given to end by itself, so that its exit code can be told."""
_GRACE = 0.5
"""Seconds between the terminate signal and the kill signal."""


class ChildEndedError(Exception):
    """The child closed its output before its line was complete; ``partial`` is what it had written of it."""

    def __init__(self, partial: bytes) -> None:
        super().__init__("the output ended")
        self.partial = partial


class DeadlineError(Exception):
    """No complete line came in time."""


class LineTooLongError(Exception):
    """A line grew beyond the limit."""


class StderrRing:
    """The last 64 KiB a child wrote to standard error, collected by a thread of its own."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._wake, self._waker = os.pipe()
        self._kept = bytearray()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._drain, name="stderr of a model", daemon=True)
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

    A line may have ``most_bytes``; one that does not begin with ``{`` only ``most_stray``.
    """

    def __init__(
        self,
        argv: Sequence[str],
        folder: str,
        *,
        most_bytes: int,
        most_stray: int,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock = clock
        self._most_bytes, self._most_stray = most_bytes, most_stray
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(
            list(argv), cwd=folder, stdin=pipe, stdout=pipe, stderr=pipe, bufsize=0, start_new_session=True
        )
        assert self._process.stdin and self._process.stdout and self._process.stderr
        self._stdin, self._stdout = self._process.stdin, self._process.stdout
        self._in, self._out = self._stdin.fileno(), self._stdout.fileno()
        os.set_blocking(self._in, False)
        os.set_blocking(self._out, False)
        self._ring = StderrRing(self._process.stderr.fileno())
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._out, selectors.EVENT_READ)
        self._buffer = bytearray()
        self._ended = False
        # An interpreter that ends without close leaves no group behind; a fork of it owns none.
        self._finalizer = weakref.finalize(self, _last_resort, os.getpid(), self._process.pid)

    @property
    def group(self) -> int:
        """The id of the process group the child leads."""
        return self._process.pid

    def deadline(self, seconds: float) -> float:
        """The instant ``seconds`` from now, for :meth:`send` and :meth:`read`."""
        return self._clock() + seconds

    def send(self, line: bytes, until: float) -> bytes:
        """Writes ``line`` and returns the next line of the child; see :meth:`read`."""
        rest = memoryview(line)
        while rest:
            try:
                rest = rest[os.write(self._in, rest) :]
            except BlockingIOError:
                rest = self._wait_to_write(rest, until)
            except BrokenPipeError:
                break
        return self.read(until)

    def _wait_to_write(self, rest: memoryview, until: float) -> memoryview:
        """Waits until there is room, reading meanwhile: a child that writes before it reads must not
        lock up."""
        self._selector.register(self._in, selectors.EVENT_WRITE)
        try:
            ready = {key.fd for key, _ in self._select(until)}
        finally:
            self._selector.unregister(self._in)
        if self._out in ready and not self._receive():
            return rest[len(rest) :]
        return rest

    def _select(self, until: float) -> list[tuple[selectors.SelectorKey, int]]:
        left = until - self._clock()
        ready = self._selector.select(left) if left > 0.0 else []
        if not ready and self._clock() >= until:
            raise DeadlineError
        return ready

    def _receive(self) -> bool:
        """Takes what has come; False at the end of the output."""
        try:
            chunk = os.read(self._out, _CHUNK)
        except BlockingIOError:
            return True
        self._buffer += chunk
        if len(self._buffer) > self._most_bytes + _CHUNK:
            raise LineTooLongError
        return bool(chunk)

    def read(self, until: float) -> bytes:
        """The next line of the child, without its line end.

        Raises :class:`ChildEndedError`, :class:`DeadlineError` at the instant ``until`` and
        :class:`LineTooLongError` for a line beyond its limit.
        """
        searched = 0
        while True:
            end = self._buffer.find(b"\n", searched)
            if end >= 0:
                line = bytes(self._buffer[:end])
                del self._buffer[: end + 1]
                if len(line) > self._limit(line):
                    raise LineTooLongError
                return line.removesuffix(b"\r")
            searched = len(self._buffer)
            if searched > self._limit(self._buffer):
                raise LineTooLongError
            if self._select(until) and not self._receive() and b"\n" not in self._buffer[searched:]:
                raise ChildEndedError(bytes(self._buffer))

    def _limit(self, line: bytes | bytearray) -> int:
        return self._most_bytes if line.startswith(b"{") else self._most_stray

    def _has_exited(self) -> bool:
        """Whether the child has ended; it is left unreaped, which keeps the id of its group from being
        reused."""
        if self._process.returncode is not None:
            return True
        return os.waitid(os.P_PID, self._process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None

    def wait(self, seconds: float) -> bool:
        """Whether the child ends by itself within ``seconds``."""
        until, pause = self._clock() + seconds, 0.001
        while not self._has_exited():
            if self._clock() >= until:
                return False
            time.sleep(pause)
            pause = min(0.02, 2.0 * pause)
        return True

    def end(self, *, patience: float = 0.0) -> int:
        """Ends the child and its whole group, reaps it and returns its exit code, negative for a signal.

        It has ``patience`` seconds to end by itself after its input is closed, then the terminate signal,
        then the kill signal. May be called twice.
        """
        if not self._ended:
            self._ended = True
            self._stdin.close()
            if not self.wait(patience):
                _signal_group(self._process.pid, signal.SIGTERM)
                self.wait(_GRACE)
            _kill_group(self._process.pid)
            self._finalizer.detach()
            self._process.wait()
            self._ring.finish()
            self._selector.close()
            self._stdout.close()
            assert self._process.stderr
            self._process.stderr.close()
        return int(self._process.returncode)

    def end_of_output(self) -> int:
        """Ends a child that closed its output, after a moment in which it may do so itself."""
        return self.end(patience=_LAST_WORDS)

    def stderr_tail(self) -> str:
        """The last 64 KiB of its standard error."""
        return self._ring.text()


def _signal_group(group: int, number: signal.Signals) -> None:
    try:
        os.killpg(group, number)
    except (ProcessLookupError, PermissionError):
        # Nobody is left, or (macOS) only a process that has ended and is not reaped yet.
        return


def _kill_group(group: int) -> None:
    _signal_group(group, signal.SIGKILL)


def _last_resort(owner: int, group: int) -> None:
    if os.getpid() == owner:
        _kill_group(group)


def exit_words(code: int) -> str:
    """An exit code in words: ``exit code 3`` or ``ended by signal SIGSEGV``."""
    if code >= 0:
        return f"exit code {code}"
    try:
        return f"ended by signal {signal.Signals(-code).name}"
    except ValueError:
        return f"ended by signal {-code}"
