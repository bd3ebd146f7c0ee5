"""Invented engines of three arrangements on which the predictor is held against published statements."""

from __future__ import annotations

from dataclasses import dataclass

from leverproof.quantities import parse


@dataclass(frozen=True)
class Entry:
    """A datum that nobody doubts."""

    value: float | str
    unit: str
    source: str = "invented for the test"
    doubt: float | None = 0.0
    from_model: bool = False


@dataclass(frozen=True)
class Sheet:
    """An engine sheet from texts such as ``{"takeoff.manifold_pressure": "28 inHg"}``."""

    texts: dict[str, str]

    def word(self, path: str) -> str:
        """A word of the hardware, or ""."""
        return self.texts.get(path, "") if path.startswith("hardware.") else ""

    def number(self, path: str) -> Entry | None:
        """A datum, or None."""
        if path not in self.texts or path.startswith("hardware."):
            return None
        read = parse(self.texts[path])
        return Entry(read.value, read.unit)


LIGHT = Sheet({
    "hardware.arrangement": "unsupercharged", "hardware.boost_acts_on": "none", "hardware.intercooler": "none",
    "takeoff.manifold_pressure": "28.3 inHg", "takeoff.engine_speed": "2700 rpm", "takeoff.brake_power": "235 hp",
    "geometry.displacement": "470 in3", "geometry.compression_ratio": "8",
})  # fmt: skip
GEARED = Sheet({
    "hardware.arrangement": "geared_one_speed", "hardware.boost_acts_on": "none", "hardware.intercooler": "none",
    "takeoff.manifold_pressure": "42 inHg", "takeoff.engine_speed": "2600 rpm", "takeoff.brake_power": "1250 hp",
    "climb.manifold_pressure": "36 inHg", "climb.engine_speed": "2400 rpm",
    "geometry.displacement": "1850 in3", "geometry.compression_ratio": "6.7",
    "geared_stage.ratio": "8.0", "geared_stage.wheel_diameter": "11 in",
})  # fmt: skip
NORMALISED = Sheet({
    **LIGHT.texts, "hardware.arrangement": "turbo_normalised", "takeoff.manifold_pressure": "29.5 inHg",
    "geometry.compression_ratio": "7.5", "turbo.wheel_diameter": "3.2 in", "limits.turbo_speed": "100000 rpm",
})  # fmt: skip
TWO_STAGE = Sheet({
    "hardware.arrangement": "two_stage", "hardware.boost_acts_on": "gate", "hardware.intercooler": "shutter",
    "hardware.takeoff_boost": "back",
    "takeoff.manifold_pressure": "50 inHg", "takeoff.engine_speed": "2600 rpm", "takeoff.brake_power": "1950 hp",
    "climb.manifold_pressure": "38 inHg", "climb.engine_speed": "2450 rpm",
    "limits.turbo_speed": "60000 rpm", "limits.carburettor_air_temperature": "45 degC",
    "geometry.displacement": "2800 in3", "geometry.compression_ratio": "6.8",
    "geared_stage.ratio": "7.6", "geared_stage.wheel_diameter": "11.5 in",
    "turbo.wheel_diameter": "12.4 in", "turbo.nozzle_area": "36 in2", "turbo.gate_area": "32 in2",
    "carburettor.throttle_area": "44 in2", "intercooler.effectiveness": "0.45",
})  # fmt: skip
"""Its turbo never reaches its limit: what sets the critical altitude is the shut waste gate."""
