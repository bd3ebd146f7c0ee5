"""Parts of the arrangements other than two-stage: no turbo, no geared stage or two speeds of it, open stacks."""

from __future__ import annotations

from numpy import add, multiply, sqrt, subtract

from leverproof_adapters.reference_engine import gas_path
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.state import Air, Levers, Point, State


def intake(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Deck pressure and temperature without a turbo: ram less the loss of filter and ducts."""
    loss = multiply(x.inlet_loss, x.air_flow, s.found.deck_pressure)
    multiply(loss, x.air_flow, loss)
    x.deck_pressure = subtract(x.inlet_pressure, loss, loss)
    x.outlet_temperature = air.ram_temperature


def carburettor_air(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the carburettor air temperature without a cooler; hot air is warmed by the exhaust while it burns.

    Size of the rise: a requirement on preheaters, 14 CFR 23.1093; that it does not depend on flow is an assumption.
    """
    x.air_temperature = x.outlet_temperature
    if p.has_carburettor_heat:
        warmed = multiply(p.hot_air_rise, levers.carburettor_heat, s.found.air_temperature)
        multiply(warmed, x.burn, warmed)
        add(warmed, x.outlet_temperature, warmed)
        x.air_temperature = warmed


def two_speed_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The geared stage between its two gears: the clutch slips from one ratio to the other."""
    tip_radius = p.blower_tip_radius + p.blower_tip_radius_step * s.gear
    gas_path.compress(p, tip_radius, p.blower_drive * tip_radius, s, x)


def no_geared_stage(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """The carburettor feeds the manifold: its fuel, as much of it as evaporates there, cools the charge."""
    found = s.found
    cooling = multiply(p.evaporation_cooling, x.fuel_ratio, found.charge_temperature)
    multiply(cooling, x.burn, cooling)
    x.charge_temperature = subtract(s.air_temperature, cooling, cooling)
    x.blower_ratio, x.blower_torque = found.blower_ratio, found.blower_torque
    x.blower_ratio.fill(1.0)
    x.blower_torque.fill(0.0)


def stacks(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """Target of the back pressure: stacks straight to the ambient pressure."""
    found, root = s.found, s.room[0]
    x.gas_flow = add(x.air_flow, x.fuel_flow, found.gas_flow)
    sqrt(s.gas_temperature, root)
    room = found.back_pressure, root
    x.back_pressure = gas_path.outflow_pressure(x.gas_flow, root, p.stack_conductance, air.pressure, room)


def no_turbine(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    """An engine without a turbine."""
