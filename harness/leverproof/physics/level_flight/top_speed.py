"""The fastest speed held in level, unaccelerated flight: thrust of n equal engines = drag of the polar.

Relations: CL = 2 m g / (rho V^2 S) and CD = CD0 + k CL^2 (textbook parabolic polar, from memory); thrust = n eta P / V
(SFTE Reference Handbook 2013, ch. 11) with the map of :mod:`propeller_map`. Left out: thrust of the exhaust, power
for cooling and accessories beyond what brake power already bears, thrust line and trim, all compressibility. So
nothing is said above the limits below.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from leverproof.atmosphere import GRAVITY
from leverproof.errors import LeverproofError
from leverproof.physics.bracket import SOLVED, solve
from leverproof.physics.level_flight.aeroplane import Aeroplane, Air
from leverproof.physics.level_flight.propeller_map import thrust_coefficient
from leverproof.physics.relations.gas import Values
from leverproof.physics.relations.propeller import advance_ratio, power_coefficient

MACH_LIMIT = 0.60
"""Flight Mach number above which the polar is not believed: drag rise of thick sections begins about there
(assumption)."""
TIP_MACH_LIMIT = 1.0
"""Mach number of the blade tips above which the map is not believed (assumption)."""
LIFT_LIMIT = 1.2
"""Lift coefficient above which the parabola is not believed for a wing without flaps (assumption)."""

REASONS = (
    "",
    "power and engine speed must be finite and above zero",
    "the air limits leave no speed: the blade tips are too fast, or the aeroplane too heavy",
    f"the power does not carry the aeroplane in level flight at any lift coefficient up to {LIFT_LIMIT:g}",
    f"faster than the drag polar holds (Mach {MACH_LIMIT:g})",
    f"the blade tips pass Mach {TIP_MACH_LIMIT:g}",
)
"""Why there is no speed, by :attr:`LevelFlight.reason`."""
_INPUT, _NO_RANGE, _POWER, _MACH, _TIP = range(1, 6)

_SCAN = np.linspace(0.0, 1.0, 33)
_GOLDEN_STEPS = 30
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
_RESIDUAL = 1e-9
_STEP = 1e-5

Floats = npt.NDArray[np.float64]
Excess = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class LevelFlight:
    """A level speed; arrays of one shape, SI, NaN where there is none and ``reason`` (index of :data:`REASONS`,
    0 = solved) says why. ``thrust`` and ``drag`` are the whole aeroplane's; ``slope`` is dV/dP in m/s per W of power
    of *each* engine; ``residual`` is |thrust - drag|/drag."""

    true_airspeed: Floats
    thrust: Floats
    drag: Floats
    efficiency: Floats
    mach: Floats
    tip_mach: Floats
    lift_coefficient: Floats
    slope: Floats
    residual: Floats
    reason: npt.NDArray[np.int64]


def drag(aeroplane: Aeroplane, true_airspeed: Values, density: Values) -> Values:
    """Drag in N at a lift equal to the weight. Source: textbook parabolic drag polar, from memory."""
    dynamic = 0.5 * density * np.square(true_airspeed) * aeroplane.wing_area
    lift = aeroplane.mass * GRAVITY / dynamic
    result: Values = dynamic * (aeroplane.zero_lift_drag + aeroplane.induced_drag_factor * np.square(lift))
    return result


def thrust(aeroplane: Aeroplane, true_airspeed: Values, power: Values, crank_turns: Values, density: Values) -> Values:
    """Thrust in N of all engines, ``power`` in W each, crankshafts at ``crank_turns`` a second."""
    turns, diameter = crank_turns * aeroplane.reduction, np.asarray(aeroplane.diameter, dtype=np.float64)
    coefficient = thrust_coefficient(
        advance_ratio(true_airspeed, turns, diameter=diameter),  # type: ignore[arg-type]
        power_coefficient(power, turns, density=density, diameter=diameter),  # type: ignore[arg-type]
        solidity=aeroplane.solidity,
        section_drag=aeroplane.section_drag,
        induced_factor=aeroplane.induced_factor,
    )
    result: Values = aeroplane.engines * coefficient * density * np.square(turns) * np.power(diameter, 4.0)
    return result


def level_speed(aeroplane: Aeroplane, power: Values, crank_turns: Values, air: Air) -> LevelFlight:
    """The fastest level speed with ``power`` in W from each engine at ``crank_turns`` (1/s) of the crankshaft.

    Excess power (thrust - drag) V rises, then falls with speed, so the fastest speed lies between one of excess power
    and the highest speed at which the relations hold: a scan finds the one, where it finds none a golden section does,
    and the root between them is bracketed. Numbers of a point do not depend on its neighbours. Raises
    :class:`LeverproofError` when thrust and drag end up apart by more than 1e-9 of drag.
    """
    fields = (getattr(aeroplane, name) for name in Aeroplane.__slots__)
    arrays = np.broadcast_arrays(*(np.asarray(v, float) for v in (*fields, power, crank_turns, air.density, air.sound)))
    *own, power, crank_turns, density, sound = arrays
    reason = np.where(_positive(power) & _positive(crank_turns), 0, _INPUT)
    plane = Aeroplane(*own)
    power, crank_turns = (np.where(reason == 0, v, 1.0) for v in (power, crank_turns))
    low, high, limit = _range(plane, crank_turns, density, sound)
    reason = np.where((reason == 0) & ~(high > low), _NO_RANGE, reason)
    high = np.where(high > low, high, low * 1.001)

    def excess(speed: Floats) -> Floats:
        pull = thrust(plane, speed, power, crank_turns, density)
        return np.asarray((pull - drag(plane, speed, density)) * speed)

    best = _climbing_speed(excess, low, high)
    reason = np.where((reason == 0) & ~(excess(best) > 0.0), _POWER, reason)
    reason = np.where((reason == 0) & (excess(high) > 0.0), limit, reason)
    speed = _crossing(excess, best, high)
    return _solved(plane, speed, reason, power, crank_turns, density, sound)


def _positive(values: Floats) -> npt.NDArray[np.bool_]:
    return np.isfinite(values) & (values > 0.0)


def _range(
    plane: Aeroplane, crank_turns: Floats, density: Floats, sound: Floats
) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    """Lowest and highest speed at which the relations hold, and the reason that goes with the highest."""
    low = np.sqrt(2.0 * plane.mass * GRAVITY / (density * plane.wing_area * LIFT_LIMIT))
    tip = math.pi * crank_turns * plane.reduction * plane.diameter
    by_tip = np.sqrt(np.maximum(np.square(TIP_MACH_LIMIT * sound) - np.square(tip), 0.0))
    by_mach = MACH_LIMIT * sound
    return low, np.minimum(by_tip, by_mach), np.where(by_tip < by_mach, _TIP, _MACH)


def _climbing_speed(excess: Excess, low: Floats, high: Floats) -> Floats:
    """A speed of excess power: of those scanned the one with most of it, where that is any; else the speed of most
    excess power there is, which may be none."""
    scan = low + (high - low) * _SCAN.reshape(-1, *(1,) * low.ndim)
    spare = excess(scan)
    index = np.argmax(spare, axis=0)
    climbs = np.max(spare, axis=0) > 0.0
    width = (high - low) / (_SCAN.size - 1)
    best = low + width * index
    if np.all(climbs):
        return np.asarray(best)
    a, b = low + width * np.maximum(index - 1, 0), low + width * np.minimum(index + 1, _SCAN.size - 1)
    for _ in range(_GOLDEN_STEPS):
        c, d = b - _GOLDEN * (b - a), a + _GOLDEN * (b - a)
        left = excess(c) > excess(d)
        a, b = np.where(left, a, c), np.where(left, d, b)
    return np.asarray(np.where(climbs, best, 0.5 * (a + b)))


def _crossing(excess: Excess, low: Floats, high: Floats) -> Floats:
    """Where the excess, above zero at ``low`` and below it at ``high``, is zero; ``low`` where it is not so."""
    found = solve(lambda speed: -excess(speed), low, high, tolerance=1e-14, stretches=0)
    return np.asarray(np.where(found.ending == SOLVED, found.x, low))


def _solved(
    plane: Aeroplane,
    speed: Floats,
    reason: npt.NDArray[np.int64],
    power: Floats,
    crank_turns: Floats,
    density: Floats,
    sound: Floats,
) -> LevelFlight:
    found = reason == 0

    def kept(values: Values) -> Floats:
        return np.where(found, values, np.nan)

    pull, resist = thrust(plane, speed, power, crank_turns, density), drag(plane, speed, density)
    residual = np.abs(pull - resist) / resist
    if not np.all(residual[found] <= _RESIDUAL):
        raise LeverproofError("thrust and drag do not balance at the level speed found", code="not_converged")
    tip = math.pi * crank_turns * plane.reduction * plane.diameter
    lift = 2.0 * plane.mass * GRAVITY / (density * np.square(speed) * plane.wing_area)
    return LevelFlight(
        true_airspeed=kept(speed),
        thrust=kept(pull),
        drag=kept(resist),
        efficiency=kept(pull * speed / (plane.engines * power)),
        mach=kept(speed / sound),
        tip_mach=kept(np.hypot(tip, speed) / sound),
        lift_coefficient=kept(lift),
        slope=kept(_slope(plane, speed, power, crank_turns, density)),
        residual=kept(residual),
        reason=reason,
    )


def _slope(plane: Aeroplane, speed: Floats, power: Floats, crank_turns: Floats, density: Floats) -> Floats:
    """dV/dP = -(df/dP)/(df/dV) of f = thrust - drag at the speed found (implicit function theorem); the partial
    derivatives by central differences of a hundred-thousandth."""

    def apart(v: Floats, p: Floats) -> Floats:
        return np.asarray(thrust(plane, v, p, crank_turns, density) - drag(plane, v, density))

    dv, dp = _STEP * speed, _STEP * power
    by_power = (apart(speed, power + dp) - apart(speed, power - dp)) / (2.0 * dp)
    by_speed = (apart(speed + dv, power) - apart(speed - dv, power)) / (2.0 * dv)
    return np.asarray(-by_power / by_speed)
