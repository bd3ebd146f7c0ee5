"""Operating points: one monotone residual in the exhaust back pressure for each way of holding the levers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.errors import InputError
from leverproof.physics.bracket import ABOVE, BELOW, SOLVED, UNCONVERGED, Roots, lower_roots, solve
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.engine import Air, Demand, Engine, Numbers
from leverproof.physics.predictor.gas_path import (
    Fixed,
    State,
    at_back_pressure,
    fixed,
    gate_area,
    throttle_area,
    throttle_flow,
)
from leverproof.physics.predictor.lanes import air_lanes, demand_lanes, engine_lanes, picked
from leverproof.physics.relations.gas import AIR_HEAT
from leverproof.physics.relations.similarity import KNEE_TIP_MACH, tip_mach_number
from leverproof.quantities import UNITS

OK, NOT_CONVERGED, NO_ROOT, THROTTLE_STOP, GATE_SHUT, GATE_OPEN, TURBO_LIMIT, STARVED, LEVERS_AT_STOP = range(9)
REASONS = (
    "solved",
    "not converged",
    "no operating point in the bracket",
    "throttle at its stop before the pressure is reached",
    "waste gate shut before the pressure is reached",
    "waste gate wide open and still too much",
    "turbo speed limit",
    "back pressure chokes the engine",
    "levers at the stop before the pressure is reached",
)
"""Words for the reason of each point, by code."""
RESIDUAL = 1e-9
"""Largest relative residual of an accepted root, checked after the last step."""
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Policy:
    """How the levers are held. ``kind``: ``throttle`` (area given, boost makes up the pressure), ``gate`` (gate
    area given, throttle makes it up; area 0 for engines without an exhaust-driven stage), ``speed`` (turbo speed,
    tip m/s), ``deck`` (deck pressure, Pa), ``coupled`` (throttle and boost levers at equal positions)."""

    kind: str
    value: Numbers = 0.0


@dataclass(frozen=True, slots=True)
class Points:
    """Solved points. ``reason`` is a code of :data:`REASONS`; where it is not 0 every number is NaN.
    ``residual`` is the largest relative residual at the end; ``lever`` positions exist for ``coupled`` only."""

    state: State
    throttle_area: Array
    gate_area: Array
    lever: Array
    reason: NDArray[np.int8]
    residual: Array
    evaluations: int


def throttle_lever(engine: Engine, area: Array) -> Array:
    """Lever position that gives an area, by the assumed law area = full (position)^n; above 1 is past the stop."""
    share = np.minimum(area / engine.throttle_area, 1e3)
    result: Array = np.power(share, 1.0 / engine.c["throttle_law"])
    return result


def boost_lever(engine: Engine, state: State) -> Array:
    """Lever position that gives a state, by the assumed law of what the lever acts on; may lie outside 0 to 1."""
    if engine.boost_acts_on == "speed":
        full = engine.c["full_demand"] * engine.turbo_radius
        return np.asarray(np.power(state.tip_speed / full, 1.0 / engine.c["speed_law"]))
    if engine.boost_acts_on == "deck":
        low, top = (engine.c[name] * UNITS["inHg"].scale for name in ("deck_demand_low", "deck_demand"))
        return np.asarray((state.deck_pressure - low) / (top - low))
    opening = np.minimum(gate_area(engine, state) / engine.gate_area, 1e3)
    shut = np.sign(opening) * np.power(np.abs(opening), 1.0 / engine.c["gate_law"])
    return np.asarray(1.0 - shut)


def residual_of(policy: Policy, point: Fixed) -> Callable[[Array], Array]:
    """The residual of a policy: dimensionless, rising with back pressure in Pa. Raises as :func:`solve_points`."""
    engine = point.engine
    _check(engine, policy)

    def rise(back_pressure: Array) -> Array:
        state = at_back_pressure(point, back_pressure)
        if policy.kind == "throttle":
            return throttle_flow(state, policy.value) / state.air_flow - 1.0
        if policy.kind == "gate":
            leak = engine.c["leak"] if engine.has_turbo else 0.0
            area = engine.exhaust_area * (1.0 + leak) + policy.value
            return area * state.flow_per_area / state.gas_flow - 1.0
        if policy.kind == "speed":
            asked = engine.c["turbo_work"] * np.square(policy.value) / AIR_HEAT
            return np.asarray(state.compressor_rise / asked - 1.0)
        if policy.kind == "deck":
            return np.asarray(state.deck_pressure / policy.value - 1.0)
        boost = boost_lever(engine, state)
        return boost - throttle_lever(engine, throttle_area(state))

    return rise


def solve_points(engine: Engine, air: Air, demand: Demand, policy: Policy) -> Points:
    """Points at the demanded manifold pressure; shapes broadcast, (samples, altitudes) in general.

    Never a number without a root: unconverged, infeasible or impossible points are NaN with a reason. Without an
    exhaust-driven stage, raises ValueError for a policy other than ``gate``, :class:`InputError` for a gate area
    other than 0.
    """
    point = fixed(engine, air, demand)
    shape, low = _shape_and_ambient(point, policy)
    residual = residual_of(policy, point)
    with np.errstate(invalid="ignore", over="ignore"):
        roots = back_pressures(point, policy)
        end = np.abs(residual(np.where(np.isfinite(roots.x), roots.x, low)))
        state = at_back_pressure(point, roots.x)
        reason = _reasons(engine, policy, state, roots.ending, end)
    bad = reason != OK
    clean = State(*(np.where(bad, np.nan, np.broadcast_to(part, shape)) for part in state))
    with np.errstate(invalid="ignore"):
        needed = throttle_area(clean) if not np.all(bad) else np.full(shape, np.nan)
        gate = gate_area(engine, clean) if engine.has_turbo else np.full(shape, np.nan)
        lever = boost_lever(engine, clean) if policy.kind == "coupled" else np.full(shape, np.nan)
    needed = np.where(bad, np.nan, needed)
    return Points(clean, needed, gate, lever, reason, np.where(bad, np.nan, end), roots.evaluations + 1)


def _shape_and_ambient(point: Fixed, policy: Policy) -> tuple[tuple[int, ...], Array]:
    shape = np.broadcast_shapes(
        np.shape(point.equal_flow),
        np.shape(point.air.pressure),
        np.shape(policy.value),
        np.shape(point.cooling),
    )
    return shape, np.broadcast_to(np.asarray(point.air.pressure, dtype=np.float64), shape)


def back_pressures(point: Fixed, policy: Policy) -> Roots:
    """Back pressures in Pa at which the residual vanishes, the lowest of each point, whatever limit it passes.

    Raises as :func:`solve_points`."""
    _, low = _shape_and_ambient(point, policy)
    return _lowest(point, policy, solve(residual_of(policy, point), low, 1.3 * low))


def _lowest(point: Fixed, policy: Policy, roots: Roots) -> Roots:
    """The roots, each replaced by a lower one where there is one.

    Below the Mach knee a residual crosses zero once. Beyond it head hardly grows with speed while the air gets hotter,
    so the residual of a throttle area, a deck pressure or equal levers may fall and cross again. The root meant is the
    lowest, the one a turbo meets as it runs up. So the stretch under every root beyond the knee is searched
    (:func:`lower_roots`).
    """
    engine, air = point.engine, point.air
    if not engine.has_turbo or policy.kind in ("gate", "speed"):
        return roots
    inlet = np.asarray(air.total_temperature)
    tip = at_back_pressure(point, roots.x).tip_speed
    beyond = (roots.ending == SOLVED) & (tip_mach_number(tip, inlet) > KNEE_TIP_MACH)
    if not np.any(beyond):
        return roots
    lane = Policy(policy.kind, picked(policy.value, beyond))
    few = fixed(engine_lanes(engine, beyond), air_lanes(air, beyond), demand_lanes(point.demand, beyond))
    lower = lower_roots(residual_of(lane, few), picked(air.pressure, beyond), roots.x[beyond])
    x, ending = roots.x.copy(), roots.ending.copy()
    x[beyond], ending[beyond] = lower.x, lower.ending
    return Roots(x, ending, roots.evaluations + lower.evaluations)


def _check(engine: Engine, policy: Policy) -> None:
    if engine.has_turbo:
        return
    if policy.kind != "gate":
        raise ValueError(f"policy {policy.kind!r} needs an exhaust-driven stage")
    if np.any(np.asarray(policy.value) != 0.0):
        raise InputError(
            f"a gate area other than 0 is asked of an engine without a waste gate ({engine.arrangement})",
            hint="its stacks are the whole way out: ask for gate area 0",
            code="gate_area",
        )


def _reasons(engine: Engine, policy: Policy, state: State, ending: NDArray[np.int8], end: Array) -> NDArray[np.int8]:
    reason = np.select(
        [ending == UNCONVERGED, (ending == BELOW) | (ending == ABOVE)], [NOT_CONVERGED, NO_ROOT], OK
    ).astype(np.int8)
    fine = reason == OK
    reason[fine & np.asarray(state.starved, dtype=np.bool_)] = STARVED
    if engine.has_turbo:
        # where both are broken the turbo limit is named; a search for the limited point tells which is first
        limit = engine.turbo_limit * engine.turbo_radius
        over = state.tip_speed > limit * (1.0 + _SLACK)
        reason[(reason == OK) & over] = TURBO_LIMIT
        gate = gate_area(engine, state)
        shut = gate < -_SLACK * engine.exhaust_area
        reason[(reason == OK) & shut] = LEVERS_AT_STOP if policy.kind == "coupled" else GATE_SHUT
        if policy.kind != "gate":
            reason[(reason == OK) & (gate > engine.gate_area * (1.0 + _SLACK))] = GATE_OPEN
    if policy.kind != "throttle":
        stop = throttle_area(state) > engine.throttle_area * (1.0 + _SLACK)
        reason[(reason == OK) & stop] = LEVERS_AT_STOP if policy.kind == "coupled" else THROTTLE_STOP
    # last: a root known to 1e-12 of back pressure is past a limit even where the residual is too steep to vanish
    reason[(reason == OK) & ~(end < RESIDUAL)] = NOT_CONVERGED
    return reason


def throttle_first(engine: Engine, air: Air, demand: Demand) -> Points:
    """Points by the throttle-first rule: boost back as long as the throttle alone gives the pressure, then the
    throttle wide open and boost for the rest. An automatic gate (``turbo_normalised``) does the same by itself."""
    if not engine.has_turbo:
        return solve_points(engine, air, demand, Policy("gate"))
    back = solve_points(engine, air, demand, Policy("gate", engine.gate_area))
    if np.all(back.reason == OK):
        return back
    on = solve_points(engine, air, demand, Policy("throttle", engine.throttle_area))
    first = back.reason == OK
    state = State(*(np.where(first, a, b) for a, b in zip(back.state, on.state, strict=True)))
    return Points(
        state,
        np.where(first, back.throttle_area, on.throttle_area),
        np.where(first, back.gate_area, on.gate_area),
        np.full(first.shape, np.nan),
        np.where(first, back.reason, on.reason).astype(np.int8),
        np.where(first, back.residual, on.residual),
        back.evaluations + on.evaluations,
    )
