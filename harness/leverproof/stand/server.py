"""Hosting a Python model behind the wire protocol, so that it runs as a child process of its own.

A model program ends with ``serve(MySession())``. Standard output then belongs to the protocol: what the model
prints goes to standard error, so that a stray ``print`` cannot break the stream.
"""

from __future__ import annotations

import os
import socket
import sys
import traceback
from dataclasses import dataclass
from typing import Any, BinaryIO, cast

import numpy as np

from leverproof.errors import LeverproofError
from leverproof.stand.frames import CAPABILITY, frame, frame_bytes, unframe
from leverproof.stand.port import Array, Session, Start
from leverproof.stand.wire import (
    FAILED,
    PROTOCOL,
    WireError,
    decode,
    decode_numbers,
    encode,
    hello_result,
    wire_numbers,
)

_ROOM = 1024 * 1024
"""Bytes read at once: a message comes in few pieces."""


class _RefusalError(Exception):
    """A request that cannot be answered; ``code`` is the machine's word for it."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


class _OutOfStepError(Exception):
    """A frame whose end cannot be told: what follows cannot be read either."""


@dataclass(frozen=True, slots=True)
class _Request:
    """A request: its line, whether that is free of the words true and false, and its frame if it has one."""

    method: object
    params: dict[str, Any]
    plain: bool
    payload: bytes | None

    def rows(self, rows: object, shape: tuple[int, ...]) -> Array:
        """The rows of the request, from its frame or else from ``rows``."""
        if self.payload is not None:
            return unframe(self.payload, self.params.get("shape"), shape)
        return decode_numbers(rows, shape, plain=self.plain)

    def count(self) -> int:
        """How many rows were sent."""
        held = self.params.get("rows" if self.payload is None else "shape")
        if not isinstance(held, list) or not held:
            raise _RefusalError("bad_request", "advance needs the lists lanes and rows")
        if self.payload is None:
            return len(held)
        if not isinstance(held[0], int) or isinstance(held[0], bool) or held[0] < 1:
            raise _RefusalError("bad_request", f"shape is {held}")
        return held[0]


class Server:
    """One session behind the protocol; requests in, replies out, until ``close`` or the end of the input.

    Frames (:mod:`leverproof.stand.frames`) are offered; a framed request gets a framed reply.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._columns: tuple[int, int] | None = None

    def run(self, requests: BinaryIO, replies: BinaryIO) -> None:
        """Answers requests in order. A bad request, and what the session itself refuses, is answered with an error; so
        is any other exception of the model, with its traceback on standard error, which the harness shows."""
        while line := requests.readline():
            if not line.strip():
                continue
            identity: object = 0
            method: object = None
            going = True
            try:
                message = decode(line)
                identity, method = message.get("id"), message.get("method")
                reply = self._reply(identity, self._request(message, line, requests))
            except WireError as error:
                reply = _error(identity, "bad_request", str(error))
            except _RefusalError as error:
                reply = _error(identity, error.code, str(error))
            except LeverproofError as error:
                reply = _error(identity, error.code, str(error))
            except _OutOfStepError as error:
                reply, going = _error(identity, "bad_request", str(error)), False
            except Exception as error:
                traceback.print_exception(error)
                reply = _error(identity, FAILED, f"{type(error).__name__}: {error}")
            else:
                going = method != "close"
            replies.write(reply)
            replies.flush()
            if not going:
                return

    def _request(self, message: dict[str, Any], line: bytes, requests: BinaryIO) -> _Request:
        try:
            count = frame_bytes(message)
        except WireError as error:
            raise _OutOfStepError(str(error)) from None
        payload = None
        if count is not None:
            payload = requests.read(count)
            if len(payload) != count:
                raise _OutOfStepError(f"the input ended after {len(payload)} of {count} bytes of a frame")
        params = message.get("params", {})
        if not isinstance(params, dict):
            raise _RefusalError("bad_request", "params is not an object")
        plain = b"true" not in line and b"false" not in line
        return _Request(message.get("method"), params, plain, payload)

    def _reply(self, identity: object, request: _Request) -> bytes:
        answer = self._answer(request)
        if isinstance(answer, dict):
            return encode({"id": identity, "result": answer})
        if request.payload is not None:
            return frame({"id": identity, "result": {}}, "result", answer)
        return encode({"id": identity, "result": {"rows": wire_numbers(answer)}})

    def _answer(self, request: _Request) -> dict[str, Any] | Array:
        """The result of a method: an object, or the array of its rows."""
        method = request.method
        if method == "hello":
            return self._hello(request.params)
        if method == "initialise":
            return self._initialise(request)
        if method == "advance":
            return self._advance(request)
        if method == "reset":
            self._columns = None
            self._session.reset()
            return {}
        if method == "close":
            self._session.close()
            return {}
        raise _RefusalError("unknown_method", f"no method {method!r}")

    def _hello(self, params: dict[str, Any]) -> dict[str, Any]:
        offered = params.get("protocols", [])
        if not isinstance(offered, list) or PROTOCOL not in offered:
            raise _RefusalError("version", f"this model speaks protocol {PROTOCOL}, the harness offers {offered}")
        result = hello_result(self._session.hello())
        return {**result, "capabilities": {**result["capabilities"], CAPABILITY: True}}

    def _initialise(self, request: _Request) -> Array:
        said, params = self._session.hello(), request.params
        inputs = _names(params, "inputs", {signal.name for signal in said.inputs})
        outputs = _names(params, "outputs", {signal.name for signal in said.outputs})
        starts, step = params.get("starts"), params.get("step_ticks")
        if not isinstance(step, int) or isinstance(step, bool) or step < 1:
            raise _RefusalError("bad_request", f"step_ticks is {step!r}")
        if not isinstance(starts, list) or not 1 <= len(starts) <= said.capabilities.lanes:
            raise _RefusalError("bad_request", f"starts must hold 1 to {said.capabilities.lanes} entries")
        engines = [_engine(entry) for entry in starts]
        rows = request.rows([entry.get("row") for entry in starts], (len(starts), len(inputs)))
        begun = tuple(Start(state, tuple(row)) for state, row in zip(engines, rows.tolist(), strict=True))
        reply = self._session.initialise(begun, step, inputs, outputs)
        self._columns = (len(inputs), len(outputs))
        return np.asarray(reply, dtype=np.float64)

    def _advance(self, request: _Request) -> Array:
        if self._columns is None:
            raise _RefusalError("bad_request", "advance before initialise")
        lanes = request.params.get("lanes")
        if not isinstance(lanes, list):
            raise _RefusalError("bad_request", "advance needs the lists lanes and rows")
        if any(not isinstance(lane, int) or isinstance(lane, bool) for lane in lanes) or len(set(lanes)) < len(lanes):
            raise _RefusalError("bad_request", "lanes are whole numbers, each named once")
        shape = (request.count(), len(lanes), self._columns[0])
        array = request.rows(request.params.get("rows"), shape)
        reply = self._session.advance(tuple(lanes), array)
        return np.asarray(reply, dtype=np.float64)


