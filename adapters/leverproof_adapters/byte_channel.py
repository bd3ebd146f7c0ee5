"""Bytes to and from a model over two file descriptors, with a deadline on every exchange (POSIX).

Pipes of a child process and a TCP connection are the same here. A message goes out in one write where the system
takes it whole.
"""

from __future__ import annotations

import contextlib
import os
import selectors
import socket
import stat
import time
from collections.abc import Callable

_CHUNK = 1024 * 1024


class ChannelEndedError(Exception):
    """The other side closed its output before the message was complete; ``partial`` is what it had sent of it."""

    def __init__(self, partial: bytes) -> None:
        super().__init__("the output ended")
        self.partial = partial


class DeadlineError(Exception):
    """The message was not complete in time."""


class LineTooLongError(Exception):
    """A line grew beyond the limit."""


class ByteChannel:
    """Lines and counted bytes between the harness and one model. Owns both descriptors, which must differ.

    A line may have ``most_bytes``; one that does not begin with ``{`` only ``most_stray``.
    """

    def __init__(
        self,
        incoming: int,
        outgoing: int,
        *,
        most_bytes: int,
        most_stray: int,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock = clock
        self._most_bytes, self._most_stray = most_bytes, most_stray
        self._in, self._out = incoming, outgoing
        os.set_blocking(incoming, False)
        os.set_blocking(outgoing, False)
        self._selector = selectors.DefaultSelector()
        self._selector.register(incoming, selectors.EVENT_READ)
        self._buffer = bytearray()
        self._chunk = bytearray(_CHUNK)

    def deadline(self, seconds: float) -> float:
        """The instant ``seconds`` from now, for the other methods."""
        return self._clock() + seconds

    def send(self, message: bytes, until: float) -> bytes:
        """Writes ``message`` and returns the next line of the model; see :meth:`read`."""
        rest = memoryview(message)
        while rest:
            try:
                rest = rest[os.write(self._out, rest) :]
            except BlockingIOError:
                rest = self._wait_to_write(rest, until)
            except (BrokenPipeError, ConnectionResetError):
                break
        return self.read(until)

    def _wait_to_write(self, rest: memoryview, until: float) -> memoryview:
        """Waits until there is room, reading meanwhile: a model that writes before it reads must not
        lock up."""
        self._selector.register(self._out, selectors.EVENT_WRITE)
        try:
            ready = {key.fd for key, _ in self._select(until)}
        finally:
            self._selector.unregister(self._out)
        if self._in in ready and not self._receive():
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
            count = os.readv(self._in, [self._chunk])
        except BlockingIOError:
            return True
        except ConnectionResetError:
            return False
        self._buffer += memoryview(self._chunk)[:count]
        if len(self._buffer) > self._most_bytes + _CHUNK:
            raise LineTooLongError
        return count > 0

    def read(self, until: float) -> bytes:
        """The next line of the model, without its line end.

        Raises :class:`ChannelEndedError`, :class:`DeadlineError` at the instant ``until`` and
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
                raise ChannelEndedError(bytes(self._buffer))

    def read_exactly(self, count: int, until: float) -> bytes:
        """The next ``count`` bytes of the model; raises as :meth:`read` does."""
        while len(self._buffer) < count:
            before = len(self._buffer)
            if self._select(until) and not self._receive() and len(self._buffer) == before:
                raise ChannelEndedError(bytes(self._buffer))
        payload = bytes(self._buffer[:count])
        del self._buffer[:count]
        return payload

    def _limit(self, line: bytes | bytearray) -> int:
        return self._most_bytes if line.startswith(b"{") else self._most_stray

    def close_output(self) -> None:
        """Tells the model that nothing more will come; may be called twice."""
        if self._out >= 0:
            if stat.S_ISSOCK(os.fstat(self._out).st_mode):
                # A connection ends with its last descriptor only, and what the model still says is wanted.
                with contextlib.suppress(OSError), socket.socket(fileno=os.dup(self._out)) as connection:
                    connection.shutdown(socket.SHUT_WR)
            os.close(self._out)
            self._out = -1

    def close(self) -> None:
        """Gives both descriptors back; may be called twice."""
        self.close_output()
        if self._in >= 0:
            self._selector.close()
            os.close(self._in)
            self._in = -1
