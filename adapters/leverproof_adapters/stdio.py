"""Models in any language, mounted as a child process that speaks the wire protocol on its standard streams.

Mounting runs the program named by the stand file. POSIX only: deadlines end whole process groups. After any
trouble the session is dead; nothing is retried, because a retry would hide that a model is not deterministic.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from leverproof import __version__
from leverproof.errors import InputError, StandError
from leverproof.schema import check
from leverproof.stand.port import Array, Deadlines, Hello, Session, StandFile, Start
from leverproof.stand.trouble import trouble
from leverproof.stand.wire import (
    MOST_BANNER,
    MOST_BYTES,
    MOST_NUMBERS,
    PROTOCOL,
    WireError,
    decode,
    decode_numbers,
    encode,
    encode_numbers,
    read_hello,
)
from leverproof_adapters.stdio_process import (
    Child,
    ChildEndedError,
    DeadlineError,
    LineTooLongError,
    exit_words,
)

_FAREWELL = 2.0
"""Seconds for the reply to ``close`` and for the program to end after it, at most."""


def open_stand(stand: StandFile, *, defect: str | None) -> Session:
    """The session of the program of ``stand.command``, started in the stand file's folder.

    A first word with a slash is a file beside the stand file, else it is looked up in PATH; a seeded defect
    is asked for by ``[defect_argument, NAME]`` after the command. Raises :class:`StandError` ``no_program``
    when it does not exist or cannot be run, :class:`InputError` for a stand file that asks for what this
    adapter lacks.
    """
    if os.name != "posix":
        raise InputError("kind 'stdio' needs a POSIX system", f"{stand.path}: kind", code="platform")
    if stand.options:
        key = sorted(stand.options)[0]
        raise InputError(
            f"kind 'stdio' has no option {key!r}", f"{stand.path}: options.{key}", code="unknown_key"
        )
    argv = [_program(stand), *stand.command[1:]]
    if defect is not None:
        if not stand.defect_argument:
            raise InputError(
                f"the program cannot be told to build in {defect!r}: 'defect_argument' is missing",
                f"{stand.path}: defect_argument",
                'write for example defect_argument = "--defect"',
                "missing_key",
            )
        argv += [stand.defect_argument, defect]
    try:
        child = Child(argv, str(Path(stand.path).parent), most_bytes=MOST_BYTES, most_stray=MOST_BANNER)
    except (OSError, ValueError) as reason:
        raise trouble(
            f"{stand.command[0]!r} cannot be started: {reason}",
            "no_program",
            where=f"{stand.path}: command",
            hint=stand.build_hint,
        ) from reason
    return StdioSession(child, stand.deadlines)


def _program(stand: StandFile) -> str:
    first = stand.command[0]
    if "/" in first:
        path = (Path(stand.path).parent / first).absolute()
        found = str(path) if path.is_file() else None
    else:
        found = shutil.which(first)
    if found is None:
        hint = f"build it first: {stand.build_hint}" if stand.build_hint else "check the command"
        raise trouble(f"no program {first!r}", "no_program", where=f"{stand.path}: command", hint=hint)
    return found


class StdioSession:
    """A session over a :class:`Child`, which it owns."""

    def __init__(self, child: Child, deadlines: Deadlines) -> None:
        self._child = child
        self._deadlines = deadlines
        self._id = 0
        self._said: Hello | None = None
        self._columns: tuple[int, int] | None = None
        self._over: StandError | None = None

    @property
    def group(self) -> int:
        """The id of the model's process group."""
        return self._child.group

    def hello(self) -> Hello:
        """The model's description, asked for once; ``warnings`` are the lines it wrote before it."""
        if self._said is None:
            banner: list[bytes] = []
            params = {"protocols": [PROTOCOL], "harness": f"leverproof {__version__}"}
            result = self._request("hello", params, self._deadlines.start, banner)[0]
            if result.get("protocol") != PROTOCOL:
                spoken = result.get("protocol")
                self._fail(
                    f"the model speaks protocol {spoken!r}, the harness offers {[PROTOCOL]}", "version"
                )
            try:
                check(result, "wire-hello-result", "the reply to hello")
            except InputError as error:
                self._fail(str(error), "protocol")
            said = read_hello(result, tuple(line.decode("utf-8", "replace") for line in banner))
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
        params = {
            "step_ticks": step_ticks,
            "inputs": list(inputs),
            "outputs": list(outputs),
            "starts": [
                {"engine": start.engine, "row": row}
                for start, row in zip(starts, encode_numbers(rows), strict=True)
            ],
        }
        self._columns = (len(inputs), len(outputs))
        seconds = self._deadlines.request + len(starts) * self._deadlines.row
        return self._rows("initialise", params, seconds, (len(starts), len(outputs)))

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """Outputs of shape (n, len(lanes), outputs); sent in as many messages as their size limit needs."""
        if self._columns is None:
            raise ValueError("advance before initialise")
        out = np.empty((rows.shape[0], len(lanes), self._columns[1]), dtype=np.float64)
        row = len(lanes) * max(self._columns)
        batch = max(1, min(self.hello().capabilities.max_values, MOST_NUMBERS) // max(1, row))
        for first in range(0, rows.shape[0], batch):
            part = rows[first : first + batch]
            params = {"lanes": [int(lane) for lane in lanes], "rows": encode_numbers(part)}
            seconds = self._deadlines.request + part.shape[0] * len(lanes) * self._deadlines.row
            shape = (part.shape[0], len(lanes), self._columns[1])
            out[first : first + batch] = self._rows("advance", params, seconds, shape)
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
            self._child.end(patience=patience if self._said is not None else 0.0)

    def _rows(self, method: str, params: dict[str, Any], seconds: float, shape: tuple[int, ...]) -> Array:
        result, plain = self._request(method, params, seconds)
        try:
            return decode_numbers(result.get("rows"), shape, plain=plain)
        except WireError as error:
            self._fail(f"the reply to {method}: {error}", "protocol")

    def _request(
        self, method: str, params: dict[str, Any], seconds: float, banner: list[bytes] | None = None
    ) -> tuple[dict[str, Any], bool]:
        """The result, and whether its line is free of the words true and false."""
        if self._over is not None:
            raise trouble(
                f"the model ended earlier: {self._over.message}",
                self._over.code,
                evidence=self._over.evidence,
            )
        self._id += 1
        line = self._exchange(
            encode({"id": self._id, "method": method, "params": params}), method, seconds, banner
        )
        try:
            reply = decode(line)
        except WireError as error:
            self._fail(f"the reply to {method} is {error}", "protocol", hint=_STRAY)
        identity = reply.get("id")
        if identity != self._id or isinstance(identity, bool):
            self._fail(f"the reply to {method} carries the id {identity!r}, expected {self._id}", "protocol")
        if "error" in reply:
            self._refused(method, reply["error"])
        result = reply.get("result")
        if not isinstance(result, dict):
            self._fail(f"the reply to {method} has neither a result object nor an error", "protocol")
        return result, b"true" not in line and b"false" not in line

    def _exchange(self, request: bytes, method: str, seconds: float, banner: list[bytes] | None) -> bytes:
        """One request and the line that answers it; ``banner`` collects lines that may come before."""
        until = self._child.deadline(seconds)
        try:
            line = self._child.send(request, until)
            while banner is not None and not line.startswith(b"{"):
                banner.append(line)
                if sum(map(len, banner)) > MOST_BANNER:
                    raise LineTooLongError
                line = self._child.read(until)
            return line
        except ChildEndedError as error:
            words = exit_words(self._child.end_of_output())
            half = f" in the middle of a line ({error.partial[:60]!r})" if error.partial else ""
            code = "no_handshake" if method == "hello" else "crash"
            self._fail(f"the model ended while answering {method}{half}: {words}", code)
        except DeadlineError:
            code = "no_handshake" if method == "hello" else "hang"
            self._fail(f"no reply to {method} within {seconds:g} s; the process group was ended", code)
        except LineTooLongError:
            what = f"a line of more than {MOST_BYTES:,} bytes came in answer to {method}"
            if banner is not None:
                what = f"more than {MOST_BANNER:,} bytes came before the reply to hello"
            self._fail(what, "protocol", hint=_STRAY)

    def _refused(self, method: str, error: object) -> NoReturn:
        if not isinstance(error, dict):
            self._fail(f"the error in the reply to {method} is not an object", "protocol")
        code, message = str(error.get("code", "")), str(error.get("message", ""))[:500]
        ours = "version" if method == "hello" and code == "version" else "refused"
        self._fail(f"the model refused {method} ({code}): {message}", ours)

    def _fail(self, message: str, code: str, *, hint: str = "") -> NoReturn:
        """Ends the process group and raises what happened, with the tail of standard error."""
        words = exit_words(self._child.end())
        tail = self._child.stderr_tail()
        evidence = f"{words}\n{tail}" if tail else words
        self._over = trouble(message, code, hint=hint, evidence=evidence)
        raise self._over from None


_STRAY = "standard output belongs to the protocol: print to standard error, and flush every line"


def _what_a_message_holds(said: Hello) -> Hello:
    """``said`` with no more lanes than one message can carry."""
    can = said.capabilities
    most = min(can.max_values, MOST_NUMBERS) // max(len(said.inputs), len(said.outputs))
    return replace(said, capabilities=replace(can, lanes=max(1, min(can.lanes, most))))
