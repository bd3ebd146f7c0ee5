"""Hand checks of single relations and of the balances at a steady state."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof_adapters.reference_engine import dynamics, gas_path
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.components import honest
from leverproof_adapters.reference_engine.cylinder import mixture_strength
from leverproof_adapters.reference_engine.parameters import (
    CORRIE_18_EARLY,
    SETS,
    Parameters,
    coefficient_names,
)
from leverproof_adapters.reference_engine.state import Air, Levers, Point, State
from leverproof_adapters.reference_engine.surroundings import surroundings

Rigs = Callable[..., Any]
P = CORRIE_18_EARLY
AIR_CONSTANT = 8314.32 / 28.9644


def exact_flow_function(ratio: float, k: float) -> float:
    """Saint-Venant and Wantzel's nozzle function over its choked value."""
    critical = (2 / (k + 1)) ** (k / (k - 1))
    r = max(ratio, critical)

    def flow(x: float) -> float:
        return math.sqrt(max(x ** (2 / k) - x ** ((k + 1) / k), 0.0))

    return flow(r) / flow(critical)


@pytest.mark.parametrize("drawn", [0.05, 0.3, 0.6, 0.9, 1.2])
def test_throttle_passes_the_flow_the_pump_draws(drawn: float) -> None:
    upstream, conductance = 1.0e5, 2.0e-5
    slope = drawn * conductance
    found = gas_path.restriction(np.array([conductance]), np.array([slope]), np.zeros(1), np.array([upstream]))[0]
    exact = conductance * upstream * exact_flow_function(found / upstream, 1.4)
    assert slope * found == pytest.approx(exact, rel=0.02)


def test_throttle_without_flow_has_no_drop_and_choked_flow_is_independent_of_the_pump() -> None:
    full, none = np.array([1e5]), np.zeros(1)
    assert gas_path.restriction(np.array([2e-5]), none, none, full)[0] == pytest.approx(1e5)
    flows = [k * gas_path.restriction(np.array([2e-5]), np.array([k]), none, full)[0] for k in (1e-4, 3e-4)]
    assert flows[0] == pytest.approx(flows[1]) == pytest.approx(2.0)


@pytest.mark.parametrize("back", [1.0, 1.05, 1.3, 1.7, 2.5])
def test_exhaust_opening_passes_its_flow(back: float) -> None:
    ambient, area, temperature = 6.0e4, 0.02, 1100.0
    choked = math.sqrt(4 / 3 / 287.0531) * (6 / 7) ** 3.5
    flow = choked * area * back * ambient / math.sqrt(temperature) * exact_flow_function(1 / back, 4 / 3)
    found = gas_path.outflow_pressure(
        np.array([flow]), np.array([math.sqrt(temperature)]), np.array([choked * area]), np.array([ambient])
    )[0]
    assert found / ambient - 1 == pytest.approx(back - 1, rel=0.05, abs=1e-9)


def test_isentropic_ratio_is_the_adiabatic_law() -> None:
    ratio = np.array([0.8, 1.0, 1.2, 1.5])
    assert gas_path.pressure_ratio(ratio) == pytest.approx(ratio**3.5, rel=1e-12)


def test_mixture_strength_peaks_at_best_power_and_dies_outside_the_combustible_range() -> None:
    ratios = np.array([0.0, 0.045, 0.06, 0.0775, 0.10, 0.14])
    found = mixture_strength(Coefficients(P), ratios)
    assert found[[0, 1, 5]] == pytest.approx(0.0, abs=1e-12)
    assert found[3] == pytest.approx(1.0) and found[2] == pytest.approx(0.89, abs=0.01)
    assert found[4] == pytest.approx(0.957, abs=0.01)


def test_humidity_takes_its_vapour_pressure() -> None:
    zero, wet = np.zeros(1), np.array([0.8])
    air = surroundings(P, zero, zero, wet, zero)
    assert 1.0 - air.dry_share[0] == pytest.approx(0.403 / 29.92126, rel=0.01)


