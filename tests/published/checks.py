"""A published number beside what our own relation gives, and how far apart they may be."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

PRINTED = "printed"
FIGURE = "read off a printed figure"
WORKED = "worked out from the cited relation by other means"
LIBRARY = "run from an independent library"

RELATION = "relation"
ENGINE = "reference engine"
PREDICTOR = "predictor"


@dataclass(frozen=True, slots=True)
class Check:
    """One number of one document. ``precision`` is half a unit of its last digit or the reading error of a
    figure; ``tolerance`` is absolute, never below the precision; ``reason`` says where the rest is from."""

    name: str
    document: str
    place: str
    expected: float
    precision: float
    tolerance: float
    reason: str
    compute: Callable[[], object]
    status: str = PRINTED
    by: str = RELATION

    def value(self) -> float:
        """Our own number."""
        return float(self.compute())  # type: ignore[arg-type]

    def printed(self) -> str:
        """What the document gives, for people."""
        return f"{self.expected:.6g}"

    def off(self, ours: float) -> float:
        """How far our number is from the published one."""
        return ours - self.expected


@dataclass(frozen=True, slots=True)
class Bound:
    """A published range or one-sided statement that an engine or the predictor must keep. ``low`` or ``high`` may be
    infinite. ``misses`` says that ours is known to be outside: then the page says by how much, and it must be so."""

    name: str
    document: str
    place: str
    low: float
    high: float
    compute: Callable[[], object]
    by: str
    status: str = PRINTED
    misses: str = ""

    def value(self) -> float:
        """Our own number."""
        return float(self.compute())  # type: ignore[arg-type]

    def printed(self) -> str:
        """What the document gives, for people."""
        if math.isinf(self.low):
            return f"below {self.high:.4g}"
        return f"above {self.low:.4g}" if math.isinf(self.high) else f"{self.low:.4g} to {self.high:.4g}"

    def off(self, ours: float) -> float:
        """How far our number is outside the range, 0 inside it."""
        return max(ours - self.high, 0.0) + min(ours - self.low, 0.0)


def bound_disagreement(bound: Bound) -> str:
    """Empty when our number is inside the published range, or outside it where that is known; else what differs."""
    ours = bound.value()
    inside = math.isfinite(ours) and bound.low <= ours <= bound.high
    if inside is not bool(bound.misses):
        return ""
    known = "is known to miss it, yet does not" if bound.misses else "is outside"
    return f"{bound.name}: {bound.document}, {bound.place} gives {bound.printed()}; ours, {ours:.8g}, {known}"


def disagreement(check: Check) -> str:
    """Empty when our number is within the tolerance of the published one, else what differs."""
    ours = check.value()
    # Written so that NaN disagrees too.
    if abs(ours - check.expected) <= check.tolerance:
        return ""
    return (
        f"{check.name}: {check.document}, {check.place} gives {check.expected:.8g} ({check.status}), "
        f"ours is {ours:.8g}, tolerance {check.tolerance:.3g} ({check.reason})"
    )


def flaw(check: Check, *, largest_share: float) -> str:
    """Empty when the check is well formed: finite, sourced, no finer than its print, able to fail."""
    numbers = (check.expected, check.precision, check.tolerance)
    if not all(math.isfinite(number) for number in numbers) or check.tolerance <= 0.0:
        return f"{check.name}: expected, precision and tolerance must be finite, tolerance above 0"
    if not (check.document and check.place and check.reason):
        return f"{check.name}: document, place and reason are needed"
    if check.tolerance < check.precision:
        return f"{check.name}: tolerance {check.tolerance:g} is finer than the print {check.precision:g}"
    if check.tolerance > largest_share * abs(check.expected):
        return f"{check.name}: tolerance {check.tolerance:g} lets nearly anything pass"
    return ""


def identifiers(table: Iterable[Check]) -> list[str]:
    """Test ids of a table of checks."""
    return [check.name for check in table]
