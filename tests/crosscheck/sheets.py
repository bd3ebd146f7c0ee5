"""Invented sheets of the five arrangements, with data given and left out in turn."""

from __future__ import annotations

from .independent_machine import Entry, Paper


def _paper(arrangement: str, boost: str, cooler: str, **data: str) -> Paper:
    """A sheet from texts such as ``"52 inHg"`` or ``"52 inHg +- 0.1"``; ``__`` stands for the dot."""
    entries = {}
    for name, text in data.items():
        number, _, rest = text.partition(" ")
        unit, _, doubt = rest.partition(" +- ")
        entries[name.replace("__", ".")] = Entry(float(number), unit, float(doubt) if doubt else None)
    return Paper({"arrangement": arrangement, "boost_acts_on": boost, "intercooler": cooler}, entries)


_TWO_STAGE = {
    "takeoff__manifold_pressure": "50 inHg", "takeoff__engine_speed": "2600 rpm",
    "takeoff__brake_power": "1950 hp +- 40",
    "limits__turbo_speed": "20000 rpm", "geometry__displacement": "2800 in3 +- 3",
    "geometry__compression_ratio": "6.8 1",
}  # fmt: skip
_BIG_TURBO = {
    **_TWO_STAGE, "limits__carburettor_air_temperature": "45 degC",
    "geared_stage__ratio": "7.6 1 +- 0", "geared_stage__wheel_diameter": "11.5 in +- 0.05",
    "turbo__wheel_diameter": "12.4 in +- 0.05", "turbo__nozzle_area": "19 in2 +- 0.5",
    "turbo__gate_area": "32 in2 +- 2",
    "carburettor__throttle_area": "44 in2 +- 1.5", "intercooler__effectiveness": "0.45 1 +- 0.05",
    "lever_law__throttle_exponent": "1.9 1 +- 0.1", "lever_law__gate_exponent": "2.6 1 +- 0.4",
}  # fmt: skip
PAPERS = {
    "unsupercharged": _paper(
        "unsupercharged", "none", "none", takeoff__manifold_pressure="28.3 inHg", takeoff__engine_speed="2700 rpm",
        takeoff__brake_power="235 hp +- 5", geometry__displacement="470 in3", geometry__compression_ratio="8 1",
    ),
    "geared_one_speed": _paper(
        "geared_one_speed", "none", "none", takeoff__manifold_pressure="42 inHg", takeoff__engine_speed="2600 rpm",
        takeoff__brake_power="1250 hp", geometry__displacement="1850 in3",
    ),
    "geared_two_speed": _paper(
        "geared_two_speed", "none", "none", takeoff__manifold_pressure="42 inHg", takeoff__engine_speed="2600 rpm",
        takeoff__brake_power="1250 hp +- 30", geared_stage__ratio="7 1", geared_stage__wheel_diameter="11 in",
        geometry__compression_ratio="6.7 1 +- 0.1",
    ),
    "turbo_normalised": _paper(
        "turbo_normalised", "none", "none", takeoff__manifold_pressure="29.5 inHg", takeoff__engine_speed="2700 rpm",
        takeoff__brake_power="230 hp", geometry__displacement="470 in3", geometry__compression_ratio="7.5 1",
        turbo__wheel_diameter="3.2 in", limits__turbo_speed="100000 rpm",
    ),
    "two_stage": _paper("two_stage", "gate", "shutter", **_BIG_TURBO),
    "two_stage_bare": _paper("two_stage", "gate", "fixed", **_TWO_STAGE),
    "two_stage_speed": _paper("two_stage", "speed", "shutter", **_BIG_TURBO, lever_law__full_speed="21000 rpm +- 50"),
    # tips beyond the knee of the efficiency, deck air beyond its limit
    "two_stage_fast": _paper(
        "two_stage", "gate", "shutter",
        **{**_BIG_TURBO, "limits__turbo_speed": "27000 rpm", "turbo__nozzle_area": "13 in2"},
    ),
    "two_stage_deck": _paper("two_stage", "deck", "shutter", **_BIG_TURBO),
}  # fmt: skip
