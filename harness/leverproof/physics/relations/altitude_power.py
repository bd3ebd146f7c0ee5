"""Full-throttle power against altitude, and power at part throttle between two known points.

Elementwise over floats or float64 arrays. Powers in any one unit, density as ratio to sea-level standard.
"""

from __future__ import annotations

from leverproof.physics.relations.gas import Values

GAGG_FARRAR = 0.1324
"""Friction share of the Gagg-Farrar law (SAE Transactions 29, 1934, pp. 217-223; SFTE Reference Handbook
2013, 10.3)."""
FLIGHT_MEASURED = 0.10
"""Friction share measured in flight above full-throttle height, 16,000 to 37,000 ft (A.R.C. R&M 2213,
1943)."""


def full_throttle_power_ratio(density_ratio: Values, *, friction_share: float = GAGG_FARRAR) -> Values:
    """Power at full throttle and fixed rpm over that at sea level: (1 + c) sigma - c.

    Never proportional to density alone: friction does not thin out. Above full-throttle height of a
    supercharged engine only ratios of two such values mean anything. Sources: :data:`GAGG_FARRAR`,
    :data:`FLIGHT_MEASURED`.
    """
    return (1.0 + friction_share) * density_ratio - friction_share


def full_throttle_density_ratio(power_ratio: Values, *, friction_share: float = GAGG_FARRAR) -> Values:
    """Density ratio at which full throttle gives ``power_ratio`` of sea-level power: (P/P0 + c)/(1 + c).

    The inverse of :func:`full_throttle_power_ratio`; the factor 1/(1 + c) = 0.883, missing in one printed
    form of the handbook, belongs to the power too. Source: as there.
    """
    return (power_ratio + friction_share) / (1.0 + friction_share)


def part_throttle_power(
    density_ratio: Values,
    *,
    sea_level_power: Values,
    full_throttle_power: Values,
    full_throttle_density: Values,
) -> Values:
    """Power at constant manifold pressure and rpm between sea level and the full-throttle height.

    Linear in density ratio: P_B + (P_A - P_B)(1 - sigma)/(1 - sigma_A), B at sea level, A at full
    throttle. Source: SFTE Reference Handbook 2013, section 10.2, with the misprinted first term and
    inverted fraction put right (figure 10.2a: 164.8 hp read, 164.6 hp computed).
    """
    share = (1.0 - density_ratio) / (1.0 - full_throttle_density)
    return sea_level_power + (full_throttle_power - sea_level_power) * share
