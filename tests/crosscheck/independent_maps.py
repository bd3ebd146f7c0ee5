"""The similarity maps of both stages, written from `docs/explanation/predictor-equations.md` alone.

The page gives efficiency as a formula of flow and tip Mach number. Here a stage is a hill with level lines: the flow at
which a level is met is written down for either flank, and the level that is met at the flow asked is found by halving.
Compression is a sum over small heatings, not a power; the design speed is the one at which the wheel reaches its
design ratio, found by halving; the air at the design pressure comes from marching up the standard atmosphere.
Scalar Python; SI.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from .independent_gas import AIR_EXPONENT, CP_AIR, EXACT, GAS_CONSTANT, GRAVITY, Slips

KNEE_MACH = 1300.0 * 0.3048 / math.sqrt(AIR_EXPONENT * GAS_CONSTANT * 288.15)
"""Tip Mach number from which a stage loses efficiency: 1,300 ft/s in air of 288.15 K (section 1)."""
SLOWEST = 1e-6
"""m/s: a wheel is taken to turn at least so fast (section 4, step 10)."""
_NODES, _WEIGHTS = (tuple(float(v) for v in values) for values in np.polynomial.legendre.leggauss(14))
_SEA_PRESSURE, _SEA_TEMPERATURE, _TROPOPAUSE, _LAPSE = 101_325.0, 288.15, 216.65, 0.0065


@dataclass(frozen=True, slots=True)
class Hill:
    """A stage: ``height`` is efficiency at the design flow, below the knee; ``best`` the flow of the summit over the
    design flow; ``design`` m T/(p U) of the design point; ``knee`` the tip Mach number from which it loses."""

    height: float
    curvature: float
    best: float
    penalty: float
    design: float
    knee: float = KNEE_MACH

    @property
    def summit(self) -> float:
        """Efficiency at the best flow, such that the hillside passes the design point at its stated height."""
        return self.height * (1.0 + self.curvature * (1.0 - self.best) ** 2)


def hill(c: Mapping[str, float], stage: str, design: float, slip: Slips = EXACT) -> Hill:
    """The ``turbo`` or ``blower`` stage of a sample; ``design`` is m T/(p U) of its design point."""
    return Hill(
        c[f"{stage}_efficiency"],
        slip.get(f"{stage} curvature", 1.0) * c[f"{stage}_flow_curvature"],
        slip.get(f"{stage} best flow", 1.0) * c[f"{stage}_best_flow"],
        slip.get("tip penalty", 1.0) * c["tip_speed_penalty"],
        design / slip.get(f"{stage} flow", 1.0),
        KNEE_MACH * slip.get("knee", 1.0),
    )


def halved(low: float, high: float, too_high: Callable[[float], bool]) -> float:
    """Where ``too_high`` turns true between two numbers, to the last digit."""
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (low, middle) if too_high(middle) else (middle, high)
        if high - low <= 2.0**-53 * high:
            break
    return 0.5 * (low + high)


def efficiency(stage: Hill, *, flow: float, temperature: float, pressure: float, tip: float, ahead: float) -> float:
    """Efficiency of a stage that passes ``flow`` in kg/s.

    ``temperature`` and ``pressure`` are those where the stage is measured (exhaust-driven: inlet; geared: outlet),
    ``ahead`` the temperature ahead of the wheel, which sets the tip Mach number. Section 4 of the page.
    """
    design_flow = stage.design * pressure * max(tip, SLOWEST) / temperature
    beyond = max(tip / math.sqrt(AIR_EXPONENT * GAS_CONSTANT * ahead) / stage.knee - 1.0, 0.0)
    lowered = stage.summit / (1.0 + stage.penalty * beyond)
    flank = math.copysign(design_flow, flow - stage.best * design_flow)

    def short(level: float) -> bool:
        """Whether this level is met before the flow asked, seen from the summit, so that a lower one is met there."""
        met = stage.best * design_flow + flank * math.sqrt((lowered / level - 1.0) / stage.curvature)
        return met < flow if flank > 0.0 else met > flow

    return halved(0.0, lowered, short)


def compression(inlet: float, rise: float) -> float:
    """Pressure ratio of an ideal compression that heats air of ``inlet`` K by ``rise`` K: d ln p = k/(k - 1) d ln T,
    summed over the heating."""
    half = 0.5 * rise
    heatings = sum(w * half / (inlet + half * (1.0 + z)) for z, w in zip(_NODES, _WEIGHTS, strict=True))
    return math.exp(AIR_EXPONENT / (AIR_EXPONENT - 1.0) * heatings)


def throat_pressure(level: float, manifold: float, ahead: float, rise: float) -> float:
    """Pressure ahead of a geared stage of efficiency ``level``, Pa, from that behind it (step 13)."""
    return manifold / compression(ahead, level * rise)


def blower_design(flow: float, manifold_temperature: float, manifold_pressure: float, tip: float) -> float:
    """m T/(p U) of the geared stage at the reference point, measured at its outlet (section 6)."""
    swallowed = flow * manifold_temperature / manifold_pressure
    return swallowed / tip


def standard_temperature(pressure: float, steps: int = 60) -> float:
    """K where the standard atmosphere has ``pressure``: dT/d ln p = R L T/g marched from sea level, fourth order."""
    step = math.log(pressure / _SEA_PRESSURE) / steps
    growth, temperature = GAS_CONSTANT * _LAPSE / GRAVITY * step, _SEA_TEMPERATURE
    for _ in range(steps):
        one = growth * temperature
        two = growth * (temperature + 0.5 * one)
        three = growth * (temperature + 0.5 * two)
        four = growth * (temperature + three)
        temperature += (one + 2.0 * two + 2.0 * three + four) / 6.0
    return max(temperature, _TROPOPAUSE)


def turbo_design(c: Mapping[str, float], flow: float, delivered: float, slip: Slips = EXACT) -> float:
    """m T/(p U) of the exhaust-driven stage, laid out to bring ``flow`` up to ``delivered`` Pa (section 6).

    The design speed is sought at the efficiency of the design flow, the knee left aside.
    """
    ratio = slip.get("design ratio", 1.0) * c["turbo_design_ratio"]
    inlet = standard_temperature(delivered / ratio)

    def too_fast(tip: float) -> bool:
        return compression(inlet, c["turbo_efficiency"] * c["turbo_work"] * tip**2 / CP_AIR) > ratio

    return flow * inlet / (delivered / ratio * halved(0.0, 2000.0, too_fast))
