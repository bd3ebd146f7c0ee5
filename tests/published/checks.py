"""A published number beside what our own relation gives, and how far apart they may be."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

PRINTED = "printed"
FIGURE = "read off a printed figure"
WORKED = "worked out from the cited relation by other means"
LIBRARY = "run from an independent library"


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

    def value(self) -> float:
        """Our own number."""
        return float(self.compute())  # type: ignore[arg-type]


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
