"""Plausibility: what the embedded engine shows lies in the bands predicted from its sheet. Nothing is fitted to it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.expectations import Conditions, Expectation, predict_expectations
from leverproof.sheet.loader import load_sheet
from leverproof.sheet.model import Datum
from leverproof.stand.port import Start
from leverproof_adapters.reference_engine.components import honest
from leverproof_adapters.reference_engine.parameters import parameter_set
from leverproof_adapters.reference_engine.session import ReferenceSession

INPUTS = (
    "throttle", "boost", "propeller", "mixture", "intercooler_shutter", "pressure_altitude", "temperature_offset",
    "relative_humidity", "true_airspeed",
)  # fmt: skip
OUTPUTS = (
    "manifold_pressure", "turbo_speed", "brake_power", "carburettor_air_temperature", "carburettor_deck_pressure",
    "exhaust_back_pressure", "wastegate_opening",
)  # fmt: skip
TRAVEL = np.linspace(0.02, 1.0, 33)
HEIGHTS = np.arange(0.0, 16_001.0, 2_000.0)
PRESSURE = 52.0


@cache
def _settled(variant: str) -> Array:
    """Readings after 60 s: wide open with boost back at heights, then boost alone and both levers at 15,000 ft, then
    the throttle alone at sea level."""
    rows = [(1.0, 0.0, 1.0, 2.0, 1.0, h, 0.0, 0.0, 150.0) for h in HEIGHTS]
    rows += [(1.0, x, 1.0, 2.0, 1.0, 15_000.0, 0.0, 0.0, 150.0) for x in TRAVEL]
    rows += [(x, x, 1.0, 2.0, 1.0, 15_000.0, 0.0, 0.0, 150.0) for x in TRAVEL]
    session = ReferenceSession(honest(parameter_set(variant)), "for plausibility")
    session.initialise([Start("running", row) for row in rows], 3600, INPUTS, OUTPUTS)
    block = np.broadcast_to(np.array(rows)[None], (100, len(rows), len(INPUTS)))
    for _ in range(6):
        found = session.advance(range(len(rows)), block)
    return np.asarray(found[-1])


def _at_pressure(rows: Array) -> dict[str, float]:
    """Readings where manifold pressure passes the take-off value, and the travel there."""
    out = {name: float(np.interp(PRESSURE, rows[:, 0], rows[:, i])) for i, name in enumerate(OUTPUTS)}
    return {**out, "travel": float(np.interp(PRESSURE, rows[:, 0], TRAVEL))}


@cache
def _predicted(variant: str, exponent: float = 0.0) -> dict[str, Expectation]:
    sheet = load_sheet(variant)
    if exponent:
        law = Datum(exponent, "1", "read off the engine's own boost lever", 0.05, True)
        sheet = replace(sheet, data={**sheet.data, "lever_law.speed_exponent": law})
    return predict_expectations(
        sheet, (15_000.0,), conditions=Conditions(airspeed=150.0), samples=800, seed=6
    )


def _inside(e: Expectation, value: float) -> None:
    print(f"{e.name}: {value:.5g} in {e.low:.5g} to {e.high:.5g} {e.unit}")
    assert e.low <= value <= e.high, e.name


@pytest.mark.parametrize("variant", ["corrie-18-early", "corrie-18-late"])
def test_the_bands_contain_what_the_engine_shows(variant: str) -> None:
    rows, found = _settled(variant), _predicted(variant)
    still = rows[: HEIGHTS.size, 0]
    _inside(found["full_throttle_height.takeoff"], float(np.interp(-PRESSURE, -still, HEIGHTS)))
    first = _at_pressure(rows[HEIGHTS.size : HEIGHTS.size + TRAVEL.size])
    for reading, name in {
        "turbo_speed": "turbo_speed", "brake_power": "brake_power", "wastegate_opening": "wastegate_opening",
        "carburettor_air_temperature": "carburettor_air_temperature", "exhaust_back_pressure": "exhaust_back_pressure",
        "carburettor_deck_pressure": "deck_pressure",
    }.items():  # fmt: skip
        _inside(found[f"{name}@15000ft"], first[reading])


def _advantage(variant: str) -> float:
    rows = _settled(variant)
    first = _at_pressure(rows[HEIGHTS.size : HEIGHTS.size + TRAVEL.size])
    both = _at_pressure(rows[HEIGHTS.size + TRAVEL.size :])
    return first["brake_power"] - both["brake_power"]


def test_the_advantage_of_the_early_set_lies_in_its_band() -> None:
    _inside(_predicted("corrie-18-early")["split_lever_advantage@15000ft"], _advantage("corrie-18-early"))


def test_the_advantage_of_the_late_set_lies_in_its_band_once_its_lever_law_is_known() -> None:
    variant = "corrie-18-late"
    first = _at_pressure(_settled(variant)[HEIGHTS.size : HEIGHTS.size + TRAVEL.size])
    exponent = float(np.log(first["turbo_speed"] / 24_000.0) / np.log(first["travel"]))
    known = _predicted(variant, round(exponent, 3))["split_lever_advantage@15000ft"]
    _inside(known, _advantage(variant))
    assert "lever_law.speed_exponent" in known.derived_from


def test_the_rated_points_of_the_sheets_lie_in_the_bands() -> None:
    for variant in ("corrie-18-early", "corrie-18-late"):
        sheet, found = load_sheet(variant), _predicted(variant)
        for path, name in (("climb.full_throttle_height", "full_throttle_height.climb"),
                           ("climb.brake_power", "power.climb"),
                           ("maximum_continuous.brake_power", "power.maximum_continuous")):  # fmt: skip
            datum = sheet.number(path)
            assert datum is not None and isinstance(datum.value, float)
            _inside(found[name], datum.value)
