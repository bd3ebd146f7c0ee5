"""Speaking to a model past its adapter, which would end it at the first refusal or never send what is wrong.

A program on its standard streams is spoken to line by line; an object in the process through a guard that is
renewed after each refusal. Other stands cannot be spoken to in this way.
"""

from __future__ import annotations

import os
import select
import signal
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from leverproof.errors import LeverproofError, StandError
from leverproof.stand.guard import GuardedSession
from leverproof.stand.port import OpenStand, Session, StandFile, Start
from leverproof.stand.trouble import trouble
from leverproof.stand.wire import MOST_BANNER, MOST_BYTES, PROTOCOL, WireError, decode, encode

Numbers = list[Any]


class RefusedError(Exception):
    """The model refused a request, in its own words."""


class Talk(Protocol):
    """A conversation that outlives refusals. Both methods raise :class:`RefusedError` for a refusal and
    :class:`StandError` for anything worse; numbers are nested lists in the model's own units."""

    def initialise(
        self, starts: Sequence[tuple[str, Numbers]], step: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Numbers:
        """Outputs at t_0 of lanes that begin with an engine state and a row of inputs."""
        ...

    def advance(self, lanes: Sequence[int], rows: Numbers) -> Numbers:
        """Outputs of ``rows[i][k][column]``."""
        ...

    def close(self) -> str:
        """Ends the model; what is wrong with how it ended, or nothing."""
        ...


def open_talk(stand: StandFile, adapter: OpenStand) -> Talk | None:
    """A conversation with a fresh model of the stand, None for a kind that cannot be spoken to; an object in
    the process is opened by ``adapter``."""
    if stand.kind == "stdio":
        return LineTalk(stand)
    if stand.kind in ("in_process", "reference_engine"):
        return ObjectTalk(adapter(stand, defect=None))
    return None


class ObjectTalk:
    """With an object in this process. Any exception of it is a refusal: that is how Python refuses."""

    def __init__(self, session: Session) -> None:
        while isinstance(session, GuardedSession):
            session = session.guarded
        self._bare = session
        self._guard = GuardedSession(session)

    def initialise(
        self, starts: Sequence[tuple[str, Numbers]], step: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Numbers:
        """See :class:`Talk`."""
        begun = [Start(engine, tuple(row)) for engine, row in starts]
        try:
            rows = self._guard.initialise(begun, step, inputs, outputs)
        except (LeverproofError, ValueError) as error:
            raise self._refusal(error) from error
        return list(rows.tolist())

    def advance(self, lanes: Sequence[int], rows: Numbers) -> Numbers:
        """See :class:`Talk`."""
        try:
            return list(self._guard.advance(lanes, np.array(rows, dtype=np.float64)).tolist())
        except (LeverproofError, ValueError) as error:
            raise self._refusal(error) from error

    def close(self) -> str:
        """Closes the object twice."""
        try:
            self._bare.close()
            self._bare.close()
        except (Exception, SystemExit) as error:
            return f"close raised {type(error).__name__}: {error}"
        return ""

    def _refusal(self, error: Exception) -> RefusedError:
        self._guard = GuardedSession(self._bare)
        return RefusedError(getattr(error, "message", str(error)))


class LineTalk:
    """With a program on its standard streams, in the wire protocol; every wait ends at the stand's deadline."""

    def __init__(self, stand: StandFile) -> None:
        folder = Path(stand.path).parent
        first = stand.command[0]
        program = str((folder / first).absolute()) if "/" in first else first
        self._deadlines = stand.deadlines
        self._buffer = b""
        self._id = 0
        try:
            self._child = subprocess.Popen(
                [program, *stand.command[1:]],
                cwd=folder,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
        except OSError as reason:
            raise trouble(f"{first!r} cannot be started: {reason}", "no_program") from reason
        try:
            self.ask("hello", {"protocols": [PROTOCOL], "harness": "leverproof"}, self._deadlines.start)
        except BaseException:
            self.end()
            raise

    def initialise(
        self, starts: Sequence[tuple[str, Numbers]], step: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Numbers:
        """See :class:`Talk`."""
        begun = [{"engine": engine, "row": row} for engine, row in starts]
        params = {"step_ticks": step, "inputs": list(inputs), "outputs": list(outputs), "starts": begun}
        return self._rows(self.ask("initialise", params, self._deadlines.request))

    def advance(self, lanes: Sequence[int], rows: Numbers) -> Numbers:
        """See :class:`Talk`."""
        return self._rows(self.ask("advance", {"lanes": list(lanes), "rows": rows}, self._deadlines.request))

    def _rows(self, result: dict[str, Any]) -> Numbers:
        rows = result.get("rows")
        if not isinstance(rows, list):
            raise trouble("a result without rows", "protocol")
        return rows

    def ask(self, method: str, params: dict[str, Any], seconds: float) -> dict[str, Any]:
        """The result of one request; raises :class:`RefusedError` for an answer that is an error."""
        self._id += 1
        until = time.monotonic() + seconds
        line = self._exchange(encode({"id": self._id, "method": method, "params": params}), method, until)
        try:
            reply = decode(line)
        except WireError as error:
            raise trouble(f"the reply to {method} is {error}", "protocol") from None
        if reply.get("id") != self._id:
            raise trouble(f"the reply to {method} carries the id {reply.get('id')!r}, expected {self._id}", "protocol")
        if isinstance(reply.get("error"), dict):
            raise RefusedError(str(reply["error"].get("message", ""))[:200])
        if not isinstance(reply.get("result"), dict):
            raise trouble(f"the reply to {method} has neither a result nor an error", "protocol")
        found: dict[str, Any] = reply["result"]
        return found

    def _exchange(self, line: bytes, method: str, until: float) -> bytes:
        assert self._child.stdin is not None
        try:
            self._child.stdin.write(line)
            self._child.stdin.flush()
        except OSError:
            raise self._ended(method) from None
        found = self._line(method, until)
        while method == "hello" and not found.startswith(b"{"):
            found = self._line(method, until)
        return found

    def _line(self, method: str, until: float) -> bytes:
        assert self._child.stdout is not None
        while b"\n" not in self._buffer:
            ready, _, _ = select.select([self._child.stdout], [], [], max(until - time.monotonic(), 0.0))
            if not ready:
                raise trouble(f"no reply to {method} before its deadline", "hang")
            part = os.read(self._child.stdout.fileno(), 65_536)
            if not part:
                raise self._ended(method)
            self._buffer += part
            if len(self._buffer) > MOST_BYTES + MOST_BANNER:
                raise trouble(f"a line of more than {MOST_BYTES:,} bytes in answer to {method}", "protocol")
        line, _, self._buffer = self._buffer.partition(b"\n")
        return line

    def _ended(self, method: str) -> StandError:
        return trouble(f"the model ended while answering {method}", "crash")

    def close(self) -> str:
        """Asks the program to end and waits: what is wrong with its end, or nothing."""
        patience = min(self._deadlines.request, 2.0)
        try:
            self.ask("close", {}, patience)
            code = self._child.wait(timeout=patience)
        except RefusedError as error:
            return f"close was refused: {error}"
        except StandError as error:
            return error.message
        except subprocess.TimeoutExpired:
            return f"the program was still running {patience:g} s after it had answered close"
        finally:
            left = self.end()
        if code != 0:
            return f"the program ended with code {code} after close, expected 0"
        return "a process it had started was still running after close" if left else ""

    def end(self) -> bool:
        """Ends whatever is left of the program and its children; whether the program had gone and left some."""
        gone = self._child.poll() is not None
        try:
            os.killpg(self._child.pid, signal.SIGKILL)
            left = gone
        except (ProcessLookupError, PermissionError):
            left = False
        self._child.wait()
        for stream in (self._child.stdin, self._child.stdout):
            if stream is not None:
                try:
                    stream.close()
                except OSError:
                    # Bytes never taken by a program that has ended; nobody waits for them any more.
                    continue
        return left
