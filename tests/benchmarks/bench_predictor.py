"""What a cold steady operating point costs: arrays at once, scipy's brentq on the same reduction, scipy's root on all
equations; and a whole prediction's worth of points.

    python tests/benchmarks/bench_predictor.py [--points 20000] [--few 200] [--repeats 5]

Processor time, in turn. The scalar sides use plain ``math``, not arrays, so that they are as fast as Python makes
them; all three solve the same two-stage engine, throttle wide open at take-off pressure, from a cold guess, to 1e-9,
and must agree.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from measurement import Row, command, of_pairs, taken_in_turn, worked
from scipy.optimize import brentq, root  # type: ignore[import-untyped]

from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.engine import Air
from leverproof.physics.predictor.expectations import Conditions, air_of, power_available, rating
from leverproof.physics.predictor.gas_path import fixed
from leverproof.physics.predictor.lanes import air_lanes, demand_lanes, engine_lanes
from leverproof.physics.predictor.points import Policy, solve_points
from leverproof.physics.predictor.settings import levers_together
from leverproof.physics.relations.gas import AIR_HEAT, EXHAUST_EXPONENT, EXHAUST_GAS_CONSTANT, EXHAUST_HEAT
from leverproof.physics.relations.similarity import KNEE_TIP_SPEED
from leverproof.sheet.loader import load_sheet

MOST_SECONDS, AGREE = 10.0, 1e-8
K = 1.33
GAS = 8314.32 / 28.9644


@dataclass(frozen=True, slots=True)
class Scalar:
    """One point's constants as plain floats, SI."""

    pa: float
    p0: float
    t0: float
    pm: float
    te: float
    nozzle: float
    throttle: float
    equal: float
    base: float
    heating: float
    cooling: float
    turbine: float
    efficiency: float
    work: float
    penalty: float
    scavenge: float
    r: float
    k_in: float
    k_cool: float
    blower: float
    blower_rise: float
    evaporation: float
    tip: float
    turbo_flow: float
    turbo_best: float
    turbo_curve: float
    blower_flow: float
    blower_best: float
    blower_curve: float


def _psi(ratio: float, k: float) -> float:
    critical = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    ratio = min(max(ratio, critical), 1.0)
    x = ratio ** (1.0 / k)
    return math.sqrt(2.0 * k / (k - 1.0) * x * max(x - ratio, 0.0))


def _filling(s: Scalar, pe: float) -> float:
    ideal = s.r / (s.r - 1.0) - (pe / s.pm + 0.4) / (1.4 * (s.r - 1.0))
    return 1.0 + s.scavenge * (ideal - 1.0)


def _turbine(s: Scalar, pe: float) -> float:
    flow = s.nozzle * pe / math.sqrt(EXHAUST_GAS_CONSTANT * s.te) * _psi(s.pa / pe, K)
    fall: float = 1.0 - (s.pa / pe) ** EXHAUST_EXPONENT
    return flow * EXHAUST_HEAT * s.te * fall * s.turbine


def _over_design(x: float, best: float, curve: float) -> float:
    return (1.0 + curve * (1.0 - best) ** 2) / (1.0 + curve * (x - best) ** 2)


def _beyond_knee(s: Scalar, tip: float, inlet: float) -> float:
    return 1.0 + s.penalty * max(tip * math.sqrt(288.15 / inlet) / KNEE_TIP_SPEED - 1.0, 0.0)


def _ratio(s: Scalar, rise: float, flow: float, p1: float) -> float:
    tip = math.sqrt(AIR_HEAT * max(rise, 0.0) / s.work)
    x = flow * GAS * s.t0 / (p1 * max(tip, 1e-6) * s.turbo_flow)
    efficiency = s.efficiency * _over_design(x, s.turbo_best, s.turbo_curve) / _beyond_knee(s, tip, s.t0)
    ratio: float = (1.0 + efficiency * rise / s.t0) ** 3.5
    return ratio


