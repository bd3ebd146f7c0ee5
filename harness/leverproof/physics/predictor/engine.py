"""An engine as the predictor sees it: design data and doubtful coefficients as arrays, one row a sample."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from leverproof.atmosphere import pressure_at_feet, speed_of_sound, temperature_at_feet
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.relations.breathing import humidity_power_ratio
from leverproof.physics.relations.flow import mach_number, ram_pressure_ratio, ram_temperature_ratio

Numbers = float | Array


@dataclass(frozen=True, slots=True)
class Engine:
    """Design data, SI, each of shape (samples, 1); ``c`` holds the sampled coefficients by name.

    ``blower_tip`` is impeller tip speed over crankshaft speed in m, one entry a gear (none without a geared
    stage); areas are effective (discharge coefficient included); ``turbo_radius`` is NaN when tip speeds cannot
    be told as rpm, ``turbo_limit`` (rad/s) when there is none. ``intake_loss`` and ``cooler_loss`` are
    k in dp = k m2 T / p, Pa2.s2/(kg2.K). ``turbo_design_flow`` and ``blower_design_flow`` are flow coefficients of
    the design points, of the inlet and of the outlet, for a wheel of 1 m (only ratios to them are used).
    """

    arrangement: str
    boost_acts_on: str
    displacement: Array
    compression_ratio: Array
    throttle_area: Array
    exhaust_area: Array
    gate_area: Array
    intake_loss: Array
    cooler_loss: Array
    cooler_effectiveness: Array
    blower_tip: tuple[Array, ...]
    turbo_design_flow: Array
    blower_design_flow: Array
    turbo_radius: Array
    turbo_limit: Array
    rated_pressure: Array
    rated_speed: Array
    air_limit: Array
    derate: Array
    c: Mapping[str, Array]

    @property
    def has_turbo(self) -> bool:
        """Whether an exhaust-driven stage feeds the carburettor."""
        return self.arrangement in ("turbo_normalised", "two_stage")


@dataclass(frozen=True, slots=True)
class Air:
    """The air an engine meets: static and total pressure (Pa) and temperature (K), share of it that is dry."""

    pressure: Numbers
    temperature: Numbers
    total_pressure: Numbers
    total_temperature: Numbers
    dry: Numbers
    airspeed: Numbers


def air_at(
    altitude: Numbers,
    *,
    airspeed: Numbers,
    ram_recovery: Numbers,
    offset: Numbers = 0.0,
    humidity: Numbers = 0.0,
) -> Air:
    """Air at a pressure altitude in ft and a true airspeed in m/s, ``offset`` K above standard.

    Sources: U.S. Standard Atmosphere 1976; SFTE Reference Handbook 2013, section 10.3 (ram); NACA Report 426.
    """
    static, temperature = pressure_at_feet(altitude), temperature_at_feet(altitude, offset)
    mach = mach_number(airspeed, speed_of_sound(temperature))
    return Air(
        pressure=static,
        temperature=temperature,
        total_pressure=static * ram_pressure_ratio(mach, recovery=ram_recovery),
        total_temperature=temperature * ram_temperature_ratio(mach),
        dry=humidity_power_ratio(static, humidity, temperature),
        airspeed=airspeed,
    )


@dataclass(frozen=True, slots=True)
class Demand:
    """What is asked of the engine: manifold pressure (Pa), crankshaft speed (rad/s), fuel-air ratio, gear index."""

    manifold_pressure: Numbers
    engine_speed: Numbers
    fuel_air_ratio: Numbers
    gear: int = 0


MIXTURES = ("auto_lean", "auto_rich", "full_rich")


def fuel_air_ratio(c: Mapping[str, Array], mixture: str, *, load: Numbers, compensated_ratio: Numbers = 1.0) -> Array:
    """Fuel-air ratio of a mixture position at ``load`` = (pressure x rpm) over those of take-off.

    Flat below half load, then rising in proportion; auto lean is never richer than auto rich; full rich is auto rich
    times a factor, and an uncompensated one also richens as 1/sqrt(``compensated_ratio``), the density ratio of the
    air. Source: SFTE Reference Handbook 2013, ch. 10 (enriched at high power); sizes are coefficients.
    """
    if mixture not in MIXTURES:
        raise ValueError(f"no fuel-air ratio for mixture {mixture!r}")
    rise = np.clip((np.asarray(load) - 0.5) / 0.5, 0.0, 1.0)
    ratio: Array = c["auto_rich_ratio"] + c["auto_rich_enrichment"] * rise
    if mixture == "auto_lean":
        ratio = np.minimum(ratio, c["auto_lean_ratio"] + c["auto_lean_enrichment"] * rise)
    if mixture == "full_rich":
        ratio = np.minimum(ratio * c["full_rich_factor"] / np.sqrt(compensated_ratio), 0.125)
    return ratio
