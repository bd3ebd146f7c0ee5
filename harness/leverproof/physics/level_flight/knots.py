"""Level speed in the units of a sheet and a reading: hp of each engine, rpm of the crankshaft, kt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from leverproof.errors import InputError
from leverproof.physics.level_flight.aeroplane import DATA, Air, aeroplane
from leverproof.physics.level_flight.top_speed import REASONS, Floats, LevelFlight, level_speed
from leverproof.physics.relations.gas import Values
from leverproof.quantities import UNITS

_HP, _KT = UNITS["hp"].scale, UNITS["kt"].scale


@dataclass(frozen=True, slots=True)
class Speeds:
    """Level speeds in kt, their slope in kt per hp of each engine, both of one shape."""

    true_airspeed: Floats
    slope: Floats


class NoLevelSpeedError(InputError):
    """The aeroplane holds no level speed with that power, or none at which the relations are believed."""


def speeds(data: Mapping[str, Values], brake_power: Values, engine_speed: Values, air: Air) -> Speeds:
    """Speeds of the aeroplane of a sheet's data by path (each in the sheet's unit; floats or arrays).

    Raises :class:`NoLevelSpeedError` with the reason of the first for which there is none.
    """
    found = _solved(data, brake_power, engine_speed, air)
    bad = found.reason.ravel() != 0
    if bad.any():
        which = int(np.argmax(bad))
        power = float(np.broadcast_to(np.asarray(brake_power, float), found.reason.shape).ravel()[which])
        raise NoLevelSpeedError(
            f"no level speed with {power:,.0f} hp of each engine: {REASONS[int(found.reason.ravel()[which])]}",
            code="level_speed",
        )
    return Speeds(found.true_airspeed / _KT, found.slope * _HP / _KT)


def spread_of_difference(
    data: Mapping[str, float],
    doubts: Mapping[str, float | None],
    more: tuple[float, float],
    less: tuple[float, float],
    air: Air,
) -> dict[str, float | None]:
    """How much each datum's doubt moves the difference of two speeds, kt: half of what the difference changes by
    when the datum goes up by its doubt and down by it in *both* speeds, so that what is common cancels.

    ``more`` and ``less`` are (hp, rpm). A doubt of 0 is left out; None where the doubt is not stated, or a datum
    moved by it holds no level speed.
    """
    moved = [path for path in DATA if doubts[path] is None or doubts[path] != 0.0]
    known = [path for path in moved if doubts[path] is not None]
    if not known:
        return dict.fromkeys(moved)
    rows: dict[str, Values] = {}
    for path in DATA:
        column = np.full((2 * len(known), 1), data[path])
        if path in known:
            at, by = 2 * known.index(path), doubts[path] or 0.0
            column[at : at + 2, 0] += (by, -min(by, 0.999 * data[path]))
        rows[path] = column
    power, turns = (np.array([[more[i], less[i]]]) for i in (0, 1))
    found = _solved(rows, power, turns, air).true_airspeed / _KT
    apart = found[:, 0] - found[:, 1]
    half = np.abs(apart[0::2] - apart[1::2]) / 2.0
    widths = {path: float(h) if np.isfinite(h) else None for path, h in zip(known, half, strict=True)}
    return {path: widths.get(path) for path in moved}


def _solved(data: Mapping[str, Values], brake_power: Values, engine_speed: Values, air: Air) -> LevelFlight:
    return level_speed(aeroplane(data), brake_power * _HP, engine_speed / 60.0, air)
