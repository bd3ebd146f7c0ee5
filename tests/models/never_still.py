"""The embedded engine in a shell that begins running whatever it is told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from leverproof.stand.port import Array, StandFile, Start
from leverproof_adapters.reference_engine import open_stand


class NeverStill:
    """A session of which every lane begins running, auto rich."""

    def __init__(self) -> None:
        stand = StandFile(path="embedded", title="", kind="reference_engine", target="corrie-18-early")
        self._session = open_stand(stand, defect=None)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._session, name)

    def initialise(
        self, starts: Sequence[Start], step_ticks: int, inputs: Sequence[str], outputs: Sequence[str]
    ) -> Array:
        running = [Start("running", start.row) for start in starts]
        return self._session.initialise(running, step_ticks, inputs, outputs)


def factory(options: dict[str, object], defect: str | None) -> NeverStill:
    """The session for an in-process stand."""
    assert not options and defect is None
    return NeverStill()
