"""The two-stage reference engine as a person would write it for one lane: a function for each component, plain floats.

The second, easier opponent of ``bench_transients.py``; the harder one, ``scalar_engine.py``, is the same unrolled into
one function. Same equations, coefficients, inner step and order as the parts in
``leverproof_adapters.reference_engine``, where the sources stand; only the Corrie-18 early set, without its starter.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import atan2, cos, pi, sin, sqrt

from scalar_start import Row, starting_state, surroundings

from leverproof.atmosphere import GAS_CONSTANT
from leverproof.quantities import UNITS
from leverproof_adapters.reference_engine import dynamics
from leverproof_adapters.reference_engine.coefficients import AIR_CHOKED, AIR_HEAT, GAS_CHOKED, GAS_HEAT
from leverproof_adapters.reference_engine.components import Build
from leverproof_adapters.reference_engine.gas_path import AIR_CRITICAL, GAS_CRITICAL
from leverproof_adapters.reference_engine.parameters import Parameters

LIGHT = (2.0, 1.0, 0.0, 2.0)


@dataclass(slots=True)
class Given:
    """Levers and surroundings of a row, SI."""

    throttle: float
    boost: float
    propeller: float
    mixture: float
    shutter: float
    pressure: float
    temperature: float
    sound: float
    speed: float
    ram_pressure: float
    ram_temperature: float
    dry: float
    density: float


@dataclass(slots=True)
class State:
    """What is carried, in the order of ``scalar_start.starting_state``."""

    throttle: float
    boost: float
    gate: float
    turbo: float
    crank: float
    acceleration: float
    blade: float
    manifold: float
    collector: float
    throat: float
    air_temperature: float
    charge_temperature: float
    gas_temperature: float
    head_temperature: float
    zone: float


@dataclass(slots=True)
class Point:
    """What an evaluation finds, filled component by component."""

    flow_per_radian: float = field(default=0.0)
    suction: float = 0.0
    per_radian: float = 0.0
    flow: float = 0.0
    ratio: float = 0.0
    fuel: float = 0.0
    burn: float = 0.0
    compressor_torque: float = 0.0
    outlet_temperature: float = 0.0
    deck: float = 0.0
    cooled: float = 0.0
    blower_ratio: float = 0.0
    charge: float = 0.0
    blower_torque: float = 0.0
    throat: float = 0.0
    manifold: float = 0.0
    area: float = 0.0
    back: float = 0.0
    turbine_torque: float = 0.0
    indicated: float = 0.0
    pumped: float = 0.0
    friction: float = 0.0
    gas: float = 0.0
    head: float = 0.0
    propeller_torque: float = 0.0


def pressure_ratio(temperature_ratio: float) -> float:
    return float(max(temperature_ratio, 0.5) ** 3.5)


def charge_flow(p: Parameters, s: State, x: Point) -> None:
    residual = p.scavenge / (1.4 * (p.compression_ratio - 1.0))
    heated = s.charge_temperature * (1.0 - p.wall_heating) + p.wall_heating * p.wall_temperature
    scale = p.displacement / (4.0 * pi) * p.volumetric / GAS_CONSTANT / heated
    x.flow_per_radian = scale * (1.0 + residual)
    x.suction = scale * residual * s.collector
    x.per_radian = max(x.flow_per_radian * s.manifold - x.suction, 0.0)
    x.flow = x.per_radian * s.crank


def mixture(p: Parameters, s: State, given: Given, x: Point) -> None:
    load = x.flow / p.rated_flow
    high = min(max((load - 0.55) / 0.45, 0.0), 1.2)
    idle = p.idle_enrichment * max(1.0 - load / 0.20, 0.0)
    rich = p.auto_rich_ratio + p.auto_rich_power * high + idle
    lean = min(p.auto_lean_ratio + p.auto_lean_power * high + idle, rich)
    if given.mixture < 0.5:
        x.ratio = 0.0
    elif given.mixture < 1.5:
        x.ratio = lean
    else:
        x.ratio = rich if given.mixture < 2.5 else rich * p.full_rich_factor
    x.fuel = x.ratio * x.flow
    x.burn = min(max((s.crank - p.firing_from) / (p.firing_full - p.firing_from), 0.0), 1.0)


def turbo_stage(p: Parameters, s: State, given: Given, x: Point) -> None:
    intake = given.ram_temperature
    inlet = given.ram_pressure - p.duct_loss * x.flow**2 * intake / given.ram_pressure
    density = inlet / (GAS_CONSTANT * intake)
    radius = p.turbo_wheel_radius
    tip = radius * s.turbo
    through = x.flow / (density * 4.0 * radius**2)
    excess = max(tip / given.sound - p.tip_mach_limit, 0.0)
    shut_off = p.turbo_head * (1.0 - p.tip_mach_penalty * excess**2) * tip**2
    head = shut_off - p.turbo_head * (through / p.turbo_flow_limit) ** 2
    outlet = inlet * pressure_ratio(1.0 + head / (AIR_HEAT * intake))
    moment = x.flow * p.turbo_work * tip + p.turbo_disc_work * density * 4.0 * radius**2 * tip**2
    x.compressor_torque = moment * radius
    x.outlet_temperature = intake + moment * tip / (AIR_HEAT * (x.flow + p.outlet_flow))
    x.deck = outlet - p.cooler_loss * x.flow**2 * x.outlet_temperature / outlet


def intercooler(p: Parameters, given: Given, x: Point) -> None:
    reach = p.cooler_static + (1.0 - p.cooler_static) * min(given.speed / 75.0, 1.0)
    effectiveness = p.cooler_shut + (p.cooler_open * reach - p.cooler_shut) * given.shutter
    x.cooled = x.outlet_temperature - effectiveness * (x.outlet_temperature - given.ram_temperature)


def geared_stage(p: Parameters, s: State, x: Point) -> None:
    radius = p.blower_wheel_radius
    tip = radius * p.blower_gear * s.crank
    inlet = s.air_temperature - p.evaporated * p.latent_heat / AIR_HEAT * x.ratio * x.burn
    through = x.flow * GAS_CONSTANT * inlet / (s.throat * 4.0 * radius**2)
    head = p.blower_head * (tip**2 - (through / p.blower_flow_limit) ** 2)
    x.blower_ratio = pressure_ratio(1.0 + head / (AIR_HEAT * inlet))
    x.charge = inlet + p.blower_work / AIR_HEAT * tip**2
    x.blower_torque = p.blower_work * radius * p.blower_gear / p.blower_gear_efficiency * x.flow * tip


def restriction(conductance: float, slope: float, offset: float, upstream: float) -> float:
    r, q = AIR_CRITICAL, (1.0 - AIR_CRITICAL) ** 2
    k, j = slope / conductance, offset / (conductance * upstream)
    choked = (1.0 + j) / (k + 1e-12)
    if choked < r:
        return choked * upstream
    a, b, c = k * k * q + 1.0, k * j * q + r, j * j * q + r * r - q
    return (b + sqrt(max(b * b - a * c, 0.0))) / a * upstream


def induction(p: Parameters, s: State, x: Point) -> None:
    travel = s.throttle * (1.0 - p.throttle_cam + p.throttle_cam * s.throttle)
    conductance = AIR_CHOKED * (p.throttle_idle_area + p.throttle_area * travel) / sqrt(s.air_temperature)
    slope = x.flow_per_radian * s.crank * x.blower_ratio
    x.throat = restriction(conductance, slope, x.suction * s.crank, x.deck)
    x.manifold = x.throat * x.blower_ratio


def exhaust(p: Parameters, s: State, given: Given, x: Point) -> None:
    r = GAS_CRITICAL
    q, square = 1.0 - 2.0 * r, (1.0 - r) ** 2
    x.area = p.nozzle_area + p.exhaust_leak_area + p.gate_area * s.gate
    n = (x.flow + x.fuel) * sqrt(s.gas_temperature) / (GAS_CHOKED * x.area * given.pressure)
    if n * r > 1.0:
        x.back = n * given.pressure
    else:
        x.back = (sqrt(r * r + q * (1.0 + square * n * n)) - r) / q * given.pressure


def turbine(p: Parameters, s: State, given: Given, x: Point) -> None:
    expansion = (given.pressure / s.collector) ** 0.25
    jet = sqrt(max(2.0 * GAS_HEAT * s.gas_temperature * (1.0 - expansion), 0.0))
    best = p.turbine_speed_ratio
    slip = 2.0 * best * jet - p.turbine_radius * s.turbo
    nozzle_flow = (x.flow + x.fuel) * p.nozzle_area / x.area
    x.turbine_torque = 0.5 * p.turbine_efficiency * p.turbine_radius / best**2 * nozzle_flow * slip


def mixture_strength(p: Parameters, ratio: float) -> float:
    away = ratio - p.best_power_ratio
    strength = 1.0 - (p.lean_fall if away < 0.0 else p.rich_fall) * away**2
    lean_end = (ratio - (p.lean_limit - 0.004)) / 0.004
    rich_end = (p.rich_limit + 0.010 - ratio) / 0.010
    return strength * min(max(min(lean_end, rich_end), 0.0), 1.0)


def work(p: Parameters, s: State, given: Given, x: Point) -> None:
    swept = p.displacement / (4.0 * pi)
    dry = max(given.dry, 0.5)
    strength = mixture_strength(p, x.ratio / dry)
    if strength <= 0.0:
        x.burn = 0.0
    clean = max(1.0 - p.dilution * max(s.collector / s.manifold - 1.0, 0.0), 0.0)
    x.indicated = p.indicated_work * x.per_radian * dry * strength * x.burn * clean
    turning = s.crank > 0.0
    x.pumped = p.pumping * swept * (s.collector - s.manifold) if turning else 0.0
    x.friction = swept * (p.friction_constant + p.friction_speed * s.crank) if turning else 0.0


def gas_temperatures(p: Parameters, s: State, given: Given, x: Point) -> None:
    peak = p.gas_peak_temperature - p.gas_mixture_slope * (sqrt((x.ratio - 0.066) ** 2 + 6.4e-5) - 0.008)
    kept = x.flow / (x.flow + p.gas_cooling_flow)
    x.gas = s.charge_temperature + (peak - s.charge_temperature) * x.burn * kept
    cooling = sqrt((given.speed + 45.0) * given.density / 90.0)
    x.head = given.temperature + p.head_gain * sqrt(x.flow * x.burn / p.rated_flow) / cooling


def propeller(p: Parameters, s: State, given: Given, x: Point) -> None:
    radius = 0.75 * p.propeller_radius
    along = s.crank * p.reduction * radius
    helix = atan2(given.speed, along)
    gap = s.blade * pi / 180.0 - helix
    flow_angle, incidence = helix + p.inflow * gap, gap * (1.0 - p.inflow)
    lift = p.lift_slope * sin(incidence) * cos(incidence)
    drag = p.blade_drag + p.blade_drag_rise * sin(incidence) ** 2
    across = lift * sin(flow_angle) + drag * cos(flow_angle)
    pressure = 0.5 * given.density * (along**2 + given.speed**2)
    x.propeller_torque = pressure * p.blade_area * radius * across


def approach(value: float, target: float, share: float) -> float:
    return value + share * (target - value)


def approach_position(position: float, asked: float, share: float) -> float:
    return (approach(position, asked, share) + 1.0) - 1.0


def move_controls(p: Parameters, s: State, given: Given, share: dict[str, float]) -> None:
    s.throttle = approach_position(s.throttle, given.throttle, share["throttle"])
    s.boost = approach_position(s.boost, given.boost, share["boost"])
    left = 1.0 - s.boost
    s.gate = approach_position(s.gate, left * (1.0 - p.gate_shape + p.gate_shape * left**2), share["gate"])
    asked = p.rated_speed * (p.least_governed + (1.0 - p.least_governed) * given.propeller)
    rate = p.governor_integral * (s.crank - asked) + p.governor_lead * s.acceleration
    rate = min(max(rate, -p.blade_rate), p.blade_rate)
    s.blade = min(max(s.blade + share["dt"] * rate, p.fine_stop), p.coarse_stop)


def move_lags(s: State, x: Point, share: dict[str, float]) -> None:
    s.manifold = approach(s.manifold, x.manifold, share["manifold"])
    s.collector = approach(s.collector, x.back, share["collector"])
    s.throat = approach(s.throat, x.throat, share["manifold"])
    s.charge_temperature = approach(s.charge_temperature, x.charge, share["manifold"])
    s.air_temperature = approach(s.air_temperature, x.cooled, share["air_temperature"])
    s.gas_temperature = approach(s.gas_temperature, x.gas, share["gas_temperature"])
    s.head_temperature = approach(s.head_temperature, x.head, share["head"])


def move_shafts(p: Parameters, s: State, x: Point, dt: float) -> None:
    turning = p.turbo_drag_constant * min(s.turbo / 5.0, 1.0)
    torque = x.turbine_torque - x.compressor_torque - p.turbo_drag * s.turbo - turning
    damping = (x.compressor_torque + turning) / (s.turbo + 1.0) + p.turbo_drag
    s.turbo = max(s.turbo + dt * torque / (p.turbo_inertia + dt * damping), 0.0)
    driving = x.indicated - x.pumped - p.reduction * x.propeller_torque
    s.acceleration = (driving - x.friction - x.blower_torque) / p.shaft_inertia
    s.crank = max(s.crank + dt * s.acceleration, 0.0)
    if s.crank < 3.0 and driving < p.breakaway:
        s.crank = s.acceleration = 0.0


def move_light(p: Parameters, s: State) -> None:
    edges = (p.light_blinking_above, p.light_off_above, p.light_on_above)
    up = sum(s.turbo > edge for edge in edges)
    down = sum(s.turbo > edge - p.light_hysteresis for edge in edges)
    s.zone = float(max(up, min(s.zone, down)))


def readings(s: State, given: Given, x: Point) -> Row:
    """In the order of ``scalar_engine.OUTPUTS``, canonical units."""
    inhg, rpm, zero = UNITS["inHg"].scale, UNITS["rpm"].scale, UNITS["degC"].offset
    torque = x.indicated - x.pumped - x.friction - x.blower_torque
    return (
        s.manifold / inhg, s.crank / rpm, s.turbo / rpm, torque * s.crank / UNITS["hp"].scale,
        torque / UNITS["lbf.ft"].scale, x.fuel / UNITS["lb/h"].scale, s.air_temperature - zero, x.deck / inhg,
        s.collector / inhg, s.charge_temperature - zero, s.gas_temperature - zero, s.head_temperature - zero, s.gate,
        s.blade, LIGHT[int(s.zone)], s.throttle, s.boost, given.pressure / inhg, given.temperature - zero,
    )  # fmt: skip


class PlainEngine:
    """One lane, stepped row by row; rows and readings as those of ``scalar_engine.ScalarEngine``."""

    def __init__(self, build: Build, step_ticks: int) -> None:
        self._p = build.parameters
        self._air = surroundings(self._p)
        pace = dynamics.pace(build, step_ticks)
        self._share = {name: float(getattr(pace, name)) for name in pace.__slots__ if name != "lags"}
        self._inner = dynamics.inner_steps(step_ticks)

    def initialise(self, row: Row, *, running: bool) -> Row:
        """A fresh lane; returns the readings at t_0."""
        self._state = State(*starting_state(self._p, self._air, row, running=running))
        given, x = self._given(row), Point()
        self._evaluate(given, x)
        move_light(self._p, self._state)
        return readings(self._state, given, x)

    def advance(self, rows: Iterable[Row]) -> list[Row]:
        """Advance through ``rows``; returns the readings after each."""
        found = []
        for row in rows:
            given, x = self._given(row), Point()
            for _ in range(self._inner):
                self._evaluate(given, x)
                move_controls(self._p, self._state, given, self._share)
                move_lags(self._state, x, self._share)
                move_shafts(self._p, self._state, x, self._share["dt"])
                move_light(self._p, self._state)
            found.append(readings(self._state, given, x))
        return found

    def _given(self, row: Row) -> Given:
        throttle, boost, governor, setting, shutter, link, *place = row
        throttle, boost, governor, shutter = (min(max(v, 0.0), 1.0) for v in (throttle, boost, governor, shutter))
        boost = throttle if link > 0.5 else boost
        return Given(throttle, boost, governor, setting, shutter, *self._air(*place))

    def _evaluate(self, given: Given, x: Point) -> None:
        p, s = self._p, self._state
        charge_flow(p, s, x)
        mixture(p, s, given, x)
        turbo_stage(p, s, given, x)
        intercooler(p, given, x)
        geared_stage(p, s, x)
        induction(p, s, x)
        exhaust(p, s, given, x)
        turbine(p, s, given, x)
        work(p, s, given, x)
        gas_temperatures(p, s, given, x)
        propeller(p, s, given, x)
