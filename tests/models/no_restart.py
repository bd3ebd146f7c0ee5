"""A defective model: the second engine, but once its mixture was cut off it never burns again."""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from leverproof.stand.port import Array, Hello, Session, Start


class NoRestart:
    """A session that holds the mixture at cut-off from the first time it was there, lane by lane."""

    def __init__(self, inner: Session) -> None:
        self.inner = inner
        self.mixture = -1
        self.dead: set[int] = set()

    def hello(self) -> Hello:
        return self.inner.hello()

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        self.mixture = list(inputs).index("mixture")
        self.dead = set()
        return self.inner.initialise(starts, step_ticks, inputs, outputs)

    def advance(self, lanes: Sequence[int], rows: Array) -> Array:
        given = np.array(rows)
        for place, lane in enumerate(lanes):
            cut = np.flatnonzero(given[:, place, self.mixture] == 0.0)
            first = 0 if lane in self.dead else int(cut[0]) if cut.size else -1
            if first >= 0:
                given[first:, place, self.mixture] = 0.0
                self.dead.add(lane)
        return self.inner.advance(lanes, given)

    def reset(self) -> None:
        self.dead = set()
        self.inner.reset()

    def close(self) -> None:
        self.inner.close()


def factory(options: dict[str, Any], defect: str | None) -> NoRestart:
    """The session for an in-process stand."""
    path = Path(__file__).with_name("second_engine.py")
    spec = importlib.util.spec_from_file_location("second_engine_for_no_restart", path)
    if spec is None or spec.loader is None:
        raise ImportError(str(path))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return NoRestart(module.factory(options, defect))