def test_every_coefficient_names_its_source() -> None:
    assert len(coefficient_names()) > 70
    assert all(P.source(name) for name in coefficient_names())


def settled(variant: str) -> tuple[Any, State, Levers, Air, Point]:
    """A steady point of two lanes at height, with the evaluation behind it."""
    build = honest(SETS[variant])
    levers = Levers()
    place = {"throttle": [1.0, 0.7], "boost": [0.35, 0.3], "propeller": [1.0, 0.7], "mixture": [2.0, 1.0]}
    for name in Levers.__slots__:
        setattr(levers, name, np.array(place.get(name, [0.0, 0.0])))
    levers.intercooler_shutter = np.array([1.0, 0.4])
    air = surroundings(
        build.parameters,
        np.array([15_000.0, 11_000.0]),
        np.zeros(2),
        np.array([0.3, 0.0]),
        np.array([170.0, 140.0]),
    )
    state = dynamics.starting_state(build.parameters, np.ones(2), levers, air)
    pace = dynamics.pace(build, 1800)
    for _ in range(3600):
        dynamics.step(build, state, levers, air, pace)
    return build, state, levers, air, build.evaluate(state, levers, air)


def turbo_balances(p: Parameters, s: State, air: Air, x: Point) -> None:
    """Energy of compressor, turbine and bearings at a steady state."""
    heat_to_air = x.air_flow * 1004.5 * (x.outlet_temperature - air.ram_temperature)
    compressor = x.compressor_torque * s.turbo
    assert compressor == pytest.approx(heat_to_air, rel=0.05)
    turbine = x.turbine_torque * s.turbo
    bearings = (p.turbo_drag * s.turbo + p.turbo_drag_constant) * s.turbo
    assert turbine == pytest.approx(compressor + bearings, rel=1e-5)
    available = x.gas_flow * 4 * 287.0531 * s.gas_temperature * (1 - (air.pressure / s.collector) ** 0.25)
    assert np.all(turbine < p.turbine_efficiency * available)
    ideal = 1004.5 * air.ram_temperature * ((x.deck_pressure / air.ram_pressure) ** (2 / 7) - 1)
    efficiency = x.air_flow * ideal / compressor
    assert np.all((efficiency > 0.40) & (efficiency < 0.75))


@pytest.mark.parametrize("variant", sorted(SETS))
def test_residual_and_energy_balance_at_a_steady_state(variant: str) -> None:
    build, s, levers, air, x = settled(variant)
    p = build.parameters
    assert np.max(dynamics.residual(s, x, p)) < 1e-6
    if p.has_turbo:
        turbo_balances(p, s, air, x)
    propeller = p.reduction * s.crank * x.propeller_torque
    brake = s.crank * (x.indicated_torque - x.pumping_torque - x.friction_torque - x.blower_torque)
    assert brake == pytest.approx(propeller, rel=1e-6)
    inlet = s.air_temperature - p.evaporated * p.latent_heat / 1004.5 * x.fuel_ratio
    drive = x.blower_torque * s.crank * p.blower_gear_efficiency
    assert drive == pytest.approx(x.air_flow * 1004.5 * (s.charge_temperature - inlet), rel=1e-6, abs=1e-3)
    assert np.all(drive > 1000.0) == (p.arrangement in ("two_stage", "geared_two_speed"))
    assert np.all(np.isfinite(levers.throttle))


def ellipse(ratio: Any, critical: float) -> Any:
    """Flow over choked flow at a pressure ratio: A. Stodola's ellipse."""
    return np.sqrt(1.0 - np.square((np.maximum(ratio, critical) - critical) / (1.0 - critical)))


