"""Numbers of the predictor that a published statement speaks of: medians over samples, on invented sheets."""

from __future__ import annotations

from functools import cache

import numpy as np

from leverproof.atmosphere import pressure_at_feet, temperature_at_feet
from leverproof.physics.predictor.bands import band
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.coefficients import COEFFICIENTS, Array
from leverproof.physics.predictor.design import Sampled
from leverproof.physics.predictor.engine import Demand
from leverproof.physics.predictor.expectations import Conditions, air_of, demand_of, power_available, predict
from leverproof.physics.predictor.heights import manifold_pressure_at
from leverproof.physics.predictor.points import Points, Policy, solve_points, throttle_first
from leverproof.physics.predictor.power import Power, power_of
from leverproof.physics.relations.breathing import vapour_pressure
from leverproof.physics.relations.combustion import mixture_power_ratio
from leverproof.physics.relations.friction import friction_mean_effective_pressure
from leverproof.quantities import convert

from .invented import GEARED, LIGHT, NORMALISED, TWO_STAGE

SAMPLES, SEED = 200, 5
_INHG = convert(1.0, "inHg", "Pa")


@cache
def sampled_of(kind: str) -> Sampled:
    """The samples of an invented sheet."""
    sheets = {"light": LIGHT, "geared": GEARED, "normalised": NORMALISED, "two stage": TWO_STAGE}
    return sampled_engine(sheets[kind], samples=SAMPLES, seed=SEED)


def _median(values: Array, sampled: Sampled) -> float:
    return band(values, sampled.weight).median


def _point(
    sampled: Sampled,
    pressure: float,
    height: float,
    *,
    speed: float = 0.9,
    offset: float = 0.0,
    humidity: float = 0.0,
) -> tuple[Points, Power, Demand]:
    """Point and power at a manifold pressure in inHg, a share of rated rpm and a height in ft, static."""
    demand = demand_of(sampled, pressure * _INHG, speed * sampled.engine.rated_speed)
    air = air_of(sampled, Conditions(airspeed=0.0, offset=offset, humidity=humidity), height)
    points = throttle_first(sampled.engine, air, demand)
    return points, power_of(sampled.engine, air, demand, points.state, work=sampled.work), demand


def climb_gain(kind: str, pressure: float, low: float, high: float, *, speed: float = 0.9) -> float:
    """Gain of brake power at constant manifold pressure and rpm, per cent a 1,000 ft, compound."""
    sampled = sampled_of(kind)
    (_, a, _), (_, b, _) = (_point(sampled, pressure, h, speed=speed) for h in (low, high))
    return _median(100.0 * ((b.brake / a.brake) ** (1_000.0 / (high - low)) - 1.0), sampled)


def full_throttle_share(feet: float) -> float:
    """Full-throttle power over that at sea level, unsupercharged, rated rpm."""
    sampled = sampled_of("light")
    heights = np.array([[0.0, feet]])
    power = power_available(LIGHT, sampled, heights, conditions=Conditions(airspeed=0.0)).power.brake
    return _median(power[:, [1]] / power[:, [0]], sampled)


def indicated_slope() -> float:
    """Log-log slope of indicated power against barometric pressure, full throttle, one temperature, fixed rpm."""
    sampled = sampled_of("light")
    logs = []
    for height in (0.0, 12_000.0):
        offset = float(temperature_at_feet(0.0)) - float(temperature_at_feet(height))
        air = air_of(sampled, Conditions(airspeed=0.0, offset=offset), height)
        demand = demand_of(sampled, sampled.engine.rated_pressure, sampled.engine.rated_speed)
        held = manifold_pressure_at(
            sampled.engine, air, demand, Policy("gate"), area=sampled.engine.throttle_area
        ).x
        asked = demand_of(sampled, held, sampled.engine.rated_speed)
        # the mixture is that of full load, as in a test that varies pressure alone
        asked = Demand(asked.manifold_pressure, asked.engine_speed, demand.fuel_air_ratio)
        points = solve_points(sampled.engine, air, asked, Policy("gate"))
        power = power_of(sampled.engine, air, asked, points.state, work=sampled.work)
        logs.append((np.log(power.indicated), np.log(float(np.asarray(air.pressure)))))
    (i1, p1), (i2, p2) = logs
    return _median((i2 - i1) / (p2 - p1), sampled)


def friction_exponent() -> float:
    """Exponent of friction power in rpm between 1,400 and 2,600 rpm at one density."""
    c = sampled_of("light").engine.c

    def power(rpm: float) -> Array:
        speed = convert(rpm, "rpm", "rad/s")
        mean = friction_mean_effective_pressure(
            speed,
            constant=c["friction_constant"],
            per_speed=c["friction_speed"],
            load=1.0,
            load_share=c["friction_load"],
        )
        return np.asarray(mean) * speed

    return _median(np.log(power(2_600.0) / power(1_400.0)) / np.log(2_600.0 / 1_400.0), sampled_of("light"))


def humidity_share(feet: float) -> float:
    """Loss of indicated power over the share of vapour in the air at 80 % humidity, part throttle."""
    sampled = sampled_of("light")
    (_, dry, _), (_, wet, _) = (_point(sampled, 10.0, feet, humidity=h) for h in (0.0, 0.8))
    vapour = float(vapour_pressure(0.8, temperature_at_feet(feet))) / float(pressure_at_feet(feet))
    return _median((1.0 - wet.indicated / dry.indicated) / vapour, sampled)


