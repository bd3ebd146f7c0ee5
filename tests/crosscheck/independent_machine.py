"""An engine from a sheet and the documented draws: coefficients, sizes, lever laws.

The coefficients are read from the table of the documentation page itself, so the page is what is tested.
"""

from __future__ import annotations

import math
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from . import independent_maps as maps
from .independent_gas import (
    CP_AIR,
    EXACT,
    FOOT,
    GAS_CONSTANT,
    HORSEPOWER,
    INCH,
    INCH_OF_MERCURY,
    RPM,
    Slips,
    air,
    air_flux,
    exhaust_flux,
    ideal_filling,
)

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "predictor-equations.md"
EVAPORATION_HEAT = 3.2e5
SCALES = {
    "inHg": INCH_OF_MERCURY, "rpm": RPM, "hp": HORSEPOWER, "in": INCH, "in2": INCH**2, "in3": INCH**3, "1": 1.0,
    "degC": 1.0, "ft": FOOT,
}  # fmt: skip
EXACT_DATA = ("takeoff.manifold_pressure", "takeoff.engine_speed", "limits.")


@dataclass(frozen=True, slots=True)
class Entry:
    """A datum as a sheet gives it: ``doubt`` is U95 in ``unit``, None where nobody stated it."""

    value: float
    unit: str
    doubt: float | None = None
    source: str = "invented for the test"
    from_model: bool = False


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet: hardware words and data by path. Has the two methods the predictor asks of a sheet."""

    words: Mapping[str, str]
    data: Mapping[str, Entry]
    id: str = "invented"
    caution: str = "A simulated engine of an invented family; never a power setting for a real one."

    def word(self, path: str) -> str:
        """A word of the hardware."""
        return self.words.get(path.removeprefix("hardware."), "")

    def number(self, path: str) -> Entry | None:
        """A datum."""
        return self.data.get(path)


@dataclass(frozen=True, slots=True)
class Machine:
    """One sample of an engine, SI. ``blower`` is tip speed over crankshaft speed, one a gear; areas effective, m2.
    ``full_demand`` is what the full boost lever asks (tip speed or deck pressure); ``turbo_design`` and
    ``blower_design`` are m T/(p U) of the stages' design points."""

    c: Mapping[str, float]
    turbo: bool
    boost_acts_on: str
    displacement: float
    ratio: float
    blower: tuple[float, ...]
    rated_pressure: float
    rated_speed: float
    intake: float
    cooler: float
    effectiveness: float
    nozzle: float
    gate: float
    throttle: float
    limit: float
    full_demand: float
    air_limit: float
    derate: float
    power: float
    turbo_design: float
    blower_design: float


def table() -> dict[str, tuple[str, float, float]]:
    """name -> (shape, a, b) of the page's section 8."""
    row = re.compile(r"^\| `(\w+)` \| (uniform|normal) \| (\S+) \| (\S+) \| ")
    found = (row.match(line) for line in PAGE.read_text(encoding="utf-8").splitlines())
    return {m[1]: (m[2], float(m[3]), float(m[4])) for m in found if m}


