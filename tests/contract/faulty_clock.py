"""A model on its own clock that speaks the wire protocol by hand and has one vice, named by ``--vice``.

It imports nothing of the harness. Its clock runs 20 times as fast as ours, in frames of 0.02 s.
"""

from __future__ import annotations

import json
import sys
import time
from typing import Any

HELLO: dict[str, Any] = {
    "protocol": 1,
    "model": {"name": "clock", "version": "1"},
    "inputs": [{"name": "throttle", "unit": "1"}],
    "outputs": [
        {"name": "manifold_pressure", "unit": "inHg"},
        {"name": "turbo_overspeed_light", "unit": "1"},
    ],
    "capabilities": {"clock": "free_running", "reset": True, "deterministic": True, "lanes": 7},
}
TROUBLE = 0.5
RATE, FRAME = 20.0, 0.02


def answer(vice: str, request: dict[str, Any], state: dict[str, Any]) -> dict[str, Any]:
    """The result of one request."""
    rate = RATE / 1000.0 if vice == "drips" else RATE
    stamp = (time.monotonic() - state["begun"]) * rate // FRAME * FRAME
    late = stamp > TROUBLE
    method, params = request["method"], request["params"]
    if method == "hello":
        rate = {"rate": 0.0} if vice == "no_rate" else {}
        return {**HELLO, "capabilities": {**HELLO["capabilities"], **rate}}
    if method == "reset":
        state |= params["values"] | {"begun": time.monotonic()}
        return {}
    if method == "tell":
        state |= params["values"]
        return (
            {}
            if vice == "tell_without_time" and late
            else {"time": stamp + {"tells_back": -1.0, "tells_ahead": 1e6}.get(vice, 0.0)}
        )
    if method == "poll":
        values: dict[str, Any] = {
            "manifold_pressure": 10.0 + 20.0 * float(state["throttle"]),
            "turbo_overspeed_light": int(stamp * 4.0) % 2,
            "mood": "never heard of",
        }
        if late:
            spoil(vice, values)
        shown: Any = {"late_nan": "NaN", "late_word": "noon", "late_true": True}.get(vice, stamp) if late else stamp
        return {"time": shown, "values": list(values.values()) if vice == "list" and late else values}
    return {}


def spoil(vice: str, values: dict[str, Any]) -> None:
    """What is wrong with the values of a poll."""
    if vice == "lacks":
        del values["manifold_pressure"]
    if vice == "word":
        values["manifold_pressure"] = "high"
    if vice == "nan":
        values["manifold_pressure"] = "NaN"
    if vice == "hangs":
        time.sleep(60.0)
    if vice == "dies":
        sys.exit(5)


def main() -> None:
    vice = sys.argv[sys.argv.index("--vice") + 1]
    state: dict[str, Any] = {"begun": time.monotonic(), "throttle": 0.0}
    for line in sys.stdin:
        request = json.loads(line)
        if vice == "log":
            print(line, end="", file=sys.stderr, flush=True)
        print(json.dumps({"id": request["id"], "result": answer(vice, request, state)}), flush=True)
        if request["method"] == "close":
            return


if __name__ == "__main__":
    main()
