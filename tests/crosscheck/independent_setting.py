"""What a pilot asks for: throttle first, levers together, heights where a limit comes; calibration of the work."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from . import independent_gas as gas
from .independent_gas import EXACT, Slips
from .independent_machine import Machine, table
from .independent_point import (
    Case,
    Closure,
    Point,
    at_height,
    equal_levers,
    gate_at,
    mixture_of,
    point,
    refused,
    throttle_at,
    tip_speed_at,
)
from .independent_power import power

LOWEST, HIGHEST = -12_000.0, 66_000.0


def throttle_first(case: Case) -> Point | None:
    """The asked pressure with the gate wide open, or with the throttle so; None where it cannot be held."""
    m = case.machine
    back = point(case, [gate_at(m.gate)] if m.turbo else [])
    if back and not refused(case, back):
        return back
    if back and m.turbo and refused(case, back) != "throttle open":
        return None
    wide = point(case, [throttle_at(m.throttle)]) if m.turbo else None
    return wide if wide and not refused(case, wide) else None


def most(case: Case) -> Point | None:
    """The highest manifold pressure of a wide-open throttle: gate shut, or turbo at its limit if that is lower."""
    m = case.machine
    wide = throttle_at(m.throttle)
    if not m.turbo:
        return _some_pressure(case, [wide])
    ends: list[Closure] = [gate_at(0.0)]
    if math.isfinite(m.limit):
        ends.append(tip_speed_at(m.limit))
    found = [_some_pressure(case, [wide, end]) for end in ends]
    return min((p for p in found if p), key=lambda p: p["pressure"], default=None)


def _some_pressure(case: Case, closures: Sequence[Closure]) -> Point | None:
    """The point with the manifold pressure among the unknowns, looked for from the asked one downwards."""
    for share in (1.0, 0.8, 0.65, 0.5, 0.4, 0.3, 0.2):
        p = point(replace(case, pressure=share * case.pressure), closures, free=("pressure",))
        if p:
            return p
    return None


def throttle_first_or_limit(case: Case) -> Point | None:
    """Throttle first, or the most there is."""
    return throttle_first(case) or most(case)


def together(case: Case) -> Point | None:
    """Equal levers at the asked pressure, or, past the turbo limit, at the pressure they give at the limit."""
    p = point(case, [equal_levers])
    for share in _CLIMB if p is None else ():
        p = point(replace(case, pressure=share * case.pressure), [equal_levers], near=p)
        if p and p["tip_speed"] > case.machine.limit:
            break
    if p and p["tip_speed"] > case.machine.limit:
        p = point(case, [equal_levers, tip_speed_at(case.machine.limit)], free=("pressure",), near=p)
    return p if p and not refused(case, p) else None


_CLIMB = (0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0)


def height(case: Case, closures: Sequence[Closure], *, offset: float = 0.0) -> float | None:
    """Lowest pressure altitude in ft where the wide-open throttle just passes the flow.

    Steps up from below everything with the throttle's area free; then the height joins the unknowns.
    """
    step, near = 1_500.0, None
    for i in range(int((HIGHEST - LOWEST) / step) + 1):
        altitude = LOWEST + i * step
        above = _held(case, closures, altitude, offset, near)
        if above is None:
            return _met(case, closures, altitude - step, step, near, offset) if near else None
        near = above
    return None


def _held(
    case: Case, closures: Sequence[Closure], altitude: float, offset: float, near: Point | None
) -> Point | None:
    """The point at a height, None where the throttle would have to be more than open."""
    p = point(at_height(altitude, case, offset=offset, humidity=0.0), closures, near=near)
    return p if p and 0.0 < p["throttle_area"] <= case.machine.throttle else None


def _met(
    case: Case, closures: Sequence[Closure], low: float, step: float, near: Point, offset: float
) -> float | None:
    """The height between ``low``, where ``near`` holds, and a step above it. Halved until the joint root is found."""
    wide = [*closures, throttle_at(case.machine.throttle)]
    for _ in range(12):
        here = at_height(low, case, offset=offset, humidity=0.0)
        end = point(
            here, wide, free=("height",), near={**near, "height": low}, generic=False,
            moved=lambda c, p: at_height(p["height"], c, offset=offset, humidity=0.0),
        )  # fmt: skip
        if end and low <= end["height"] <= low + step:
            return end["height"]
        step *= 0.5
        above = _held(case, closures, low + step, offset, near)
        low, near = (low + step, above) if above else (low, near)
    return None


def calibrated(
    machines: Sequence[Machine], *, target: bool = True, slip: Slips = EXACT
) -> list[tuple[float, float]]:
    """(work in J/kg, weight) of each sample by section 7; a sample whose take-off point cannot be held weighs 0."""
    _, mean, deviation = table()["indicated_work"]
    works, weights = [], []
    for m in machines:
        ground = gas.air(0.0, airspeed=0.0, recovery=m.c["ram_recovery"])
        ratio = mixture_of(m, m.rated_pressure, m.rated_speed)
        case = Case(m, ground, m.rated_pressure, m.rated_speed, ratio, 0, slip)
        p = throttle_first(case)
        if p is None:
            works.append(math.nan)
            weights.append(0.0)
            continue
        free = power(case, p, 0.0)
        worth = power(case, p, 1.0).indicated
        work = (m.power - free.brake) / worth if target else m.c["indicated_work"]
        works.append(work)
        weights.append(math.exp(-0.5 * ((work - mean) / deviation) ** 2))
    total = sum(weights)
    return [(w, x / total) for w, x in zip(works, weights, strict=True)]
