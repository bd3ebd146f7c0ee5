"""Seeded defects of starting from rest, and their wrong parts."""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine import conditions, cylinder, shafts
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.defect_parts import with_lever
from leverproof_adapters.reference_engine.seeding import BOTH, Defect, other_coefficients, other_parts
from leverproof_adapters.reference_engine.state import Air, Given, Levers, Mover, Pace, Part, Point, State

EVERY = (*BOTH, "corrie-14", "rill-6", "rill-6t")


def burns_whatever_the_mixture(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Work of the best mixture, also where no fuel is metered."""
    metered = x.fuel_ratio
    x.fuel_ratio = np.where(metered > 0.0, metered, p.best_power_ratio)
    cylinder.work(p, s, levers, air, x)
    x.fuel_ratio = metered


def primed_while_cranking(p: Coefficients, levers: Levers, air: Air) -> Point:
    """An engaged starter meters fuel, also in cut-off."""
    rich = np.where(levers.starter > 0.5, np.maximum(levers.mixture, cylinder.AUTO_RICH), levers.mixture)
    return conditions.given(p, with_lever(levers, "mixture", rich), air)


def starter_holds(share: float) -> Mover:
    """A crankshaft whose starter keeps ``share`` of its torque as long as anything turns."""

    def crankshaft(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: Pace) -> None:
        kept = np.maximum(levers.starter, share * (s.crank > 0.0))
        asked, x.starting = x.starting, np.any(kept, axis=-1)
        shafts.crankshaft(p, s, with_lever(levers, "starter", kept), air, x, pace)
        x.starting = asked

    return crankshaft


_WORK: Part = burns_whatever_the_mixture
_PRIMED: Given = primed_while_cranking

START_DEFECTS = (
    Defect(
        "starts-without-fuel",
        "large",
        "Running is a matter of speed alone: what turns fast enough burns, whatever the mixture lever says.",
        other_parts(work=_WORK),
        EVERY,
    ),
    Defect(
        "starter-primes-in-cut-off",
        "small",
        "The starter switch opens the fuel by itself, so the engine fires in cut-off for as long as it is engaged.",
        other_parts(given=_PRIMED),
        EVERY,
    ),
    Defect(
        "starter-too-weak",
        "large",
        "The starter has two fifths of its torque and cannot take the engine over compression.",
        other_coefficients(starter_torque=0.4),
        EVERY,
    ),
    Defect(
        "starter-turns-too-slowly",
        "small",
        "The starter is geared too low: it turns the engine, below the speed at which it fires.",
        other_coefficients(starter_free_speed=0.4),
        EVERY,
    ),
    Defect(
        "starter-stays-engaged",
        "large",
        "The starter, once it turns anything, goes on with all of its torque when it is released.",
        other_parts(crankshaft=starter_holds(1.0)),
        EVERY,
    ),
    Defect(
        "starter-drags-on",
        "small",
        "The starter's clutch drags: a released starter keeps somewhat less than half of its torque.",
        other_parts(crankshaft=starter_holds(0.45)),
        EVERY,
    ),
)