def best_power_ratio() -> float:
    """Fuel-air ratio of the most indicated power."""
    ratios = np.linspace(0.055, 0.11, 5_501)
    power = np.asarray(mixture_power_ratio(ratios, best=COEFFICIENTS["best_power_ratio"].middle))
    return float(ratios[np.argmax(power)])


def consumption_at_95_per_cent() -> float:
    """Fuel per brake power, where leaning leaves 95 % of the most, over the least there is; 23 inHg, unsupercharged."""
    sampled = sampled_of("light")
    engine = sampled.engine
    air = air_of(sampled, Conditions(airspeed=0.0), 2_000.0)
    held = demand_of(sampled, 23.0 * _INHG, 0.85 * engine.rated_speed)
    ratios = np.linspace(0.055, 0.09, 141)
    found = []
    for ratio in ratios:
        demand = Demand(held.manifold_pressure, held.engine_speed, np.full_like(engine.rated_speed, ratio))
        points = solve_points(engine, air, demand, Policy("gate"))
        found.append(
            (
                power_of(engine, air, demand, points.state, work=sampled.work).brake,
                points.state.air_flow * ratio,
            )
        )
    power, fuel = (np.hstack(part) for part in zip(*found, strict=True))
    share, specific = power / power.max(axis=1, keepdims=True), fuel / power
    lean = np.argmax(share >= 0.95, axis=1)
    at_95 = specific[np.arange(lean.size), lean][:, None]
    return _median(at_95 / specific.min(axis=1, keepdims=True), sampled)


def mixture_end(lean: bool) -> float:
    """The leanest auto-lean or the richest full-rich fuel-air ratio of all samples and loads."""
    from leverproof.physics.predictor.engine import fuel_air_ratio

    c = sampled_of("light").engine.c
    loads = np.linspace(0.2, 1.0, 9)[None, :]
    found = fuel_air_ratio(c, "auto_lean" if lean else "full_rich", load=loads)
    return float(found.min() if lean else found.max())


def hot_day_coefficient(height: float) -> float:
    """Loss of manifold pressure per K of a geared stage, throttle wide open, fuel evaporating ahead of it."""
    sampled = sampled_of("geared")
    engine = sampled.engine
    demand = demand_of(sampled, 36.0 * _INHG, engine.rated_speed)
    held = []
    for offset in (-5.0, 5.0):
        air = air_of(sampled, Conditions(airspeed=0.0, offset=offset), height)
        held.append(manifold_pressure_at(engine, air, demand, Policy("gate"), area=engine.throttle_area).x)
    return _median((held[0] - held[1]) / (0.5 * (held[0] + held[1])) / 10.0, sampled)


def gate_closed_at_critical_altitude() -> float:
    """One less the waste gate's opening a foot below the critical altitude, where the gate is what limits."""
    still, name = Conditions(airspeed=0.0), "critical_altitude.climb"
    found = predict(TWO_STAGE, (), conditions=still, samples=1, seed=SEED, names=(name,))
    engine = found.sampled.engine
    demand = demand_of(found.sampled, 38.0 * _INHG, convert(2_450.0, "rpm", "rad/s"))
    air = air_of(found.sampled, still, found.expectations[name].median - 1.0)
    points = solve_points(engine, air, demand, Policy("throttle", engine.throttle_area))
    return 1.0 - float(points.gate_area[0, 0] / engine.gate_area[0, 0])


def critical_altitude_ratio() -> float:
    """Critical altitude at take-off pressure over that at climb pressure."""
    names = ("critical_altitude.takeoff", "critical_altitude.climb")
    found = predict(TWO_STAGE, (), samples=SAMPLES, seed=SEED, names=names).expectations
    return found[names[0]].median / found[names[1]].median


def normalised_share(feet: float) -> float:
    """Power of a turbo-normalised engine without cooler, take-off pressure held, over that at sea level."""
    sampled = sampled_of("normalised")
    (_, low, _), (_, high, _) = (_point(sampled, 29.5, h, speed=1.0) for h in (0.0, feet))
    return _median(high.brake / low.brake, sampled)


def back_pressure_cost(pressure: float, height: float) -> float:
    """Per cent of brake power that one inHg of exhaust back pressure costs at one manifold pressure, one charge
    temperature: filling and pumping, unsupercharged."""
    sampled = sampled_of("light")
    engine = sampled.engine
    demand = demand_of(sampled, pressure * _INHG, 0.85 * engine.rated_speed)
    powers = []
    for feet in (height, height + 1_000.0):
        offset = float(temperature_at_feet(height)) - float(temperature_at_feet(feet))
        air = air_of(sampled, Conditions(airspeed=0.0, offset=offset), feet)
        points = solve_points(engine, air, demand, Policy("gate"))
        power = power_of(engine, air, demand, points.state, work=sampled.work)
        powers.append((power.brake, points.state.back_pressure / _INHG))
    (a, pa), (b, pb) = powers
    return _median(100.0 * (b - a) / a / (pa - pb), sampled)
