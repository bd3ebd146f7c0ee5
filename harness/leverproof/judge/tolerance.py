"""Tolerances made into numbers, with the words that say which of two applied and what a percentage is of.

Where two values are given the less restrictive applies (14 CFR Part 60, Appendix A, attachment 2, paragraph
2).
"""

from __future__ import annotations

from dataclasses import dataclass

from leverproof.cases.model import SIMULATION_SHARE, Tolerance
from leverproof.judge.words import amount, number, spoken

TIER_WORDS = {
    "validation": "validation tier: the most that is acceptable against data",
    "regression": "regression tier: the model against itself",
}


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
    expected_words: str = "the expected value"


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
        return _told(choices[0], tolerance, basis)
    wide, narrow = sorted(choices, key=lambda c: c.value, reverse=True)
    chosen = Allowance(wide.value, f"{wide.text} (less restrictive than {narrow.text})")
    return _told(chosen, tolerance, basis)


def _told(chosen: Allowance, tolerance: Tolerance, basis: Basis) -> Allowance:
    """What the tier makes of a tolerance, and what somebody has made of it, in number and text."""
    if tolerance.tier == "simulation":
        value = SIMULATION_SHARE * chosen.value
        part = f"{number(100.0 * SIMULATION_SHARE)} % of {chosen.text} = {amount(value, basis.unit)}"
        chosen = Allowance(value, f"{part}, simulation tier: the reference is another simulation")
    elif tolerance.tier:
        chosen = Allowance(chosen.value, f"{chosen.text}, {TIER_WORDS[tolerance.tier]}")
    if tolerance.times == 1.0:
        return chosen
    value = tolerance.times * chosen.value
    whole = f"{number(tolerance.times)} x ({chosen.text}) = {amount(value, basis.unit)}"
    return Allowance(value, f"{whole}, {tolerance.loosened}")


def _whole(tolerance: Tolerance, basis: Basis) -> tuple[float, str]:
    if tolerance.of == "expected":
        return basis.expected, basis.expected_words
    if tolerance.of == "range":
        return basis.span, f"the range of {spoken(basis.channel)}" if basis.channel else "the range"
    if basis.stated is None:
        raise ValueError("the value a percentage is taken of was not resolved")
    if tolerance.of.predicted:
        return basis.stated, f"the predictor's {spoken(tolerance.of.part)}"
    return basis.stated, f"the sheet's {tolerance.of.sheet}" if tolerance.of.sheet else "the stated value"
