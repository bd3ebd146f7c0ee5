"""Parts of the arrangements other than two-stage: no turbo, no geared stage or two speeds of it, open stacks."""

from __future__ import annotations

import numpy as np

from leverproof_adapters.reference_engine import gas_path
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.state import Air, Levers, Point, State


def intake(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Deck pressure and temperature without a turbo: ram less the loss of filter and ducts."""
    x.deck_pressure = x.inlet_pressure - x.inlet_loss * x.air_flow * x.air_flow
    x.outlet_temperature = air.ram_temperature


def carburettor_air(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the carburettor air temperature without a cooler; hot air is warmed by the exhaust while it burns.

    Size of the rise: a requirement on preheaters, 14 CFR 23.1093; that it does not depend on flow is an assumption.
    """
    x.air_temperature = x.outlet_temperature
    if p.has_carburettor_heat:
        x.air_temperature = x.outlet_temperature + p.hot_air_rise * levers.carburettor_heat * x.burn


def two_speed_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The geared stage between its two gears: the clutch slips from one ratio to the other."""
    tip_radius = p.blower_tip_radius + p.blower_tip_radius_step * s.gear
    gas_path.compress(p, tip_radius, p.blower_drive * tip_radius, s, x)


def no_geared_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The carburettor feeds the manifold: its fuel, as much of it as evaporates there, cools the charge."""
    x.charge_temperature = s.air_temperature - p.evaporation_cooling * x.fuel_ratio * x.burn
    x.blower_ratio = np.ones_like(s.crank)
    x.blower_torque = np.zeros_like(s.crank)


def stacks(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the back pressure: stacks straight to the ambient pressure."""
    x.gas_flow = x.air_flow + x.fuel_flow
    x.back_pressure = gas_path.outflow_pressure(
        x.gas_flow, np.sqrt(s.gas_temperature), p.stack_conductance, air.pressure
    )


def no_turbine(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """An engine without a turbine."""
