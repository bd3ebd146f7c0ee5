"""Level speed of the sheet's aeroplane with the power each lever policy gives, sample by sample."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.physics.level_flight.aeroplane import DATA, Aeroplane, air_at
from leverproof.physics.level_flight.top_speed import REASONS as NO_SPEED
from leverproof.physics.level_flight.top_speed import level_speed
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.design import Notes, Reader, Sampled, Sheet
from leverproof.physics.predictor.engine import Numbers
from leverproof.physics.predictor.points import OK, REASONS, TURBO_LIMIT
from leverproof.physics.predictor.settings import Setting
from leverproof.quantities import convert

_KT = convert(1.0, "kt", "m/s")
_PRESSURE = "take-off pressure cannot be held"
_HELD = 1e-6
_FLOOR = 1e-3
NO_LEVEL_SPEED = "no level speed is given"
"""What a datum of the aeroplane or its propeller that the sheet lacks leads to."""


@dataclass(frozen=True, slots=True)
class SpeedSamples:
    """Level speeds in kt over samples x heights, NaN where there is none.

    ``speed`` is with the power of the setting whatever pressure it holds, ``at_pressure`` only where that is the
    take-off manifold pressure; ``why`` has the words for each NaN of ``at_pressure``, "" where there is a speed, and
    ``no_speed`` those of the level flight alone.
    """

    speed: Array
    at_pressure: Array
    why: NDArray[np.str_]
    no_speed: NDArray[np.str_]


def sampled_aeroplane(sheet: Sheet, sampled: Sampled) -> tuple[Aeroplane | None, Notes]:
    """The aeroplane of a sheet as samples of shape (samples, 1), and what was read; None when a datum is missing.

    Each datum is normal with standard deviation U95/2, from a stream of its own by seed and path, so that no other
    number moves. A sample below a thousandth of its datum is set to that, an induced factor below 1 to 1.
    """
    read = Reader(sheet, dict(sampled.engine.c), seed=sampled.seed, spread=sampled.work.shape[0] > 1)
    found = {path: read.datum(path, ours) for path, (_, ours) in DATA.items()}
    lacking = [path for path, values in found.items() if values is None]
    for table in sorted({path.partition(".")[0] for path in lacking}):
        own = [path for path in DATA if path.startswith(f"{table}.")]
        whole = all(path in lacking for path in own)
        for name in (f"[{table}]",) if whole else (path for path in own if path in lacking):
            read.notes.missing[name] = NO_LEVEL_SPEED
    if lacking:
        return None, Notes(missing=read.notes.missing)
    data: dict[str, Array] = {}
    for path, values in found.items():
        assert values is not None  # nothing is lacking
        name = path.partition(".")[2]
        low = 1.0 if name == "induced_factor" else _FLOOR * float(np.median(values))
        data[name] = np.maximum(values, low)
    return Aeroplane(**data), read.notes


def level_speeds(
    plane: Aeroplane,
    setting: Setting,
    asked: Numbers,
    altitudes: Array,
    *,
    offset: float,
    coupled: bool = False,
) -> SpeedSamples:
    """Level speeds with the power of a ``setting`` of samples x ``altitudes`` (ft, shape (1, n)), ``asked`` the
    take-off manifold pressure in Pa; a ``coupled`` setting falls short of it at the turbo limit only."""
    power, reason = setting.power.brake, setting.points.reason
    turns = np.asarray(setting.demand.engine_speed) / (2.0 * np.pi)
    columns = []
    # height by height: the arrays of one height stay in the cache
    for i, altitude in enumerate(altitudes[0]):
        air = air_at(float(altitude), offset)
        columns.append(level_speed(plane, power[:, [i]], turns, air))
    speed = np.hstack([c.true_airspeed for c in columns]) / _KT
    slow = np.hstack([c.reason for c in columns])
    engine = np.asarray(REASONS)[reason]
    no_speed = np.where(reason != OK, engine, np.asarray(NO_SPEED)[slow])
    short = np.abs(setting.manifold_pressure / asked - 1.0) > _HELD
    why = np.where(short, REASONS[TURBO_LIMIT] if coupled else _PRESSURE, no_speed)
    return SpeedSamples(speed, np.where(short, np.nan, speed), why, no_speed)


def by_policy(
    plane: Aeroplane,
    first: Setting,
    limited: Setting | None,
    asked: Numbers,
    altitudes: Array,
    *,
    offset: float,
) -> list[tuple[str, str, Array, NDArray[np.str_]]]:
    """Name, meaning, values in kt and words of each level speed, throttle first and levers together, and the one
    less the other in each sample. ``limited`` is levers together, stopping at the turbo limit; None without a boost
    lever. Throttle first always holds the take-off pressure."""
    quick = level_speeds(plane, first, asked, altitudes, offset=offset)
    own = [("level_speed.throttle_first", "level speed, throttle first", quick.at_pressure, quick.why)]
    if limited is None:
        return own
    slow = level_speeds(plane, limited, asked, altitudes, offset=offset, coupled=True)
    stopped = np.where(slow.no_speed != "", slow.no_speed, slow.why)
    return [
        *own,
        ("level_speed.levers_together", "level speed, levers together", slow.at_pressure, slow.why),
        ("level_speed.difference", "level speed difference, equal pressure",
         quick.at_pressure - slow.at_pressure, _either(quick.why, slow.why)),
        ("level_speed.difference.procedure", "level speed difference, stopping at limits",
         quick.at_pressure - slow.speed, _either(quick.why, stopped)),
    ]  # fmt: skip


def _either(one: NDArray[np.str_], other: NDArray[np.str_]) -> NDArray[np.str_]:
    return np.where(one != "", one, other)


def shares_of(why: NDArray[np.str_], weight: Array) -> dict[str, float]:
    """Weight of the samples, both of shape (samples, 1), by the words why there is no number."""
    flat, heavy = np.ravel(why), np.ravel(weight)
    return {str(w): float(heavy[flat == w].sum()) for w in np.unique(flat) if w}
