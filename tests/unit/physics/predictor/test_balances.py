"""Solved points balance by their own relations: each side computed on its own, residuals printed."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.design import Sampled
from leverproof.physics.predictor.engine import Air, Demand, Engine
from leverproof.physics.predictor.expectations import Conditions, air_of, demand_of
from leverproof.physics.predictor.gas_path import State
from leverproof.physics.predictor.points import OK, Points, Policy, solve_points
from leverproof.physics.predictor.settings import throttle_first_or_limit
from leverproof.physics.relations import compression, flow, similarity
from leverproof.physics.relations.breathing import charge_flow
from leverproof.physics.relations.gas import AIR_HEAT, EXHAUST_GAS_CONSTANT, EXHAUST_HEAT, EXHAUST_HEAT_RATIO

SheetOf = Callable[[str], Any]
ALTITUDES = np.array([[0.0, 8_000.0, 16_000.0, 24_000.0]])
ARRANGEMENTS = ("unsupercharged", "geared_one_speed", "geared_two_speed", "turbo_normalised", "two_stage")


def _solved(sheet: Any, pressure: float = 0.7) -> tuple[Sampled, Air, Demand, Points]:
    sampled = sampled_engine(sheet, samples=120, seed=3)
    demand = demand_of(sampled, pressure * sampled.engine.rated_pressure, 0.95 * sampled.engine.rated_speed)
    air = air_of(sampled, Conditions(), ALTITUDES)
    setting = throttle_first_or_limit(sampled.engine, air, demand, work=sampled.work)
    return sampled, air, setting.demand, setting.points


def _worst(name: str, left: Any, right: Any) -> float:
    with np.errstate(invalid="ignore"):
        worst = float(np.nanmax(np.abs(np.asarray(left) / np.asarray(right) - 1.0)))
    print(f"{name}: largest relative residual {worst:.1e}")
    return worst


def _balances(engine: Engine, air: Air, demand: Demand, points: Points) -> dict[str, float]:
    s: State = points.state
    c = engine.c
    swept = charge_flow(
        demand.manifold_pressure, s.charge_temperature, demand.engine_speed, displacement=1.0,
        volumetric_efficiency=c["volumetric"] * s.filling,
    )  # fmt: skip
    hot = c["gas_temperature"] - c["gas_slope"] * np.abs(demand.fuel_air_ratio - 0.067)
    exhaust = engine.exhaust_area + (engine.exhaust_area * c["leak"] + points.gate_area if engine.has_turbo else 0.0)
    out = flow.orifice_flow(
        exhaust,
        s.back_pressure,
        hot,
        air.pressure,
        heat_ratio=EXHAUST_HEAT_RATIO,
        gas_constant=EXHAUST_GAS_CONSTANT,
    )
    throttled = flow.orifice_flow(points.throttle_area, s.deck_pressure, s.deck_temperature, s.throat_pressure)
    found = {
        "mass, cylinders": _worst("mass, cylinders", swept * engine.displacement, s.air_flow),
        "mass, throttle": _worst("mass, throttle", throttled, s.air_flow),
        "mass, exhaust": _worst("mass, exhaust", out, s.air_flow * (1.0 + demand.fuel_air_ratio)),
    }
    if engine.has_turbo:
        fall = compression.expansion_drop(hot, s.back_pressure / air.pressure, efficiency=c["turbine_efficiency"])
        gained = compression.turbine_power(s.nozzle_flow, fall, heat=EXHAUST_HEAT)
        spent = compression.compressor_power(s.air_flow, s.delivery_temperature - air.total_temperature)
        found["energy, turbo shaft"] = _worst("energy, turbo shaft", gained, spent)
        ratio = s.delivery_pressure / s.inlet_pressure
        ideal = compression.compression_rise(air.total_temperature, ratio, efficiency=1.0)
        told = similarity.stage_head_coefficient(c["turbo_work"], s.turbo_efficiency)
        met = compression.head_coefficient(ratio, air.total_temperature, s.tip_speed, heat=AIR_HEAT)
        found["head"] = _worst("head", met * np.square(s.tip_speed), AIR_HEAT * np.asarray(ideal))
        found["head of the map"] = _worst("head of the map", met, told)
    if engine.blower_tip:
        tip = engine.blower_tip[demand.gear] * demand.engine_speed
        rise = compression.work_temperature_rise(c["blower_work"], tip)
        found["energy, geared stage"] = _worst("geared", s.manifold_temperature - s.blower_inlet_temperature, rise)
        ratio = demand.manifold_pressure / s.throat_pressure
        needed = compression.compression_rise(
            s.blower_inlet_temperature, ratio, efficiency=_blower_efficiency(engine, demand, s)
        )
        found["head, geared stage"] = _worst("head, geared stage", needed, rise)
    return found


def _blower_efficiency(engine: Engine, demand: Demand, s: State) -> Any:
    """By the map, its numbers worked out from the finished point: volume flow at the outlet over that at take-off."""
    c = engine.c
    tip = engine.blower_tip[demand.gear] * demand.engine_speed
    through = similarity.flow_coefficient(s.air_flow, s.manifold_temperature, demand.manifold_pressure, tip)
    found = similarity.stage_efficiency(
        c["blower_efficiency"], through / engine.blower_design_flow,
        similarity.tip_mach_number(tip, s.blower_inlet_temperature), curvature=c["blower_flow_curvature"],
        best=c["blower_best_flow"], penalty=c["tip_speed_penalty"],
    )  # fmt: skip
    assert _worst("efficiency, geared stage", found, s.blower_efficiency) < 1e-12
    return found


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_mass_and_energy_balance(arrangement: str, sheet_of: SheetOf) -> None:
    sampled, air, demand, points = _solved(sheet_of(arrangement))
    assert (points.reason == OK).sum() > 100
    for name, worst in _balances(sampled.engine, air, demand, points).items():
        assert worst < 1e-9, name
    assert float(np.nanmax(points.residual)) < 1e-9
    if sampled.engine.has_turbo:
        # gate and throttle area follow from the flows, so one of them must come out as what was held
        gate = np.abs(points.gate_area / sampled.engine.gate_area - 1.0)
        throttle = np.abs(points.throttle_area / sampled.engine.throttle_area - 1.0)
        limit = np.abs(points.state.tip_speed / (sampled.engine.turbo_limit * sampled.engine.turbo_radius) - 1.0)
        held = np.fmin(np.fmin(gate, throttle), limit)
        print(f"held area: {np.nanmax(held):.1e}")
        assert np.nanmax(held) < 1e-8


def test_a_coupled_point_has_equal_levers_and_balances(sheet_of: SheetOf) -> None:
    sampled = sampled_engine(sheet_of("two_stage"), samples=120, seed=3)
    engine = sampled.engine
    demand = demand_of(sampled, 0.9 * engine.rated_pressure, engine.rated_speed)
    air = air_of(sampled, Conditions(), ALTITUDES[:, :2])
    points = solve_points(engine, air, demand, Policy("coupled"))
    good = points.reason == OK
    assert good.mean() > 0.8
    throttle = (points.throttle_area / engine.throttle_area) ** (1.0 / engine.c["throttle_law"])
    opening = (1.0 - points.lever) ** engine.c["gate_law"]
    assert _worst("throttle lever", throttle, points.lever) < 1e-8
    assert _worst("gate", opening * engine.gate_area, points.gate_area) < 1e-6
    for name, worst in _balances(engine, air, demand, points).items():
        assert worst < 1e-9, name


def test_brake_power_is_the_sum_of_its_parts_in_the_trade_units(sheet_of: SheetOf) -> None:
    from leverproof.physics.predictor.power import power_of

    sampled, air, demand, points = _solved(sheet_of("two_stage"))
    found = power_of(sampled.engine, air, demand, points.state, work=sampled.work)
    inches, rpm = sampled.engine.displacement / 0.0254**3, demand.engine_speed * 30.0 / math.pi
    psi = sampled.engine.c["pumping"] * (points.state.back_pressure - demand.manifold_pressure) / 6_894.757293168
    pumping = psi * inches * rpm / 792_000.0 * 745.69987158
    assert _worst("pumping by 792,000", pumping, found.pumping) < 1e-8
