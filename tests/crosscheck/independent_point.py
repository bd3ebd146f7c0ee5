"""Steady operating points as the root of the full set of equations, every quantity an unknown.

Nothing is eliminated: seventeen unknowns (ten without a turbo) and as many relations, each with a name, are handed to
MINPACK's hybrid method. A height or a manifold pressure can join the unknowns when a limit joins the equations.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import root

from . import independent_gas as gas
from . import independent_machine as design
from . import independent_maps as maps
from .independent_gas import CP_AIR, EXACT, Air, Slips
from .independent_machine import EVAPORATION_HEAT, Machine

TURBO = (
    "filling", "charge", "manifold_temperature", "deck_temperature", "air_flow", "gas_flow", "rise", "tip_speed",
    "efficiency", "inlet_pressure", "delivery_pressure", "deck_pressure", "throat", "throttle_area", "gate_area",
    "back", "geared_efficiency",
)  # fmt: skip
PLAIN = (
    "filling", "charge", "manifold_temperature", "air_flow", "gas_flow", "deck_pressure", "throat", "throttle_area",
    "back", "geared_efficiency",
)  # fmt: skip
COOLER_SPEED = 150.0 * gas.KNOT
Point = dict[str, float]
Closure = Callable[["Case", Point], float]


@dataclass(frozen=True, slots=True)
class Case:
    """One point asked for: ``pressure`` in Pa and ``speed`` in rad/s, air-fuel ``mixture`` ratio, the gear's index."""

    machine: Machine
    air: Air
    pressure: float
    speed: float
    mixture: float
    gear: int = 0
    slip: Slips = field(default_factory=dict)


def mixture_of(machine: Machine, pressure: float, speed: float, word: str = "auto_rich", slip: Slips = EXACT) -> float:
    """Fuel-air ratio by section 3."""
    c = machine.c
    load = pressure * speed / (machine.rated_pressure * machine.rated_speed)
    part = slip.get("mixture", 1.0) * min(max((load - 0.5) / 0.5, 0.0), 1.0)
    rich = c["auto_rich_ratio"] + c["auto_rich_enrichment"] * part
    lean = min(c["auto_lean_ratio"] + c["auto_lean_enrichment"] * part, rich)
    return {"auto_rich": rich, "auto_lean": lean, "full_rich": min(rich * c["full_rich_factor"], 0.125)}[word]


def relations(case: Case, p: Point) -> list[float]:
    """Every relation as left over right, less one, in the order of the unknowns; the lever's is not among them."""
    m, a, c, s = case.machine, case.air, case.machine.c, case.slip
    turbo = m.turbo
    pressure = p.get("pressure", case.pressure)
    evaporation = s.get("evaporation", 1.0) * c["evaporated"] * case.mixture * EVAPORATION_HEAT / CP_AIR
    blower = blower_rise(case)
    exhaust = design.exhaust_temperature(c, case.mixture, s)
    jet = gas.exhaust_flux(p["back"], a.pressure, exhaust)
    deck_temperature = p["deck_temperature"] if turbo else a.total_temperature
    flow, back = p["air_flow"], p["back"]
    inlet = a.total_pressure - m.intake * flow**2 * a.total_temperature / a.total_pressure
    ahead = deck_temperature - evaporation
    factor = design.filling(c, back, pressure, m.ratio, s)
    swept = s.get("volumetric", 1.0) * c["volumetric"] * m.displacement * case.speed / (4.0 * math.pi)
    over = [
        p["filling"] / factor,
        p["charge"] / design.heated(c, p["manifold_temperature"], s),
        p["manifold_temperature"] / (ahead + blower),
        flow * gas.GAS_CONSTANT * p["charge"] / (pressure * swept * p["filling"]),
        p["gas_flow"] / (flow * (1.0 + case.mixture)),
        flow / (p["throttle_area"] * s.get("orifice", 1.0) * _air_flux(p, deck_temperature)),
    ]
    if blower:
        ideal = s.get("geared stage", 1.0) * p["geared_efficiency"] * blower
        over.append(maps.throat_pressure(1.0, pressure, ahead, ideal) / max(p["throat"], 1.0))
        mapped = maps.efficiency(
            maps.hill(c, "blower", m.blower_design, s), flow=flow, temperature=p["manifold_temperature"],
            pressure=pressure, tip=m.blower[case.gear] * case.speed, ahead=ahead,
        )  # fmt: skip
        over.append(p["geared_efficiency"] / mapped)
    else:
        over += [p["throat"] / pressure, p["geared_efficiency"]]
    if not turbo:
        return [x - 1.0 for x in (*over, p["deck_pressure"] / inlet, p["gas_flow"] / (m.nozzle * jet))]
    over += _turbo_relations(case, p, inlet=inlet, jet=jet, exhaust=exhaust)
    return [x - 1.0 for x in over]


