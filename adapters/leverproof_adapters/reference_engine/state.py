"""What the model carries from one instant to the next, and what it computes at an instant.

Every attribute is a contiguous float64 array of shape (lanes,), SI. Lanes never mix: all arithmetic is elementwise
and no iteration count depends on data, so a lane's numbers do not depend on its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from leverproof_adapters.reference_engine.coefficients import Coefficients

Array = NDArray[np.float64]
Zones = NDArray[np.int8]

CARRIED = (
    "throttle",
    "boost",
    "gate",
    "servo",
    "turbo",
    "crank",
    "crank_acceleration",
    "blade",
    "gear",
    "manifold",
    "collector",
    "throat",
    "air_temperature",
    "charge_temperature",
    "gas_temperature",
    "head_temperature",
    "light_zone",
)


ROOM = 6
"""Most intermediate results that a part keeps at a time."""


class State:
    """Carried quantities: lever positions, gate opening and engagement of the high blower gear (0..1), shaft speeds
    (rad/s), blade angle (deg), manifold, collector and throat (behind the throttle) pressures (Pa), temperatures (K),
    zone of the overspeed light."""

    __slots__ = (*CARRIED, "room")

    room: tuple[Array, ...]
    """Memory for intermediate results: taken once, because new arrays cost NumPy half as much again as a sum. What a
    part or mover leaves there means nothing to the next."""
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
    light_zone: Zones

    def __init__(self, lanes: int) -> None:
        self.room = tuple(np.empty(lanes) for _ in range(ROOM))

    @classmethod
    def gathered(cls, store: Array, lanes: NDArray[np.intp]) -> State:
        """A copy of the named lanes of a store of shape (len(CARRIED), all lanes)."""
        state = cls(len(lanes))
        for row, name in zip(store, CARRIED, strict=True):
            setattr(state, name, row[lanes])
        state.light_zone = state.light_zone.astype(np.int8)
        return state

    def scatter(self, store: Array, lanes: NDArray[np.intp]) -> None:
        """Write the lanes back into the store."""
        for row, name in zip(store, CARRIED, strict=True):
            row[lanes] = getattr(self, name)


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


class Point:
    """What one evaluation finds, from the carried state: flows (kg/s), pressures (Pa), temperatures (K), torques
    (N.m, at the shaft they act on) and the targets towards which the lagged quantities move.

    Beside it what levers and surroundings alone decide (:data:`GIVEN`, found by :mod:`.conditions`): positions and
    speed asked of the actuators, the mixture's straight line over load and its factor, and factors of the equations.
    """

    __slots__ = (
        *GIVEN,
        "air_flow",
        "air_temperature",
        "back_pressure",
        "blower_ratio",
        "blower_torque",
        "burn",
        "charge_temperature",
        "compressor_torque",
        "deck_pressure",
        "exhaust_conductance",
        "flow_per_radian",
        "friction_torque",
        "fuel_flow",
        "fuel_ratio",
        "gas_flow",
        "gas_temperature",
        "head_temperature",
        "indicated_torque",
        "manifold_pressure",
        "outlet_temperature",
        "per_radian",
        "propeller_torque",
        "pumping_torque",
        "suction",
        "throat_pressure",
        "turbine_torque",
    )

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


Of = TypeVar("Of", Air, Levers, Point)


def in_rows(whole: Of, names: tuple[str, ...], count: int) -> list[Of]:
    """The ``count`` rows of a batch of which the named attributes have shape (rows, lanes)."""
    parts = [type(whole)() for _ in range(count)]
    for name in names:
        for part, values in zip(parts, list(getattr(whole, name)), strict=True):
            setattr(part, name, values)
    return parts


@dataclass(frozen=True, slots=True)
class Pace:
    """An inner step: ``dt`` in s, the turbo rotor's inertia over ``dt`` with its bearings' drag (N.m.s), and the share
    ``1 - exp(-dt/tau)`` of each lag that passes in it; arrays without dimensions."""

    dt: Array
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


Given = Callable[["Coefficients", Levers, Air], Point]
"""Finds what levers and surroundings alone decide; of a row or of a whole batch of rows."""
Part = Callable[["Coefficients", State, Levers, Air, Point], None]
"""A component: fills its own attributes of the point from those already there."""
Mover = Callable[["Coefficients", State, Levers, Air, Point, Pace], None]
"""A component that moves carried quantities over one inner step."""
