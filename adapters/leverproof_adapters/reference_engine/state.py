"""What the model carries from one instant to the next, and what it computes at an instant.

Every attribute is a contiguous float64 array of shape (lanes,), SI. Lanes never mix: all arithmetic is elementwise
and no iteration count depends on data, so a lane's numbers do not depend on its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof_adapters.reference_engine.parameters import Parameters

Array = NDArray[np.float64]

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


class State:
    """Carried quantities: lever positions, gate opening and engagement of the high blower gear (0..1), shaft speeds
    (rad/s), blade angle (deg), manifold, collector and throat (behind the throttle) pressures (Pa), temperatures (K),
    zone of the overspeed light."""

    __slots__ = CARRIED

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
    light_zone: Array

    @classmethod
    def gathered(cls, store: Array, lanes: NDArray[np.intp]) -> State:
        """A copy of the named lanes of a store of shape (len(CARRIED), all lanes)."""
        state = cls()
        for row, name in zip(store, CARRIED, strict=True):
            setattr(state, name, row[lanes])
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

    def row(self, index: int) -> Air:
        """The surroundings of one row of a batch, when each attribute has shape (rows, lanes)."""
        part = Air()
        for name in Air.__slots__:
            setattr(part, name, getattr(self, name)[index])
        return part


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


class Point:
    """What one evaluation finds, from the carried state: flows (kg/s), pressures (Pa), temperatures (K), torques
    (N.m, at the shaft they act on) and the targets towards which the lagged quantities move."""

    __slots__ = (
        "air_flow",
        "air_temperature",
        "back_pressure",
        "blower_ratio",
        "blower_torque",
        "burn",
        "charge_temperature",
        "compressor_torque",
        "deck_pressure",
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
        "propeller_torque",
        "pumping_torque",
        "suction",
        "throat_pressure",
        "turbine_torque",
    )

    air_flow: Array
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
    gas_flow: Array
    gas_temperature: Array
    back_pressure: Array
    turbine_torque: Array
    indicated_torque: Array
    pumping_torque: Array
    friction_torque: Array
    propeller_torque: Array
    head_temperature: Array


@dataclass(frozen=True, slots=True)
class Pace:
    """An inner step: ``dt`` in s and the share ``1 - exp(-dt/tau)`` of each lag that passes in it."""

    dt: float
    throttle: float
    boost: float
    gate: float
    gear: float
    manifold: float
    collector: float
    air_temperature: float
    gas_temperature: float
    head: float


Part = Callable[[Parameters, State, Levers, Air, Point], None]
"""A component: fills its own attributes of the point from those already there."""
Mover = Callable[[Parameters, State, Levers, Air, Point, Pace], None]
"""A component that moves carried quantities over one inner step."""