def _throat(s: Scalar, flow: float, inlet: float) -> float:
    x = flow * GAS * (inlet + s.blower_rise) / (s.pm * s.tip * s.blower_flow)
    efficiency = s.blower * _over_design(x, s.blower_best, s.blower_curve) / _beyond_knee(s, s.tip, inlet)
    throat: float = s.pm / (1.0 + efficiency * s.blower_rise / inlet) ** 3.5
    return throat


def _throttled(s: Scalar, deck: float, temperature: float, throat: float) -> float:
    sign = 1.0 if deck >= throat else -1.0
    high, low = max(deck, throat), min(deck, throat)
    return sign * s.throttle * high / math.sqrt(GAS * temperature) * _psi(low / high, 1.4)


def reduced(s: Scalar) -> Callable[[float], float]:
    """The one residual, in back pressure."""

    def residual(pe: float) -> float:
        power = _turbine(s, pe)
        asked = (
            s.equal * _filling(s, pe) - (1.0 - s.heating) * (1.0 - s.cooling) * power / AIR_HEAT
        ) / s.base
        flow = max(asked, 0.02 * s.equal / s.base)
        rise = power / (flow * AIR_HEAT)
        p1 = s.p0 - s.k_in * flow**2 * s.t0 / s.p0
        p2 = p1 * _ratio(s, rise, flow, p1)
        deck = p2 - s.k_cool * flow**2 * (s.t0 + rise) / p2
        t = s.t0 + (1.0 - s.cooling) * rise
        return _throttled(s, deck, t, _throat(s, flow, t - s.evaporation)) / flow - 1.0

    return residual


def full(s: Scalar, scale: list[float]) -> Callable[[np.ndarray], list[float]]:
    """All eight equations; unknowns back pressure, flow, rise, inlet, delivery, deck pressure, deck temperature,
    throat pressure, over ``scale``."""

    def residuals(u: np.ndarray) -> list[float]:
        pe, flow, rise, p1, p2, deck, t, throat = (
            max(float(a), 1e-3) * b for a, b in zip(u, scale, strict=True)
        )
        pe = max(pe, s.pa)
        charge = s.base + (1.0 - s.heating) * (t - s.t0)
        return [
            s.equal * _filling(s, pe) / charge / flow - 1.0,
            _turbine(s, pe) / (flow * AIR_HEAT * rise) - 1.0,
            (s.p0 - s.k_in * flow**2 * s.t0 / s.p0) / p1 - 1.0,
            p1 * _ratio(s, rise, flow, p1) / p2 - 1.0,
            (p2 - s.k_cool * flow**2 * (s.t0 + rise) / p2) / deck - 1.0,
            (s.t0 + (1.0 - s.cooling) * rise) / t - 1.0,
            _throat(s, flow, max(t - s.evaporation, 1.0)) / throat - 1.0,
            _throttled(s, deck, t, throat) / flow - 1.0,
        ]

    return residuals


def _points(count: int):  # type: ignore[no-untyped-def]
    sheet = load_sheet("corrie-18-early")
    sampled = sampled_engine(sheet, samples=count, seed=11)
    heights = np.random.default_rng(4).uniform(10_000.0, 17_000.0, (count, 1))
    mask = np.ones((count, 1), dtype=np.bool_)
    demand = rating(sheet, sampled, "takeoff")
    assert demand is not None
    air: Air = air_of(sampled, Conditions(), heights)
    return engine_lanes(sampled.engine, mask), air_lanes(air, mask), demand_lanes(demand, mask)


def _scalars(engine, air, demand, count: int) -> list[Scalar]:  # type: ignore[no-untyped-def]
    p, c = fixed(engine, air, demand), engine.c
    columns = (
        air.pressure, air.total_pressure, air.total_temperature, demand.manifold_pressure, p.gas_temperature,
        engine.exhaust_area, engine.throttle_area, p.equal_flow, p.base_temperature, c["wall_heating"], p.cooling,
        c["turbine_efficiency"], c["turbo_efficiency"], c["turbo_work"], c["tip_speed_penalty"], c["scavenge"],
        engine.compression_ratio, engine.intake_loss, engine.cooler_loss,
        c["blower_efficiency"], p.blower_rise, p.evaporation, p.blower_tip_speed,
        engine.turbo_design_flow, c["turbo_best_flow"], c["turbo_flow_curvature"],
        engine.blower_design_flow, c["blower_best_flow"], c["blower_flow_curvature"],
    )  # fmt: skip
    return [Scalar(*(float(column[i]) for column in columns)) for i in range(count)]


