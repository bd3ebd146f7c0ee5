"""Conditioning the samples on the sheet's take-off power: one free coefficient solved a sample, then weighted."""

from __future__ import annotations

import numpy as np

from leverproof.errors import InputError
from leverproof.physics.predictor.coefficients import COEFFICIENTS, Array
from leverproof.physics.predictor.design import Sampled, Sheet, engine_of, reader_of
from leverproof.physics.predictor.engine import Demand, Engine, air_at, fuel_air_ratio
from leverproof.physics.predictor.points import OK, throttle_first
from leverproof.physics.predictor.power import power_of
from leverproof.physics.relations.combustion import mixture_power_ratio

LEAST_EFFECTIVE = 20.0
"""Effective number of samples below which a sheet's take-off power is said to contradict the priors."""


def sampled_engine(sheet: Sheet, *, samples: int, seed: int) -> Sampled:
    """An engine sheet as ``samples`` weighted samples (1: everything at its median, weight 1).

    Where the sheet gives take-off power, the indicated work per kg of air is solved in each sample so that the
    power at sea level, static, standard day, auto rich, take-off pressure and rpm, levers by the throttle-first
    rule, is a draw of the sheet's datum; the sample's weight is the prior density of that work. Without the datum
    the prior itself is used. Raises :class:`InputError` when the sheet contradicts the priors.
    """
    read = reader_of(sheet, samples=samples, seed=seed)
    engine = engine_of(read)
    power = read.datum("takeoff.brake_power", "W")
    prior = COEFFICIENTS["indicated_work"]
    if power is None:
        read.notes.missing["takeoff.brake_power"] = (
            f"powers widened: indicated work {prior.a:g} +/- {prior.b:g} {prior.unit} is not conditioned"
        )
        work = engine.c["indicated_work"]
        weight = np.full(work.shape, 1.0 / work.shape[0])
        return Sampled(engine, work, weight, read.notes, seed, "none: the sheet gives no take-off power")
    work, met = work_for(engine, power)
    score = np.where(met, np.exp(-0.5 * np.square((np.where(met, work, prior.a) - prior.a) / prior.b)), 0.0)
    total = float(score.sum())
    effective = total**2 / float(np.square(score).sum()) if total > 0.0 else 0.0
    if effective < min(LEAST_EFFECTIVE, 0.5 * samples):
        raise InputError(
            f"take-off power contradicts the rest of the sheet: {effective:.1f} of {samples} samples agree with it",
            "takeoff.brake_power",
            "check displacement, take-off pressure and rpm, and the areas of the sheet",
            "contradiction",
        )
    words = (
        "indicated work per kg of air solved in each sample for the sheet's take-off power, "
        f"samples weighted by its prior (effective number {effective:.0f} of {samples})"
    )
    return Sampled(engine, np.where(met, work, prior.a), score / total, read.notes, seed, words)


def work_for(engine: Engine, power: Array) -> tuple[Array, Array]:
    """Indicated work in J/kg that makes take-off power ``power`` W, and whether the point could be solved."""
    demand = Demand(engine.rated_pressure, engine.rated_speed, fuel_air_ratio(engine.c, "auto_rich", load=1.0))
    air = air_at(0.0, airspeed=0.0, ram_recovery=engine.c["ram_recovery"])
    points = throttle_first(engine, air, demand)
    lost = power_of(engine, air, demand, points.state, work=np.zeros_like(power))
    ratio = mixture_power_ratio(demand.fuel_air_ratio, best=engine.c["best_power_ratio"])
    # brake power of no work at all is minus every loss
    work = (power - lost.brake) / (points.state.air_flow * ratio * np.asarray(air.dry))
    return work, np.asarray(points.reason == OK)
