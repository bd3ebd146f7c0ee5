"""What an item of the kit is, how it ends, and what the whole shakedown leaves."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

ENDINGS = ("pass", "fail", "not applicable", "blocked")


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one item ended: ``seen`` tells what was observed with its numbers, ``mend`` what the author can do
    about a failure, ``measures`` the numbers again for machines, each named with its unit."""

    ending: str
    seen: str
    mend: str = ""
    measures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Item:
    """One thing asked of a model. ``needs`` names the items without which it could not be told apart from their
    failure; ``clock`` (``stepped``, ``free_running`` or ``any``) and ``deterministic`` say what a model must declare
    for it to apply."""

    name: str
    question: str
    check: Callable[[Any], Outcome]
    needs: tuple[str, ...] = ("handshake",)
    clock: str = "stepped"
    deterministic: bool = False


@dataclass(frozen=True, slots=True)
class ItemResult:
    """An item and how it ended; ``blocked_by`` names the item that stood in its way."""

    name: str
    question: str
    outcome: Outcome
    blocked_by: str = ""

    @property
    def ending(self) -> str:
        """One of :data:`ENDINGS`."""
        return self.outcome.ending


@dataclass(frozen=True, slots=True)
class Shakedown:
    """The whole of it, in the order tried. ``facts`` is what the model says of itself, empty when it never came
    up; ``shaken`` tells whether a handshake was completed."""

    title: str
    seed: int
    shaken: bool
    facts: Mapping[str, Any]
    results: tuple[ItemResult, ...]

    @property
    def passed(self) -> bool:
        """Whether every item that applies passed."""
        return all(result.ending in ("pass", "not applicable") for result in self.results)

    @property
    def exit_code(self) -> int:
        """0 all that applies passed, 1 something did not, 3 no handshake was completed."""
        if not self.shaken:
            return 3
        return 0 if self.passed else 1

    def ended(self, ending: str) -> tuple[str, ...]:
        """Names of the items that ended so."""
        return tuple(result.name for result in self.results if result.ending == ending)


def passed(seen: str, **measures: float) -> Outcome:
    """The item holds."""
    return Outcome("pass", seen, measures=measures)


def failed(seen: str, mend: str, **measures: float) -> Outcome:
    """It does not."""
    return Outcome("fail", seen, mend, measures)


def not_applicable(why: str) -> Outcome:
    """It does not apply to this model."""
    return Outcome("not applicable", why)