def _by_brentq(points: list[Scalar]) -> list[float]:
    found = []
    for s in points:
        residual, high = reduced(s), 1.3 * s.pa
        while residual(high) < 0.0:
            high = s.pa + 2.0 * (high - s.pa)
        found.append(float(brentq(residual, s.pa, high, xtol=1e-7, rtol=1e-12)))
    return found


def _by_root(points: list[Scalar]) -> tuple[list[float], int]:
    found, lost = [], 0
    for s in points:
        guess = [1.4 * s.pa, s.equal / s.base, 40.0, s.p0, 1.3 * s.p0, 1.3 * s.p0, s.t0 + 20.0, s.pm / 2.2]
        answer = root(full(s, guess), np.ones(8), method="hybr", options={"xtol": 1e-11})
        good = answer.success and max(abs(v) for v in answer.fun) < 1e-9
        lost += not good
        found.append(float(answer.x[0]) * guess[0] if good else math.nan)
    return found, lost


def _whole(samples: int) -> None:
    """Seven altitudes and two lever policies, sampling and calibration included."""
    sheet = load_sheet("corrie-18-early")
    sampled = sampled_engine(sheet, samples=samples, seed=1)
    heights = np.array([[0.0, 5e3, 1e4, 1.25e4, 1.5e4, 1.75e4, 2e4]])
    power_available(sheet, sampled, heights)
    demand = rating(sheet, sampled, "takeoff")
    assert demand is not None
    levers_together(sampled.engine, air_of(sampled, Conditions(), heights), demand, work=sampled.work)


def _agree(ours: np.ndarray, scalars: list[Scalar]) -> str:
    """All three ways give one answer, or ValueError; how far apart they are, in words."""
    one, (other, lost) = np.array(_by_brentq(scalars)), _by_root(scalars)
    apart = max(float(np.nanmax(np.abs(ours / each - 1.0))) for each in (one, np.array(other)))
    if not apart <= AGREE:
        raise ValueError(f"the three ways differ by {apart:.1e}")
    return f"apart by {apart:.0e} at most, root lost {lost} of {len(scalars)}"


def rows(asked: argparse.Namespace) -> Iterator[Row]:
    count, few, samples = (200, 5, 100) if asked.quick else (asked.points, asked.few, 3_000)
    engine, air, demand = _points(count)
    scalars = _scalars(engine, air, demand, few)
    policy = Policy("throttle", engine.throttle_area)
    note = _agree(solve_points(engine, air, demand, policy).state.back_pressure[:few], scalars)
    sides: list[Callable[[], object]] = [
        partial(solve_points, engine, air, demand, policy), partial(_by_brentq, scalars), partial(_by_root, scalars),
        partial(_whole, samples),
    ]  # fmt: skip
    rounds = taken_in_turn([partial(worked, side) for side in sides], asked.repeats)
    each = [(a / count, b / few, c / few, d) for a, b, c, d in rounds]
    arrays = f"arrays, {count:,} points at once"
    yield of_pairs(f"predictor, a cold operating point, {arrays}", [1e6 * point[0] for point in each], "us")
    yield of_pairs(
        "a cold operating point by scipy's brentq, one after another",
        [p[1] / p[0] for p in each],
        "x",
        arrays,
        note=note,
    )
    yield of_pairs(
        "a cold operating point by scipy's root on all equations", [p[2] / p[0] for p in each], "x", arrays
    )
    what = f"a whole prediction: {samples:,} samples x 7 altitudes x 2 lever policies"
    yield of_pairs(what, [p[3] for p in each], "s", at_most=MOST_SECONDS)


def options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--points", type=int, default=20_000)
    parser.add_argument("--few", type=int, default=200)


if __name__ == "__main__":
    sys.exit(command(rows, __doc__, 5, options))
