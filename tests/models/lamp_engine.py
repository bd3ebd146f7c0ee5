"""The embedded engine with a panel that tells only whether the lamp of its overspeed light is lit at this moment.

``factory(options, defect)``: ``options["hertz"]`` is how often the lamp blinks while the light does,
``options["variant"]`` the embedded engine, ``options["stuck"]`` a state the light never leaves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.stand.port import Array, Hello, Session, Signal, StandFile, Start
from leverproof_adapters import reference_engine

LIGHT, LAMP = "turbo_overspeed_light", "OVSPD"
OFF, BLINKING, ON = range(len(CHANNELS[LIGHT].states))


class Panel:
    """A session whose light is a lamp, lane by lane; the flasher runs all the time, as a bimetal one does."""

    def __init__(self, engine: Session, hertz: float, stuck: str) -> None:
        self._engine, self._hertz, self._stuck = engine, hertz, stuck
        self._column = -1
        self._step = 0.05
        self._rows: list[int] = []

    def hello(self) -> Hello:
        """The engine's, with a lamp in place of the light."""
        said = self._engine.hello()
        outputs = tuple(Signal(LAMP, "1") if s.name == LIGHT else s for s in said.outputs)
        return replace(said, outputs=outputs)

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        """See the port."""
        self._step = step_ticks / 36_000.0
        self._rows = [0] * len(starts)
        self._column = list(outputs).index(LAMP) if LAMP in outputs else -1
        names = [LIGHT if name == LAMP else name for name in outputs]
        first = self._engine.initialise(starts, step_ticks, inputs, names)
        return self._lit(first[None], range(len(starts)), first=True)[0]

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        """See the port."""
        return self._lit(self._engine.advance(lanes, rows), lanes)

    def reset(self) -> None:
        """See the port."""
        self._engine.reset()

    def close(self) -> None:
        """See the port."""
        self._engine.close()

    def _lit(self, out: Array, lanes: Sequence[int], *, first: bool = False) -> Array:
        if self._column < 0:
            return out
        out = np.array(out)
        for at, lane in enumerate(lanes):
            rows = self._rows[lane] + (not first) + np.arange(out.shape[0])
            flasher = (rows * self._step * self._hertz) % 1.0 < 0.5
            light = out[:, at, self._column]
            if self._stuck:
                light = np.full_like(light, float(CHANNELS[LIGHT].states.index(self._stuck)))
            out[:, at, self._column] = (light == ON) | ((light == BLINKING) & flasher)
            self._rows[lane] = int(rows[-1])
        return out


def factory(options: dict[str, Any], defect: str | None) -> Panel:
    """The engine of ``options["variant"]`` behind such a panel."""
    variant = str(options.get("variant", "corrie-18-early"))
    stand = StandFile(path="embedded", title=variant, kind="reference_engine", target=variant)
    engine = reference_engine.open_stand(stand, defect=defect)
    return Panel(engine, float(options.get("hertz", 2.0)), str(options.get("stuck", "")))