def draw(name: str, count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """The streams of a name: uniform and cut normal numbers (each from a fresh generator; only one is used)."""
    key = [seed, zlib.crc32(name.encode())]
    z = np.random.default_rng(key).standard_normal(count)
    return np.random.default_rng(key).random(count), np.clip(z, -3.0, 3.0)


def coefficients(count: int, seed: int) -> list[dict[str, float]]:
    """``count`` samples of every coefficient, by section 8."""
    columns = {}
    for name, (shape, a, b) in table().items():
        u, z = draw(name, count, seed)
        columns[name] = a + (b - a) * u if shape == "uniform" else a + b * z
    return [{name: float(values[i]) for name, values in columns.items()} for i in range(count)]


def datum(paper: Paper, path: str, count: int, seed: int) -> list[float] | None:
    """Samples of a sheet's datum in SI, by section 6; None when the sheet lacks it."""
    entry = paper.number(path)
    if entry is None:
        return None
    doubt = entry.doubt
    if doubt is None:
        doubt = 0.0 if path.startswith(EXACT_DATA) else 0.02 * abs(entry.value)
    zero = 273.15 if entry.unit == "degC" else 0.0
    values = (entry.value + zero + 0.5 * doubt * draw(path, count, seed)[1]) * SCALES[entry.unit]
    return [float(v) for v in values]


def machines(paper: Paper, count: int, seed: int, *, slip: Slips = EXACT) -> list[Machine]:
    """``count`` samples of the engine of a sheet."""
    every = coefficients(count, seed)
    columns = {path: datum(paper, path, count, seed) for path in paper.data if path.split(".")[0] in _TABLES}
    return [
        _machine(paper, every[i], {p: v[i] for p, v in columns.items() if v is not None}, slip) for i in range(count)
    ]


_TABLES = {
    "takeoff",
    "limits",
    "geometry",
    "geared_stage",
    "turbo",
    "carburettor",
    "intercooler",
    "lever_law",
}


@dataclass(frozen=True, slots=True)
class _Reference:
    """The reference point of section 6: sea level, still, take-off pressure and speed, stacks at their excess."""

    total_pressure: float
    total_temperature: float
    flow: float
    gas_flow: float
    gas_temperature: float
    back: float
    ambient: float
    throat: float
    blower_design: float


def _reference(
    c: Mapping[str, float],
    pressure: float,
    speed: float,
    *,
    tip: float,
    volume: float,
    ratio: float,
    slip: Slips,
) -> _Reference:
    ground = air(0.0, airspeed=0.0, recovery=c["ram_recovery"])
    rich = c["auto_rich_ratio"] + c["auto_rich_enrichment"]
    back = ground.pressure * (1.0 + c["stack_excess"])
    rise = c["blower_work"] * tip**2 / CP_AIR
    ahead = ground.total_temperature - c["evaporated"] * rich * EVAPORATION_HEAT / CP_AIR
    charge = heated(c, ahead + rise, slip)
    flow = drawn(c, pressure, back, speed, volume=volume, ratio=ratio, charge=charge, slip=slip)
    throat, design = pressure, math.nan
    if tip:
        design = maps.blower_design(flow, ahead + rise, pressure, tip)
        stage = maps.hill(c, "blower", design, slip)
        level = maps.efficiency(stage, flow=flow, temperature=ahead + rise, pressure=pressure, tip=tip, ahead=ahead)
        throat = maps.throat_pressure(level, pressure, ahead, rise)
    return _Reference(
        ground.total_pressure, ground.total_temperature, flow, flow * (1.0 + rich),
        exhaust_temperature(c, rich, slip), back, ground.pressure,
        throat, design,
    )  # fmt: skip


def _machine(paper: Paper, c: dict[str, float], given: dict[str, float], slip: Slips) -> Machine:
    arrangement = paper.word("hardware.arrangement")
    turbo = arrangement in ("two_stage", "turbo_normalised")
    pressure, speed = given["takeoff.manifold_pressure"], given["takeoff.engine_speed"]
    power = given.get("takeoff.brake_power", 0.0)
    volume = given.get("geometry.displacement", 4.0 * math.pi * power / (c["take_off_mean_pressure"] * speed))
    ratio = given.get("geometry.compression_ratio", c["compression_ratio"])
    blower = _blower(arrangement, c, given, speed)
    for lever in ("throttle", "gate", "speed"):
        c[f"{lever}_law"] = given.get(f"lever_law.{lever}_exponent", c[f"{lever}_law"])
    tip = blower[0] * speed if blower else 0.0
    r = _reference(c, pressure, speed, tip=tip, volume=volume, ratio=ratio, slip=slip)
    scale = slip.get("duct scale", 1.0) * r.total_pressure**2 / (r.flow**2 * r.total_temperature)
    share = c["intake_loss"]
    if arrangement == "unsupercharged":
        share = min(share, 0.5 * (1.0 - pressure / r.total_pressure))
        behind = r.total_pressure - share * scale * r.flow**2 * r.total_temperature / r.total_pressure
        wide = c["throttle_margin"] * r.flow / air_flux(behind, pressure, r.total_temperature)
    else:
        wide = r.flow / air_flux(r.throat / (1.0 - c["throttle_loss"]), r.throat, r.total_temperature)
    cooled = paper.word("hardware.intercooler") not in ("", "none")
    nozzle = _nozzle(c, given, r) if turbo else r.gas_flow / exhaust_flux(r.back, r.ambient, r.gas_temperature)
    wheel = given.get("turbo.wheel_diameter")
    limit = given.get("limits.turbo_speed", math.inf)
    tip_limit = limit * wheel / 2.0 if wheel is not None else (c["turbo_tip_speed"] if turbo else math.inf)
    air_limit = given.get("limits.carburettor_air_temperature", math.inf)
    return Machine(
        c=c, turbo=turbo, boost_acts_on=paper.word("hardware.boost_acts_on"), displacement=volume, ratio=ratio,
        blower=blower, rated_pressure=pressure, rated_speed=speed, intake=share * scale,
        cooler=c["cooler_loss"] * scale if cooled else 0.0,
        effectiveness=given.get("intercooler.effectiveness", c["cooler_effectiveness"]) if cooled else 0.0,
        nozzle=nozzle, gate=given.get("turbo.gate_area", c["gate_size"] * nozzle) if turbo else 0.0,
        throttle=given.get("carburettor.throttle_area", wide), limit=tip_limit,
        full_demand=_full_demand(paper, c, given, tip_limit, wheel), air_limit=air_limit,
        derate=min(c["derate"] * power, 5.0 * HORSEPOWER) if math.isfinite(air_limit) else 0.0, power=power,
        turbo_design=maps.turbo_design(c, r.flow, r.throat, slip) if turbo else math.nan, blower_design=r.blower_design,
    )  # fmt: skip


def _nozzle(c: Mapping[str, float], given: Mapping[str, float], r: _Reference) -> float:
    choked = r.gas_flow / exhaust_flux(r.total_pressure, 0.0, r.gas_temperature)
    return given.get("turbo.nozzle_area", c["nozzle_size"] * choked)


def _blower(arrangement: str, c: Mapping[str, float], given: Mapping[str, float], speed: float) -> tuple[float, ...]:
    if not arrangement.startswith(("geared", "two_stage")):
        return ()
    low = c["blower_tip_speed"] / speed
    wheel, gear = given.get("geared_stage.wheel_diameter"), given.get("geared_stage.ratio")
    if wheel is not None and gear is not None:
        low = gear * wheel / 2.0
    if arrangement != "geared_two_speed":
        return (low,)
    high = given.get("geared_stage.ratio_high")
    return low, (high * wheel / 2.0 if high is not None and wheel is not None else c["high_gear_step"] * low)


def _full_demand(
    paper: Paper, c: Mapping[str, float], given: Mapping[str, float], limit: float, wheel: float | None
) -> float:
    acts_on = paper.word("hardware.boost_acts_on")
    if acts_on == "speed":
        asked = given.get("lever_law.full_speed")
        return asked * wheel / 2.0 if asked is not None and wheel is not None else c["speed_demand"] * limit
    if acts_on == "deck":
        return given.get("lever_law.full_deck", c["deck_demand"] * INCH_OF_MERCURY)
    return math.nan


def exhaust_temperature(c: Mapping[str, float], ratio: float, slip: Slips = EXACT) -> float:
    """K in the collector."""
    return c["gas_temperature"] - slip.get("gas slope", 1.0) * c["gas_slope"] * abs(ratio - 0.067)


def heated(c: Mapping[str, float], manifold_temperature: float, slip: Slips = EXACT) -> float:
    """Charge temperature in the cylinder, K."""
    share = slip.get("wall heating", 1.0) * c["wall_heating"]
    return (1.0 - share) * manifold_temperature + share * c["wall_temperature"]


def filling(c: Mapping[str, float], back: float, manifold: float, ratio: float, slip: Slips = EXACT) -> float:
    """Filling factor with valve overlap."""
    return 1.0 + slip.get("filling", 1.0) * c["scavenge"] * (ideal_filling(back, manifold, ratio) - 1.0)


def drawn(
    c: Mapping[str, float],
    manifold: float,
    back: float,
    speed: float,
    *,
    volume: float,
    ratio: float,
    charge: float,
    slip: Slips = EXACT,
) -> float:
    """kg/s of air: density of the heated charge x swept volume x half the turns x filling."""
    density = manifold / (GAS_CONSTANT * charge)
    turns = speed / (2.0 * math.pi)
    return c["volumetric"] * density * volume * 0.5 * turns * filling(c, back, manifold, ratio, slip)
