"""The decision rule: found, expected, tolerance and doubt give one of four verdicts, or inconclusive.

In the manner of ILAC-G8:09/2019, decision rules with a guard band: acceptance limit = tolerance limit - w,
where w is the expanded uncertainty (95 %), here w = 2 u with u the root sum of squares of the named parts.
The words ``conditional pass`` and ``conditional fail`` are those of that guide for results within w of the
limit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from leverproof.judge.model import Doubt
from leverproof.judge.words import amount

COVERAGE = 2.0


@dataclass(frozen=True, slots=True)
class Ruling:
    """What the rule says: ``excess`` e (positive is worse), ``limit`` the tolerance t, ``w`` the guard
    band."""

    verdict: str
    excess: float | None
    limit: float
    w: float
    note: str = ""


def guard_band(doubts: Iterable[Doubt]) -> float:
    """w = 2 sqrt(sum u_i^2) over the parts that were determined, in their unit."""
    return COVERAGE * math.sqrt(sum(d.u * d.u for d in doubts if d.u is not None))


def largest_part(doubts: Iterable[Doubt]) -> tuple[str, float]:
    """The part of doubt that weighs most, parts of one name taken together, and its standard uncertainty."""
    squares: dict[str, float] = {}
    for doubt in doubts:
        if doubt.u is not None:
            squares[doubt.part] = squares.get(doubt.part, 0.0) + doubt.u * doubt.u
    if not squares:
        return "", 0.0
    part = max(squares, key=lambda name: squares[name])
    return part, math.sqrt(squares[part])


def within(found: float, expected: float, tolerance: float, doubts: tuple[Doubt, ...], *, unit: str) -> Ruling:
    """Two-sided: e = |found - expected| against tolerance t.

    w >= t is inconclusive whatever was found, because then nothing can pass; the note names the largest part
    and the doubt that would be needed.
    """
    w = guard_band(doubts)
    if not all(math.isfinite(v) for v in (found, expected, tolerance, w)):
        return _not_finite(tolerance, w)
    excess = abs(found - expected)
    if w >= tolerance:
        return Ruling("inconclusive", excess, tolerance, w, _too_doubtful(excess, tolerance, doubts, unit))
    return _banded(excess, tolerance, w, doubts, forgiving=False)


def beyond(found: float, limit: float, allowance: float, doubts: tuple[Doubt, ...], *, upper: bool) -> Ruling:
    """One-sided: e = found - limit (or limit - found for a lower limit), positive beyond, against an
    allowance.

    A doubt larger than the allowance is no obstacle here: far enough inside the limit is inside it.
    """
    w = guard_band(doubts)
    if not all(math.isfinite(v) for v in (found, limit, allowance, w)):
        return _not_finite(allowance, w)
    excess = found - limit if upper else limit - found
    return _banded(excess, allowance, w, doubts, forgiving=False)


def at_least(difference: float, least: float, doubts: tuple[Doubt, ...], *, forgiving: bool) -> Ruling:
    """A sign or least difference: e = least - difference against no tolerance at all.

    ``forgiving`` lets an undetermined part pass: for signs demanded by physics.
    """
    w = guard_band(doubts)
    if not all(math.isfinite(v) for v in (difference, least, w)):
        return _not_finite(0.0, w)
    return _banded(least - difference, 0.0, w, doubts, forgiving=forgiving)


def plain(ok: bool, note: str = "") -> Ruling:
    """A verdict about words or states, to which no doubt applies."""
    return Ruling("pass" if ok else "fail", None, 0.0, 0.0, note)


def _banded(excess: float, tolerance: float, w: float, doubts: tuple[Doubt, ...], *, forgiving: bool) -> Ruling:
    if excess > tolerance + w:
        return Ruling("fail", excess, tolerance, w)
    if excess > tolerance:
        return Ruling("conditional fail", excess, tolerance, w)
    if excess > tolerance - w:
        return Ruling("conditional pass", excess, tolerance, w)
    missing = sorted({d.part for d in doubts if d.u is None})
    if missing and not forgiving:
        return Ruling("conditional pass", excess, tolerance, w, f"not determined: {', '.join(missing)}")
    return Ruling("pass", excess, tolerance, w)


def _not_finite(tolerance: float, w: float) -> Ruling:
    band = w if math.isfinite(w) else 0.0
    allowed = tolerance if math.isfinite(tolerance) else 0.0
    return Ruling("invalid run", None, allowed, band, "a value is not a finite number")


def _too_doubtful(excess: float, tolerance: float, doubts: tuple[Doubt, ...], unit: str) -> str:
    part, u = largest_part(doubts)
    w = guard_band(doubts)
    others = math.sqrt(max(0.0, (w / COVERAGE) ** 2 - u * u))
    room = (tolerance / COVERAGE) ** 2 - others * others
    if not part:
        return "the tolerance is zero: nothing can lie clearly within it"
    if room > 0.0:
        enough = amount(math.sqrt(room), unit)
        need = f"its standard uncertainty {amount(u, unit)} would have to fall below {enough}"
    else:
        need = f"all parts together would have to fall below {amount(tolerance / COVERAGE, unit)}"
    far = "; the difference is beyond tolerance and doubt together" if excess > tolerance + w else ""
    return (
        f"the doubt of {amount(w, unit)} is not smaller than the tolerance of {amount(tolerance, unit)}; "
        f"largest part: {part}; {need}{far}"
    )
