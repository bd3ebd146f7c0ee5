"""Horsepower formulas, specific consumption and propeller identities."""

from __future__ import annotations

import pytest

from leverproof.physics.relations import output, propeller
from leverproof.quantities import convert

from .checks import WORKED, Check, disagreement, identifiers

HANDBOOK = "SFTE Reference Handbook, 2013"
ENCYCLOPAEDIA = "encyclopaedia table of specific-consumption units"
EXAMPLE = "worked example of indicated horsepower with the stroke put into feet"
DEFINITION = "definition of mean effective pressure, 792,000 hp/(cu in x rpm)"
CUBIC_INCH = 0.0254**3


def _thrust(horsepower: float, knots: float, efficiency: float) -> float:
    """Thrust in lbf."""
    newtons = propeller.thrust_of_power(
        convert(horsepower, "hp", "W"), convert(knots, "kt", "m/s"), efficiency=efficiency
    )
    return float(newtons) / 4.4482216152605


def _mean_pressure() -> float:
    pascals = output.mean_effective_pressure(
        convert(1_000.0, "hp", "W"), convert(2_500.0, "rpm", "rad/s"), displacement=2_000.0 * CUBIC_INCH
    )
    return convert(float(pascals), "Pa", "psi")


def _plan() -> float:
    watts = output.plan_power(
        convert(105.0, "psi", "Pa"),
        stroke=convert(2.1875, "in", "m"),
        bore=convert(2.9, "in", "m"),
        power_strokes=2_000.0 / 60.0,
        cylinders=1,
    )
    return convert(float(watts), "W", "hp")


CHECKS = (
    Check(
        "thrust constant", HANDBOOK, "ch. 11, thrust = 326 eta SHP/KTAS", 326.0, 0.5, 0.5, "last digit",
        lambda: _thrust(1.0, 1.0, 1.0),
    ),
    Check(
        "pound per horsepower-hour", ENCYCLOPAEDIA, "g/(kW h)", 608.277, 5e-4, 6e-4, "last digit",
        lambda: output.POUND_PER_HORSEPOWER_HOUR / output.GRAM_PER_KILOWATT_HOUR,
    ),
    Check(
        "indicated power", EXAMPLE, "105 psi, 2.9 in bore, 2 3/16 in stroke, 2,000 strokes; 92.0 hp over 12",
        7.667, 5e-3, 0.01, "the printed 92.0 hp took the stroke in inches", _plan, WORKED,
    ),
    Check(
        "mean effective pressure", DEFINITION, "1,000 hp, 2,000 cu in, 2,500 rpm", 158.4, 0.05, 0.05,
        "last digit", _mean_pressure, WORKED,
    ),
)  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=identifiers(CHECKS))
def test_the_formula_agrees_with_the_published_number(check: Check) -> None:
    assert disagreement(check) == ""
