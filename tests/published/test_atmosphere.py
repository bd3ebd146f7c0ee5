"""The standard atmosphere against printed tables, and against two independent libraries."""

from __future__ import annotations

import ambiance
import numpy as np
import pytest
from fluids.atmosphere import ATMOSPHERE_1976

from leverproof import atmosphere
from leverproof.physics.relations import gas
from leverproof.quantities import convert

from .checks import LIBRARY, Check, disagreement, identifiers

HANDBOOK = "SFTE Reference Handbook, 2013"
LISTING = "U.S. Standard Atmosphere 1976, listing of layer bases"
REGULATION = "14 CFR 23.1043(b), text before 2017"
REPORT = "NACA Report 786, front matter"
FLUIDS = "library fluids, ATMOSPHERE_1976"
AMBIANCE = "library ambiance, Atmosphere"

EARTH_RADIUS = 6_356_766.0
"""m, the radius with which the 1976 standard turns geopotential into geometric height."""
FIXED = "1e-9: the same equations in another hand"
TABULATED = "1e-5: the library works from rounded layer bases"


def geometric(height: float) -> float:
    """Geometric height in m of a geopotential height in m; both libraries take geometric."""
    return height * EARTH_RADIUS / (EARTH_RADIUS - height)


def fluids_at(feet: float) -> ATMOSPHERE_1976:
    return ATMOSPHERE_1976(geometric(feet * 0.3048))


def ambiance_at(feet: float) -> ambiance.Atmosphere:
    return ambiance.Atmosphere(geometric(feet * 0.3048))


def _library(name: str, document: str, feet: float, expected: float, share: float, quantity: str) -> Check:
    function = getattr(atmosphere, f"{quantity}_at_feet")
    return Check(
        name, document, f"{quantity} at {feet:g} ft geopotential", float(expected), 0.0,
        share * float(expected), FIXED if share == 1e-9 else TABULATED, lambda: function(feet), LIBRARY,
    )  # fmt: skip


CHECKS = (
    Check(
        "speed of sound at sea level", HANDBOOK, "ch. 3, sea-level constants", 661.478, 5e-4, 1e-3,
        "last digit",
        lambda: convert(float(atmosphere.speed_of_sound(288.15)), "m/s", "kt"),
    ),
    Check(
        "pressure at the tropopause", LISTING, "11 km", 22_632.1, 5e-2, 22_632.1 * 2e-5, "last digit",
        lambda: atmosphere.pressure(11_000.0),
    ),
    Check(
        "pressure at the top of the isothermal layer", LISTING, "20 km", 5_474.89, 5e-3, 5_474.89 * 2e-5,
        "last digit",
        lambda: atmosphere.pressure(20_000.0),
    ),
    Check(
        "height of the tropopause pressure", LISTING, "11 km, read backwards", 11_000.0, 0.1, 0.1,
        "0.05 Pa of rounding are 0.014 m", lambda: atmosphere.pressure_altitude(22_632.1),
    ),
    Check(
        "height of the uppermost pressure", LISTING, "20 km, read backwards", 20_000.0, 0.1, 0.1,
        "0.005 Pa of rounding are 0.006 m", lambda: atmosphere.pressure_altitude(5_474.89),
    ),
    Check(
        "hot day at 10,000 ft", REGULATION, "100 degF less 3.6 degF a 1,000 ft", 64.0, 0.05, 0.5,
        "a constant offset keeps the standard lapse, 3.566 degF a 1,000 ft",
        lambda: convert(float(atmosphere.temperature_at_feet(10_000.0, 41.0 / 1.8)), "K", "degF"),
    ),
    Check(
        "coldest air", REGULATION, "temperature below which it does not fall", -69.7, 0.05, 0.06,
        "last digit",
        lambda: convert(float(atmosphere.temperature(12_000.0)), "K", "degF"),
    ),
    Check(
        "standard density", REPORT, "15 degC and 760 mm", 1.2255, 5e-5, 1.2255 * 5e-4,
        "0.05 %: the older standard used another gas constant",
        lambda: gas.density_of(convert(760.0, "mmHg", "Pa"), 288.15),
    ),
    _library("fluids, pressure", FLUIDS, 15_000.0, fluids_at(15_000.0).P, 1e-9, "pressure"),
    _library("fluids, density", FLUIDS, 38_000.0, fluids_at(38_000.0).rho, 1e-9, "density"),
    _library("ambiance, warmth", AMBIANCE, 9_000.0, ambiance_at(9_000.0).temperature[0], 1e-5, "temperature"),
    _library("ambiance, pressure", AMBIANCE, 25_000.0, ambiance_at(25_000.0).pressure[0], 1e-5, "pressure"),
    _library("ambiance, density", AMBIANCE, 5_000.0, ambiance_at(5_000.0).density[0], 1e-5, "density"),
)  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=identifiers(CHECKS))
def test_the_atmosphere_agrees_with_the_published_number(check: Check) -> None:
    assert disagreement(check) == ""


@pytest.mark.parametrize(
    ("feet", "kelvin", "pascals", "density"),
    [
        (0.0, 288.150, 101_325.00, 1.225000), (1_000.0, 286.169, 97_716.57, 1.189554),
        (5_000.0, 278.244, 84_307.27, 1.055546), (10_000.0, 268.338, 69_681.66, 0.904637),
        (15_000.0, 258.432, 57_181.96, 0.770816), (20_000.0, 248.526, 46_563.26, 0.652694),
        (25_000.0, 238.620, 37_600.92, 0.548946), (30_000.0, 228.714, 30_089.59, 0.458312),
        (40_000.0, 216.650, 18_753.9, 0.301559),
    ],
)  # fmt: skip
def test_the_printed_table(feet: float, kelvin: float, pascals: float, density: float) -> None:
    # SFTE Reference Handbook 2013, ch. 3: 2e-5 is the table's own rounding (36,089 ft is 10,999.93 m)
    ours = [float(f(feet)) for f in (atmosphere.temperature_at_feet, atmosphere.pressure_at_feet,
                                     atmosphere.density_at_feet)]  # fmt: skip
    np.testing.assert_allclose(ours, (kelvin, pascals, density), rtol=2e-5)


def test_both_libraries_agree_over_the_whole_range() -> None:
    feet = np.arange(0.0, 65_001.0, 500.0)
    ours = np.stack([f(feet) for f in (atmosphere.temperature_at_feet, atmosphere.pressure_at_feet)])
    first = np.array([(a.T, a.P) for a in map(fluids_at, feet)]).T
    air = ambiance.Atmosphere(geometric(feet * 0.3048))
    second = np.stack([air.temperature, air.pressure])
    assert np.max(np.abs(ours / first - 1.0)) < 1e-9
    assert np.max(np.abs(ours / second - 1.0)) < 1e-5


def test_geometric_height_is_not_pressure_altitude() -> None:
    # A caller who hands a library our height gets 0.37 % too much pressure at 40,000 ft.
    wrong = ATMOSPHERE_1976(40_000.0 * 0.3048).P
    assert abs(wrong / float(atmosphere.pressure_at_feet(40_000.0)) - 1.0) == pytest.approx(0.0037, abs=2e-4)


def test_an_imperial_table_of_geometric_heights_is_told_apart() -> None:
    # 14.696 psi (1 - 6.8754e-6 Z)^5.2559 is printed as "standard atmosphere" with geometric heights.
    ours = convert(float(atmosphere.pressure_at_feet(30_000.0)), "Pa", "psi")
    assert 5e-4 < 4.371 / ours - 1.0 < 2.5e-3
