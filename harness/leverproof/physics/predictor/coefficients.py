"""Doubtful coefficients: what no pilot's handbook gives, each with a distribution and its source."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ASSUMPTION = "assumption"
WIDER = "assumption: stands in for a datum the sheet does not give"


@dataclass(frozen=True, slots=True)
class Coefficient:
    """A doubtful number: ``uniform`` between a and b, or ``normal`` with mean a and standard deviation b, cut at
    three of them. ``unit`` is SI; ``source`` a published band or an assumption in words."""

    name: str
    shape: str
    a: float
    b: float
    unit: str
    source: str

    def sample(self, count: int, seed: int) -> Array:
        """``count`` values from a stream of its own, so that a new coefficient leaves all others alone."""
        stream = np.random.default_rng([seed, zlib.crc32(self.name.encode())])
        if self.shape == "uniform":
            return self.a + (self.b - self.a) * stream.random(count)
        return self.a + self.b * np.clip(stream.standard_normal(count), -3.0, 3.0)

    @property
    def middle(self) -> float:
        """Median of the distribution."""
        return 0.5 * (self.a + self.b) if self.shape == "uniform" else self.a


def _u(name: str, low: float, high: float, unit: str, source: str) -> Coefficient:
    return Coefficient(name, "uniform", low, high, unit, source)


def _n(name: str, mean: float, deviation: float, unit: str, source: str) -> Coefficient:
    return Coefficient(name, "normal", mean, deviation, unit, source)


_ALL = (
    # intake and throttle
    _u("ram_recovery", 0.70, 0.75, "1", "SFTE Reference Handbook 2013, sec. 10.3"),
    _u("intake_loss", 0.005, 0.025, "1", ASSUMPTION + ": share of pressure lost at the reference flow"),
    _u("cooler_loss", 0.005, 0.030, "1", ASSUMPTION + ": share of pressure lost at the reference flow"),
    _u("throttle_loss", 0.02, 0.08, "1", WIDER + ": share of deck pressure lost, wide open, reference flow"),
    _u(
        "throttle_margin",
        1.00,
        1.03,
        "1",
        ASSUMPTION + ": wide-open area over what take-off needs, unsupercharged",
    ),
    # exhaust-driven compressor
    _u(
        "turbo_work",
        0.85,
        0.93,
        "1",
        ASSUMPTION + ": work over tip speed squared, slip factor of radial vanes",
    ),
    _u("turbo_efficiency", 0.58, 0.72, "1", "from memory: 0.60-0.70 for exhaust-driven stages, widened"),
    _u("tip_speed_penalty", 0.5, 1.5, "1", "NACA TN 794: efficiency falls above 1,300 ft/s; size assumed"),
    _u("turbo_design_ratio", 1.8, 3.0, "1", ASSUMPTION + ": pressure ratio the stage was laid out for"),
    _u("turbo_best_flow", 0.85, 1.15, "1", ASSUMPTION + ": flow of the best efficiency over the design flow"),
    _u("turbo_flow_curvature", 0.2, 1.0, "1", ASSUMPTION + ": 2 to 8 % less 30 % off the best flow"),
    _u("cooler_static", 0.60, 1.00, "1", ASSUMPTION + ": share of cooler effectiveness left without airspeed"),
    _u("cooler_effectiveness", 0.30, 0.70, "1", WIDER),
    # gear-driven stage
    _u("blower_work", 0.85, 0.95, "1", ASSUMPTION + ": work over tip speed squared, slip and disc friction"),
    _u("blower_efficiency", 0.65, 0.75, "1", "from memory: 0.65-0.75 for geared stages"),
    _u("blower_best_flow", 0.85, 1.15, "1", ASSUMPTION + ": flow of the best efficiency over take-off's"),
    _u("blower_flow_curvature", 0.2, 1.0, "1", ASSUMPTION + ": 2 to 8 % less 30 % off the best flow"),
    _u("blower_tip_speed", 280.0, 380.0, "m/s", WIDER + ": at take-off rpm, under the limit of NACA TN 794"),
    _u("high_gear_step", 1.25, 1.45, "1", WIDER + ": high over low gear ratio"),
    _u("blower_drive", 0.92, 0.98, "1", ASSUMPTION + ": mechanical efficiency of the drive"),
    _u("evaporated", 0.30, 0.70, "1", ASSUMPTION + ": share of the fuel evaporated ahead of the cylinders"),
    # cylinders
    _u("compression_ratio", 6.0, 8.5, "1", WIDER),
    _u("take_off_mean_pressure", 1.0e6, 1.6e6, "Pa", WIDER + ": brake mean effective pressure at take-off"),
    _u("volumetric", 0.90, 1.08, "1", ASSUMPTION + ": of the heated charge at equal pressures"),
    _u("wall_heating", 0.36, 0.50, "1", "sets the charge-temperature exponent of SFTE sec. 10.3 (0.4-0.6)"),
    _u("wall_temperature", 410.0, 450.0, "K", ASSUMPTION + ": ports and heads"),
    _u("scavenge", 0.9, 1.5, "1", "textbook clearance relation is 1.0; valve overlap gives more (assumption)"),
    _n(
        "indicated_work",
        1.12e6,
        0.10e6,
        "J/kg",
        ASSUMPTION + ": per kg of dry air, about 33 % of the heat of best-power fuel",
    ),
    _u("pumping", 0.75, 1.00, "1", "ideal exchange loop is 1.0; share of it found, assumption"),
    _u("friction_constant", 4.0e4, 7.0e4, "Pa", ASSUMPTION + ": mean effective pressure at rest"),
    _u("friction_speed", 260.0, 400.0, "Pa.s", "NACA Report 108: about linear in rpm; size assumed"),
    _u("friction_load", 0.45, 0.75, "1", "NACA Report 108: about linear in density; share assumed"),
    # mixture
    _u("best_power_ratio", 0.075, 0.080, "1", "SFTE Reference Handbook 2013, ch. 10; NACA Report 189"),
    _u("auto_rich_ratio", 0.074, 0.080, "1", ASSUMPTION + ": below half load"),
    _u("auto_rich_enrichment", 0.008, 0.022, "1", "SFTE ch. 10: enriched at high power; size assumed"),
    _u("auto_lean_ratio", 0.063, 0.070, "1", ASSUMPTION + ": below half load"),
    _u("auto_lean_enrichment", 0.010, 0.025, "1", ASSUMPTION),
    _u("full_rich_factor", 1.05, 1.18, "1", ASSUMPTION + ": over auto rich"),
    # exhaust
    _n("gas_temperature", 1260.0, 35.0, "K", ASSUMPTION + ": collector, near the chemically correct mixture"),
    _u("gas_slope", 4500.0, 7500.0, "K", ASSUMPTION + ": fall per unit of fuel-air ratio"),
    _u(
        "turbine_efficiency",
        0.52,
        0.68,
        "1",
        "from memory: 0.60-0.70 at best; blade-to-jet speed and bearings",
    ),
    _u("leak", 0.00, 0.08, "1", ASSUMPTION + ": leak area over nozzle area"),
    _u("nozzle_size", 0.55, 1.30, "1", WIDER + ": choked area for the reference flow at sea level"),
    _u("gate_size", 1.0, 2.5, "1", WIDER + ": gate over nozzle area"),
    _u("turbo_tip_speed", 290.0, 390.0, "m/s", WIDER + ": at the turbo speed limit"),
    _u("stack_excess", 0.02, 0.08, "1", ASSUMPTION + ": back over ambient pressure less one, reference flow"),
    # lever laws and derate
    _u("throttle_law", 1.0, 2.0, "1", "assumption, lever law unknown: area over travel to this power"),
    _u("gate_law", 1.0, 3.0, "1", "assumption, lever law unknown: gate opening over remaining travel"),
    _u(
        "speed_law",
        0.5,
        1.2,
        "1",
        "assumption, lever law unknown: 0.5 linear in pressure rise, 1 in turbo speed",
    ),
    _u("speed_demand", 1.00, 1.10, "1", WIDER + ": full-lever turbo speed over its limit"),
    _u("deck_demand_low", 8.0, 18.0, "inHg", ASSUMPTION + ": deck pressure asked by the lever fully back"),
    _u("deck_demand", 31.0, 40.0, "inHg", WIDER + ": deck pressure asked by the full lever"),
    _u("derate", 0.0, 0.0015, "1/K", ASSUMPTION + ": of take-off power above the carburettor-air limit"),
)

COEFFICIENTS: Mapping[str, Coefficient] = {c.name: c for c in _ALL}


def sampled(count: int, seed: int) -> dict[str, Array]:
    """Every coefficient, shape (count, 1)."""
    return {name: c.sample(count, seed).reshape(-1, 1) for name, c in COEFFICIENTS.items()}


def nominal() -> dict[str, Array]:
    """Every coefficient at its median, shape (1, 1)."""
    return {name: np.array([[c.middle]]) for name, c in COEFFICIENTS.items()}
