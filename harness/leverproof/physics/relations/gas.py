"""Properties of the working gases, shared by every relation so that nobody mixes two sets of constants.

Temperatures are in K, pressures in Pa, masses in kg. A function that takes ``exponent`` means (k - 1)/k.
"""

from __future__ import annotations

import numpy as np

from leverproof.atmosphere import GAS_CONSTANT, HEAT_RATIO, Values

__all__ = [
    "AIR_EXPONENT",
    "AIR_HEAT",
    "AIR_HEAT_RATIO",
    "EXHAUST_EXPONENT",
    "EXHAUST_GAS_CONSTANT",
    "EXHAUST_HEAT",
    "EXHAUST_HEAT_RATIO",
    "GAS_CONSTANT",
    "Values",
    "density_of",
    "exponent_of",
]

AIR_HEAT_RATIO = HEAT_RATIO
"""Ratio of specific heats of cold air (U.S. Standard Atmosphere 1976)."""
AIR_EXPONENT = (AIR_HEAT_RATIO - 1.0) / AIR_HEAT_RATIO
"""(k - 1)/k of air, 2/7. Some practice uses 0.283 (k = 1.395), which lowers a rise at pressure ratio 2 by
1 %."""
AIR_HEAT = 1_004.5
"""J/(kg K), specific heat of air at constant pressure near room temperature (common tables, 3.5 R =
1,004.7)."""
EXHAUST_HEAT_RATIO = 1.33
"""Ratio of specific heats of exhaust gas near 900 degC (common practice, no published source)."""
EXHAUST_EXPONENT = (EXHAUST_HEAT_RATIO - 1.0) / EXHAUST_HEAT_RATIO
"""(k - 1)/k of exhaust gas."""
EXHAUST_GAS_CONSTANT = 289.0
"""J/(kg K) of the burnt gas of a rich petrol mixture (assumption; air has 287.05, a lean mixture about the
same)."""
EXHAUST_HEAT = EXHAUST_GAS_CONSTANT / EXHAUST_EXPONENT
"""J/(kg K), consistent with the two constants above: 1,164.8."""


def exponent_of(heat_ratio: float) -> float:
    """(k - 1)/k of a ratio of specific heats k. Source: definition."""
    return (heat_ratio - 1.0) / heat_ratio


def density_of(pressure: Values, temperature: Values, *, gas_constant: float = GAS_CONSTANT) -> Values:
    """Density in kg/m3 of a perfect gas at a pressure in Pa and a temperature in K. Source: perfect-gas
    law.
    """
    result: Values = np.divide(pressure, gas_constant * temperature)
    return result
