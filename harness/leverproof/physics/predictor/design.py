"""From an engine sheet to samples of an engine: sheet data with their doubt, wider priors where data are missing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from leverproof.atmosphere import pressure_altitude, temperature
from leverproof.errors import InputError
from leverproof.physics.predictor.coefficients import COEFFICIENTS, Array, Coefficient, nominal, sampled
from leverproof.physics.predictor.engine import Demand, Engine, air_at, fuel_air_ratio
from leverproof.physics.predictor.gas_path import Fixed, State, at_back_pressure, fixed
from leverproof.physics.relations.compression import compression_rise
from leverproof.physics.relations.flow import flow_function, orifice_flow
from leverproof.physics.relations.gas import AIR_HEAT, EXHAUST_GAS_CONSTANT, EXHAUST_HEAT_RATIO
from leverproof.physics.relations.similarity import flow_coefficient
from leverproof.quantities import convert, convert_difference

UNSTATED_DOUBT = 0.02
"""U95 as a share of the value for design data whose doubt nobody stated (assumption)."""
ARRANGEMENTS = ("unsupercharged", "geared_one_speed", "geared_two_speed", "turbo_normalised", "two_stage")


class Datum(Protocol):
    """A sheet datum, read only."""

    @property
    def value(self) -> float | str: ...
    @property
    def unit(self) -> str: ...
    @property
    def source(self) -> str: ...
    @property
    def doubt(self) -> float | None: ...
    @property
    def from_model(self) -> bool: ...


class Sheet(Protocol):
    """What the predictor asks of an engine sheet."""

    def word(self, path: str) -> str: ...
    def number(self, path: str) -> Datum | None: ...


@dataclass(slots=True)
class Notes:
    """What was read: data used, missing data with their consequence, data taken from a model."""

    used: dict[str, str] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    from_model: list[str] = field(default_factory=list)


class Reader:
    """Draws sheet data as samples of shape (count, 1) in SI, and keeps the notes."""

    def __init__(self, sheet: Sheet, c: dict[str, Array], *, seed: int, spread: bool) -> None:
        self.sheet, self.c, self.seed, self.spread = sheet, c, seed, spread
        self.count = next(iter(c.values())).shape[0]
        self.notes = Notes()

    def datum(self, path: str, symbol: str) -> Array | None:
        """Samples of a datum in ``symbol``: normal with standard deviation U95/2; None when the sheet lacks it.

        A doubt nobody stated is :data:`UNSTATED_DOUBT` of the value, none for ratings and limits."""
        found = self.sheet.number(path)
        if found is None or isinstance(found.value, str):
            return None
        value = convert(found.value, found.unit, symbol, path)
        # a rating, a limit or a count is what it is declared to be; measured design data are not
        declared = path.startswith(("takeoff.", "limits.", "airframe.engines"))
        declared = declared and not path.endswith("brake_power")
        doubt = 0.0 if declared else UNSTATED_DOUBT * abs(value)
        if found.doubt is not None:
            doubt = convert_difference(found.doubt, found.unit, symbol, path)
        self.notes.used[path] = found.source
        if found.from_model and path not in self.notes.from_model:
            self.notes.from_model.append(path)
        if not self.spread:
            return np.full((self.count, 1), value)
        draw = Coefficient(path, "normal", value, 0.5 * doubt, symbol, found.source)
        return draw.sample(self.count, self.seed).reshape(-1, 1)

    def or_prior(self, path: str, symbol: str, prior: str, instead: Callable[[], Array]) -> Array:
        """The datum, or ``instead()`` with a note that coefficient ``prior`` widens the band."""
        found = self.datum(path, symbol)
        if found is not None:
            return found
        k = COEFFICIENTS[prior]
        self.notes.missing[path] = f"band widened: {k.name} {k.a:g} to {k.b:g} {k.unit} instead"
        return instead()

    def needed(self, path: str, symbol: str, why: str) -> Array:
        """The datum, or a refusal."""
        found = self.datum(path, symbol)
        if found is None:
            raise InputError(f"the sheet does not give {path}", path, f"the predictor needs it: {why}", "missing")
        return found


@dataclass(frozen=True, slots=True)
class Sampled:
    """An engine as samples; ``weight`` sums to 1; ``work`` is indicated work per kg of dry air, J/kg."""

    engine: Engine
    work: Array
    weight: Array
    notes: Notes
    seed: int
    calibration: str


def reader_of(sheet: Sheet, *, samples: int, seed: int) -> Reader:
    """A reader with ``samples`` draws; one sample means every coefficient and datum at its median."""
    c = sampled(samples, seed) if samples > 1 else nominal()
    return Reader(sheet, c, seed=seed, spread=samples > 1)


def engine_of(read: Reader) -> Engine:
    """The engine of a sheet, sized where the sheet is silent. Raises :class:`InputError` for data that cannot be
    replaced by a prior: take-off pressure and rpm, and displacement when take-off power is missing too."""
    sheet, c = read.sheet, read.c
    arrangement = sheet.word("hardware.arrangement")
    if arrangement not in ARRANGEMENTS:
        raise InputError(f"unknown arrangement {arrangement!r}", "hardware.arrangement", code="word")
    pressure = read.needed("takeoff.manifold_pressure", "Pa", "every flow is sized by it")
    speed = read.needed("takeoff.engine_speed", "rad/s", "every flow is sized by it")
    nothing = np.zeros_like(pressure)
    absent = np.full_like(pressure, np.nan)
    turbo = arrangement in ("turbo_normalised", "two_stage")
    limit = read.datum("limits.turbo_speed", "rad/s") if turbo else absent
    cooler = nothing
    if turbo and sheet.word("hardware.intercooler") != "none":
        cooler = read.or_prior(
            "intercooler.effectiveness", "1", "cooler_effectiveness", lambda: c["cooler_effectiveness"]
        )
    air_limit = read.datum("limits.carburettor_air_temperature", "K")
    power = read.datum("takeoff.brake_power", "W")
    engine = Engine(
        arrangement=arrangement,
        boost_acts_on=sheet.word("hardware.boost_acts_on"),
        displacement=_displacement(read, speed),
        compression_ratio=read.or_prior(
            "geometry.compression_ratio", "1", "compression_ratio", lambda: c["compression_ratio"]
        ),
        throttle_area=absent, exhaust_area=nothing, gate_area=nothing, intake_loss=nothing, cooler_loss=nothing,
        cooler_effectiveness=np.clip(cooler, 0.0, 1.0),
        blower_tip=_blower(read, arrangement, speed),
        turbo_design_flow=absent, blower_design_flow=absent,
        turbo_radius=_turbo_radius(read, limit) if turbo else absent,
        turbo_limit=absent if limit is None else limit,
        rated_pressure=pressure, rated_speed=speed,
        air_limit=absent if air_limit is None else air_limit,
        derate=nothing if power is None else np.minimum(c["derate"] * power, 5.0 * convert(1.0, "hp", "W")),
        c=_with_full_demand(read, absent if limit is None else limit, turbo),
    )  # fmt: skip
    return _sized(read, engine)


def _displacement(read: Reader, speed: Array) -> Array:
    def from_power() -> Array:
        power = read.needed("takeoff.brake_power", "W", "neither displacement nor take-off power is given")
        return 4.0 * math.pi * power / (read.c["take_off_mean_pressure"] * speed)

    return read.or_prior("geometry.displacement", "m3", "take_off_mean_pressure", from_power)


def _blower(read: Reader, arrangement: str, speed: Array) -> tuple[Array, ...]:
    """Impeller tip speed over crankshaft speed, m, one entry a gear."""
    if arrangement not in ("geared_one_speed", "geared_two_speed", "two_stage"):
        return ()
    wheel = read.datum("geared_stage.wheel_diameter", "m")
    ratio = read.datum("geared_stage.ratio", "1")
    if wheel is None or ratio is None:
        k = COEFFICIENTS["blower_tip_speed"]
        path = "geared_stage.wheel_diameter" if wheel is None else "geared_stage.ratio"
        read.notes.missing[path] = f"band widened: tip speed {k.a:g} to {k.b:g} {k.unit} at take-off rpm instead"
        low = read.c["blower_tip_speed"] / speed
    else:
        low = 0.5 * wheel * ratio
    if arrangement != "geared_two_speed":
        return (low,)
    step = read.datum("geared_stage.ratio_high", "1")
    if step is None or ratio is None:
        k = COEFFICIENTS["high_gear_step"]
        read.notes.missing["geared_stage.ratio_high"] = f"band widened: high over low gear {k.a:g} to {k.b:g}"
        return (low, low * read.c["high_gear_step"])
    return (low, low * step / ratio)


def _turbo_radius(read: Reader, limit: Array | None) -> Array:
    wheel = read.datum("turbo.wheel_diameter", "m")
    if wheel is not None:
        return 0.5 * wheel
    if limit is None:
        read.notes.missing["turbo.wheel_diameter"] = "turbo speed refused: neither wheel nor turbo limit is given"
        return np.full_like(read.c["leak"], np.nan)
    k = COEFFICIENTS["turbo_tip_speed"]
    read.notes.missing["turbo.wheel_diameter"] = f"band widened: tip speed {k.a:g} to {k.b:g} m/s at the limit"
    return read.c["turbo_tip_speed"] / limit


def _with_full_demand(read: Reader, limit: Array, turbo: bool) -> dict[str, Array]:
    """The coefficients, with what the sheet says of lever laws put in place of the assumptions."""
    c = dict(read.c)
    for path, name in (("throttle_exponent", "throttle_law"), ("gate_exponent", "gate_law"),
                       ("speed_exponent", "speed_law")):  # fmt: skip
        found = read.datum(f"lever_law.{path}", "1")
        if found is not None:
            c[name] = found
    demand = read.datum("lever_law.full_speed", "rad/s") if turbo else None
    if demand is None:
        demand = c["speed_demand"] * limit
    deck = read.datum("lever_law.full_deck", "inHg")
    if deck is not None:
        c["deck_demand"] = deck
    c["full_demand"] = demand
    return c


def reference_point(engine: Engine, demand: Demand) -> tuple[State, Fixed]:
    """The gas path at take-off pressure and rpm, sea level, static, no boost, back pressure by the stacks. A scale
    for sizes, not a prediction."""
    air = air_at(0.0, airspeed=0.0, ram_recovery=engine.c["ram_recovery"])
    point = fixed(replace(engine, arrangement="unsupercharged"), air, demand)
    return at_back_pressure(point, np.asarray(air.pressure * (1.0 + engine.c["stack_excess"]))), point


def _with_design_flows(engine: Engine, demand: Demand) -> Engine:
    """The engine with the flow coefficients of its stages' design points, which efficiencies are measured from.

    Geared stage: the reference point, low gear. Exhaust-driven stage: reference flow brought to the pressure the
    throttle needs behind it, by ``turbo_design_ratio``, from the still standard air of the height where that begins.
    """
    c = engine.c
    state, point = reference_point(engine, demand)  # flow and temperatures there do not depend on efficiencies
    if engine.blower_tip:
        design = flow_coefficient(
            state.air_flow,
            state.manifold_temperature,
            engine.rated_pressure,
            np.asarray(point.blower_tip_speed),
        )
        engine = replace(engine, blower_design_flow=np.asarray(design))
        state, _ = reference_point(engine, demand)
    if engine.has_turbo:
        inlet = state.throat_pressure / c["turbo_design_ratio"]
        cold = temperature(pressure_altitude(inlet))
        rise = compression_rise(cold, c["turbo_design_ratio"], efficiency=c["turbo_efficiency"])
        tip = np.sqrt(AIR_HEAT * rise / c["turbo_work"])
        design = flow_coefficient(state.air_flow, cold, inlet, tip)
        engine = replace(engine, turbo_design_flow=np.asarray(design))
    return engine


def _sized(read: Reader, engine: Engine) -> Engine:
    c = engine.c
    ratio = fuel_air_ratio(c, "auto_rich", load=1.0)
    demand = Demand(engine.rated_pressure, engine.rated_speed, ratio)
    engine = _with_design_flows(engine, demand)
    state, point = reference_point(engine, demand)
    flow, air, hot = state.air_flow, point.air, point.gas_temperature
    gas = flow * (1.0 + ratio)
    p0, t0 = air.total_pressure, air.total_temperature
    lost = c["intake_loss"]
    if engine.arrangement == "unsupercharged":
        # The whole drop to take-off pressure is known there; the intake's part is at most half of it.
        lost = np.minimum(lost, np.maximum(0.5 * (1.0 - engine.rated_pressure / p0), 0.0))
    engine = replace(engine, intake_loss=lost * np.square(p0 / flow) / t0)
    if np.any(engine.cooler_effectiveness > 0.0):
        engine = replace(engine, cooler_loss=c["cooler_loss"] * np.square(p0 / flow) / t0)
    if engine.has_turbo:
        choked = flow_function(0.0, heat_ratio=EXHAUST_HEAT_RATIO)
        scale = gas * np.sqrt(EXHAUST_GAS_CONSTANT * hot) / (p0 * choked)
        nozzle = read.or_prior("turbo.nozzle_area", "m2", "nozzle_size", lambda: c["nozzle_size"] * scale)
        gate = read.or_prior("turbo.gate_area", "m2", "gate_size", lambda: c["gate_size"] * nozzle)
        engine = replace(engine, exhaust_area=nozzle, gate_area=gate)
    else:
        back = air.pressure * (1.0 + c["stack_excess"])
        per_area = orifice_flow(
            1.0, back, hot, air.pressure, heat_ratio=EXHAUST_HEAT_RATIO, gas_constant=EXHAUST_GAS_CONSTANT
        )
        engine = replace(engine, exhaust_area=gas / per_area)
    return replace(engine, throttle_area=_throttle(read, engine, demand, flow))


def _throttle(read: Reader, engine: Engine, demand: Demand, flow: Array) -> Array:
    """Wide-open area: the datum; unsupercharged what take-off needs at sea level; else by a share of pressure."""
    c = engine.c
    found = read.datum("carburettor.throttle_area", "m2")
    if found is not None:
        return found
    state, _ = reference_point(engine, demand)
    if not engine.blower_tip and not engine.has_turbo:
        per_area = orifice_flow(1.0, state.deck_pressure, state.deck_temperature, state.throat_pressure)
        read.notes.missing["carburettor.throttle_area"] = (
            "sized: take-off pressure is the full-throttle pressure at sea level, with 0 to 3 % spare area"
        )
        if np.any(np.asarray(per_area) <= 0.0):
            raise InputError(
                "take-off manifold pressure is not below what the intake leaves at sea level",
                "takeoff.manifold_pressure", "an unsupercharged engine draws less than ambient", "contradiction",
            )  # fmt: skip
        wide: Array = c["throttle_margin"] * flow / np.asarray(per_area)
        return wide
    k = COEFFICIENTS["throttle_loss"]
    read.notes.missing["carburettor.throttle_area"] = f"band widened: pressure lost wide open {k.a:g} to {k.b:g}"
    deck = state.throat_pressure / (1.0 - c["throttle_loss"])
    per_area = orifice_flow(1.0, deck, state.deck_temperature, state.throat_pressure)
    result: Array = flow / np.asarray(per_area)
    return result