def _turbo_relations(case: Case, p: Point, *, inlet: float, jet: float, exhaust: float) -> list[float]:
    m, a, c, s = case.machine, case.air, case.machine.c, case.slip
    total, rise, flow = a.total_temperature, p["rise"], p["air_flow"]
    delivered = total + rise
    deck_loss = s.get("cooler loss", 1.0) * m.cooler * flow**2 * delivered / p["delivery_pressure"]
    drop = exhaust * (1.0 - math.pow(a.pressure / p["back"], 1.0 - 1.0 / gas.EXHAUST_EXPONENT))
    shaft = s.get("turbine", 1.0) * c["turbine_efficiency"] * m.nozzle * jet * gas.CP_EXHAUST * drop
    mapped = maps.efficiency(
        maps.hill(c, "turbo", m.turbo_design, s), flow=flow, temperature=total, pressure=p["inlet_pressure"],
        tip=abs(p["tip_speed"]), ahead=total,
    )  # fmt: skip
    ideal = s.get("stage head", 1.0) * p["efficiency"] * rise
    escape = m.nozzle * (1.0 + s.get("leak", 1.0) * c["leak"]) + p["gate_area"]
    return [
        p["deck_temperature"] / (delivered - cooling(case) * rise),
        flow * CP_AIR * rise / shaft,
        CP_AIR * rise / (s.get("stage work", 1.0) * c["turbo_work"] * p["tip_speed"] ** 2),
        p["efficiency"] / mapped,
        p["inlet_pressure"] / inlet,
        p["delivery_pressure"] / (p["inlet_pressure"] * maps.compression(total, ideal)),
        p["deck_pressure"] / (p["delivery_pressure"] - deck_loss),
        p["gas_flow"] / (escape * jet),
    ]


def _air_flux(p: Point, temperature: float) -> float:
    return gas.air_flux(max(p["deck_pressure"], 1.0), max(p["throat"], 1.0), temperature)


def blower_rise(case: Case) -> float:
    """K through the geared stage."""
    m = case.machine
    if not m.blower:
        return 0.0
    return case.slip.get("blower work", 1.0) * m.c["blower_work"] * (m.blower[case.gear] * case.speed) ** 2 / CP_AIR


def cooling(case: Case) -> float:
    """Share of the first stage's rise that the cooler takes out."""
    still = case.machine.c["cooler_static"]
    wind = min(case.air.airspeed / COOLER_SPEED, 1.0)
    return case.slip.get("cooler", 1.0) * case.machine.effectiveness * (still + (1.0 - still) * wind)


def throttle_travel(case: Case, p: Point) -> float:
    """Travel of the throttle lever."""
    return _power(p["throttle_area"] / case.machine.throttle, 1.0 / case.machine.c["throttle_law"])


def boost_travel(case: Case, p: Point) -> float:
    """Travel of the boost lever."""
    m, c = case.machine, case.machine.c
    if m.boost_acts_on == "speed":
        return _power(p["tip_speed"] / m.full_demand, 1.0 / c["speed_law"])
    if m.boost_acts_on == "deck":
        low = c["deck_demand_low"] * gas.INCH_OF_MERCURY
        return (p["deck_pressure"] - low) / (m.full_demand - low)
    return 1.0 - _power(p["gate_area"] / m.gate, 1.0 / c["gate_law"])


def _power(value: float, exponent: float) -> float:
    return math.copysign(abs(value) ** exponent, value)


def throttle_at(area: float) -> Closure:
    """The throttle's area is given."""
    return lambda case, p: p["throttle_area"] / area - 1.0


def gate_at(area: float) -> Closure:
    """The gate's area is given."""
    return lambda case, p: (p["gate_area"] - area) / case.machine.nozzle


def tip_speed_at(speed: float) -> Closure:
    """The turbo's tip speed is given."""
    return lambda case, p: p["tip_speed"] / speed - 1.0


def deck_at(pressure: float) -> Closure:
    """The deck pressure is given."""
    return lambda case, p: p["deck_pressure"] / pressure - 1.0


def equal_levers(case: Case, p: Point) -> float:
    """Throttle and boost levers stand at one position."""
    return boost_travel(case, p) - throttle_travel(case, p)