def drawn_by_cylinders(p: Parameters, s: State) -> Any:
    """kg/s by the first law over the intake stroke: clearance gas expands, charge fills the rest."""
    swept, clearance = p.displacement, p.displacement / (p.compression_ratio - 1.0)
    energy = (s.manifold * (swept + clearance) - s.collector * clearance) / 0.4
    ideal = (energy + s.manifold * swept) / (3.5 * s.manifold * swept)
    heated = s.charge_temperature + p.wall_heating * (p.wall_temperature - s.charge_temperature)
    full = p.volumetric * s.manifold / (AIR_CONSTANT * heated) * swept * s.crank / (4.0 * math.pi)
    return full * (1.0 + p.scavenge * (ideal - 1.0))


def passed_by_throttle(p: Parameters, s: State, x: Point) -> Any:
    """kg/s through the throttle: Saint-Venant's choked flow, the ellipse below it."""
    area = p.throttle_idle_area + p.throttle_area * s.throttle * (1.0 + p.throttle_cam * (s.throttle - 1.0))
    choked = area * x.deck_pressure * math.sqrt(1.4 / AIR_CONSTANT) * (2.0 / 2.4) ** 3
    return choked / np.sqrt(s.air_temperature) * ellipse(s.throat / x.deck_pressure, (2.0 / 2.4) ** 3.5)


def passed_by_exhaust(p: Parameters, s: State, air: Air) -> Any:
    """kg/s through nozzle, leaks and gate, each on its own, or through the stacks."""
    per_area = s.collector / np.sqrt(s.gas_temperature) * math.sqrt(4.0 / 3.0 / AIR_CONSTANT) * (6.0 / 7.0) ** 3.5
    per_area = per_area * ellipse(air.pressure / s.collector, (6.0 / 7.0) ** 4)
    if not p.has_turbo:
        return per_area * p.stack_area
    return per_area * p.nozzle_area + per_area * p.exhaust_leak_area + per_area * p.gate_area * s.gate


@pytest.mark.parametrize("variant", sorted(SETS))
def test_mass_and_energy_residuals_by_their_own_relations(variant: str) -> None:
    """Of a settled point; each side worked out here from pressures, temperatures, speeds; no remainders."""
    build, s, _, air, x = settled(variant)
    p, cp = build.parameters, 1004.5
    flow = drawn_by_cylinders(p, s)
    inlet = s.air_temperature - p.evaporated * p.latent_heat / cp * x.fuel_ratio
    found = {
        "mass, throttle over cylinders": passed_by_throttle(p, s, x) / flow,
        "mass, exhaust over air and fuel": passed_by_exhaust(p, s, air) / (flow * (1.0 + x.fuel_ratio)),
    }
    if np.any(x.blower_torque > 0.0):
        gained = flow * cp * (s.charge_temperature - inlet)
        found["energy, geared stage"] = x.blower_torque * s.crank * p.blower_gear_efficiency / gained
    if p.has_turbo:
        heated = (flow + p.outlet_flow) * cp * (x.outlet_temperature - air.ram_temperature)
        bearings = (p.turbo_drag * s.turbo + p.turbo_drag_constant) * s.turbo
        found["energy, turbo shaft"] = x.turbine_torque * s.turbo / (heated + bearings)
        kept = p.outlet_flow / (flow + p.outlet_flow)
        print(f"{variant}: {100.0 * np.max(kept):.1f} % of the wheel's work goes to air that stands in it")
    for name, ratio in found.items():
        worst = float(np.max(np.abs(ratio - 1.0)))
        print(f"{variant}, {name}: {worst:.1e}")
        assert worst < 1e-9, name


@pytest.mark.parametrize("side", [drawn_by_cylinders, passed_by_exhaust, passed_by_throttle])
def test_a_slip_of_a_hundredth_unbalances_a_residual(side: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(globals(), side.__name__, lambda *a: 1.01 * side(*a))
    with pytest.raises(AssertionError, match="mass"):
        test_mass_and_energy_residuals_by_their_own_relations("corrie-18-early")
