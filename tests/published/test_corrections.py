"""Corrections of power to other air, humidity and rating standards against published examples."""

from __future__ import annotations

import pytest

from leverproof import atmosphere
from leverproof.physics.relations import breathing, corrections
from leverproof.quantities import convert

from .checks import WORKED, Check, disagreement, identifiers

GOST_2014 = "GOST 10150-2014, p. 34 (text of ISO 3046-1)"
GOST_2005 = "GOST R 52517-2005, annex (text of ISO 3046-1)"
J1349 = "SAE J1349, June 1990"
MAKER = "dynamometer maker's note on correction factors"
MANUAL = "operator's manual of a six-cylinder unsupercharged engine, p. 3-24"
SHEET_1917 = "engine maker's calculation sheet, September 1917"
BUCK = "Buck, J. Appl. Meteorology 20, 1981"
DIGIT = "last digit"


def _kelvin(fahrenheit: float) -> float:
    return convert(fahrenheit, "degF", "K")


def _site(pressure: float, air: float, coolant: float) -> float:
    """Adjustment factor of the example's engine, mechanical efficiency 0.85."""
    ratio = corrections.iso_3046_indicated_ratio(pressure, air, coolant)
    return float(corrections.iso_3046_adjustment(ratio, mechanical_efficiency=0.85))


def _annex_ratio(pressure: float = 0.726, air: float = 323.0, coolant: float = 310.0) -> float:
    return float(
        corrections.iso_3046_indicated_ratio(
            pressure,
            air,
            coolant,
            reference_pressure=1.0,
            reference_temperature=313.0,
            reference_coolant=298.0,
        )
    )


def _annex_factor() -> float:
    return float(corrections.iso_3046_adjustment(_annex_ratio(), mechanical_efficiency=0.90))


def _day(fahrenheit: float, humidity: float, mercury: float) -> float:
    """The J607 type of factor on a day given in the note's units."""
    air = _kelvin(fahrenheit)
    dry = breathing.dry_pressure(convert(mercury, "inHg", "Pa"), humidity, air)
    return float(corrections.j607_factor(dry, air))


def _j1349_at(feet: float) -> object:
    return corrections.j1349_factor(atmosphere.pressure_at_feet(feet), atmosphere.temperature_at_feet(feet))


