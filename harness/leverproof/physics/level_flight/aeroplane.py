"""An aeroplane as level flight needs it, and the air it flies in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from leverproof import atmosphere
from leverproof.physics.relations.gas import Values
from leverproof.quantities import convert

DATA: dict[str, tuple[str, str]] = {
    "airframe.wing_area": ("ft2", "m2"),
    "airframe.zero_lift_drag": ("1", "1"),
    "airframe.induced_drag_factor": ("1", "1"),
    "airframe.mass": ("lb", "kg"),
    "airframe.engines": ("1", "1"),
    "propeller.diameter": ("in", "m"),
    "propeller.reduction": ("1", "1"),
    "propeller.solidity": ("1", "1"),
    "propeller.section_drag": ("1", "1"),
    "propeller.induced_factor": ("1", "1"),
}
"""Sheet data that level flight needs: the unit a sheet keeps each in, and the unit of :class:`Aeroplane`."""


@dataclass(frozen=True, slots=True)
class Aeroplane:
    """An aeroplane with ``engines`` equal engines and propellers; SI, floats or arrays that broadcast together.

    Drag coefficient = ``zero_lift_drag`` + ``induced_drag_factor`` x lift coefficient squared, on ``wing_area``.
    ``reduction`` is propeller turns per crankshaft turn, ``solidity`` blade area over disc area, ``section_drag``
    the mean drag coefficient of the blade sections, ``induced_factor`` the induced power over the least that
    momentum theory allows, at least 1.
    """

    wing_area: Values
    zero_lift_drag: Values
    induced_drag_factor: Values
    mass: Values
    engines: Values
    diameter: Values
    reduction: Values
    solidity: Values
    section_drag: Values
    induced_factor: Values


@dataclass(frozen=True, slots=True)
class Air:
    """``density`` in kg/m3 and ``sound`` (its speed) in m/s."""

    density: Values
    sound: Values


def aeroplane(data: Mapping[str, Values]) -> Aeroplane:
    """The aeroplane of a sheet's data by path, each in the unit of the sheet; KeyError for a missing one."""
    return Aeroplane(
        **{path.partition(".")[2]: data[path] * convert(1.0, theirs, ours) for path, (theirs, ours) in DATA.items()}
    )


def air_at(pressure_altitude: Values, temperature_offset: Values = 0.0) -> Air:
    """Dry air at a pressure altitude in ft, so many K above standard. Source: U.S. Standard Atmosphere, 1976."""
    temperature = atmosphere.temperature_at_feet(pressure_altitude, temperature_offset)
    return Air(
        atmosphere.density_at_feet(pressure_altitude, temperature_offset),
        atmosphere.speed_of_sound(temperature),
    )
