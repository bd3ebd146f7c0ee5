"""Brake power of a solved point, part by part, and the difference of two points split into its causes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.engine import Air, Demand, Engine, Numbers
from leverproof.physics.predictor.gas_path import State
from leverproof.physics.relations.breathing import pumping_mean_effective_pressure
from leverproof.physics.relations.combustion import mixture_power_ratio
from leverproof.physics.relations.compression import compressor_power
from leverproof.physics.relations.friction import friction_mean_effective_pressure
from leverproof.physics.relations.gas import GAS_CONSTANT
from leverproof.physics.relations.output import power_of_mean_effective_pressure


class Power(NamedTuple):
    """W. brake = indicated - pumping - friction - drive - derate; ``per_air`` is indicated work per kg at the
    actual mixture and humidity, J/kg."""

    indicated: Array
    pumping: Array
    friction: Array
    drive: Array
    derate: Array
    brake: Array
    per_air: Array


def power_of(engine: Engine, air: Air, demand: Demand, state: State, *, work: Array) -> Power:
    """Brake power and its parts; ``work`` is indicated work per kg of dry air at the best-power mixture, J/kg.

    Sources: definition of mean effective pressures; NACA Report 108 (friction), 189 (mixture), 426 (humidity);
    the derate is an assumption, zero below the sheet's carburettor-air limit.
    """
    c = engine.c
    ratio = mixture_power_ratio(demand.fuel_air_ratio, best=c["best_power_ratio"])
    per_air = work * ratio * np.asarray(air.dry)
    indicated = state.air_flow * per_air

    def power(mean_pressure: Numbers) -> Array:
        per_volume = power_of_mean_effective_pressure(mean_pressure, demand.engine_speed, displacement=1.0)
        return np.asarray(per_volume * engine.displacement)

    pumping = power(c["pumping"] * pumping_mean_effective_pressure(demand.manifold_pressure, state.back_pressure))
    friction = power(
        friction_mean_effective_pressure(
            demand.engine_speed,
            constant=c["friction_constant"],
            per_speed=c["friction_speed"],
            load=demand.manifold_pressure / engine.rated_pressure,
            load_share=c["friction_load"],
        )
    )
    rise = state.manifold_temperature - state.blower_inlet_temperature
    drive = np.asarray(compressor_power(state.air_flow, rise, mechanical_efficiency=c["blower_drive"]))
    limit = np.where(np.isfinite(engine.air_limit), engine.air_limit, np.inf)
    derate = engine.derate * np.maximum(state.deck_temperature - limit, 0.0)
    brake = indicated - pumping - friction - drive - derate
    return Power(indicated, pumping, friction, drive, derate, brake, per_air)


@dataclass(frozen=True, slots=True)
class Split:
    """Why one point makes more power than another at equal pressure, rpm and mixture, W: the charge is cooler, it
    fills better against less back pressure, it pumps less, it is derated less. ``whole`` is the difference of the
    two brake powers, computed on its own: the parts are never a remainder of it."""

    whole: Array
    charge_temperature: Array
    filling: Array
    pumping: Array
    derate: Array


def split(engine: Engine, demand: Demand, one: tuple[State, Power], other: tuple[State, Power]) -> Split:
    """The difference ``one`` less ``other``, by parts.

    Flow is C f / T with f the filling factor and T the temperature of the heated charge, so the flow difference is
    exactly C (f1 + f2)/2 (1/T1 - 1/T2) + C (1/T1 + 1/T2)/2 (f1 - f2). Each kg is worth its indicated work less
    its share of drive power. Source: algebra.
    """
    c = engine.c
    (a, p), (b, q) = one, other
    scale = c["volumetric"] * demand.manifold_pressure * engine.displacement * demand.engine_speed / (4.0 * math.pi)
    flow = scale / GAS_CONSTANT
    cooler = flow * 0.5 * (a.filling + b.filling) * (1.0 / a.charge_temperature - 1.0 / b.charge_temperature)
    fuller = flow * 0.5 * (1.0 / a.charge_temperature + 1.0 / b.charge_temperature) * (a.filling - b.filling)
    worth = p.per_air - p.drive / a.air_flow
    return Split(
        whole=p.brake - q.brake,
        charge_temperature=worth * cooler,
        filling=worth * fuller,
        pumping=q.pumping - p.pumping,
        derate=q.derate - p.derate,
    )
