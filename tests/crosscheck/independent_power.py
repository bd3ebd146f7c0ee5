"""Power of a point, its work calibrated on take-off power, and balances worked out from relations of their own."""

from __future__ import annotations

import math
from dataclasses import dataclass

from . import independent_gas as gas
from . import independent_machine as design
from .independent_gas import CP_AIR
from .independent_point import Case, Point, blower_rise, cooling


@dataclass(frozen=True, slots=True)
class Power:
    """W; ``per_air`` is indicated work per kg of moist air, J/kg."""

    indicated: float
    pumping: float
    friction: float
    drive: float
    derate: float
    brake: float
    per_air: float


def power(case: Case, p: Point, work: float) -> Power:
    """Brake power and its parts by section 7."""
    m, c, s = case.machine, case.machine.c, case.slip
    lean = case.mixture - c["best_power_ratio"]
    share = 1.0 - s.get("mixture curve", 1.0) * (85.0 if lean > 0.0 else 360.0) * lean * lean
    per_air = case.air.dry * work * share
    indicated = p["air_flow"] * per_air
    strokes = m.displacement * case.speed / (2.0 * math.pi) / 2.0
    pumping = s.get("pumping", 1.0) * c["pumping"] * (p["back"] - p["pressure"]) * strokes
    rub = c["friction_constant"] + s.get("friction", 1.0) * c["friction_speed"] * case.speed
    loaded = 1.0 + c["friction_load"] * (p["pressure"] / m.rated_pressure - 1.0)
    drive = p["air_flow"] * CP_AIR * blower_rise(case) / c["blower_drive"] * s.get("drive", 1.0)
    hot = max(p["deck_temperature"] - m.air_limit, 0.0) if math.isfinite(m.air_limit) else 0.0
    lost = s.get("derate", 1.0) * m.derate * hot
    friction = rub * loaded * strokes
    return Power(
        indicated, pumping, friction, drive, lost, indicated - pumping - friction - drive - lost, per_air
    )


def balances(case: Case, p: Point) -> dict[str, float]:
    """Relative residuals of mass and energy, each from relations written for this purpose; none is a remainder.

    * throttle: orifice flow by the N(r) form of the page, against charge drawn (the form m Tc = K f)
    * exhaust: flows of nozzle, leak and gate, each on its own, against air and fuel
    * shaft: turbine power by enthalpies, against air heated from inlet to delivery
    * first law over the whole engine from intake to manifold, heat of the cooler and of evaporation taken separately
    """
    m, a, c = case.machine, case.air, case.machine.c
    flow = p["air_flow"]
    passed = (
        _n_form(p["deck_pressure"], p["throat"], p["deck_temperature"], gas.GAS_CONSTANT, 1.4)
        * p["throttle_area"]
    )
    exhaust = design.exhaust_temperature(c, case.mixture)
    jet = _n_form(p["back"], a.pressure, exhaust, gas.EXHAUST_CONSTANT, 1.33)
    found = {"throttle": passed / _drawn(case, p) - 1.0}
    fuel = flow * case.mixture
    if not m.turbo:
        return {**found, "exhaust": m.nozzle * jet / (flow + fuel) - 1.0, **_first_law(case, p, 0.0)}
    nozzle, leak, gate = m.nozzle * jet, c["leak"] * m.nozzle * jet, p["gate_area"] * jet
    expanded = exhaust * (a.pressure / p["back"]) ** (0.33 / 1.33)
    turbine = nozzle * gas.EXHAUST_CONSTANT * 1.33 / 0.33 * (exhaust - expanded) * c["turbine_efficiency"]
    compressor = flow * c["turbo_work"] * p["tip_speed"] ** 2
    return {
        **found,
        "exhaust": (nozzle + leak + gate) / (flow + fuel) - 1.0,
        "shaft": turbine / compressor - 1.0,
        **_first_law(case, p, turbine),
    }


def _drawn(case: Case, p: Point) -> float:
    """Flow by residual gas expanding and charge filling the rest: the textbook clearance relation itself."""
    m, c = case.machine, case.machine.c
    r = m.ratio
    textbook = r / (r - 1.0) - (p["back"] / p["pressure"] + 0.4) / (1.4 * (r - 1.0))
    k = c["volumetric"] * p["pressure"] * m.displacement * case.speed / (4.0 * math.pi * gas.GAS_CONSTANT)
    charge = (1.0 - c["wall_heating"]) * p["manifold_temperature"] + c["wall_heating"] * c["wall_temperature"]
    return k * (1.0 + c["scavenge"] * (textbook - 1.0)) / charge


def _first_law(case: Case, p: Point, turbine: float) -> dict[str, float]:
    """Enthalpy that enters as air, plus both works, less cooler and evaporation heat, is the manifold's enthalpy."""
    m, a, c = case.machine, case.air, case.machine.c
    flow = p["air_flow"]
    blower = flow * c["blower_work"] * (m.blower[case.gear] * case.speed) ** 2 if m.blower else 0.0
    cooler = cooling(case) * turbine
    evaporation = c["evaporated"] * case.mixture * flow * design.EVAPORATION_HEAT
    entering = flow * CP_AIR * a.total_temperature
    leaving = flow * CP_AIR * p["manifold_temperature"]
    return {"first law": (entering + turbine + blower - cooler - evaporation) / leaving - 1.0}


def _n_form(up: float, down: float, temperature: float, constant: float, k: float) -> float:
    critical = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    r = min(max(down / up, critical), 1.0)
    n = math.sqrt(max(2.0 * k / (k - 1.0) * (r ** (2.0 / k) - r ** ((k + 1.0) / k)), 0.0))
    return up / math.sqrt(constant * temperature) * n


def split(one: tuple[Case, Point, Power], other: tuple[Case, Point, Power]) -> dict[str, float]:
    """Why ``one`` makes more power than ``other`` at the same pressure, speed and mixture, by section 7."""
    (case, p1, w1), (_, p2, w2) = one, other
    c = case.machine.c
    scale = (
        c["volumetric"]
        * p1["pressure"]
        * case.machine.displacement
        * case.speed
        / (4.0 * math.pi * gas.GAS_CONSTANT)
    )
    worth = w1.per_air - CP_AIR * blower_rise(case) / c["blower_drive"]
    colder = 1.0 / p1["charge"] - 1.0 / p2["charge"]
    both = 1.0 / p1["charge"] + 1.0 / p2["charge"]
    return {
        "charge_temperature": worth * scale * 0.5 * (p1["filling"] + p2["filling"]) * colder,
        "filling": worth * scale * 0.5 * both * (p1["filling"] - p2["filling"]),
        "pumping": w2.pumping - w1.pumping,
        "derate": w2.derate - w1.derate,
        "whole": w1.brake - w2.brake,
    }