CHECKS = (
    Check(
        "reference power of a site power", GOST_2014, "example, 640 kW at 70 kPa, 330 K, coolant 300 K",
        991.0, 0.5, 0.5, DIGIT, lambda: 640.0 / _site(7.0e4, 330.0, 300.0),
    ),
    Check(
        "indicated ratio at the second site", GOST_2014, "example, 100 kPa, 300 K, coolant 280 K", 1.056,
        5e-4, 5e-4, DIGIT, lambda: corrections.iso_3046_indicated_ratio(1.0e5, 300.0, 280.0),
    ),
    Check(
        "adjustment at the second site", GOST_2014, "example", 1.063, 5e-4, 5e-4, DIGIT,
        lambda: _site(1.0e5, 300.0, 280.0),
    ),
    Check(
        "power at the second site", GOST_2014, "example", 1_053.0, 0.5, 0.5, DIGIT,
        lambda: 640.0 / _site(7.0e4, 330.0, 300.0) * _site(1.0e5, 300.0, 280.0),
    ),
    Check(
        "pressure part", GOST_2005, "example, 0.726 to the power 0.7", 0.799, 5e-4, 5e-4, DIGIT,
        lambda: _annex_ratio(air=313.0, coolant=298.0),
    ),
    Check(
        "temperature part", GOST_2005, "example, 313/323 to the power 1.2", 0.963, 5e-4, 5e-4, DIGIT,
        lambda: _annex_ratio(pressure=1.0, coolant=298.0),
    ),
    Check(
        "indicated ratio", GOST_2005, "example", 0.741, 5e-4, 2e-3,
        "the text multiplies rounded parts; exact 0.7396", _annex_ratio,
    ),
    Check(
        "adjustment", GOST_2005, "example", 0.720, 5e-4, 1e-3, "carried from the rounded ratio",
        _annex_factor,
    ),
    Check(
        "power on site", GOST_2005, "example, 1,000 kW", 720.0, 0.5, 1.0, "carried from the rounded ratio",
        lambda: 1_000.0 * _annex_factor(),
    ),
    Check(
        "factor in the reference state", J1349, "990 mbar dry, 25 degC", 1.0, 5e-5, 1e-4, DIGIT,
        lambda: corrections.j1349_factor(99_000.0, 298.15),
    ),
    Check(
        "factor in the standard atmosphere", J1349, "formula at 1013.25 mbar, 15 degC", 0.9534, 5e-5, 1e-4,
        DIGIT,
        lambda: _j1349_at(0.0), WORKED,
    ),
    Check(
        "factor at 5,000 ft", J1349, "formula in the standard atmosphere", 1.1586, 5e-5, 1e-4, DIGIT,
        lambda: _j1349_at(5_000.0), WORKED,
    ),
    Check(
        "factor at 10,000 ft", J1349, "formula in the standard atmosphere", 1.4105, 5e-5, 1e-4, DIGIT,
        lambda: _j1349_at(10_000.0), WORKED,
    ),
    Check(
        "hot damp day", MAKER, "85 degF, 85 % humidity, 28.85 inHg", 1.1005, 5e-5, 1.1e-3,
        "0.1 %: the note does not say which vapour pressure it used", lambda: _day(85.0, 0.85, 28.85),
    ),
    Check(
        "cool dry day", MAKER, "55 degF, 35 % humidity, 30.10 inHg", 0.994, 5e-4, 1e-3,
        "0.1 %: the note does not say which vapour pressure it used", lambda: _day(55.0, 0.35, 30.10),
    ),
    Check(
        "reference pressure of J1349", MAKER, "list of standard conditions, inHg", 29.234, 5e-4, 1e-3, DIGIT,
        lambda: convert(corrections.J1349_PRESSURE, "Pa", "inHg"),
    ),
    Check(
        "cold intake air", MANUAL, "worked example, 157 hp, 54 degF standard, 14 degF inlet", 163.0, 0.5, 1.0,
        "the example rounds 4 % of 157 hp to 6 hp; the square root gives 163.5",
        lambda: 157.0 * float(corrections.temperature_power_ratio(_kelvin(54.0), _kelvin(14.0))),
    ),
    Check(
        "per cent for ten degrees Fahrenheit", MANUAL, "about 1 % a 10 degF", 1.0, 0.05, 0.05, "a round word",
        lambda: 100.0 * (float(corrections.temperature_power_ratio(_kelvin(64.0), _kelvin(54.0))) - 1.0),
    ),
    Check(
        "per cent for ten degrees Celsius", SHEET_1917, "50 t/T0 at T0 = 289 K", 1.730, 5e-4, 0.02,
        "the sheet is the first term of the square root; the second is 0.015",
        lambda: 100.0 * (float(corrections.temperature_power_ratio(299.0, 289.0)) - 1.0),
    ),
    Check(
        "vapour pressure", BUCK, "80 % humidity at 59 degF, inHg", 0.403, 5e-4, 5e-4, DIGIT,
        lambda: convert(float(breathing.vapour_pressure(0.80, _kelvin(59.0))), "Pa", "inHg"), WORKED,
    ),
    Check(
        "power lost to humidity, per cent", "NACA Report 426",
        "loss proportional to vapour, 80 % at 59 degF", 1.35, 5e-3, 0.01, DIGIT,
        lambda: 100.0 * (1.0 - float(breathing.humidity_power_ratio(101_325.0, 0.80, _kelvin(59.0)))), WORKED,
    ),
)  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=identifiers(CHECKS))
def test_the_correction_agrees_with_the_published_number(check: Check) -> None:
    assert disagreement(check) == ""


def test_the_note_s_two_days_give_one_engine() -> None:
    # 400 hp on the hot damp day and 442 hp on the cool dry one are the same 440 hp.
    assert 400.0 * _day(85.0, 0.85, 28.85) == pytest.approx(442.0 * _day(55.0, 0.35, 30.10), abs=1.5)


def test_a_misprinted_standard_temperature_is_not_followed() -> None:
    # A form in circulation uses 505 degR for 77 degF: the factor in its own standard state would be 1.037.
    wrong = 1.180 * ((77.0 + 460.0) / 505.0) ** 0.5 - 0.18
    assert wrong == pytest.approx(1.037, abs=1e-3)
    assert float(corrections.j1349_factor(99_000.0, _kelvin(77.0))) == pytest.approx(1.0, abs=1e-4)
