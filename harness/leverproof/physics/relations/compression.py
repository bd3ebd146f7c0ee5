"""Compressors, turbines and charge coolers: temperatures, powers and head coefficients.

Elementwise over floats or float64 arrays; K, Pa, kg/s, W, m/s. ``efficiency`` is adiabatic, 0 to 1.
"""

from __future__ import annotations

import numpy as np

from leverproof.physics.relations.gas import (
    AIR_EXPONENT,
    AIR_HEAT,
    EXHAUST_EXPONENT,
    EXHAUST_HEAT,
    Values,
)


def compression_rise(
    inlet_temperature: Values,
    pressure_ratio: Values,
    *,
    efficiency: Values,
    exponent: float = AIR_EXPONENT,
) -> Values:
    """Temperature rise in K of a compression with an adiabatic ``efficiency``.

    dT = T1 (PR^((k-1)/k) - 1) / eta. Source: definition of adiabatic efficiency with the isentropic
    perfect-gas relation, as in NACA supercharger rating practice.
    """
    ideal = np.power(pressure_ratio, exponent) - 1.0
    result: Values = inlet_temperature * ideal / efficiency
    return result


def adiabatic_efficiency(
    inlet_temperature: Values,
    outlet_temperature: Values,
    pressure_ratio: Values,
    *,
    exponent: float = AIR_EXPONENT,
) -> Values:
    """Adiabatic efficiency of a compression measured by its two temperatures in K. Source: definition."""
    ideal = compression_rise(inlet_temperature, pressure_ratio, efficiency=1.0, exponent=exponent)
    return ideal / (outlet_temperature - inlet_temperature)


def compressor_power(
    mass_flow: Values,
    temperature_rise: Values,
    *,
    mechanical_efficiency: Values = 1.0,
    heat: float = AIR_HEAT,
) -> Values:
    """Shaft power in W that raises ``mass_flow`` kg/s of gas by ``temperature_rise`` K.

    P = m cp dT / eta_m, the gear or bearing loss being on top. Source: steady-flow energy equation.
    """
    return mass_flow * heat * temperature_rise / mechanical_efficiency


def head_coefficient(
    pressure_ratio: Values,
    inlet_temperature: Values,
    tip_speed: Values,
    *,
    exponent: float = AIR_EXPONENT,
    heat: float = AIR_HEAT,
) -> Values:
    """Adiabatic head (pressure) coefficient q = cp T1 (PR^((k-1)/k) - 1) / U^2, U the impeller tip speed
    in m/s.

    Source: NACA supercharger rating practice (definition, from memory).
    """
    head = heat * compression_rise(inlet_temperature, pressure_ratio, efficiency=1.0, exponent=exponent)
    return head / np.square(tip_speed)


def pressure_ratio_of_head(
    coefficient: Values,
    inlet_temperature: Values,
    tip_speed: Values,
    *,
    exponent: float = AIR_EXPONENT,
    heat: float = AIR_HEAT,
) -> Values:
    """Pressure ratio of an impeller: the inverse of :func:`head_coefficient`, with the same units and
    source.
    """
    base = 1.0 + coefficient * np.square(tip_speed) / (heat * inlet_temperature)
    result: Values = np.power(base, 1.0 / exponent)
    return result


def work_temperature_rise(work_coefficient: Values, tip_speed: Values, *, heat: float = AIR_HEAT) -> Values:
    """Temperature rise in K from the work an impeller does, dT = psi U^2 / cp; psi = head coefficient /
    efficiency.

    Source: Euler's turbine equation with the work coefficient as its factor (slip and disc friction
    included).
    """
    result: Values = work_coefficient * np.square(tip_speed) / heat
    return result


def fixed_speed_pressure_coefficient(
    inlet_temperature: Values, pressure_ratio: Values, *, exponent: float = AIR_EXPONENT
) -> Values:
    """Fall of delivered pressure of a blower at constant impeller speed, as a fraction of it per K of
    warmer inlet.

    C = (-1/p2) dp2/dT1 = (1 - PR^(-(k-1)/k)) / ((k-1)/k T1): the derivative of the compression relation at
    constant temperature rise. Agrees with SFTE Reference Handbook 2013, figure 10.3a, within about 4 %.
    """
    result: Values = (1.0 - np.power(pressure_ratio, -exponent)) / (exponent * inlet_temperature)
    return result


def expansion_drop(
    inlet_temperature: Values,
    expansion_ratio: Values,
    *,
    efficiency: Values,
    exponent: float = EXHAUST_EXPONENT,
) -> Values:
    """Temperature drop in K of a turbine expanding by ``expansion_ratio`` = inlet over outlet pressure, at
    least 1.

    dT = eta T (1 - ER^(-(k-1)/k)). Source: definition of adiabatic turbine efficiency, total to static.
    """
    result: Values = efficiency * inlet_temperature * (1.0 - np.power(expansion_ratio, -exponent))
    return result


def turbine_power(
    mass_flow: Values,
    temperature_drop: Values,
    *,
    mechanical_efficiency: Values = 1.0,
    heat: float = EXHAUST_HEAT,
) -> Values:
    """Shaft power in W from ``mass_flow`` kg/s of gas cooled by ``temperature_drop`` K. Source: energy
    equation.
    """
    return mass_flow * heat * temperature_drop * mechanical_efficiency


def jet_speed(
    inlet_temperature: Values,
    expansion_ratio: Values,
    *,
    exponent: float = EXHAUST_EXPONENT,
    heat: float = EXHAUST_HEAT,
) -> Values:
    """Ideal jet (spouting) speed in m/s of a turbine nozzle, the reference of the blade-to-jet speed ratio.

    c = sqrt(2 cp T (1 - ER^(-(k-1)/k))). Source: steady-flow energy equation.
    """
    drop = expansion_drop(inlet_temperature, expansion_ratio, efficiency=1.0, exponent=exponent)
    result: Values = np.sqrt(2.0 * heat * drop)
    return result


def cooled_temperature(hot_temperature: Values, coolant_temperature: Values, *, effectiveness: Values) -> Values:
    """Charge temperature in K behind a cooler of ``effectiveness`` 0 to 1 for the charge side.

    T = Th - eps (Th - Tc). Source: definition of cooler effectiveness.
    """
    return hot_temperature - effectiveness * (hot_temperature - coolant_temperature)
