"""A rig that runs lanes of the reference engine through its public port."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.stand.port import Array, StandFile, Start
from leverproof_adapters.reference_engine import open_stand

EARLY, LATE = "corrie-18-early", "corrie-18-late"


def stand(target: str = EARLY, options: dict[str, Any] | None = None) -> StandFile:
    """A stand file of the embedded engine."""
    return StandFile(
        path="stand.toml", title="", kind="reference_engine", target=target, options=options or {}
    )


class Rig:
    """Lanes under constant or moving levers; ``rig["engine_speed"]`` is the last reading of every lane."""

    def __init__(
        self,
        lanes: int = 1,
        variant: str = EARLY,
        *,
        engine: str = "running",
        step_ticks: int = 1800,
        defect: str | None = None,
        options: dict[str, Any] | None = None,
        **levers: Any,
    ) -> None:
        self.session = open_stand(stand(variant, options), defect=defect)
        hello = self.session.hello()
        self.inputs = [s.name for s in hello.inputs]
        self.outputs = tuple(s.name for s in hello.outputs)
        self.lanes, self.step_ticks = lanes, step_ticks
        self.levers = np.zeros((lanes, len(self.inputs)))
        self.set(propeller=1.0, mixture=2.0, intercooler_shutter=1.0, cowl_flaps=1.0)
        self.set(**levers)
        starts = [Start(engine, tuple(row)) for row in self.levers]
        self.last: Array = self.session.initialise(starts, step_ticks, self.inputs, self.outputs)
        self.history: Array = self.last[None]

    def set(self, **levers: Any) -> Rig:
        """Levers and surroundings at once; levers that this engine does not have are left out."""
        assert levers.keys() <= CHANNELS.keys()
        for name, value in levers.items():
            if name in self.inputs:
                self.levers[:, self.inputs.index(name)] = value
        return self

    def run(self, seconds: float, **moved_to: Any) -> Rig:
        """Runs for a while, moving the named levers evenly to their new places over that while."""
        count = round(seconds * 36_000 / self.step_ticks)
        rows = np.repeat(self.levers[None], count, axis=0)
        start = self.levers.copy()
        self.set(**moved_to)
        for i in range(count):
            rows[i] = start + (self.levers - start) * ((i + 1) / count)
        self.history = self.session.advance(range(self.lanes), rows)
        self.last = self.history[-1]
        return self

    def __getitem__(self, channel: str) -> NDArray[np.float64]:
        return self.last[:, self.outputs.index(channel)].copy()

    def of(self, channel: str) -> NDArray[np.float64]:
        """History of a reading over the last run, shape (rows, lanes)."""
        return self.history[:, :, self.outputs.index(channel)]

    def hold_pressure(
        self,
        target: float,
        *levers: str,
        rounds: int = 11,
        seconds: float = 8.0,
        low: float = 0.0,
        high: float = 1.0,
    ) -> Rig:
        """Bisects the named levers together until the manifold pressure is ``target`` inHg in every lane. A lane
        whose first lever stands at 1 keeps it there."""
        held = self.levers[:, self.inputs.index(levers[0])] == 1.0
        least, most = np.full(self.lanes, low), np.full(self.lanes, high)
        for _ in range(rounds):
            middle = 0.5 * (least + most)
            places = dict.fromkeys(levers, middle)
            places[levers[0]] = np.where(held, 1.0, middle)
            self.set(**places).run(seconds)
            above = self["manifold_pressure"] > target
            least, most = np.where(above, least, middle), np.where(above, middle, most)
        return self.run(seconds * 2)


@pytest.fixture
def rig() -> Callable[..., Rig]:
    """Makes a rig."""
    return Rig
