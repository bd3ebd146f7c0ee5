"""What a sheet implies, number by number, each with a 5-95 % band: the predictor's answers by name."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from leverproof.errors import InputError
from leverproof.physics.predictor.bands import band
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.design import Notes, Sampled, Sheet
from leverproof.physics.predictor.engine import Air, Demand, Numbers, air_at, fuel_air_ratio
from leverproof.physics.predictor.heights import height_where_full_throttle
from leverproof.physics.predictor.level_speeds import by_policy, sampled_aeroplane, shares_of
from leverproof.physics.predictor.names import AT_ALTITUDE, GEARS, LEVEL_SPEEDS, RATINGS, needed
from leverproof.physics.predictor.points import OK, REASONS, Policy, boost_lever
from leverproof.physics.predictor.power import split
from leverproof.physics.predictor.settings import (
    Setting,
    better,
    levers_together,
    levers_together_or_limit,
    throttle_first_or_limit,
)
from leverproof.quantities import convert

RATING_WORDS = {"takeoff": "take-off", "maximum_continuous": "maximum continuous", "climb": "climb"}
SAMPLES, SEED, AIRSPEED = 2000, 1, 150.0
"""Defaults: samples, seed, true airspeed in kt for everything but the powers at sea level."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """Surroundings of a prediction: true airspeed in kt, temperature offset in K, relative humidity 0 to 1."""

    airspeed: float = AIRSPEED
    offset: float = 0.0
    humidity: float = 0.0


@dataclass(frozen=True, slots=True)
class Expectation:
    """One predicted number in ``unit``: median and 5-95 % band, NaN when it is refused (``words`` say why).

    ``share`` is the weight of samples that have the number; ``causes`` splits the samples by what sets or refuses
    it; ``derived_from`` lists the sheet data taken from a model that it rests on.
    """

    name: str
    meaning: str
    unit: str
    median: float
    low: float
    high: float
    share: float
    source: str
    derived_from: tuple[str, ...] = ()
    altitude: float | None = None
    words: str = ""
    causes: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Prediction:
    """All expectations of a sheet and what they rest on; ``at`` are the altitudes in ft."""

    expectations: dict[str, Expectation]
    sampled: Sampled
    conditions: Conditions
    at: tuple[float, ...]


class _Collector:
    """Turns arrays over samples into named expectations."""

    def __init__(self, sampled: Sampled, names: Collection[str] | None = None) -> None:
        self.sampled = sampled
        self.names = names
        self.found: dict[str, Expectation] = {}
        self.read(Notes())

    def add(
        self,
        name: str,
        meaning: str,
        unit: str,
        values: Array,
        *,
        altitude: float | None = None,
        words: str = "",
        causes: Mapping[str, float] | None = None,
    ) -> None:
        """``values`` of shape (samples, 1), already in ``unit``."""
        found = band(values, self.sampled.weight)
        full = name if altitude is None else f"{name}@{altitude:g}ft"
        self.found[full] = Expectation(
            full, meaning, unit, found.median, found.low, found.high, found.share, self.source,
            tuple(self.sampled.notes.from_model), altitude, words, causes or {},
        )  # fmt: skip

    def read(self, more: Notes) -> None:
        """What else was read of the sheet: the numbers added from here on rest on it too."""
        own = self.sampled.notes
        own.used.update(more.used)
        own.missing.update(more.missing)
        own.from_model += [path for path in more.from_model if path not in own.from_model]
        used = ", ".join(sorted(own.used))
        self.source = f"computed by the predictor from the sheet's {used}; seed {self.sampled.seed}"

    def wants(self, *names: str) -> bool:
        """Whether one of these was asked for; everything is where nothing was named."""
        return needed(self.names, any_of=names)

    def shares(self, codes: NDArray[np.int8]) -> dict[str, float]:
        """Weight of the samples by reason, without the solved ones."""
        flat, weight = np.ravel(codes), np.ravel(self.sampled.weight)
        kinds = [int(k) for k in np.unique(flat) if k != OK]
        return {REASONS[k]: float(weight[flat == k].sum()) for k in kinds}


def air_of(sampled: Sampled, conditions: Conditions, altitude: Numbers) -> Air:
    """The air at a pressure altitude in ft."""
    return air_at(
        altitude,
        airspeed=convert(conditions.airspeed, "kt", "m/s"),
        ram_recovery=sampled.engine.c["ram_recovery"],
        offset=conditions.offset,
        humidity=conditions.humidity,
    )


def demand_of(
    sampled: Sampled, pressure: Numbers, speed: Numbers, *, mixture: str = "auto_rich", gear: int = 0
) -> Demand:
    """A demand of manifold pressure in Pa and crankshaft speed in rad/s, the mixture following the load."""
    engine = sampled.engine
    load = pressure * speed / (engine.rated_pressure * engine.rated_speed)
    shape = engine.rated_pressure.shape
    return Demand(
        np.broadcast_to(np.asarray(pressure, dtype=np.float64), shape),
        np.broadcast_to(np.asarray(speed, dtype=np.float64), shape),
        fuel_air_ratio(engine.c, mixture, load=load),
        gear,
    )


def rating(sheet: Sheet, sampled: Sampled, name: str, *, gear: int = 0) -> Demand | None:
    """The demand of a rating of the sheet; None when pressure or rpm is not given."""
    pressure, speed = sheet.number(f"{name}.manifold_pressure"), sheet.number(f"{name}.engine_speed")
    if pressure is None or speed is None:
        return None
    return demand_of(
        sampled,
        convert(float(pressure.value), pressure.unit, "Pa"),
        convert(float(speed.value), speed.unit, "rad/s"),
        gear=gear,
    )


def power_available(
    sheet: Sheet,
    sampled: Sampled,
    altitude: Array,
    *,
    rating_name: str = "takeoff",
    together: bool = False,
    conditions: Conditions | None = None,
) -> Setting:
    """Brake power in W (``.power.brake``) over samples x ``altitude`` (ft, shape (1, n)) at a rating's pressure and
    rpm, auto rich, throttle first or with levers ``together``; where the pressure cannot be held, the most there
    is. Of two gears the one with more power. ``sampled.weight`` weighs the samples. Raises :class:`InputError`
    when the sheet does not give the rating."""
    air = air_of(sampled, conditions or Conditions(), altitude)
    best: Setting | None = None
    for gear in range(max(1, len(sampled.engine.blower_tip))):
        demand = rating(sheet, sampled, rating_name, gear=gear)
        if demand is None:
            raise InputError(f"the sheet does not give the {rating_name} rating", rating_name, code="missing")
        solved = levers_together_or_limit if together else throttle_first_or_limit
        found = solved(sampled.engine, air, demand, work=sampled.work)
        best = found if best is None else better(best, found)
    assert best is not None  # at least one gear is tried
    return best


def predict(
    sheet: Sheet,
    altitudes: Sequence[float] = (15_000.0,),
    *,
    conditions: Conditions | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    names: Collection[str] | None = None,
) -> Prediction:
    """Every expectation of a sheet, at pressure ``altitudes`` in ft; with ``names`` (of :mod:`.names`, without the
    altitude) only what they need, and the same numbers. Raises :class:`InputError` for a sheet that lacks what
    cannot be replaced by a prior or contradicts itself."""
    conditions = conditions or Conditions()
    sampled = sampled_engine(sheet, samples=samples, seed=seed)
    out = _Collector(sampled, names)
    for name in RATINGS:
        _heights(out, sheet, name, conditions)
        _rated_power(out, sheet, name, conditions)
    at = tuple(sorted(set(altitudes)))
    if at and out.wants(*AT_ALTITUDE):
        _at_altitudes(out, sheet, np.array([at]), conditions)
    return Prediction(out.found, sampled, conditions, at)


def predict_expectations(
    sheet: Sheet,
    altitudes: Sequence[float] = (15_000.0,),
    *,
    conditions: Conditions | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    names: Collection[str] | None = None,
) -> dict[str, Expectation]:
    """The expectations of :func:`predict` by name, for cases whose basis is ``predicted``."""
    found = predict(sheet, altitudes, conditions=conditions, samples=samples, seed=seed, names=names)
    return found.expectations


def _heights(out: _Collector, sheet: Sheet, name: str, conditions: Conditions) -> None:
    """Full-throttle height (boost back) and critical altitude of a rating, in each gear."""
    sampled = out.sampled
    engine = sampled.engine
    gears = len(engine.blower_tip)
    for gear in range(max(1, gears)):
        demand = rating(sheet, sampled, name, gear=gear)
        if demand is None:
            return
        tail = f".{GEARS[gear]}" if gears > 1 else ""

        def find(policy: Policy, held: Demand = demand) -> Array:
            return height_where_full_throttle(engine, lambda h: air_of(sampled, conditions, h), held, policy).x

        full = f"full_throttle_height.{name}{tail}"
        if engine.arrangement != "turbo_normalised" and (
            out.wants(full) or (name == "climb" and out.wants("power.climb"))
        ):
            words = "boost lever back, waste gate wide open" if engine.has_turbo else ""
            gate = Policy("gate", engine.gate_area if engine.has_turbo else 0.0)
            out.add(full, f"full-throttle height, {RATING_WORDS[name]}", "ft",
                    find(gate), words=words)  # fmt: skip
        if engine.has_turbo and out.wants(f"critical_altitude.{name}{tail}"):
            shut, limit = find(Policy("gate", 0.0)), engine.turbo_limit * engine.turbo_radius
            held = find(Policy("speed", limit)) if np.any(np.isfinite(limit)) else np.full_like(shut, np.nan)
            first = np.isfinite(held) & ~(shut < held)
            causes = {
                "turbo speed limit": float(sampled.weight[first].sum()),
                "waste gate shut": float(sampled.weight[np.isfinite(shut) & ~first].sum()),
            }
            out.add(f"critical_altitude.{name}{tail}", f"critical altitude, {RATING_WORDS[name]}", "ft",
                    np.fmin(shut, held), causes=causes,
                    words="set by " + max(causes, key=lambda k: causes[k]))  # fmt: skip


def _rated_power(out: _Collector, sheet: Sheet, name: str, conditions: Conditions) -> None:
    """Power at a rating: at sea level without airspeed; climb at its predicted full-throttle height."""
    demand = rating(sheet, out.sampled, name)
    if demand is None or not out.wants(f"power.{name}"):
        return
    engine, work = out.sampled.engine, out.sampled.work
    height: Numbers = 0.0
    where, still = "at sea level, no airspeed", replace(conditions, airspeed=0.0)
    own = out.found.get(f"full_throttle_height.{name}")
    if name == "climb" and own is not None and np.isfinite(own.median):
        height, still = max(own.median - 1.0, 0.0), conditions
        where = f"at {height:.0f} ft, {conditions.airspeed:g} kt"
    found = throttle_first_or_limit(engine, air_of(out.sampled, still, height), demand, work=work)
    out.add(f"power.{name}", f"brake power, {RATING_WORDS[name]}", "hp", found.power.brake / _HP, words=where)


def _at_altitudes(out: _Collector, sheet: Sheet, at: Array, conditions: Conditions) -> None:
    """Take-off rating against altitude: what it takes, what it gives, and what moving the levers together costs."""
    demand = rating(sheet, out.sampled, "takeoff")
    if demand is None:
        return
    first = power_available(sheet, out.sampled, at, conditions=conditions)
    worth = tuple(name for name in AT_ALTITUDE if name.startswith("split_lever_advantage"))
    if out.wants(*(name for name in AT_ALTITUDE if name not in (*worth, *LEVEL_SPEEDS))):
        for i, altitude in enumerate(at[0]):
            _levers(out, first, i, float(altitude))
    limited: Setting | None = None
    engine, work = out.sampled.engine, out.sampled.work
    if out.wants(*worth, *LEVEL_SPEEDS) and engine.has_turbo and engine.boost_acts_on != "none":
        air = air_of(out.sampled, conditions, at)
        together = limited = levers_together(engine, air, demand, work=work)
        if out.wants("split_lever_advantage.procedure", *LEVEL_SPEEDS):
            limited = levers_together_or_limit(engine, air, demand, work=work, together=together)
        if out.wants(*worth):
            _advantage(out, first, together, limited, at)
    if out.wants(*LEVEL_SPEEDS):
        _speeds(out, sheet, first, limited, demand, at, conditions)


def _levers(out: _Collector, first: Setting, i: int, altitude: float) -> None:
    engine, points, state = out.sampled.engine, first.points, first.points.state

    def add(name: str, meaning: str, unit: str, values: Array, words: str = "") -> None:
        out.add(name, meaning, unit, np.broadcast_to(values, points.reason.shape)[:, [i]], altitude=altitude,
                words=words, causes=out.shares(points.reason[:, [i]]))  # fmt: skip

    add("brake_power", "brake power, or what is left of it", "hp", first.power.brake / _HP)
    add("manifold_pressure", "manifold pressure held", "inHg", first.manifold_pressure / _INHG)
    add("throttle_opening", "throttle area over full area", "1", points.throttle_area / engine.throttle_area)
    add("carburettor_air_temperature", "carburettor air temperature", "degC", state.deck_temperature - 273.15)
    if not engine.has_turbo:
        return
    refused = "" if np.any(np.isfinite(engine.turbo_radius)) else out.sampled.notes.missing["turbo.wheel_diameter"]
    add("turbo_speed", "turbo speed", "rpm", state.tip_speed / engine.turbo_radius / _RPM, refused)
    add("wastegate_opening", "waste gate opening needed", "1", points.gate_area / engine.gate_area)
    add("deck_pressure", "carburettor deck pressure needed", "inHg", state.deck_pressure / _INHG)
    add("exhaust_back_pressure", "exhaust back pressure", "inHg", state.back_pressure / _INHG)
    if engine.boost_acts_on not in ("", "none"):
        back = points.gate_area > engine.gate_area * (1.0 - 1e-9)
        lever = np.where(back, 0.0, boost_lever(engine, state))
        add("boost_travel", "boost lever travel needed", "1", lever, law_words(out.sampled))


def law_words(sampled: Sampled, *, throttle: bool = False) -> str:
    """Whether the sheet gives the law of the boost lever, and of the throttle where levers move together."""
    laws = {"gate": ("gate_exponent",), "speed": ("speed_exponent", "full_speed"), "deck": ("full_deck",)}
    lacking = [
        key
        for key in (
            *laws.get(sampled.engine.boost_acts_on, ()),
            *(("throttle_exponent",) if throttle else ()),
        )
        if f"lever_law.{key}" not in sampled.notes.used
    ]
    return "lever law unknown: assumed " + " and ".join(lacking) if lacking else "lever law of the sheet"


def _advantage(out: _Collector, first: Setting, together: Setting, limited: Setting, at: Array) -> None:
    """Split-lever advantage at equal manifold pressure, its parts, and by the procedure with the turbo limit."""
    engine, demand = out.sampled.engine, together.demand
    full = np.abs(first.manifold_pressure / demand.manifold_pressure - 1.0) < 1e-6
    parts = split(engine, demand, (first.points.state, first.power), (together.points.state, together.power))
    behind = first.power.brake - limited.power.brake
    extra = (together.points.state.deck_pressure - first.points.state.deck_pressure) / _INHG
    for i, height in enumerate(at[0]):
        altitude, column = float(height), full[:, [i]]

        def add(name: str, meaning: str, unit: str, values: Array, words: str = "", *, i: int = i,
                altitude: float = altitude, column: NDArray[np.bool_] = column) -> None:  # fmt: skip
            out.add(name, meaning, unit, np.where(column, values[:, [i]], np.nan), altitude=altitude, words=words,
                    causes=out.shares(together.points.reason[:, [i]]))  # fmt: skip

        add("split_lever_advantage", "split-lever advantage, equal pressure", "hp", parts.whole / _HP)
        for name in ("charge_temperature", "filling", "pumping", "derate"):
            add(f"split_lever_advantage.{name}", f"of which {_PARTS[name]}", "hp", getattr(parts, name) / _HP)
        add("split_lever_advantage.deck", "extra deck pressure, levers together", "inHg", extra)
        if out.wants("split_lever_advantage.procedure"):
            add("split_lever_advantage.procedure", "split-lever advantage, stopping at limits",
                "hp", behind / _HP)  # fmt: skip


def _speeds(out: _Collector, sheet: Sheet, first: Setting, limited: Setting | None, demand: Demand,
            at: Array, conditions: Conditions) -> None:  # fmt: skip
    """Level speeds of the sheet's aeroplane, and their difference; what is missing goes to the notes."""
    plane, notes = sampled_aeroplane(sheet, out.sampled)
    out.read(notes)
    if plane is None:
        return
    asked, offset, weight = demand.manifold_pressure, conditions.offset, out.sampled.weight
    for name, meaning, values, why in by_policy(plane, first, limited, asked, at, offset=offset):
        words = "" if "difference" in name else f"with the power at {conditions.airspeed:g} kt"
        for i, altitude in enumerate(at[0]):
            out.add(name, meaning, "kt", values[:, [i]], altitude=float(altitude), words=words,
                    causes=shares_of(why[:, [i]], weight))  # fmt: skip


_PARTS = {
    "charge_temperature": "charge temperature",
    "filling": "back pressure, by filling",
    "pumping": "back pressure, by pumping",
    "derate": "derate above the carburettor-air limit",
}
_HP, _INHG, _RPM = convert(1.0, "hp", "W"), convert(1.0, "inHg", "Pa"), convert(1.0, "rpm", "rad/s")
