"""Engine settings a pilot would ask for: a pressure held, or what is left of it once a limit is met."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from leverproof.physics.bracket import solve
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.engine import Air, Demand, Engine
from leverproof.physics.predictor.gas_path import at_back_pressure, fixed, throttle_area
from leverproof.physics.predictor.heights import manifold_pressure_at
from leverproof.physics.predictor.lanes import air_lanes, demand_lanes, engine_lanes, put_back
from leverproof.physics.predictor.points import (
    OK,
    TURBO_LIMIT,
    Points,
    Policy,
    boost_lever,
    residual_of,
    solve_points,
    throttle_first,
    throttle_lever,
)
from leverproof.physics.predictor.power import Power, power_of


@dataclass(frozen=True, slots=True)
class Setting:
    """Points and their powers; ``manifold_pressure`` in Pa is the one held, below the one asked when limited."""

    points: Points
    power: Power
    manifold_pressure: Array
    demand: Demand


def attainable_pressure(engine: Engine, air: Air, demand: Demand) -> Array:
    """Largest manifold pressure in Pa with the throttle wide open: gate shut, or turbo at its limit if lower."""
    if not engine.has_turbo:
        return manifold_pressure_at(engine, air, demand, Policy("gate"), area=engine.throttle_area).x
    shut = manifold_pressure_at(engine, air, demand, Policy("gate", 0.0), area=engine.throttle_area).x
    tip = engine.turbo_limit * engine.turbo_radius
    if not np.any(np.isfinite(tip)):
        return shut
    held = manifold_pressure_at(engine, air, demand, Policy("speed", tip), area=engine.throttle_area).x
    return np.fmin(shut, held)


def setting_of(engine: Engine, air: Air, demand: Demand, points: Points, *, work: Array) -> Setting:
    """Points with their power."""
    power = power_of(engine, air, demand, points.state, work=work)
    held = np.broadcast_to(np.asarray(demand.manifold_pressure), points.reason.shape)
    return Setting(points, power, np.where(points.reason == OK, held, np.nan), demand)


def better(one: Setting, other: Setting) -> Setting:
    """Sample by sample the setting with more power (an unsolved one has none)."""
    first = np.nan_to_num(one.power.brake, nan=-np.inf) >= np.nan_to_num(other.power.brake, nan=-np.inf)

    def pick(a: Array, b: Array) -> Array:
        return np.where(first, a, b)

    p, q = one.points, other.points
    points = replace(
        p,
        state=type(p.state)(*(pick(a, b) for a, b in zip(p.state, q.state, strict=True))),
        throttle_area=pick(p.throttle_area, q.throttle_area), gate_area=pick(p.gate_area, q.gate_area),
        lever=pick(p.lever, q.lever), reason=np.where(first, p.reason, q.reason).astype(np.int8),
        residual=pick(p.residual, q.residual),
    )  # fmt: skip
    power = type(one.power)(*(pick(a, b) for a, b in zip(one.power, other.power, strict=True)))
    return Setting(points, power, pick(one.manifold_pressure, other.manifold_pressure), one.demand)


def throttle_first_or_limit(engine: Engine, air: Air, demand: Demand, *, work: Array) -> Setting:
    """The asked pressure by the throttle-first rule, or the most that can be had where it cannot be held."""
    points = throttle_first(engine, air, demand)
    if np.all(points.reason == OK):
        return setting_of(engine, air, demand, points, work=work)
    short = points.reason != OK
    parts = engine_lanes(engine, short), air_lanes(air, short), demand_lanes(demand, short)
    most = np.fmin(parts[2].manifold_pressure, attainable_pressure(*parts) * (1.0 - 1e-9))
    limited = replace(demand, manifold_pressure=put_back(np.asarray(demand.manifold_pressure), short, most))
    return setting_of(engine, air, limited, throttle_first(engine, air, limited), work=work)


def levers_together(engine: Engine, air: Air, demand: Demand, *, work: Array) -> Setting:
    """Throttle and boost levers at equal positions, the asked pressure held; NaN with a reason where it is not."""
    return setting_of(engine, air, demand, solve_points(engine, air, demand, Policy("coupled")), work=work)


def levers_together_or_limit(
    engine: Engine, air: Air, demand: Demand, *, work: Array, together: Setting | None = None
) -> Setting:
    """As :func:`levers_together`, but where the turbo limit comes first, the pressure equal levers give there.
    ``together`` is what :func:`levers_together` gave for the same arguments, where it is known already."""
    together = together or levers_together(engine, air, demand, work=work)
    limited: NDArray[np.bool_] = together.points.reason == TURBO_LIMIT
    if not np.any(limited):
        return together
    parts = engine_lanes(engine, limited), air_lanes(air, limited), demand_lanes(demand, limited)
    held = _coupled_pressure_at_limit(*parts) * (1.0 - 1e-9)
    lower = replace(demand, manifold_pressure=put_back(np.asarray(demand.manifold_pressure), limited, held))
    return levers_together(engine, air, lower, work=work)


def _coupled_pressure_at_limit(engine: Engine, air: Air, demand: Demand) -> Array:
    """Manifold pressure in Pa at which equal levers bring the turbo just to its limit."""
    tip = engine.turbo_limit * engine.turbo_radius

    def lead(pressure: Array) -> Array:
        point = fixed(engine, air, replace(demand, manifold_pressure=pressure))
        shape = np.broadcast_shapes(pressure.shape, np.shape(air.pressure))
        low = np.broadcast_to(np.asarray(air.pressure, dtype=np.float64), shape)
        with np.errstate(invalid="ignore", over="ignore"):
            roots = solve(residual_of(Policy("speed", tip), point), low, 1.3 * low, tolerance=1e-13)
            state = at_back_pressure(point, roots.x)
            return throttle_lever(engine, throttle_area(state)) - boost_lever(engine, state)

    asked = np.broadcast_to(
        np.asarray(demand.manifold_pressure),
        np.broadcast_shapes(engine.displacement.shape, np.shape(air.pressure)),
    )
    return solve(lead, 0.2 * asked, asked, tolerance=1e-11, stretches=0).x
