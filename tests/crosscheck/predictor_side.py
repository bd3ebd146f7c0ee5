"""The other side: asks the predictor for the same points, and measures how far the two answers lie apart.

The only file of the comparison, besides the tests, that knows the harness.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.design import Sampled
from leverproof.physics.predictor.engine import Engine, air_at
from leverproof.physics.predictor.expectations import demand_of
from leverproof.physics.predictor.points import Policy, solve_points
from leverproof.physics.predictor.power import power_of

from . import independent_gas as gas
from . import independent_point as ip
from .independent_machine import Machine, machines
from .independent_power import power
from .sheets import PAPERS

TOLERANCE = 1e-6
FIELDS = {
    "back": "back_pressure",
    "air_flow": "air_flow",
    "gas_flow": "gas_flow",
    "rise": "compressor_rise",
    "tip_speed": "tip_speed",
    "inlet_pressure": "inlet_pressure",
    "delivery_pressure": "delivery_pressure",
    "deck_pressure": "deck_pressure",
    "deck_temperature": "deck_temperature",
    "throat": "throat_pressure",
    "manifold_temperature": "manifold_temperature",
    "charge": "charge_temperature",
    "filling": "filling",
}
STAGES = {"efficiency": "turbo_efficiency", "geared_efficiency": "blower_efficiency"}  # fmt: skip
POWERS = ("indicated", "pumping", "friction", "drive", "derate", "brake", "per_air")
KINDS = {
    "two_stage": ("throttle", "gate", "speed", "deck", "coupled"),
    "two_stage_bare": ("throttle", "gate", "coupled"),
    "two_stage_speed": ("speed", "coupled", "throttle"),
    "two_stage_fast": ("gate", "speed"),
    "two_stage_deck": ("deck", "coupled", "throttle"),
    "turbo_normalised": ("throttle", "gate", "speed"),
}
SHEETS_AND_KINDS = [(name, kind) for name in PAPERS for kind in KINDS.get(name, ("gate",))]


@dataclass(frozen=True, slots=True)
class Asked:
    """Random points, one a sample: conditions, demand and what the policy holds."""

    altitude: np.ndarray
    offset: np.ndarray
    airspeed: np.ndarray
    humidity: np.ndarray
    pressure: np.ndarray
    speed: np.ndarray
    value: np.ndarray
    mixture: str
    gear: int
    kind: str


def column(values: Any) -> np.ndarray:
    """Shape (samples, 1)."""
    return np.asarray(values, dtype=float).reshape(-1, 1)


def asked(made: list[Machine], kind: str, rng: np.random.Generator) -> Asked:
    """A random point for every sample."""
    n = len(made)
    held = {
        "throttle": np.array([m.throttle for m in made]) * rng.uniform(0.5, 1.0, n),
        "gate": np.array([m.gate for m in made]) * rng.uniform(0.0, 1.0, n),
        "speed": np.array([m.limit if m.turbo else 0.0 for m in made]) * rng.uniform(0.5, 1.0, n),
        "deck": rng.uniform(24.0, 36.0, n) * gas.INCH_OF_MERCURY,
        "coupled": np.zeros(n),
    }
    return Asked(
        altitude=rng.uniform(0.0, 25_000.0, n),
        offset=rng.uniform(-20.0, 30.0, n),
        airspeed=rng.uniform(0.0, 130.0, n),
        humidity=rng.uniform(0.0, 1.0, n),
        pressure=np.array([m.rated_pressure for m in made]) * rng.uniform(0.6, 1.0, n),
        speed=np.array([m.rated_speed for m in made]) * rng.uniform(0.7, 1.0, n),
        value=held[kind],
        mixture=str(rng.choice(["auto_rich", "auto_lean", "full_rich"])),
        gear=int(rng.integers(len(made[0].blower) or 1)),
        kind=kind,
    )


def closure(ask: Asked, index: int) -> ip.Closure:
    """The policy of a sample as an equation."""
    made: dict[str, Callable[[float], ip.Closure]] = {
        "throttle": ip.throttle_at, "gate": ip.gate_at, "speed": ip.tip_speed_at, "deck": ip.deck_at,
    }  # fmt: skip
    return ip.equal_levers if ask.kind == "coupled" else made[ask.kind](float(ask.value[index]))


def case_of(ask: Asked, made: list[Machine], index: int, slip: gas.Slips = gas.EXACT) -> ip.Case:
    """A sample's point for the independent computation."""
    m, pressure, speed = made[index], float(ask.pressure[index]), float(ask.speed[index])
    air = gas.air(
        float(ask.altitude[index]),
        airspeed=float(ask.airspeed[index]),
        recovery=m.c["ram_recovery"],
        offset=float(ask.offset[index]),
        humidity=float(ask.humidity[index]),
        slip=slip,
    )
    return ip.Case(m, air, pressure, speed, ip.mixture_of(m, pressure, speed, ask.mixture, slip), ask.gear, slip)


def predictor_points(sampled: Sampled, ask: Asked, engine: Engine | None = None) -> list[dict[str, float] | None]:
    """The predictor's points, one a sample; None where it refuses."""
    engine = sampled.engine if engine is None else engine
    air = air_at(
        column(ask.altitude),
        airspeed=column(ask.airspeed),
        ram_recovery=engine.c["ram_recovery"],
        offset=column(ask.offset),
        humidity=column(ask.humidity),
    )
    demand = demand_of(
        replace(sampled, engine=engine),
        column(ask.pressure),
        column(ask.speed),
        mixture=ask.mixture,
        gear=ask.gear,
    )
    found = solve_points(engine, air, demand, Policy(ask.kind, column(ask.value)))
    shape = found.reason.shape
    got: dict[str, Any] = {ours: getattr(found.state, theirs) for ours, theirs in FIELDS.items()}
    got |= {"throttle_area": found.throttle_area, "pressure": column(ask.pressure)}
    stages = [
        *(["efficiency"] if engine.has_turbo else []),
        *(["geared_efficiency"] if engine.blower_tip else []),
    ]
    got |= {name: getattr(found.state, STAGES[name]) for name in stages}
    if engine.has_turbo:
        got["gate_area"] = found.gate_area
    parts = power_of(engine, air, demand, found.state, work=sampled.work)
    got |= {f"power {name}": getattr(parts, name) for name in POWERS}
    flat = {name: np.broadcast_to(values, shape)[:, 0] for name, values in got.items()}
    return [
        None if found.reason[i, 0] else {name: float(values[i]) for name, values in flat.items()}
        for i in range(shape[0])
    ]


def with_powers(case: ip.Case, p: ip.Point, work: float) -> dict[str, float]:
    """The independent point, its power with it."""
    parts = power(case, p, work)
    return {**p, **{f"power {name}": getattr(parts, name) for name in POWERS}}


def apart(case: ip.Case, mine: dict[str, float], theirs: dict[str, float]) -> dict[str, float]:
    """Relative difference of every quantity both sides have.

    Areas are over their full size where they are small, parts of the power over a thousandth of indicated power.
    """
    least = {"gate_area": case.machine.gate, "rise": 0.1, "tip_speed": 1.0}
    found = {}
    for name, value in theirs.items():
        floor = least.get(name, 1e-3 * theirs["power indicated"] if name.startswith("power ") else 1e-12)
        found[name] = abs(mine[name] - value) / max(abs(value), floor)
    return found


@cache
def both(name: str, count: int, seed: int) -> tuple[Sampled, list[Machine]]:
    """The samples of a sheet by either side."""
    return sampled_engine(PAPERS[name], samples=count, seed=seed), machines(PAPERS[name], count, seed)
