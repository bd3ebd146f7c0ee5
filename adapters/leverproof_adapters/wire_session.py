"""The harness's end of the wire protocol, over any :class:`ModelLink`.

After any trouble the session is dead; nothing is retried, because a retry would hide that a model is not
deterministic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NoReturn

import numpy as np

from leverproof import __version__
from leverproof.errors import InputError, StandError
from leverproof.schema import check
from leverproof.stand.frames import CAPABILITY, frame, frame_bytes, unframe
from leverproof.stand.port import Array, Deadlines, Hello, Start
from leverproof.stand.trouble import trouble
from leverproof.stand.wire import (
    FAILED,
    MOST_BANNER,
    MOST_BYTES,
    MOST_NUMBERS,
    PROTOCOL,
    WireError,
    decode,
    decode_numbers,
    encode,
    read_hello,
    wire_numbers,
)
from leverproof_adapters.byte_channel import ChannelEndedError, DeadlineError, LineTooLongError
from leverproof_adapters.model_link import LAST_WORDS, ModelLink

_FAREWELL = 2.0
"""Seconds for the reply to ``close`` and for the program to end after it, at most."""
_STRAY = "the stream belongs to the protocol: print to standard error, and flush every line"
_HEARD = {"hello": ("version", "no_program", "protocol")}
"""Codes in an error of the model that keep their own word; every other error is a refusal."""


@dataclass(frozen=True, slots=True)
class _Reply:
    """The result of a request, whether its line is free of the words true and false, and its frame if any."""

    result: dict[str, Any]
    plain: bool
    payload: bytes | None


class WireSession:
    """A session over a :class:`ModelLink`, which it owns.

    Rows travel as float64 frames when the model offers them, unless ``frames`` is False.
    """

    def __init__(self, link: ModelLink, deadlines: Deadlines, *, frames: bool = True) -> None:
        self._link = link
        self._deadlines = deadlines
        self._id = 0
        self._said: Hello | None = None
        self._wants_frames, self._frames = frames, False
        self._columns: tuple[int, int] | None = None
        self._over: StandError | None = None
        self._farewell = ""

    @property
    def group(self) -> int | None:
        """The id of the model's process group; None for a model somebody else runs."""
        return self._link.group

    @property
    def farewell(self) -> str:
        """What was wrong with how the model ended when it was told to close; empty while nothing is known to be."""
        return self._farewell

    @property
    def frames(self) -> bool:
        """Whether rows travel as float64 frames; known after :meth:`hello`."""
        return self._frames

    def hello(self) -> Hello:
        """The model's description, asked for once; ``warnings`` are the lines it wrote before it."""
        if self._said is None:
            banner: list[bytes] = []
            params = {"protocols": [PROTOCOL], "harness": f"leverproof {__version__}"}
            result = self._request("hello", params, self._deadlines.start, banner=banner).result
            if result.get("protocol") != PROTOCOL:
                spoken = result.get("protocol")
                self._fail(f"the model speaks protocol {spoken!r}, the harness offers {[PROTOCOL]}", "version")
            try:
                check(result, "wire-hello-result", "the reply to hello")
            except InputError as error:
                self._fail(str(error), "protocol")
            said = read_hello(result, tuple(line.decode("utf-8", "replace") for line in banner))
            self._frames = self._wants_frames and bool(result.get("capabilities", {}).get(CAPABILITY))
            self._said = _what_a_message_holds(said)
        return self._said

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """Outputs at t_0, shape (lanes, outputs)."""
        most = min(self.hello().capabilities.max_values, MOST_NUMBERS)
        if len(starts) * max(len(inputs), len(outputs)) > most:
            self._fail(
                f"{len(starts)} lanes of these channels are more than the {most} numbers of a message",
                "refused",
            )
        rows = np.array([start.row for start in starts], dtype=np.float64).reshape(len(starts), len(inputs))
        params: dict[str, Any] = {
            "step_ticks": step_ticks, "inputs": list(inputs), "outputs": list(outputs),
            "starts": [{"engine": start.engine} for start in starts],
        }  # fmt: skip
        if not self._frames:
            for entry, row in zip(params["starts"], wire_numbers(rows), strict=True):
                entry["row"] = row
        self._columns = (len(inputs), len(outputs))
        seconds = self._deadlines.request + len(starts) * self._deadlines.row
        return self._rows("initialise", params, rows, seconds, (len(starts), len(outputs)))

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs); sent in as many messages as their size limit needs."""
        if self._columns is None:
            raise ValueError("advance before initialise")
        out = np.empty((rows.shape[0], len(lanes), self._columns[1]), dtype=np.float64)
        row = len(lanes) * max(self._columns)
        batch = max(1, min(self.hello().capabilities.max_values, MOST_NUMBERS) // max(1, row))
        for first in range(0, rows.shape[0], batch):
            part = rows[first : first + batch]
            params: dict[str, Any] = {"lanes": [int(lane) for lane in lanes]}
            if not self._frames:
                params["rows"] = wire_numbers(part)
            seconds = self._deadlines.request + part.shape[0] * len(lanes) * self._deadlines.row
            shape = (part.shape[0], len(lanes), self._columns[1])
            out[first : first + batch] = self._rows("advance", params, part, seconds, shape)
        return out

    def reset(self) -> None:
        """Forget all lanes."""
        self._columns = None
        self._request("reset", {}, self._deadlines.request)

    def close(self) -> None:
        """Asks the model to end, and ends it when it does not; never raises, leaves no process."""
        if self._over is None:
            patience = min(self._deadlines.request, _FAREWELL)
            if self._said is not None:
                try:
                    self._request("close", {}, patience)
                except StandError:
                    # What goes wrong in the farewell is no finding, and has ended the process already.
                    patience = 0.0
            self._over = trouble("the session is closed", "refused")
            self._link.end(patience=patience if self._said is not None else 0.0)
            if self._link.misfortune and self._said is not None:
                self._farewell = f"told to close, the model did not end in order: {self._link.misfortune}"

    def abort(self) -> None:
        """Ends the model's process at once, from any thread: a request under way there then ends as a crash."""
        self._link.abort()

    def _rows(self, method: str, params: dict[str, Any], sent: Array, seconds: float, shape: tuple[int, ...]) -> Array:
        """The rows in the reply to a request that carries the rows ``sent``, in a frame where frames are spoken."""
        reply = self._request(method, params, seconds, rows=sent if self._frames else None)
        try:
            if reply.payload is not None:
                return unframe(reply.payload, reply.result.get("shape"), shape)
            return decode_numbers(reply.result.get("rows"), shape, plain=reply.plain)
        except WireError as error:
            self._fail(f"the reply to {method}: {error}", "protocol")

    def _request(
        self,
        method: str,
        params: dict[str, Any],
        seconds: float,
        *,
        rows: Array | None = None,
        banner: list[bytes] | None = None,
    ) -> _Reply:
        if self._over is not None:
            raise trouble(
                f"the model ended earlier: {self._over.message}",
                self._over.code,
                evidence=self._over.evidence,
            )
        self._id += 1
        message = {"id": self._id, "method": method, "params": params}
        request = encode(message) if rows is None else frame(message, "params", rows)
        until = self._link.channel.deadline(seconds)
        try:
            line = self._line(request, until, banner)
            try:
                reply = decode(line)
                count = frame_bytes(reply)
            except WireError as error:
                self._fail(f"the reply to {method} is {error}", "protocol", hint=_STRAY)
            self._right_kind(method, reply, count, framed=rows is not None)
            payload = None if count is None else self._link.channel.read_exactly(count, until)
        except (ChannelEndedError, DeadlineError, LineTooLongError) as error:
            self._broken(error, method, seconds, banner)
        plain = b"true" not in line and b"false" not in line
        return _Reply(reply["result"], plain, payload)

    def _line(self, request: bytes, until: float, banner: list[bytes] | None) -> bytes:
        """The line that answers ``request``; ``banner`` collects lines that may come before."""
        line = self._link.channel.send(request, until)
        while banner is not None and not line.startswith(b"{"):
            banner.append(line)
            if sum(map(len, banner)) > MOST_BANNER:
                raise LineTooLongError
            line = self._link.channel.read(until)
        return line

    def _right_kind(self, method: str, reply: dict[str, Any], count: int | None, *, framed: bool) -> None:
        """Returns when ``reply`` answers the last request with a result in the form asked for."""
        identity = reply.get("id")
        if identity != self._id or isinstance(identity, bool):
            self._fail(f"the reply to {method} carries the id {identity!r}, expected {self._id}", "protocol")
        if "error" in reply:
            self._refused(method, reply["error"])
        if not isinstance(reply.get("result"), dict):
            self._fail(f"the reply to {method} has neither a result object nor an error", "protocol")
        if framed != (count is not None):
            found, asked = ("no frame", "a frame") if framed else ("a frame", "none")
            self._fail(f"the reply to {method} has {found} where {asked} was asked for", "protocol")

    def _broken(self, error: Exception, method: str, seconds: float, banner: list[bytes] | None) -> NoReturn:
        if isinstance(error, ChannelEndedError):
            half = f" in the middle of a message ({error.partial[:60]!r})" if error.partial else ""
            code = "no_handshake" if method == "hello" else "crash"
            words = self._link.end(patience=LAST_WORDS)
            self._fail(f"the model ended while answering {method}{half}: {words}", code)
        if isinstance(error, DeadlineError) and self._link.exited:
            # Something it has started holds its end of the line open, so that the end of it never came.
            code = "no_handshake" if method == "hello" else "crash"
            late, words = f"no reply to {method} within {seconds:g} s", self._link.end()
            self._fail(f"{late}; the model had ended ({words}) and left a process behind", code)
        if isinstance(error, DeadlineError):
            code = "no_handshake" if method == "hello" else "hang"
            self._fail(f"no reply to {method} within {seconds:g} s; {self._link.ending}", code)
        what = f"a line of more than {MOST_BYTES:,} bytes came in answer to {method}"
        if banner is not None:
            what = f"more than {MOST_BANNER:,} bytes came before the reply to hello"
        self._fail(what, "protocol", hint=_STRAY)

    def _refused(self, method: str, error: object) -> NoReturn:
        if not isinstance(error, dict):
            self._fail(f"the error in the reply to {method} is not an object", "protocol")
        code, message = str(error.get("code", "")), str(error.get("message", ""))[:500]
        ours = code if code in _HEARD.get(method, ()) else "refused"
        if code == FAILED:
            failed = "no_handshake" if method == "hello" else "crash"
            if method == "close":
                self._farewell = f"told to close, the model failed: {message}"
            self._fail(f"the model failed while answering {method}: {message}", failed)
        self._fail(f"the model refused {method} ({code}): {message}", ours)

    def _fail(self, message: str, code: str, *, hint: str = "") -> NoReturn:
        """Ends the process group and raises what happened, with the tail of what it said."""
        words = self._link.end()
        tail = self._link.tail()
        evidence = f"{words}\n{tail}" if tail else words
        self._over = trouble(message, code, hint=hint, evidence=evidence)
        raise self._over from None


def _what_a_message_holds(said: Hello) -> Hello:
    """``said`` with no more lanes than one message can carry."""
    can = said.capabilities
    most = min(can.max_values, MOST_NUMBERS) // max(len(said.inputs), len(said.outputs))
    return replace(said, capabilities=replace(can, lanes=max(1, min(can.lanes, most))))