def _error(identity: object, code: str, message: str) -> bytes:
    return encode({"id": identity, "error": {"code": code, "message": message}})


def _names(params: dict[str, Any], key: str, known: set[str]) -> tuple[str, ...]:
    names = params.get(key)
    if not isinstance(names, list):
        raise _RefusalError("bad_request", f"{key} is not a list of names")
    strange = [name for name in names if name not in known]
    if strange:
        raise _RefusalError("bad_request", f"{key}: this model has no {strange[0]!r}")
    if len(set(names)) < len(names):
        raise _RefusalError("bad_request", f"{key}: a name is there twice")
    return tuple(names)


def _engine(entry: object) -> str:
    if not isinstance(entry, dict) or entry.get("engine") not in ("running", "stopped"):
        raise _RefusalError("bad_request", "a start needs engine = running or stopped")
    return str(entry["engine"])


def serve(session: Session, stdin: BinaryIO | None = None, stdout: BinaryIO | None = None) -> None:
    """Hosts ``session`` until the harness closes it.

    Without streams it takes over the process's own; see :func:`own_streams`.
    """
    if stdin is not None and stdout is not None:
        Server(session).run(stdin, stdout)
        return
    requests, replies = own_streams()
    with requests, replies:
        Server(session).run(requests, replies)


def own_streams() -> tuple[BinaryIO, BinaryIO]:
    """The standard streams of this process, taken for the protocol alone.

    File descriptor 1 is kept for it, and standard output is pointed at standard error for everything else in the
    process, C libraries included; what reads standard input finds its end at once.
    """
    sys.stdout.flush()
    kept_in, kept_out = os.dup(0), os.dup(1)
    os.dup2(2, 1)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    return os.fdopen(kept_in, "rb", buffering=_ROOM), os.fdopen(kept_out, "wb", buffering=_ROOM)


def serve_tcp(session: Session, port: int, host: str = "127.0.0.1") -> None:
    """Hosts ``session`` for one harness that connects to ``port`` of this machine, until it closes or leaves.

    Port 0 is not useful here: the harness must know where to connect. Raises :class:`OSError` when the port is
    taken.
    """
    with socket.create_server((host, port)) as listener:
        connection, _ = listener.accept()
    with connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with (
            cast(BinaryIO, connection.makefile("rb", buffering=_ROOM)) as requests,
            cast(BinaryIO, connection.makefile("wb", buffering=_ROOM)) as replies,
        ):
            Server(session).run(requests, replies)