def guess(case: Case, back: float, boost: float) -> Point:
    """A rough start: back pressure over ambient, and K of rise through the first stage."""
    m, a = case.machine, case.air
    temperature = a.total_temperature + boost + blower_rise(case)
    charge = design.heated(m.c, temperature)
    flow = case.pressure * m.displacement * case.speed / (4.0 * math.pi * gas.GAS_CONSTANT * charge)
    throat = maps.throat_pressure(
        m.c["blower_efficiency"], case.pressure, a.total_temperature + 0.5 * boost, blower_rise(case)
    )
    deck = max(1.1 * throat, 1.02 * a.total_pressure)
    jet = gas.exhaust_flux(back * a.pressure, a.pressure, design.exhaust_temperature(m.c, case.mixture))
    return {
        "filling": 1.0, "charge": charge, "manifold_temperature": temperature,
        "deck_temperature": a.total_temperature + 0.6 * boost,
        "air_flow": flow, "gas_flow": flow * (1.0 + case.mixture), "rise": boost,
        "tip_speed": math.sqrt(CP_AIR * boost / m.c["turbo_work"]), "efficiency": m.c["turbo_efficiency"],
        "inlet_pressure": a.total_pressure, "delivery_pressure": 1.02 * deck, "deck_pressure": deck, "throat": throat,
        "throttle_area": flow / max(gas.air_flux(deck, throat, a.total_temperature), 1.0),
        "gate_area": flow / jet - m.nozzle, "back": back * a.pressure, "pressure": case.pressure,
        "geared_efficiency": m.c["blower_efficiency"] if m.blower else 1.0,
    }  # fmt: skip


STARTS = ((1.3, 30.0), (1.1, 10.0), (1.7, 60.0), (2.3, 90.0), (1.04, 3.0), (3.0, 130.0))


def point(
    case: Case, closures: Sequence[Closure], *, free: Sequence[str] = (), near: Point | None = None,
    moved: Callable[[Case, Point], Case] | None = None, generic: bool = True,
) -> Point | None:  # fmt: skip
    """The point, or None where no start leads to one. ``free`` names unknowns that join, one a further closure;
    ``moved`` remakes the case from them (a height changes the air); ``generic`` starts follow ``near``."""
    names = (*(TURBO if case.machine.turbo else PLAIN), *free)
    starts = [guess(case, *s) for s in STARTS] if generic else []
    for start in [near, *starts] if near else starts:
        scale = np.array([abs(start.get(n, 1.0)) or 1.0 for n in names])
        scale[[n == "gate_area" for n in names]] = case.machine.nozzle
        if "height" in names:
            scale[names.index("height")] = 10_000.0

        def system(x: np.ndarray, scale: np.ndarray = scale) -> list[float]:
            p = dict(zip(names, (float(v) for v in x * scale), strict=True))
            here = moved(case, p) if moved else case
            try:
                return [*relations(here, p), *(closure(here, p) for closure in closures)]
            except (ValueError, ZeroDivisionError, OverflowError, TypeError):
                return [1e3] * len(x)

        first = np.array([start.get(n, 0.0) for n in names]) / scale
        with np.errstate(all="ignore"):
            found = root(system, first, method="hybr", options={"xtol": 1e-14, "maxfev": 600})
        p = dict(zip(names, (float(v) for v in found.x * scale), strict=True))
        # tip speed enters squared: a root with the wheel turning backwards mirrors the true one
        real = p["back"] > case.air.pressure and p["air_flow"] > 0.0 and p.get("tip_speed", 1.0) > 0.0
        if real and max(abs(r) for r in found.fun) < 1e-11:
            return {**_completed(case, p), "unbalanced": float(np.max(np.abs(found.fun)))}
    return None


def _completed(case: Case, p: Point) -> Point:
    if not case.machine.turbo:
        still = {
            "rise": 0.0,
            "tip_speed": 0.0,
            "deck_temperature": case.air.total_temperature,
            "gate_area": 0.0,
        }
        p = {**still, "inlet_pressure": p["deck_pressure"], "delivery_pressure": p["deck_pressure"], **p}
    return {"pressure": case.pressure, **p}


def refused(case: Case, p: Point) -> str:
    """Why a root is refused by section 5; empty when it stands."""
    m, slack = case.machine, 1e-9
    if m.turbo and p["tip_speed"] > m.limit * (1.0 + slack):
        return "turbo limit"
    if m.turbo and p["gate_area"] < -slack * m.gate:
        return "gate shut"
    if m.turbo and p["gate_area"] > m.gate * (1.0 + slack):
        return "gate open"
    # a deck pressure below the throat's takes an area beyond all bounds; in the relations it comes out negative
    if not 0.0 < p["throttle_area"] <= m.throttle * (1.0 + slack):
        return "throttle open"
    return ""


def at_height(altitude: float, case: Case, *, offset: float, humidity: float) -> Case:
    """The case at another height, all else as it is."""
    made = gas.air(
        altitude,
        airspeed=case.air.airspeed,
        recovery=case.machine.c["ram_recovery"],
        offset=offset,
        humidity=humidity,
    )
    return replace(case, air=made)
