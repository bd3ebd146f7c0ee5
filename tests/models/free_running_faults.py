"""The small honest engine of the conformance kit on a clock of its own, and the same with one vice of that clock each.

No process and no waiting: the wall it lives by is a :class:`Wall`, which goes on only when somebody sleeps on it or a
reply takes its time. ``CLOCK_VICES`` names every vice with the item of the kit that must catch it.
"""

from __future__ import annotations

import importlib.util
import random
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np

from leverproof.stand.port import Hello, Polled, Start
from leverproof.stand.trouble import trouble

CLOCK_VICES: dict[str, tuple[str, str]] = {
    "stands-still": ("own-clock", "its clock stops 6 s after the start"),
    "runs-double": ("own-clock", "its clock goes twice as fast as it declares"),
    "runs-back": ("stamps", "its clock goes back by a second once"),
    "jumps-ahead": ("stamps", "its clock skips 4 s once, which its equations never see"),
    "stamps-pictures": ("stamps", "stamps replies with the time of a picture drawn every 0.4 s"),
    "slow-replies": ("reply-time", "takes 3 s for some replies"),
    "sparse-frames": ("poll-jitter", "has a new state only every second"),
    "tells-wait": ("tell", "lets what it is told wait for 3 s"),
    "deaf": ("tell", "never looks at the throttle after the start"),
}

FRAME_TICKS = 900
FRAME = FRAME_TICKS / 36_000.0
TROUBLE = 6.0
"""Seconds of its own time after which a vice shows."""


class Wall:
    """A clock that goes on only when it is turned."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        """Turns it on by ``seconds``."""
        self.now += max(seconds, 1e-5)


def _honest() -> ModuleType:
    """The engine's module, which lies beside this file."""
    name = "shakedown_faults"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


class Clocked:
    """The engine behind :class:`leverproof.stand.port.OwnClock`; ``rate`` seconds of its time in one of the wall's."""

    def __init__(
        self,
        vice: str = "none",
        *,
        wall: Wall,
        rate: float = 1.0,
        seed: int = 1,
        declares: bool = True,
        reset: bool = True,
        surroundings: bool = True,
    ) -> None:
        self._vice, self._wall, self._rate, self._declares = vice, wall, rate, declares
        self._reset, self._surroundings = reset, surroundings
        self._random = random.Random(seed)
        self._engine = _honest().Engine("none", lambda seconds: None)
        self._names = tuple(signal.name for signal in self._engine.hello().inputs)
        self._values = {name: _honest().REST.get(name, 0.0) for name in self._names}
        self._asked = 0
        self.closed = False
        self._begin("running")

    def hello(self) -> Hello:
        """The engine's, with a clock of its own."""
        said: Hello = self._engine.hello()
        can = replace(
            said.capabilities,
            clock="free_running",
            reset=self._reset,
            settable_surroundings=self._surroundings,
            rate=self._rate if self._declares else None,
        )
        return replace(said, capabilities=can)

    def begin(self, engine: str, values: Mapping[str, float]) -> None:
        """See :class:`leverproof.stand.port.OwnClock`."""
        assert self._reset
        self._take(values)
        self._begin(engine)

    def tell(self, values: Mapping[str, float]) -> float:
        """See :class:`leverproof.stand.port.OwnClock`."""
        self._reply()
        if self._vice == "deaf" and self._time() > TROUBLE:
            values = {name: value for name, value in values.items() if name != "throttle"}
        if self._vice == "tells-wait":
            self._waiting.append((self._time() + 3.0, dict(values)))
        else:
            self._take(values)
        return self._stamp()

    def poll(self) -> Polled:
        """See :class:`leverproof.stand.port.OwnClock`."""
        self._reply()
        return Polled(self._stamp(), dict(self._outputs))

    def close(self) -> None:
        """Ends."""
        self.closed = True

    def _take(self, values: Mapping[str, float]) -> None:
        strange = set(values) - set(self._names)
        if strange:
            raise trouble(f"no input {strange.pop()!r}", "refused")
        self._values |= values

    def _begin(self, engine: str) -> None:
        row = tuple(self._values[name] for name in self._names)
        outputs = [signal.name for signal in self._engine.hello().outputs]
        first = self._engine.initialise([Start(engine, row)], FRAME_TICKS, self._names, outputs)
        self._outputs = dict(zip(outputs, first[0].tolist(), strict=True))
        self._begun, self._frames = self._wall.now, 0
        self._waiting: list[tuple[float, dict[str, float]]] = []

    def _time(self) -> float:
        """Seconds the equations have been through."""
        return self._frames * FRAME

    def _stamp(self) -> float:
        """The time it says it is."""
        time = self._time()
        if time <= TROUBLE:
            return time
        if self._vice == "runs-back":
            return time - 1.0
        if self._vice == "jumps-ahead":
            return time + 4.0
        if self._vice == "stamps-pictures":
            return time // 0.4 * 0.4
        return time

    def _reply(self) -> None:
        """A reply takes a random while, and the engine runs on meanwhile."""
        self._asked += 1
        slow = self._vice == "slow-replies" and self._asked % 25 == 0
        self._wall.sleep(3.0 if slow else self._random.uniform(0.1, 2.0) / 1000.0 / self._rate)
        elapsed = (self._wall.now - self._begun) * self._rate * (2.0 if self._vice == "runs-double" else 1.0)
        if self._vice == "stands-still":
            elapsed = min(elapsed, TROUBLE)
        if self._vice == "sparse-frames":
            elapsed = float(int(elapsed))
        due = int(elapsed / FRAME + 1e-9)
        while self._frames < due:
            self._frame()

    def _frame(self) -> None:
        for when, values in [entry for entry in self._waiting if entry[0] <= self._time()]:
            self._take(values)
            self._waiting.remove((when, values))
        row = np.array([[[self._values[name] for name in self._names]]], dtype=np.float64)
        reply = self._engine.advance([0], row)
        self._outputs = dict(zip(self._outputs, reply[0, 0].tolist(), strict=True))
        self._frames += 1
