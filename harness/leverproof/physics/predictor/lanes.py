"""Picking single points out of a samples x altitudes array, so that costly searches run only where needed."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.engine import Air, Demand, Engine

Mask = NDArray[np.bool_]


def picked(values: object, mask: Mask) -> Array:
    """Values broadcast to the mask's shape, those under the mask in one row, shape (n,)."""
    return np.asarray(np.broadcast_to(np.asarray(values, dtype=np.float64), mask.shape)[mask])


def engine_lanes(engine: Engine, mask: Mask) -> Engine:
    """The engine of each point under the mask."""
    changes: dict[str, Any] = {
        f.name: picked(getattr(engine, f.name), mask)
        for f in fields(engine)
        if isinstance(getattr(engine, f.name), np.ndarray)
    }
    changes["blower_tip"] = tuple(picked(tip, mask) for tip in engine.blower_tip)
    changes["c"] = {name: picked(values, mask) for name, values in engine.c.items()}
    return replace(engine, **changes)


def air_lanes(air: Air, mask: Mask) -> Air:
    """The air of each point under the mask."""
    return Air(*(picked(getattr(air, f.name), mask) for f in fields(air)))


def demand_lanes(demand: Demand, mask: Mask) -> Demand:
    """The demand of each point under the mask."""
    return Demand(
        picked(demand.manifold_pressure, mask),
        picked(demand.engine_speed, mask),
        picked(demand.fuel_air_ratio, mask),
        demand.gear,
    )


def put_back(whole: Array, mask: Mask, part: Array) -> Array:
    """A copy of ``whole`` with ``part`` under the mask."""
    out = np.array(np.broadcast_to(whole, mask.shape), dtype=np.float64)
    out[mask] = part
    return out
