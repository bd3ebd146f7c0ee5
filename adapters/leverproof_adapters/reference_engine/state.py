"""What the model carries from one instant to the next, and what it computes at an instant.

Every attribute is a contiguous float64 array of shape (lanes,), SI. Lanes never mix: all arithmetic is elementwise
and no iteration count depends on data, so a lane's numbers do not depend on its neighbours.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from itertools import repeat
from operator import attrgetter, is_
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from leverproof_adapters.reference_engine.coefficients import Coefficients

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LAGGED = (
    "manifold",
    "collector",
    "throat",
    "air_temperature",
    "charge_temperature",
    "gas_temperature",
    "head_temperature",
    "throttle",
    "boost",
)
"""Carried quantities that follow a target by a first-order lag."""
TARGETS = (
    "manifold_pressure",
    "back_pressure",
    "throat_pressure",
    "air_temperature",
    "charge_temperature",
    "gas_temperature",
    "head_temperature",
    "throttle_target",
    "boost_target",
)
"""Targets of :data:`LAGGED`, in the same order."""
CARRIED = (
    *LAGGED,
    "gate",
    "servo",
    "turbo",
    "crank",
    "crank_acceleration",
    "blade",
    "gear",
    "felt_speed",
)


ROOM = 7
"""Most intermediate results that a part keeps at a time."""


class State:
    """Carried quantities: lever positions, gate opening and engagement of the high blower gear (0..1), shaft speeds
    (rad/s), blade angle (deg), manifold, collector and throat (behind the throttle) pressures (Pa), temperatures (K),
    turbo speed as the overspeed light feels it (rad/s). Beside them memory, taken once because new arrays cost NumPy
    half as much again as a sum.

    The carried arrays are rows of one, so that what happens to many of them alike is one call of NumPy. A part may
    change them in place or put others in their place: :meth:`settled` and :meth:`settled_lagged` see to the rows.
    """

    __slots__ = (
        *CARRIED,
        "found",
        "lagged",
        "mask",
        "pairs",
        "positions",
        "room",
        "rows",
        "shown",
        "shown_rows",
        "stack",
        "target_rows",
        "targets",
        "work",
    )

    stack: Array
    rows: tuple[Array, ...]
    lagged: Array
    positions: Array
    """Throttle and boost of it, shape (2, lanes)."""
    found: Point
    """Memory for what parts find, each attribute for the part that finds it."""
    targets: Array
    shown: Array
    """The :data:`TARGETS` and the :data:`SHOWN` of it, a row of shape (lanes,) each."""
    target_rows: tuple[Array, ...]
    shown_rows: tuple[Array, ...]
    room: tuple[Array, ...]
    """Memory for intermediate results of a part or mover; what it leaves there means nothing to the next."""
    work: Array
    """The same memory as one array of shape (len(LAGGED), lanes)."""
    pairs: tuple[Array, Array]
    """The first two and the next two of it, arrays of shape (2, lanes)."""
    mask: tuple[Mask, Mask]
    throttle: Array
    boost: Array
    gate: Array
    servo: Array
    turbo: Array
    crank: Array
    crank_acceleration: Array
    blade: Array
    gear: Array
    manifold: Array
    collector: Array
    throat: Array
    air_temperature: Array
    charge_temperature: Array
    gas_temperature: Array
    head_temperature: Array
    felt_speed: Array

    def __init__(self, stack: Array) -> None:
        """A state whose carried quantities are the rows of ``stack``, shape (len(CARRIED), lanes)."""
        self._carry(stack)
        lanes = stack.shape[1]
        self.work = np.empty((len(LAGGED), lanes))
        self.room, self.pairs = tuple(self.work[:ROOM]), (self.work[0:2], self.work[2:4])
        self.mask = np.empty(lanes, dtype=np.bool_), np.empty(lanes, dtype=np.bool_)
        memory = np.zeros((len(FOUND), lanes))
        self.found = point_of(memory, FOUND)
        self.targets, self.shown = memory[: len(TARGETS)], memory[len(TARGETS) :][: len(SHOWN)]
        self.target_rows, self.shown_rows = _TARGETS_OF(self.found), _SHOWN_OF(self.found)

    @classmethod
    def without_memory(cls, stack: Array) -> State:
        """Carried quantities to read only, of any shape behind the first axis of ``stack``."""
        state = cls.__new__(cls)
        state._carry(stack)
        return state

    def _carry(self, stack: Array) -> None:
        self.stack, self.rows, self.lagged = stack, tuple(stack), stack[: len(LAGGED)]
        self.positions = self.lagged[LAGGED.index("throttle") :]
        for name, row in zip(CARRIED, self.rows, strict=True):
            setattr(self, name, row)

    def settled(self) -> Array:
        """All carried quantities, shape (len(CARRIED), lanes), as the parts have left them."""
        if _settle(_CARRIED_OF(self), self.rows):
            self._carry(self.stack)
        return self.stack

    def settled_lagged(self) -> Array:
        """Those that lag, shape (len(LAGGED), lanes)."""
        in_place = all(map(is_, _LAGGED_OF(self), self.rows))
        return self.lagged if in_place else self.settled()[: len(LAGGED)]

    def targets_at(self, x: Point) -> Array:
        """Where those that lag are bound for, shape (len(LAGGED), lanes)."""
        _settle(_TARGETS_OF(x), self.target_rows)
        return self.targets

    def shown_at(self, x: Point) -> Array:
        """What readings are made of beside the carried quantities, shape (len(SHOWN), lanes)."""
        _settle(_SHOWN_OF(x), self.shown_rows)
        return self.shown


def _settle(values: tuple[Array, ...], rows: tuple[Array, ...]) -> bool:
    """Copies values that stand elsewhere into their rows; returns whether there were any."""
    if all(map(is_, values, rows)):
        return False
    for value, row in zip(values, rows, strict=True):
        if value is not row:
            row[...] = value
    return True


class Air:
    """Surroundings of each lane: pressure, temperature, ram pressure and temperature at the intake, density,
    dry share of the air by volume, speed of sound, true airspeed (m/s)."""

    __slots__ = (
        "density",
        "dry_share",
        "pressure",
        "ram_pressure",
        "ram_temperature",
        "sound",
        "speed",
        "temperature",
    )

    pressure: Array
    temperature: Array
    ram_pressure: Array
    ram_temperature: Array
    density: Array
    dry_share: Array
    sound: Array
    speed: Array


class Levers:
    """Positions asked by the pilot; discrete levers as the index of their state."""

    __slots__ = (
        "blower_gear",
        "boost",
        "carburettor_heat",
        "coordination",
        "cowl_flaps",
        "intercooler_shutter",
        "lever_link",
        "mixture",
        "propeller",
        "starter",
        "throttle",
    )

    throttle: Array
    boost: Array
    propeller: Array
    mixture: Array
    intercooler_shutter: Array
    lever_link: Array
    coordination: Array
    blower_gear: Array
    carburettor_heat: Array
    cowl_flaps: Array
    starter: Array


GIVEN = (
    "throttle_asked",
    "boost_asked",
    "speed_asked",
    "mixture_base",
    "mixture_gain",
    "mixture_factor",
    "inlet_pressure",
    "inlet_loss",
    "inlet_density",
    "turbo_head",
    "tip_mach",
    "cooler_effectiveness",
    "dry",
    "indicated_work",
    "head_gain",
    "airspeed_squared",
    "blade_pressure",
    "starting",
)


SHOWN = (
    "indicated_torque",
    "pumping_torque",
    "friction_torque",
    "blower_torque",
    "fuel_flow",
    "deck_pressure",
    "air_flow",
)
"""What readings are made of beside the carried quantities."""
FOUND = (
    *TARGETS,
    *SHOWN,
    "blower_ratio",
    "burn",
    "compressor_torque",
    "exhaust_conductance",
    "flow_per_radian",
    "fuel_ratio",
    "gas_flow",
    "outlet_temperature",
    "per_radian",
    "propeller_torque",
    "suction",
    "turbine_torque",
)
"""What parts find."""


class Point:
    """What one evaluation finds, from the carried state: flows (kg/s), pressures (Pa), temperatures (K), torques
    (N.m, at the shaft they act on) and the targets towards which the lagged quantities move.

    Beside it what levers and surroundings alone decide (:data:`GIVEN`, found by :mod:`.conditions`): positions and
    speed asked of the actuators, the mixture's straight line over load and its factor, and factors of the equations.
    """

    __slots__ = (*GIVEN, *FOUND)

    throttle_asked: Array
    boost_asked: Array
    speed_asked: Array
    mixture_base: Array
    mixture_gain: Array
    mixture_factor: Array
    inlet_pressure: Array
    inlet_loss: Array
    inlet_density: Array
    turbo_head: Array
    tip_mach: Array
    cooler_effectiveness: Array
    dry: Array
    indicated_work: Array
    head_gain: Array
    airspeed_squared: Array
    blade_pressure: Array
    starting: NDArray[np.bool_]
    air_flow: Array
    per_radian: Array
    flow_per_radian: Array
    suction: Array
    fuel_ratio: Array
    fuel_flow: Array
    burn: Array
    deck_pressure: Array
    outlet_temperature: Array
    compressor_torque: Array
    air_temperature: Array
    charge_temperature: Array
    blower_ratio: Array
    blower_torque: Array
    throat_pressure: Array
    manifold_pressure: Array
    exhaust_conductance: Array
    gas_flow: Array
    gas_temperature: Array
    back_pressure: Array
    turbine_torque: Array
    indicated_torque: Array
    pumping_torque: Array
    friction_torque: Array
    propeller_torque: Array
    head_temperature: Array
    throttle_target: Array
    boost_target: Array


_CARRIED_OF, _LAGGED_OF = attrgetter(*CARRIED), attrgetter(*LAGGED)
_TARGETS_OF, _SHOWN_OF = attrgetter(*TARGETS), attrgetter(*SHOWN)

Of = TypeVar("Of", Air, Levers, Point)


def point_of(stack: Array, names: tuple[str, ...]) -> Point:
    """A point of which the named attributes are the rows of ``stack``."""
    x = Point()
    for name, row in zip(names, stack, strict=True):
        setattr(x, name, row)
    return x


def in_rows(whole: Of, names: tuple[str, ...], count: int) -> list[Of]:
    """The ``count`` rows of a batch of which the named attributes have shape (rows, lanes)."""
    parts = [type(whole)() for _ in range(count)]
    for name in names:
        deque(map(setattr, parts, repeat(name), getattr(whole, name)), maxlen=0)  # faster than a loop
    return parts


@dataclass(frozen=True, slots=True)
class Pace:
    """An inner step: ``dt`` in s, the turbo rotor's inertia over ``dt`` without and with its bearings' drag (N.m.s),
    share ``1 - exp(-dt/tau)`` of each lag that passes in it, arrays without dimensions; ``lags`` are those of
    :data:`LAGGED`, shape (len(LAGGED), lanes), or (len(LAGGED), 1), which fits any lanes but takes twice as long."""

    dt: Array
    inertia: Array
    rotor: Array
    throttle: Array
    boost: Array
    gate: Array
    gear: Array
    manifold: Array
    collector: Array
    air_temperature: Array
    gas_temperature: Array
    head: Array
    lags: Array


Given = Callable[["Coefficients", Levers, Air], Point]
"""Finds what levers and surroundings alone decide; of a row or of a whole batch of rows."""
Part = Callable[["Coefficients", State, Levers, Air, Point], None]
"""A component: fills its own attributes of the point from those already there."""
Mover = Callable[["Coefficients", State, Levers, Air, Point, Pace], None]
"""A component that moves carried quantities over one inner step."""
