"""How far a program has been found in a stretch, and what could not be found."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from leverproof.conduct.matcher_track import Track
from leverproof.conduct.model import Program
from leverproof.history import Mark, Reading


@dataclass(frozen=True)
class State:
    """A program found up to ``row``: inputs at ``places``, boost following the throttle at ``lead``; ``begin`` is the
    row at which the history begins, ``moved`` the one at which a step last put an input elsewhere: neither a reading
    nor a seek that need not move its lever may look back beyond it. ``offsets`` says for each reading how far levers
    stood from their places."""

    begin: int
    row: int
    places: dict[str, float]
    lead: float | None = None
    marks: tuple[Mark, ...] = ()
    readings: tuple[Reading, ...] = ()
    moved: int = 0
    offsets: tuple[dict[str, float], ...] = ()

    def after(
        self, kind: str, row: int, end: int, *, name: str = "", places: dict[str, float] | None = None, **said: Any
    ) -> State:
        """The state after a step that took the rows [row, end)."""
        mark = Mark(kind, row - self.begin, end - self.begin, name, **said)
        merged = self.places | (places or {})
        return replace(self, row=end, places=merged, marks=(*self.marks, mark))


@dataclass
class Search:
    """One program searched for in one stretch. ``misses`` holds, for the step found wanting furthest into the program,
    its index (-1 is the start) and what was seen instead; ``looks`` counts how often a step was tried."""

    track: Track
    program: Program
    depth: int = -2
    words: str = ""
    looks: int = 0

    def miss(self, depth: int, words: str) -> None:
        """Remember what was missing, when nothing further into the program has been missing before."""
        if depth > self.depth:
            self.depth, self.words = depth, words
