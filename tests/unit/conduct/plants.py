"""Small invented plants with one difficulty each, and a stand that flies them."""

from __future__ import annotations

import math
import random
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from leverproof.conduct.model import PlannedStep, Program
from leverproof.errors import StandError
from leverproof.stand.port import Capabilities, Hello, Signal, Start
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid

GRID = TimeGrid(1800)
INPUTS = ("throttle", "boost", "mixture", "pressure_altitude")
OUTPUTS = ("manifold_pressure", "turbo_speed", "engine_speed")
START = {"throttle": 0.3, "boost": 0.2, "mixture": 2.0, "pressure_altitude": 8000.0}
WATCH = {"manifold_pressure": 0.02, "turbo_speed": 20.0, "engine_speed": 2.0}
LIMIT = 22_000.0


def s(seconds: float) -> int:
    return round(seconds * TICKS_PER_SECOND)


def straight(row: Sequence[float]) -> tuple[float, float]:
    """Manifold pressure and turbo speed, settled."""
    return 20.0 + 15.0 * row[0] + 30.0 * row[1], 6000.0 + 18_000.0 * row[1]


@dataclass(frozen=True)
class Kind:
    """What one plant is like; times in seconds."""

    law: Callable[[Sequence[float]], tuple[float, float]] = straight
    lag: float = 2.0
    second: float = 0.0
    dead: float = 0.0
    quantum: float = 0.0
    noise: float = 0.0
    cycle: float = 0.0
    period: float = 4.0
    backlash: float = 0.0
    fails: Callable[[float], None] | None = None
    spoils: Callable[[float], bool] = field(default=lambda t: False)


class Plant:
    """One lane: two lags in a row behind a dead time."""

    def __init__(self, kind: Kind, row: Sequence[float], step: float, seed: int) -> None:
        self.kind, self.step, self.time = kind, step, 0.0
        self.random = random.Random(seed)
        self.slack = [float(v) for v in row]
        settled = kind.law(self._loose(row))
        self.first, self.last = list(settled), list(settled)
        self.pipe = deque([settled] * round(kind.dead / step))

    def _loose(self, row: Sequence[float]) -> list[float]:
        half = self.kind.backlash / 2.0
        for i in (0, 1):
            self.slack[i] = min(max(self.slack[i], row[i] - half), row[i] + half)
        return self.slack[:2] + [float(v) for v in row[2:]]

    def advance(self, row: Sequence[float]) -> list[float]:
        kind = self.kind
        self.time += self.step
        if kind.fails is not None:
            kind.fails(self.time)
        self.pipe.append(kind.law(self._loose(row)))
        asked = self.pipe.popleft()
        for i in (0, 1):
            self.first[i] += (asked[i] - self.first[i]) * -math.expm1(-self.step / kind.lag)
            slow = -math.expm1(-self.step / kind.second) if kind.second else 1.0
            self.last[i] += (self.first[i] - self.last[i]) * slow
        return self.outputs()

    def outputs(self) -> list[float]:
        kind = self.kind
        seen = self.last[0] + kind.noise * self.random.uniform(-1.0, 1.0)
        seen += kind.cycle * math.sin(2.0 * math.pi * self.time / kind.period)
        if kind.quantum:
            seen = round(seen / kind.quantum) * kind.quantum
        if kind.spoils(self.time):
            seen = math.nan
        return [seen, self.last[1], 2000.0]


class PlantSession:
    """Lanes of plants; ``kinds`` chooses a lane's kind from its throttle at the start."""

    def __init__(self, stand: PlantStand) -> None:
        self.stand = stand
        self.plants: list[Plant] = []
        self.dead = False

    def hello(self) -> Hello:
        return Hello(
            "plant", "1",
            tuple(Signal(n, "1") for n in INPUTS), tuple(Signal(n, "1") for n in OUTPUTS),
            self.stand.capabilities,
        )  # fmt: skip

    def initialise(self, starts: Sequence[Start], step_ticks: int, inputs: object, outputs: object) -> np.ndarray:
        assert not self.dead
        step = step_ticks / TICKS_PER_SECOND
        self.stand.batches.append(len(starts))
        self.plants = [Plant(self.stand.kind_of(st.row), st.row, step, round(1e6 * st.row[0])) for st in starts]
        return np.array([p.outputs() for p in self.plants])

    def advance(self, lanes: Sequence[int], rows: np.ndarray) -> np.ndarray:
        assert not self.dead
        assert rows.size <= self.stand.capabilities.max_values
        self.stand.requests.append((tuple(lanes), rows.shape[0]))
        try:
            given = rows.transpose(1, 0, 2).tolist()
            return np.array(
                [[self.plants[lane].advance(r) for r in mine] for lane, mine in zip(lanes, given, strict=True)]
            ).transpose(1, 0, 2)
        except StandError:
            self.dead = True
            raise

    def reset(self) -> None:
        self.plants = []

    def close(self) -> None:
        self.dead = True


class PlantStand:
    """Looks like a mounted stand."""

    def __init__(
        self,
        kind: Kind | Callable[[Sequence[float]], Kind] = Kind(),
        *,
        lanes: int = 1,
        max_values: int = 50_000,
        reopens: Callable[[int], bool] = lambda count: True,
        reset: bool = True,
    ) -> None:
        self.kind_of = kind if not isinstance(kind, Kind) else (lambda row: kind)
        self.capabilities = Capabilities(lanes=lanes, max_values=max_values, reset=reset)
        self.batches: list[int] = []
        self.requests: list[tuple[tuple[int, ...], int]] = []
        self.reopened = 0
        self._reopens = reopens
        self.session = PlantSession(self)

    def reopen(self) -> PlantSession:
        self.reopened += 1
        self.session.close()
        if not self._reopens(self.reopened):
            raise StandError("does not come up", code="no_handshake")
        self.session = PlantSession(self)
        return self.session


def program(*steps: PlannedStep, start: dict[str, float] | None = None, key: str = "run", grid: TimeGrid = GRID,
            watch: dict[str, float] | None = None) -> Program:  # fmt: skip
    return Program(
        ("case", 0, key),
        "running",
        {**START, **(start or {})},
        steps,
        grid,
        WATCH if watch is None else watch,
    )


ANY = ("stop", "no response", "not monotone", "not reached", "turbo_speed limit")


def boost_seek(value: float, *, within: float = 0.02, limit: float = 180.0, lever: str = "boost",
               accept: tuple[str, ...] = ANY, guard: dict[str, float] | None = None,
               rate: float = 0.1) -> PlannedStep:  # fmt: skip
    return PlannedStep(
        "seek", name="up", lever=lever, channel="manifold_pressure", value=value, within=within, accept=accept,
        guard=guard or {}, rate=rate, limit=s(limit),
    )  # fmt: skip


def read(name: str = "settled", limit: float = 60.0) -> PlannedStep:
    return PlannedStep("read", name=name, limit=s(limit))
