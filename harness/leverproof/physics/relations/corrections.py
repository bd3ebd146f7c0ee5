"""Correcting measured power to other air: temperature, manifold pressure, dynamometer and rating standards.

Elementwise over floats or float64 arrays; K and Pa throughout, powers in any one unit.
"""

from __future__ import annotations

import numpy as np

from leverproof.physics.relations.gas import Values

TEMPERATURE_EXPONENT = 0.5
"""Usual exponent of charge temperature (SFTE Reference Handbook 2013, section 10.3); 0.4 to 0.6 is
accepted."""
J1349_PRESSURE, J1349_TEMPERATURE = 99_000.0, 298.0
"""Reference state of SAE J1349 (June 1990), dry: 99 kPa, 25 degC (298 in the formula)."""
J607_PRESSURE, J607_TEMPERATURE = 29.92 * 3_386.389, 519.7 / 1.8
"""Reference state of the SAE J607 type of correction, dry: 29.92 inHg, 60 degF."""
ISO_3046_PRESSURE, ISO_3046_TEMPERATURE, ISO_3046_COOLANT = 100_000.0, 298.0, 298.0
"""Reference state of ISO 3046-1: 100 kPa, 298 K air, 298 K charge coolant."""


def temperature_power_ratio(
    test_temperature: Values, standard_temperature: Values, *, exponent: float = TEMPERATURE_EXPONENT
) -> Values:
    """Standard power over test power at equal manifold pressure, rpm and pressure altitude: (Tt/Ts)^n.

    Temperatures are those of the carburettor air, K. Source: SFTE Reference Handbook 2013, section 10.3.
    """
    result: Values = np.power(np.divide(test_temperature, standard_temperature), exponent)
    return result


def full_throttle_correction(
    test_power: Values,
    *,
    test_temperature: Values,
    standard_temperature: Values,
    test_manifold_pressure: Values,
    standard_manifold_pressure: Values,
    exponent: float = TEMPERATURE_EXPONENT,
) -> Values:
    """Power at the standard charge temperature and manifold pressure, same rpm and pressure altitude.

    Sum of two increments: P ((Tt/Ts)^n - 1) and P (MPs/MPt - 1). Source: SFTE Reference Handbook 2013,
    section 10.3.
    """
    warmth = temperature_power_ratio(test_temperature, standard_temperature, exponent=exponent) - 1.0
    boost = standard_manifold_pressure / test_manifold_pressure - 1.0
    return test_power * (1.0 + warmth + boost)


def corrected_manifold_pressure(
    test_manifold_pressure: Values, temperature_excess: Values, *, coefficient: Values
) -> Values:
    """Full-throttle manifold pressure of a geared blower on a standard day: MP (1 + C dt), dt = test -
    standard in K.

    ``coefficient`` per K as from :func:`compression.fixed_speed_pressure_coefficient`. Source: SFTE Reference
    Handbook 2013, section 10.3, whose printed form gives the change only.
    """
    return test_manifold_pressure * (1.0 + coefficient * temperature_excess)


def iso_3046_indicated_ratio(
    pressure: Values,
    temperature: Values,
    coolant_temperature: Values,
    *,
    reference_pressure: Values = ISO_3046_PRESSURE,
    reference_temperature: Values = ISO_3046_TEMPERATURE,
    reference_coolant: Values = ISO_3046_COOLANT,
    exponents: tuple[float, float, float] = (0.7, 1.2, 1.0),
) -> Values:
    """Ratio k of indicated power in air at ``pressure`` and ``temperature`` to that in reference air.

    k = (px/pr)^m (Tr/Tx)^n (Tcr/Tcx)^s; the default exponents are those of turbocharged, charge-cooled
    four-stroke engines. Source: ISO 3046-1 (as in GOST R 52517-2005 and GOST 10150-2014).
    """
    m, n, s = exponents
    result: Values = (
        np.power(np.divide(pressure, reference_pressure), m)
        * np.power(np.divide(reference_temperature, temperature), n)
        * np.power(np.divide(reference_coolant, coolant_temperature), s)
    )
    return result


def iso_3046_adjustment(indicated_ratio: Values, *, mechanical_efficiency: Values) -> Values:
    """Brake-power adjustment factor alpha = k - 0.7 (1 - k)(1/eta_m - 1): power on site = alpha x
    reference power.

    Source: ISO 3046-1 (as in GOST R 52517-2005 and GOST 10150-2014).
    """
    return indicated_ratio - 0.7 * (1.0 - indicated_ratio) * (1.0 / mechanical_efficiency - 1.0)


def j1349_factor(dry_pressure: Values, temperature: Values) -> Values:
    """Factor from measured brake power to the SAE J1349 (June 1990) state.

    CF = 1.180 (990/Pd) sqrt(T/298) - 0.18, Pd the *dry* pressure. ``temperature`` K is read as degC + 273,
    as the standard's formula does. Source: SAE J1349, June 1990.
    """
    celsius = np.subtract(temperature, 273.15)
    result: Values = 1.180 * (J1349_PRESSURE / dry_pressure) * np.sqrt((celsius + 273.0) / J1349_TEMPERATURE) - 0.18
    return result


def j607_factor(dry_pressure: Values, temperature: Values) -> Values:
    """Factor from measured power to 29.92 inHg dry and 60 degF: (29.92/(B - e)) sqrt((459.7 + F)/519.7).

    Source: SAE J607 type of correction as published by dynamometer makers.
    """
    result: Values = (J607_PRESSURE / dry_pressure) * np.sqrt(temperature / J607_TEMPERATURE)
    return result
