"""What an engine sheet may say: the words of each hardware datum, the numbers and their dimension.

One list serves the loader, the published JSON Schema's test and the reference page.
"""

from __future__ import annotations

HARDWARE: dict[str, tuple[str, ...]] = {
    "arrangement": (
        "unsupercharged",
        "geared_one_speed",
        "geared_two_speed",
        "turbo_normalised",
        "two_stage",
    ),
    "boost_acts_on": ("none", "gate", "speed", "deck"),
    "overspeed_protection": ("none", "governor"),
    "link": ("none", "procedure", "mechanical", "interlock"),
    "takeoff_boost": ("none", "back", "set", "automatic"),
    "coordination": ("none", "automatic"),
    "full_rich": ("compensated", "not_compensated"),
    "light": ("none", "three_state", "plain"),
    "propeller": ("constant_speed",),
    "service": ("light", "heavy"),
    "intercooler": ("none", "shutter", "fixed"),
}

_RATING = {
    "manifold_pressure": "inHg",
    "engine_speed": "rpm",
    "brake_power": "hp",
    "fuel_flow": "lb/h",
    "minutes": "min",
}

NUMBERS: dict[str, dict[str, str]] = {
    "takeoff": _RATING,
    "maximum_continuous": _RATING,
    "climb": {**_RATING, "full_throttle_height": "ft"},
    "cruise": {"manifold_pressure": "inHg", "engine_speed": "rpm", "brake_power": "hp", "fuel_flow": "lb/h"},
    "idle": {"engine_speed": "rpm"},
    "limits": {"turbo_speed": "rpm", "turbo_speed_tolerance": "1", "carburettor_air_temperature": "degC"},
    "light": {"blinking_above": "rpm", "off_above": "rpm", "on_above": "rpm", "hysteresis": "rpm"},
    "link": {"above": "ft"},
    "response": {"takeoff_time": "s"},
    "split_lever": {"advantage": "hp"},
    # design data for the predictor; areas are effective (discharge coefficient included)
    "geometry": {"displacement": "in3", "compression_ratio": "1"},
    "geared_stage": {"ratio": "1", "ratio_high": "1", "wheel_diameter": "in"},
    "turbo": {"wheel_diameter": "in", "nozzle_area": "in2", "gate_area": "in2"},
    "carburettor": {"throttle_area": "in2"},
    "intercooler": {"effectiveness": "1"},
    "lever_law": {
        "throttle_exponent": "1",
        "gate_exponent": "1",
        "speed_exponent": "1",
        "full_speed": "rpm",
        "full_deck": "inHg",
    },
    "airframe": {
        "wing_area": "ft2",
        "zero_lift_drag": "1",
        "induced_drag_factor": "1",
        "mass": "lb",
        "engines": "1",
    },
    "propeller": {
        "diameter": "in",
        "reduction": "1",
        "solidity": "1",
        "section_drag": "1",
        "induced_factor": "1",
    },
}
"""Numeric data by section and key, with the unit they are kept in."""

FASTEST = 10.0
"""Lever travel per second that no rate exceeds: a tenth of a second from stop to stop (assumption)."""

NEEDED: dict[str, tuple[str, ...]] = {
    "two_stage": ("takeoff.manifold_pressure", "takeoff.engine_speed", "limits.turbo_speed"),
    "turbo_normalised": ("takeoff.manifold_pressure", "takeoff.engine_speed"),
    "geared_one_speed": ("takeoff.manifold_pressure", "takeoff.engine_speed"),
    "geared_two_speed": ("takeoff.manifold_pressure", "takeoff.engine_speed"),
    "unsupercharged": ("takeoff.manifold_pressure", "takeoff.engine_speed"),
}
"""Data without which an arrangement's sheet is refused."""
