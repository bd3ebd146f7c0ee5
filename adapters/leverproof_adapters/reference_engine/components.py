"""The parts an engine is built of. A part can be replaced: by a seeded defect, or by a constant one.

:class:`Build` is a parameter set and its parts; nothing else decides how the engine behaves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from leverproof.errors import InputError, nearest
from leverproof_adapters.reference_engine import (
    arrangements,
    conditions,
    controls,
    cylinder,
    gas_path,
    shafts,
)
from leverproof_adapters.reference_engine import propeller as airscrew
from leverproof_adapters.reference_engine.coefficients import Coefficients
from leverproof_adapters.reference_engine.parameters import Parameters
from leverproof_adapters.reference_engine.state import Air, Array, Given, Levers, Mover, Part, Point, State
from leverproof_adapters.reference_engine.surroundings import surroundings

Readings = Callable[[Coefficients, State, Air, Point, dict[str, Array]], None]
"""Changes readings (canonical units, by channel name) after they are computed, of a row of lanes or of many rows."""


def as_computed(p: Coefficients, s: State, air: Air, x: Point, readings: dict[str, Array]) -> None:
    """Readings are what the model computes."""


@dataclass(frozen=True, slots=True)
class Build:
    """A parameter set and the parts evaluated and moved each inner step, in this order."""

    parameters: Parameters
    surroundings: Callable[[Parameters, Array, Array, Array, Array], Air] = surroundings
    given: Given = conditions.given
    charge_flow: Part = cylinder.charge_flow
    mixture: Part = cylinder.mixture
    turbo_stage: Part = gas_path.turbo_stage
    intercooler: Part = gas_path.intercooler
    geared_stage: Part = gas_path.geared_stage
    induction: Part = gas_path.induction
    exhaust: Part = gas_path.exhaust
    turbine: Part = gas_path.turbine
    work: Part = cylinder.work
    gas_temperatures: Part = cylinder.gas_temperatures
    propeller: Part = airscrew.propeller
    actuators: Mover = controls.actuators
    gate: Mover = controls.gate_lever
    governor: Mover = airscrew.governor
    turbo_shaft: Mover = shafts.turbo_shaft
    crankshaft: Mover = shafts.crankshaft
    lags: Mover = shafts.lags
    light: Mover = controls.light
    readings: Readings = as_computed
    time_scale: Callable[[int], float] = field(default=lambda step_ticks: 1.0)
    clock: Callable[[], float] | None = None
    """Seconds of a clock by which the engine runs on while nothing is asked of it; an honest one has none."""

    coefficients: Coefficients = field(init=False, repr=False)
    """The parameters in the form in which the parts are given them."""
    parts: tuple[Part, ...] = field(init=False, repr=False)
    """What is evaluated at an instant, in order."""
    movers: tuple[Mover, ...] = field(init=False, repr=False)
    """What moves the carried state, in order."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "coefficients", Coefficients(self.parameters))
        parts = (
            self.charge_flow,
            self.mixture,
            self.turbo_stage,
            self.intercooler,
            self.geared_stage,
            self.induction,
            self.exhaust,
            self.turbine,
            self.work,
            self.gas_temperatures,
            self.propeller,
        )
        object.__setattr__(self, "parts", parts)
        movers = (
            self.actuators,
            self.lags,
            self.gate,
            self.governor,
            self.turbo_shaft,
            self.crankshaft,
            self.light,
        )
        object.__setattr__(self, "movers", movers)

    def conditions(self, levers: Levers, air: Air) -> Point:
        """What levers and surroundings alone decide, of a row or of a whole batch."""
        return self.given(self.coefficients, levers, air)

    def evaluate(self, s: State, levers: Levers, air: Air, x: Point | None = None) -> Point:
        """Everything found at an instant from the carried state. ``x`` is what :meth:`conditions` found for these
        levers and surroundings, if that has been done; it is filled and returned."""
        x = self.conditions(levers, air) if x is None else x
        p = self.coefficients
        for part in self.parts:
            part(p, s, levers, air, x)
        return x


def honest(parameters: Parameters) -> Build:
    """The engine of a parameter set without any defect."""
    build = Build(parameters)
    if parameters.boost_acts_on == "speed":
        return replace(build, gate=controls.gate_servo)
    if parameters.arrangement == "two_stage":
        return build
    build = replace(build, intercooler=arrangements.carburettor_air, light=controls.no_light)
    if parameters.arrangement == "turbo_normalised":
        return replace(build, geared_stage=arrangements.no_geared_stage, gate=controls.automatic_gate)
    build = replace(
        build,
        turbo_stage=arrangements.intake,
        exhaust=arrangements.stacks,
        turbine=arrangements.no_turbine,
        turbo_shaft=shafts.no_turbo_shaft,
    )
    if parameters.arrangement == "geared_two_speed":
        return replace(build, geared_stage=arrangements.two_speed_stage, gate=controls.gear_clutch)
    return replace(build, geared_stage=arrangements.no_geared_stage, gate=controls.no_gate)


def _still(p: Coefficients, s: State, levers: Levers, air: Air, x: Point, pace: object) -> None:
    """A shaft that keeps its speed whatever its torques."""


def _constant_compression(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    x.deck_pressure = np.full_like(s.turbo, 1.0e5)
    x.outlet_temperature = np.full_like(s.turbo, 300.0)
    x.compressor_torque = np.full_like(s.turbo, 50.0)


def _constant_induction(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    x.throat_pressure = np.full_like(s.turbo, 8.0e4)
    x.manifold_pressure = np.full_like(s.turbo, 1.3e5)


def _constant_exhaust(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    x.exhaust_conductance = p.shut_conductance + p.gate_conductance * s.gate
    x.gas_flow = x.air_flow + x.fuel_flow
    x.back_pressure = np.full_like(s.turbo, 1.1e5)


def _constant_charge(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    x.flow_per_radian = np.full_like(s.turbo, 4.5e-8)
    x.suction = np.full_like(s.turbo, 1.0e-4)
    x.per_radian = np.maximum(x.flow_per_radian * s.manifold - x.suction, 0.0)
    x.air_flow = np.full_like(s.turbo, 1.2)


def _constant_work(p: Coefficients, s: State, levers: Levers, air: Air, x: Point) -> None:
    x.indicated_torque = np.full_like(s.turbo, 5000.0)
    x.pumping_torque = np.full_like(s.turbo, 100.0)
    x.friction_torque = np.full_like(s.turbo, 700.0)


def with_constant(build: Build, name: str) -> Build:
    """The build with one component held constant: ``shaft``, ``gas_path`` or ``cylinder``.

    For showing that required cases notice a component that does nothing. Raises :class:`InputError` otherwise.
    """
    changed: Mapping[str, Build] = {
        "shaft": replace(build, turbo_shaft=_still, crankshaft=_still),
        "gas_path": replace(
            build, turbo_stage=_constant_compression, induction=_constant_induction, exhaust=_constant_exhaust
        ),
        "cylinder": replace(build, charge_flow=_constant_charge, work=_constant_work),
    }
    if name not in changed:
        raise InputError(f"unknown component {name!r}", "options.constant", nearest(name, changed), "option")
    return changed[name]
