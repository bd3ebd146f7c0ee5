"""Mixture: how power and exhaust temperature follow the fuel-air ratio.

Elementwise over floats or float64 arrays; fuel-air ratios by mass, K.
"""

from __future__ import annotations

import numpy as np

from leverproof.physics.relations.gas import Values

LEAN_FALL = 360.0
"""Curvature on the lean side: 0.89 of best power at 0.060 (typical curve, from memory)."""
RICH_FALL = 85.0
"""Curvature on the rich side: 0.957 of best power at 0.100 (typical curve, from memory)."""


def mixture_power_ratio(fuel_air_ratio: Values, *, best: Values) -> Values:
    """Indicated power over that at the ``best`` ratio, per kg of air: 1 - c (F - best)^2, never below zero.

    c is :data:`LEAN_FALL` under ``best`` and :data:`RICH_FALL` over it. Source: place of the peak NACA Report
    189 (0.07 to 0.08); curvatures from memory.
    """
    excess = np.subtract(fuel_air_ratio, best)
    fall = np.where(excess < 0.0, LEAN_FALL, RICH_FALL)
    result: Values = np.maximum(1.0 - fall * np.square(excess), 0.0)[()]
    return result


def exhaust_temperature(
    fuel_air_ratio: Values, *, peak_temperature: Values, slope: Values, peak_ratio: float = 0.067
) -> Values:
    """Temperature in K of the gas in the collector: peak - slope |F - peak ratio|.

    ``slope`` in K per unit of fuel-air ratio; the peak lies near the chemically correct ratio. Source: shape of
    leaning practice (peak near 0.067, cooler on both sides); straight sides are an assumption.
    """
    result: Values = peak_temperature - slope * np.abs(np.subtract(fuel_air_ratio, peak_ratio))
    return result
