"""Hosting a Python model behind the wire protocol, so that it runs as a child process of its own.

A model program ends with ``serve(MySession())``. Standard output then belongs to the protocol: what the model
prints goes to standard error, so that a stray ``print`` cannot break the stream.
"""

from __future__ import annotations

import os
import sys
from typing import Any, BinaryIO

import numpy as np

from leverproof.stand.port import Session, Start
from leverproof.stand.wire import (
    PROTOCOL,
    WireError,
    decode,
    decode_numbers,
    encode,
    encode_numbers,
    hello_result,
)


class _RefusalError(Exception):
    """A request that cannot be answered; ``code`` is the machine's word for it."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


class Server:
    """One session behind the protocol; requests in, replies out, until ``close`` or the end of the input."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._columns: tuple[int, int] | None = None

    def run(self, requests: BinaryIO, replies: BinaryIO) -> None:
        """Answers requests in order. An exception of the model ends the program with its traceback on
        standard error, which the harness shows; a bad request is answered with an error and harms nothing."""
        for line in requests:
            if not line.strip():
                continue
            identity: object = 0
            try:
                request = decode(line)
                identity = request.get("id")
                plain = b"true" not in line and b"false" not in line
                reply: dict[str, Any] = {"id": identity, "result": self._answer(request, plain)}
            except WireError as error:
                reply = {"id": identity, "error": {"code": "bad_request", "message": str(error)}}
            except _RefusalError as error:
                reply = {"id": identity, "error": {"code": error.code, "message": str(error)}}
            replies.write(encode(reply))
            replies.flush()
            if "result" in reply and request.get("method") == "close":
                return

    def _answer(self, request: dict[str, Any], plain: bool) -> dict[str, Any]:
        method, params = request.get("method"), request.get("params", {})
        if not isinstance(params, dict):
            raise _RefusalError("bad_request", "params is not an object")
        if method == "hello":
            return self._hello(params)
        if method == "initialise":
            return self._initialise(params)
        if method == "advance":
            return self._advance(params, plain)
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
            raise _RefusalError(
                "version", f"this model speaks protocol {PROTOCOL}, the harness offers {offered}"
            )
        return hello_result(self._session.hello())

    def _initialise(self, params: dict[str, Any]) -> dict[str, Any]:
        said = self._session.hello()
        inputs = _names(params, "inputs", {signal.name for signal in said.inputs})
        outputs = _names(params, "outputs", {signal.name for signal in said.outputs})
        starts, step = params.get("starts"), params.get("step_ticks")
        if not isinstance(step, int) or isinstance(step, bool) or step < 1:
            raise _RefusalError("bad_request", f"step_ticks is {step!r}")
        if not isinstance(starts, list) or not 1 <= len(starts) <= said.capabilities.lanes:
            raise _RefusalError("bad_request", f"starts must hold 1 to {said.capabilities.lanes} entries")
        begun = tuple(_start(entry, len(inputs)) for entry in starts)
        rows = self._session.initialise(begun, step, inputs, outputs)
        self._columns = (len(inputs), len(outputs))
        return {"rows": encode_numbers(np.asarray(rows, dtype=np.float64))}

    def _advance(self, params: dict[str, Any], plain: bool) -> dict[str, Any]:
        if self._columns is None:
            raise _RefusalError("bad_request", "advance before initialise")
        lanes, rows = params.get("lanes"), params.get("rows")
        if not isinstance(lanes, list) or not isinstance(rows, list):
            raise _RefusalError("bad_request", "advance needs the lists lanes and rows")
        array = decode_numbers(rows, (len(rows), len(lanes), self._columns[0]), plain=plain)
        reply = self._session.advance(tuple(int(lane) for lane in lanes), array)
        return {"rows": encode_numbers(np.asarray(reply, dtype=np.float64))}


def _names(params: dict[str, Any], key: str, known: set[str]) -> tuple[str, ...]:
    names = params.get(key)
    if not isinstance(names, list):
        raise _RefusalError("bad_request", f"{key} is not a list of names")
    strange = [name for name in names if name not in known]
    if strange:
        raise _RefusalError("bad_request", f"{key}: this model has no {strange[0]!r}")
    return tuple(names)


def _start(entry: object, columns: int) -> Start:
    if not isinstance(entry, dict) or entry.get("engine") not in ("running", "stopped"):
        raise _RefusalError("bad_request", "a start needs engine = running or stopped")
    row = decode_numbers([entry.get("row")], (1, columns), plain=False)
    return Start(entry["engine"], tuple(row[0].tolist()))


def serve(session: Session, stdin: BinaryIO | None = None, stdout: BinaryIO | None = None) -> None:
    """Hosts ``session`` until the harness closes it.

    Without streams it takes over the process's own: file descriptor 1 is kept for the protocol, and standard
    output is pointed at standard error for everything else in the process, C libraries included.
    """
    if stdin is not None and stdout is not None:
        Server(session).run(stdin, stdout)
        return
    sys.stdout.flush()
    kept = os.dup(1)
    os.dup2(2, 1)
    with os.fdopen(kept, "wb") as replies:
        Server(session).run(sys.stdin.buffer, replies)
