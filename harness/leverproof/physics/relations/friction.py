"""Friction of the engine itself, as a mean effective pressure. Elementwise; Pa, rad/s."""

from __future__ import annotations

from leverproof.physics.relations.gas import Values


def friction_mean_effective_pressure(
    engine_speed: Values,
    *,
    constant: Values,
    per_speed: Values,
    load: Values = 1.0,
    load_share: Values = 0.0,
) -> Values:
    """Friction in Pa of mean effective pressure: (a + b omega) (1 - s + s load).

    ``load`` is the gas load relative to rated (manifold pressure over take-off manifold pressure), ``load_share``
    the part of the friction that follows it. Source: NACA Report 108 (friction torque about linear in rpm and
    about linear in density); the split between the two is the caller's coefficient.
    """
    return (constant + per_speed * engine_speed) * (1.0 - load_share + load_share * load)
