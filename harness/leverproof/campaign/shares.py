"""Shares of outcomes that pass, with an interval that says how far a share of so many can be trusted."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from leverproof.judge.endings import ENDINGS
from leverproof.judge.model import VERDICTS

NORMAL_95 = 1.959963984540054
"""The standard normal deviate of a two-sided 95 %. Source: any table of the normal distribution."""


@dataclass(frozen=True, slots=True)
class Share:
    """``passed`` of ``judged``, with the 95 % interval ``low`` to ``high`` of the share (both 0..1; None where nothing
    was judged)."""

    passed: int
    judged: int
    low: float | None
    high: float | None


def share(passed: int, judged: int) -> Share:
    """The share with its Wilson score interval, 95 %. Raises :class:`ValueError` for counts that cannot be.

    Source: E. B. Wilson, "Probable inference, the law of succession, and statistical inference", J. Am. Stat. Assoc.
    22 (1927), 209-212. It stays within 0..1 and does not shrink to nothing where all pass, as the plain one does.
    """
    if not 0 <= passed <= judged:
        raise ValueError(f"{passed} of {judged} cannot pass")
    if judged == 0:
        return Share(0, 0, None, None)
    part, z2 = passed / judged, NORMAL_95**2
    centre = part + z2 / (2 * judged)
    half = NORMAL_95 * math.sqrt(part * (1 - part) / judged + z2 / (4 * judged**2))
    whole = 1 + z2 / judged
    low = 0.0 if passed == 0 else (centre - half) / whole
    high = 1.0 if passed == judged else (centre + half) / whole
    return Share(passed, judged, low, high)


REQUIRED, ADVISORY, SELF_REFERENTIAL = "required", "advisory", "self_referential"
KINDS = (REQUIRED, ADVISORY, SELF_REFERENTIAL)


def standing(weight: str, verdict: str, *, self_referential: bool) -> str:
    """Where an outcome is counted: as in a report of one record, a pass that rests on the model itself is no pass."""
    if self_referential and ENDINGS[verdict].passed:
        return SELF_REFERENTIAL
    return REQUIRED if weight == REQUIRED else ADVISORY


def decided(verdict: str) -> bool | None:
    """Whether a verdict counts as passed, or not; None where it counts as neither: what did not apply or was not run,
    and what was blocked, whose cause is counted already."""
    return None if verdict == "blocked" else ENDINGS[verdict].passed


@dataclass
class Tally:
    """Outcomes by verdict, of each of :data:`KINDS`, while they are being counted."""

    counts: dict[str, list[int]] = field(default_factory=lambda: {kind: [0] * len(VERDICTS) for kind in KINDS})

    def add(self, kind: str, verdict: str) -> None:
        """Counts one outcome."""
        self.counts[kind][VERDICTS.index(verdict)] += 1

    def share(self) -> Share:
        """The share of the required ones."""
        told = [(decided(v), n) for v, n in zip(VERDICTS, self.counts[REQUIRED], strict=True)]
        return share(sum(n for d, n in told if d is True), sum(n for d, n in told if d is not None))

    def verdicts(self, kind: str) -> dict[str, int]:
        """The verdicts that occur among a kind, in their usual order."""
        return {v: n for v, n in zip(VERDICTS, self.counts[kind], strict=True) if n}
