"""Tolerances made into numbers, with the words that say which of two applied and what a percentage is of.

Where two values are given the less restrictive applies (14 CFR Part 60, Appendix A, attachment 2, paragraph
2).
"""

from __future__ import annotations

from dataclasses import dataclass

from leverproof.cases.model import Tolerance
from leverproof.judge.words import amount, number, spoken


@dataclass(frozen=True, slots=True)
class Allowance:
    """How far a number may be off, in the judged unit, and the text that explains it."""

    value: float
    text: str


@dataclass(frozen=True, slots=True)
class Basis:
    """What a percentage may be of: ``expected`` value, normal operating ``span`` and the ``stated`` value,
    all in ``unit``; ``channel`` names whose range it is."""

    unit: str
    expected: float
    span: float
    channel: str = ""
    stated: float | None = None


def allowance(tolerance: Tolerance, basis: Basis) -> Allowance:
    """The tolerance in the judged unit. InputError for a unit of the wrong dimension; ValueError when it
    states neither an absolute value nor a percentage, or a percentage of a value that was not resolved."""
    choices: list[Allowance] = []
    if tolerance.absolute is not None:
        value = tolerance.absolute.difference_in(basis.unit, "tolerance")
        choices.append(Allowance(value, amount(value, basis.unit)))
    if tolerance.percent is not None:
        whole, of = _whole(tolerance, basis)
        value = tolerance.percent / 100.0 * abs(whole)
        text = f"{number(tolerance.percent)} % of {of} {amount(whole, basis.unit)} = {amount(value, basis.unit)}"
        choices.append(Allowance(value, text))
    if not choices:
        raise ValueError("the tolerance states neither an absolute value nor a percentage")
    if len(choices) == 1:
        return choices[0]
    wide, narrow = sorted(choices, key=lambda c: c.value, reverse=True)
    return Allowance(wide.value, f"{wide.text} (less restrictive than {narrow.text})")


def _whole(tolerance: Tolerance, basis: Basis) -> tuple[float, str]:
    if tolerance.of == "expected":
        return basis.expected, "the expected value"
    if tolerance.of == "range":
        return basis.span, f"the range of {spoken(basis.channel)}" if basis.channel else "the range"
    if basis.stated is None:
        raise ValueError("the value a percentage is taken of was not resolved")
    if tolerance.of.predicted:
        return basis.stated, f"the predictor's {spoken(tolerance.of.part)}"
    return basis.stated, f"the sheet's {tolerance.of.sheet}" if tolerance.of.sheet else "the stated value"
