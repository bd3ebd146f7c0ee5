"""Points whose throttle area is given, and heights at which the throttle, the gate or the turbo runs out.

The outer unknown (manifold pressure or pressure altitude) is bracketed around the inner root in back pressure:
at the root the flow a full throttle would pass falls below the flow the engine draws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from leverproof.physics.bracket import Roots, solve
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.engine import Air, Demand, Engine, Numbers
from leverproof.physics.predictor.gas_path import at_back_pressure, fixed, throttle_flow
from leverproof.physics.predictor.points import Policy, residual_of

LOWEST_HEIGHT, HIGHEST_HEIGHT = -12_000.0, 60_000.0
"""ft: where heights are looked for; below sea level means only that the thing happens before take-off."""
STRETCH = 6_000.0
"""ft: a change of sign and back within one stretch can be missed."""


@dataclass(frozen=True, slots=True)
class Surround:
    """What air goes with a height: airspeed m/s, offset K, humidity; altitude itself is the unknown."""

    airspeed: float = 0.0
    offset: float = 0.0
    humidity: float = 0.0


def spare_flow(engine: Engine, air: Air, demand: Demand, policy: Policy, *, area: Numbers) -> Array:
    """Flow a throttle of ``area`` would pass over the flow drawn, less one; the policy holds the rest.

    Falls with manifold pressure and with height. NaN where the policy has no root.
    """
    point = fixed(engine, air, demand)
    shape = np.broadcast_shapes(np.shape(point.equal_flow), np.shape(air.pressure), np.shape(policy.value))
    low = np.broadcast_to(np.asarray(air.pressure, dtype=np.float64), shape)
    roots = solve(residual_of(policy, point), low, 1.3 * low, tolerance=1e-13)
    state = at_back_pressure(point, roots.x)
    return np.asarray(throttle_flow(state, area) / state.air_flow - 1.0)


def height_where_full_throttle(engine: Engine, air_of: Callable[[Array], Air], demand: Demand, policy: Policy) -> Roots:
    """Lowest pressure altitude in ft where the wide-open throttle just passes the flow, shape (samples, 1).

    A shut gate can be met, left and met again on the way up, so the bracket of each sample is the first stretch of
    :data:`STRETCH` ft in which the spare flow changes sign.
    """

    def short(height: Array) -> Array:
        with np.errstate(invalid="ignore"):
            return -spare_flow(engine, air_of(height), demand, policy, area=engine.throttle_area)

    steps = np.arange(LOWEST_HEIGHT, HIGHEST_HEIGHT + STRETCH, STRETCH)
    shape = np.broadcast_shapes(engine.displacement.shape, np.shape(policy.value))
    # All heights side by side, in the last axis: one pass costs less than as many as there are heights.
    beyond = short(np.broadcast_to(steps[1:-1], (*shape[:-1], steps.size - 2))) >= 0.0
    first = np.where(beyond.any(axis=-1), beyond.argmax(axis=-1), steps.size - 2)[..., None]
    return solve(short, steps[first], steps[first + 1], tolerance=1e-9, stretches=0)


def manifold_pressure_at(
    engine: Engine, air: Air, demand: Demand, policy: Policy, *, area: Numbers, most: float = 4.0
) -> Roots:
    """Manifold pressure in Pa that a throttle of ``area`` gives, ``demand`` bringing rpm, mixture and gear.

    Looked for between a twentieth of ambient pressure and ``most`` times the take-off pressure.
    """

    def short(pressure: Array) -> Array:
        with np.errstate(invalid="ignore"):
            return -spare_flow(engine, air, replace(demand, manifold_pressure=pressure), policy, area=area)

    shape = np.broadcast_shapes(
        engine.displacement.shape, np.shape(air.pressure), np.shape(policy.value), np.shape(area),
        np.shape(demand.engine_speed),
    )  # fmt: skip
    low = np.broadcast_to(0.05 * np.asarray(air.pressure), shape)
    high = np.broadcast_to(most * engine.rated_pressure, shape)
    return solve(short, low, high, tolerance=1e-11, stretches=0)
