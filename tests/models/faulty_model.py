"""A small engine that speaks the wire protocol by hand and has one vice, named by ``--vice``.

It imports nothing of the harness, so that the protocol is spoken here by somebody else's code. Manifold
pressure follows the throttle with a lag of 2 s; engine speed follows manifold pressure. The vice shows after a few
rows, or with ``--above X`` while a throttle is opened beyond X; wrong numbers then show in that lane alone.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import time
from typing import Any, NoReturn

HELLO: dict[str, Any] = {
    "protocol": 1,
    "model": {"name": "faulty", "version": "1"},
    "derived_from": "a first-order lag, invented",
    "inputs": [
        {"name": "throttle", "unit": "1"},
        {"name": "mixture", "unit": "1", "states": ["cut_off", "auto_lean", "auto_rich", "full_rich"]},
    ],
    "outputs": [{"name": "manifold_pressure", "unit": "inHg"}, {"name": "engine_speed", "unit": "rpm"}],
    "capabilities": {"lanes": 4, "max_values": 40},
    "something_newer": [1, 2, 3],
}
ROWS_BEFORE_TROUBLE = 5
WRONG_NUMBERS: dict[str, dict[str, Any]] = {
    "nan": {"manifold_pressure": "NaN", "engine_speed": "-Infinity"},
    "infinity": {"engine_speed": "Infinity"},
    "huge": {"manifold_pressure": 1e300},
    "word": {"engine_speed": "fast"},
    "boolean": {"engine_speed": True},
}


def sleep_for_ever() -> NoReturn:
    while True:
        time.sleep(60)


class Engine:
    """The lanes, and the vice that shows when it is time."""

    def __init__(self, vice: str, above: float | None) -> None:
        self.vice, self.above, self.rows, self.step = vice, above, 0, 0.0
        self.late = False
        self.heat = 0.0
        self.pressures: list[float] = []
        self.inputs: list[str] = []
        self.names: list[str] = []

    def outputs(self, pressure: float, outputs: list[str], bad: bool) -> list[Any]:
        values: dict[str, Any] = {"manifold_pressure": pressure, "engine_speed": 40.0 * pressure}
        if self.vice == "kilopascals":
            values["manifold_pressure"] = 3.38639 * pressure
        if self.vice == "noise":
            values["manifold_pressure"] = pressure + random.gauss(0.0, 1e-4)
        if bad and self.vice in WRONG_NUMBERS:
            values |= WRONG_NUMBERS[self.vice]
        row = [values[name] for name in outputs]
        return [*row, 0.0] if self.vice == "wrong_columns" and bad else row

    def initialise(self, params: dict[str, Any]) -> dict[str, Any]:
        self.inputs, self.names, self.step = (
            params["inputs"],
            params["outputs"],
            params["step_ticks"] / 36000.0,
        )
        column = self.inputs.index("throttle")
        warm = self.heat if self.vice == "keeps_its_heat" else 0.0
        self.pressures = [10.0 + 20.0 * start["row"][column] + warm for start in params["starts"]]
        self.late = self.late and self.above is None
        return {"rows": [self.outputs(pressure, self.names, False) for pressure in self.pressures]}

    def advance(self, params: dict[str, Any]) -> dict[str, Any]:
        column = self.inputs.index("throttle")
        reply: list[Any] = []
        for row in params["rows"]:
            self.rows += 1
            opened = [self.above is not None and values[column] > self.above for values in row]
            before = self.late
            self.late = self.late or (self.rows >= ROWS_BEFORE_TROUBLE if self.above is None else any(opened))
            if self.late and not before:
                self.trouble()
            shown = []
            for lane, values, beyond in zip(params["lanes"], row, opened, strict=True):
                target = 10.0 + 20.0 * values[column]
                self.pressures[lane] += (target - self.pressures[lane]) * self.step / 2.0
                self.heat += 1e-6
                bad = self.late if self.above is None else beyond
                shown.append(self.outputs(self.pressures[lane], self.names, bad))
            reply.append(shown)
        return {"rows": reply[:-1] if self.vice == "fewer_rows" and self.late else reply}

    def trouble(self) -> None:
        if self.vice == "dies":
            print("the crankshaft has left the engine", file=sys.stderr, flush=True)
            sys.exit(3)
        if self.vice == "raises_a_signal":
            os.kill(os.getpid(), signal.SIGSEGV)
        if self.vice == "closes_its_output":
            os.close(1)
            sleep_for_ever()
        if self.vice in ("hangs", "ignores_termination"):
            sleep_for_ever()
        if self.vice == "floods_its_output":
            print("rpm " * 2_000_000, flush=True)
        if self.vice in ("leaves_a_child", "leaves_a_daemon"):
            spawn_a_child(apart=self.vice == "leaves_a_daemon")
            os._exit(4)


def spawn_a_child(*, apart: bool = False) -> None:
    code = "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('up', flush=True)\n"
    words = [sys.executable, "-c", code + "time.sleep(600)"]
    child = subprocess.Popen(words, stdout=subprocess.PIPE, start_new_session=apart)
    assert child.stdout
    child.stdout.readline()


def at_start(vice: str) -> None:
    if vice == "dies_at_start":
        print("no fuel", file=sys.stderr, flush=True)
        sys.exit(7)
    if vice == "hangs_at_start":
        sleep_for_ever()
    if vice == "banner":
        print("Corrie engine, revision 3\n\nall rights invented", flush=True)
    if vice == "endless_banner":
        print("\n".join(["x" * 99] * 700), flush=True)
    if vice == "banner_without_end":
        sys.stdout.write("x" * 70_000)
        sys.stdout.flush()
        sleep_for_ever()
    if vice == "floods_stderr":
        sys.stderr.write("noise " * 80_000)
    if vice == "ignores_termination":
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        spawn_a_child()


def reply_line(vice: str, request: dict[str, Any], result: dict[str, Any], late: bool) -> bytes:
    reply = {"id": request["id"], "result": result}
    if vice == "refuses" and request["method"] == "initialise":
        reply = {"id": request["id"], "error": {"code": "cold", "message": "the oil is cold"}}
    if vice == "refuses_the_version" and request["method"] == "hello":
        reply = {"id": request["id"], "error": {"code": "version", "message": "only protocol 9"}}
    if late and vice == "chatters_late":
        print("rpm looks fine", flush=True)
    if late and vice == "wrong_id":
        reply["id"] += 1
    if late and vice == "neither":
        del reply["result"]
    line = json.dumps(reply).encode()
    if late and vice == "bare_nan":
        line = line.replace(b"[[[", b"[[[NaN, ")
    if late and vice == "not_utf8":
        line = line[:-1] + b', "note": "\xff\xfe"}'
    if late and vice == "long_line":
        line = line[:-1] + b', "note": "' + b"x" * 5_000_000 + b'"}'
    if late and vice in ("half_a_line", "half_a_line_and_waits"):
        sys.stdout.buffer.write(line[: len(line) // 2])
        sys.stdout.flush()
        if vice == "half_a_line_and_waits":
            sleep_for_ever()
        sys.exit(0)
    while late and vice == "slow_drip" and line:
        sys.stdout.buffer.write(line[:1])
        sys.stdout.flush()
        line = line[1:]
        time.sleep(0.05)
    return line + (b"\r\n" if vice == "carriage_returns" else b"\n")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--vice", default="none")
    parser.add_argument("--above", type=float)
    parser.add_argument("--defect", default="")
    arguments = parser.parse_args()
    vice = arguments.vice
    at_start(vice)
    engine = Engine(vice, arguments.above)
    for text in sys.stdin:
        request = json.loads(text)
        result: dict[str, Any] = {}
        if request["method"] == "hello":
            result = {**HELLO, "derived_from": arguments.defect or HELLO["derived_from"]}
            if vice in ("keeps_its_heat", "noise", "one_lane"):
                result["capabilities"] = {"lanes": 1}
            if vice == "wrong_version":
                result["protocol"] = 2
            if vice == "nameless":
                result["model"] = {"name": "faulty"}
        elif request["method"] in ("initialise", "advance"):
            result = getattr(engine, request["method"])(request["params"])
        late = engine.late and request["method"] == "advance"
        sys.stdout.buffer.write(reply_line(vice, request, result, late))
        sys.stdout.flush()
        if vice == "chatters" and request["method"] != "close":
            print("rpm looks fine", flush=True)
        if vice == "floods_stderr":
            sys.stderr.write("noise " * 20_000)
        if request["method"] == "close":
            if vice == "lingers":
                sleep_for_ever()
            sys.exit(5 if vice == "dies_when_closed" else 0)


if __name__ == "__main__":
    main()
