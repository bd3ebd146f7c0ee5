"""What the predictor can be asked for by name, each with its unit. Light to import: no numbers are made here."""

from __future__ import annotations

from collections.abc import Collection, Mapping

RATINGS = ("takeoff", "maximum_continuous", "climb")
GEARS = ("low_gear", "high_gear")
PARTS = ("median", "low", "high", "middle", "half_band")
"""What can be taken of a prediction: its median, the ends of its 5-95 % band, and that band's middle and half width."""

LEVEL_SPEEDS = (
    "level_speed.throttle_first",
    "level_speed.levers_together",
    "level_speed.difference",
    "level_speed.difference.procedure",
)
"""Level speeds of the sheet's aeroplane by lever policy, and throttle first less levers together."""

AT_ALTITUDE: Mapping[str, str] = {
    "brake_power": "hp",
    "manifold_pressure": "inHg",
    "throttle_opening": "1",
    "carburettor_air_temperature": "degC",
    "turbo_speed": "rpm",
    "wastegate_opening": "1",
    "deck_pressure": "inHg",
    "exhaust_back_pressure": "inHg",
    "boost_travel": "1",
    "split_lever_advantage": "hp",
    "split_lever_advantage.charge_temperature": "hp",
    "split_lever_advantage.filling": "hp",
    "split_lever_advantage.pumping": "hp",
    "split_lever_advantage.derate": "hp",
    "split_lever_advantage.deck": "inHg",
    "split_lever_advantage.procedure": "hp",
    **dict.fromkeys(LEVEL_SPEEDS, "kt"),
}
"""Predictions at a pressure altitude, take-off pressure and rpm; a full name has the altitude behind an ``@``."""

NAMES: Mapping[str, str] = {
    **{f"power.{rating}": "hp" for rating in RATINGS},
    **{
        f"{height}.{rating}{gear}": "ft"
        for height in ("full_throttle_height", "critical_altitude")
        for rating in RATINGS
        for gear in ("", *(f".{g}" for g in GEARS))
    },
    **AT_ALTITUDE,
}
"""Every name a case may ask for, and its unit."""


def needed(names: Collection[str] | None, *, any_of: Collection[str]) -> bool:
    """Whether ``names`` (None: everything) holds one of those."""
    return names is None or any(name in names for name in any_of)
