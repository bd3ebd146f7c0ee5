"""Invented engine sheets of the five arrangements, as plain mappings: the predictor asks for no more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from leverproof.quantities import parse


@dataclass(frozen=True)
class Entry:
    value: float | str
    unit: str
    source: str = "invented for the test"
    doubt: float | None = 0.0
    from_model: bool = False


@dataclass(frozen=True)
class PlainSheet:
    """A sheet from texts such as ``{"takeoff.manifold_pressure": "28 inHg"}``; words have no digits."""

    texts: dict[str, str]
    id: str = "invented"
    caution: str = "A simulated engine of an invented family; never a power setting for a real one."
    from_model: frozenset[str] = frozenset()

    def word(self, path: str) -> str:
        return self.texts.get(path, "") if path.startswith("hardware.") else ""

    def number(self, path: str) -> Entry | None:
        if path not in self.texts or path.startswith("hardware."):
            return None
        read = parse(self.texts[path])
        return Entry(read.value, read.unit, from_model=path in self.from_model)

    def but(self, **changes: str) -> PlainSheet:
        """A copy with data changed, or left out when the text is empty; ``__`` stands for the dot."""
        texts = {**self.texts, **{key.replace("__", "."): text for key, text in changes.items()}}
        return PlainSheet({k: t for k, t in texts.items() if t}, from_model=self.from_model)


_LIGHT = {
    "hardware.arrangement": "unsupercharged", "hardware.boost_acts_on": "none", "hardware.intercooler": "none",
    "takeoff.manifold_pressure": "28.3 inHg", "takeoff.engine_speed": "2700 rpm", "takeoff.brake_power": "235 hp",
    "geometry.displacement": "470 in3", "geometry.compression_ratio": "8",
}  # fmt: skip
_GEARED = {
    "hardware.arrangement": "geared_one_speed", "hardware.boost_acts_on": "none", "hardware.intercooler": "none",
    "takeoff.manifold_pressure": "42 inHg", "takeoff.engine_speed": "2600 rpm", "takeoff.brake_power": "1250 hp",
    "climb.manifold_pressure": "36 inHg", "climb.engine_speed": "2400 rpm",
    "geometry.displacement": "1850 in3", "geometry.compression_ratio": "6.7",
    "geared_stage.ratio": "8.0", "geared_stage.wheel_diameter": "11 in",
}  # fmt: skip
_TURBO = {
    **_LIGHT, "hardware.arrangement": "turbo_normalised", "takeoff.manifold_pressure": "29.5 inHg",
    "geometry.compression_ratio": "7.5", "turbo.wheel_diameter": "3.2 in", "limits.turbo_speed": "100000 rpm",
}  # fmt: skip
_TWO_STAGE = {
    "hardware.arrangement": "two_stage", "hardware.boost_acts_on": "gate", "hardware.intercooler": "shutter",
    "hardware.takeoff_boost": "back",
    "takeoff.manifold_pressure": "50 inHg", "takeoff.engine_speed": "2600 rpm", "takeoff.brake_power": "1950 hp",
    "climb.manifold_pressure": "38 inHg", "climb.engine_speed": "2450 rpm",
    "limits.turbo_speed": "20000 rpm", "limits.carburettor_air_temperature": "45 degC",
    "geometry.displacement": "2800 in3", "geometry.compression_ratio": "6.8",
    "geared_stage.ratio": "7.6", "geared_stage.wheel_diameter": "11.5 in",
    "turbo.wheel_diameter": "12.4 in", "turbo.nozzle_area": "19 in2", "turbo.gate_area": "32 in2",
    "carburettor.throttle_area": "44 in2", "intercooler.effectiveness": "0.45",
}  # fmt: skip
SHEETS = {
    "unsupercharged": _LIGHT,
    "geared_one_speed": _GEARED,
    "geared_two_speed": {
        **_GEARED, "hardware.arrangement": "geared_two_speed", "geared_stage.ratio": "7",
        "geared_stage.ratio_high": "9.5",
    },
    "turbo_normalised": _TURBO,
    "two_stage": _TWO_STAGE,
}  # fmt: skip


@pytest.fixture
def sheet_of() -> Callable[[str], PlainSheet]:
    """An invented sheet by arrangement."""
    return lambda arrangement: PlainSheet(SHEETS[arrangement])
