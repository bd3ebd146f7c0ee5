"""A small engine behind a TCP port (``--port``) or on its standard streams, with frames (``--frames``) or without, and
one vice that shows in the second batch, or with ``--above X`` in a batch in which a throttle is opened beyond X. It
imports nothing of the harness.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import socket
import struct
import subprocess
import sys
import time
from typing import Any, BinaryIO, NoReturn

HELLO: dict[str, Any] = {
    "protocol": 1,
    "model": {"name": "faulty stream", "version": "1"},
    "inputs": [{"name": "throttle", "unit": "1"}, {"name": "pressure_altitude", "unit": "ft"}],
    "outputs": [{"name": "manifold_pressure", "unit": "inHg"}, {"name": "engine_speed", "unit": "rpm"}],
    "capabilities": {"lanes": 4, "max_values": 4000},
}


def sleep_for_ever() -> NoReturn:
    while True:
        time.sleep(60)


def answer(values: list[float]) -> list[float]:
    """Both outputs of one row of both inputs."""
    return [10.0 + 20.0 * values[0], values[1] / 3.0]


class Stream:
    """The program's end of the protocol."""

    def __init__(
        self, vice: str, frames: bool, requests: BinaryIO, replies: BinaryIO, above: float | None = None
    ) -> None:
        self.vice, self.frames, self.requests, self.replies = vice, frames, requests, replies
        self.batches, self.above = 0, above

    def run(self) -> None:
        for line in iter(self.requests.readline, b""):
            request = json.loads(line)
            payload = self.requests.read(request["bytes"]) if "bytes" in request else None
            self.reply(request, payload)
            if request["method"] == "close":
                return

    def reply(self, request: dict[str, Any], payload: bytes | None) -> None:
        method, params = request["method"], request["params"]
        result: dict[str, Any] = {}
        rows: list[float] = []
        shape: list[int] = []
        if method == "hello":
            can = {**HELLO["capabilities"], "float64_frames": self.frames}
            result = {**HELLO, "capabilities": can}
        elif method == "initialise":
            flat = self.numbers(payload, [start.get("row") for start in params["starts"]])
            rows, shape = self.computed(flat), [len(params["starts"]), 2]
        elif method == "advance":
            self.batches += 1
            flat = self.numbers(payload, [lane for row in params.get("rows", []) for lane in row])
            rows, shape = (
                self.computed(flat),
                [len(flat) // (2 * len(params["lanes"])), len(params["lanes"]), 2],
            )
        late = self.batches >= 2
        if self.above is not None:
            late = method == "advance" and any(throttle > self.above for throttle in flat[::2])
        if late:
            self.trouble()
        if payload is not None and not (late and self.vice == "no_frame"):
            self.send_frame(request["id"], shape, rows, late)
            return
        if shape:
            result = {"rows": nested(rows, shape)}
        reply: dict[str, Any] = {"id": request["id"], "result": result}
        if late and self.vice == "uncalled_frame":
            reply["bytes"] = 8
        self.send(json.dumps(reply).encode() + b"\n", late)

    def numbers(self, payload: bytes | None, rows: list[Any]) -> list[float]:
        if payload is not None:
            return list(struct.unpack(f"<{len(payload) // 8}d", payload))
        return [float(value) for row in rows for value in row]

    def computed(self, flat: list[float]) -> list[float]:
        return [out for k in range(0, len(flat), 2) for out in answer(flat[k : k + 2])]

    def send_frame(self, identity: int, shape: list[int], rows: list[float], late: bool) -> None:
        body = struct.pack(f"<{len(rows)}d", *rows)
        header: dict[str, Any] = {"id": identity, "result": {"shape": shape}, "bytes": len(body)}
        if late and self.vice == "wrong_shape":
            header["result"]["shape"] = [shape[0] + 1, *shape[1:]]
        if late and self.vice == "shape_is_a_word":
            header["result"]["shape"] = "wide"
        if late and self.vice == "odd_bytes":
            header["bytes"] -= 3
        if late and self.vice == "bytes_is_a_word":
            header["bytes"] = "many"
        if late and self.vice == "huge_frame":
            header["bytes"] = 8 * 10**9
        if late and self.vice == "fewer_bytes":
            header["bytes"] -= 8
            body = body[:-8]
        if late and self.vice == "cut_frame":
            body = body[:-5]
        self.send(json.dumps(header).encode() + b"\n" + body, late)

    def send(self, message: bytes, late: bool) -> None:
        if late and self.vice in ("cut_frame", "closes_mid_line"):
            self.replies.write(message if self.vice == "cut_frame" else message[: len(message) // 2])
            self.replies.flush()
            os._exit(0)
        if late and self.vice == "slow_drip":
            for byte in message:
                self.replies.write(bytes([byte]))
                self.replies.flush()
                time.sleep(0.05)
        self.replies.write(message)
        self.replies.flush()

    def trouble(self) -> None:
        if self.vice == "dies":
            print("the crankshaft has left the engine", flush=True)
            sys.exit(3)
        if self.vice == "hangs":
            sleep_for_ever()
        if self.vice == "ignores_termination":
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
            code = "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); time.sleep(600)"
            subprocess.Popen([sys.executable, "-c", code])
            sleep_for_ever()
        if self.vice == "floods_its_output":
            print("noise " * 50_000, flush=True)


def nested(rows: list[float], shape: list[int]) -> list[Any]:
    if len(shape) == 1:
        return list(rows)
    size = len(rows) // shape[0]
    return [nested(rows[k * size : (k + 1) * size], shape[1:]) for k in range(shape[0])]


def listen(port: int, vice: str, frames: bool, above: float | None) -> None:
    if vice == "ends_before_listening":
        print("no such port in my world", flush=True)
        sys.exit(5)
    if vice == "never_listens":
        sleep_for_ever()
    with socket.create_server(("127.0.0.1", port)) as listener:
        connection, _ = listener.accept()
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    if vice == "closes_at_once":
        connection.close()
        sleep_for_ever()
    if vice == "resets":
        connection.recv(10)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        connection.close()
        sleep_for_ever()
    with connection, connection.makefile("rb") as requests, connection.makefile("wb") as replies:
        Stream(vice, frames, requests, replies, above).run()


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--vice", default="none")
    parser.add_argument("--frames", action="store_true")
    parser.add_argument("--port", type=int)
    parser.add_argument("--above", type=float)
    asked = parser.parse_args()
    if asked.port is None:
        Stream(asked.vice, asked.frames, sys.stdin.buffer, sys.stdout.buffer, asked.above).run()
    else:
        listen(asked.port, asked.vice, asked.frames, asked.above)
