"""Honest variants: other plausible values of doubtful coefficients. Each must still pass every required case."""

from __future__ import annotations

from leverproof.errors import InputError, nearest

VARIANTS: dict[str, dict[str, float]] = {
    "tired-turbine": {"turbine_efficiency": 0.96, "turbo_head": 0.985, "turbo_inertia": 1.10},
    "large-cooler": {"cooler_open": 1.10, "cooler_loss": 1.15, "evaporated": 0.90, "friction_constant": 0.95},
    "heavy-rotor": {
        "turbo_inertia": 1.30,
        "shaft_inertia": 1.10,
        "friction_constant": 1.05,
        "friction_speed": 1.05,
        "scavenge": 0.90,
    },
}


def variant_factors(name: str) -> dict[str, float]:
    """Factors of a named variant; raises :class:`InputError` suggesting the nearest."""
    if name not in VARIANTS:
        raise InputError(f"unknown variant {name!r}", "options.variant", nearest(name, VARIANTS), "option")
    return VARIANTS[name]
