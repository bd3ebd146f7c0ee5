"""Level speeds the predictor gives: the solver's own, sign, slope, doubts; what is said without an aeroplane."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from leverproof.physics.level_flight.aeroplane import DATA, air_at
from leverproof.physics.level_flight.knots import speeds
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.expectations import power_available, predict
from leverproof.physics.predictor.level_speeds import level_speeds, sampled_aeroplane
from leverproof.physics.predictor.names import LEVEL_SPEEDS, NAMES
from leverproof.quantities import convert
from leverproof.sheet.loader import load_sheet

SHEETS = ("corrie-18-early", "corrie-18-late")
FIRST, TOGETHER, APART, STOPPED = LEVEL_SPEEDS


@dataclass(frozen=True)
class Changed:
    """A sheet without some data, or with another doubt or origin of some."""

    sheet: Any
    lost: tuple[str, ...] = ()
    doubts: tuple[tuple[str, float | None], ...] = ()
    from_model: tuple[str, ...] = ()

    def word(self, path: str) -> str:
        return str(self.sheet.word(path))

    def number(self, path: str) -> Any:
        found = None if path in self.lost else self.sheet.number(path)
        if found is not None and path in dict(self.doubts):
            found = replace(found, doubt=dict(self.doubts)[path])
        return replace(found, from_model=True) if found is not None and path in self.from_model else found


def _at(sheet: Any, altitude: float = 15_000.0, **more: Any) -> dict[str, Any]:
    found = predict(sheet, (altitude,), samples=more.pop("samples", 400), seed=3, **more).expectations
    return {name.partition("@")[0]: e for name, e in found.items()}


def _by_the_solver(sheet: Any, horsepower: float, altitude: float) -> tuple[float, float]:
    """Speed in kt and kt per hp from the sheet's own data in the sheet's units."""
    data = {path: float(sheet.number(path).value) for path in DATA}
    rated = sheet.number("takeoff.engine_speed")
    turns = convert(float(rated.value), rated.unit, "rpm")
    found = speeds(data, horsepower, turns, air_at(altitude))
    return float(found.true_airspeed), float(found.slope)


@pytest.mark.parametrize("name", SHEETS)
def test_the_bands_hold_the_solver_s_speed_at_the_sheet_s_own_data(name: str) -> None:
    sheet = load_sheet(name)
    middle, spread = _at(sheet, 10_000.0, samples=1), _at(sheet, 10_000.0)
    own, _ = _by_the_solver(sheet, middle["brake_power"].median, 10_000.0)
    less = middle["brake_power"].median - middle["split_lever_advantage"].median
    other, _ = _by_the_solver(sheet, less, 10_000.0)
    assert middle[FIRST].median == pytest.approx(own, rel=1e-9)
    assert middle[TOGETHER].median == pytest.approx(other, rel=1e-9)
    assert middle[APART].median == pytest.approx(own - other, abs=1e-6)
    for kind, speed in ((FIRST, own), (TOGETHER, other), (APART, own - other)):
        assert spread[kind].unit == NAMES[kind] == "kt"
        assert spread[kind].low < speed < spread[kind].high


@pytest.mark.parametrize("name", SHEETS)
def test_throttle_first_is_faster_in_each_sample_where_it_has_more_power(name: str) -> None:
    sheet = load_sheet(name)
    sampled = sampled_engine(sheet, samples=200, seed=5)
    plane, _ = sampled_aeroplane(sheet, sampled)
    assert plane is not None
    at, asked = np.array([[10_000.0, 15_000.0]]), sampled.engine.rated_pressure
    settings = [power_available(sheet, sampled, at, together=t) for t in (False, True)]
    first, together = (level_speeds(plane, s, asked, at, offset=0.0).speed for s in settings)
    gain = settings[0].power.brake - settings[1].power.brake
    both = np.isfinite(first) & np.isfinite(together)
    assert both.mean() > 0.9 and np.any(gain[both] > 0.0)
    assert np.array_equal((first > together)[both], (gain > 0.0)[both])


@pytest.mark.parametrize("name", SHEETS)
def test_the_difference_is_the_advantage_times_the_slope(name: str) -> None:
    sheet = load_sheet(name)
    found = _at(sheet)
    power, worth = found["brake_power"].median, found["split_lever_advantage"].median
    _, slope = _by_the_solver(sheet, power - 0.5 * worth, 15_000.0)
    assert found[APART].median == pytest.approx(worth * slope, rel=0.05)
    assert found[APART].share == pytest.approx(found["split_lever_advantage"].share)
    _, slope = _by_the_solver(sheet, power - 0.5 * found["split_lever_advantage.procedure"].median, 15_000.0)
    worth = found["split_lever_advantage.procedure"].median
    assert found[STOPPED].median == pytest.approx(worth * slope, rel=0.07)


def test_a_doubt_of_the_aeroplane_widens_a_speed_and_hardly_the_difference() -> None:
    sheet = load_sheet("corrie-18-late")
    sure = _at(Changed(sheet, doubts=tuple((path, 0.0) for path in DATA)))
    unsure = _at(Changed(sheet, doubts=(("airframe.zero_lift_drag", 0.004),)))

    def width(e: Any) -> float:
        return float(e.high - e.low)

    assert width(unsure[FIRST]) > 2.0 * width(sure[FIRST])
    assert width(unsure[APART]) == pytest.approx(width(sure[APART]), rel=0.2)


def test_a_count_of_engines_without_a_doubt_has_none() -> None:
    sheet = load_sheet("corrie-18-late")
    sampled = sampled_engine(sheet, samples=50, seed=5)
    unstated = Changed(sheet, doubts=(("airframe.engines", None), ("airframe.mass", None)))
    plane, _ = sampled_aeroplane(unstated, sampled)
    assert plane is not None
    assert np.ptp(plane.engines) == 0.0 < np.ptp(plane.mass)
    assert float(np.min(plane.induced_factor)) >= 1.0


@pytest.mark.parametrize(
    ("lost", "named"),
    [
        (tuple(DATA), {"[airframe]", "[propeller]"}),
        (tuple(path for path in DATA if path.startswith("propeller.")), {"[propeller]"}),
        (("airframe.mass",), {"airframe.mass"}),
    ],
)
def test_without_an_aeroplane_what_is_missing_is_named_and_nothing_else_moves(
    lost: tuple[str, ...], named: set[str]
) -> None:
    sheet = load_sheet("corrie-18-early")
    whole = predict(sheet, (15_000.0,), samples=150, seed=3)
    bare = predict(Changed(sheet, lost), (15_000.0,), samples=150, seed=3)
    assert set(bare.sampled.notes.missing) == named
    assert set(bare.sampled.notes.missing.values()) == {"no level speed is given"}
    kept = {name: e for name, e in whole.expectations.items() if not name.startswith("level_speed")}
    assert bare.expectations == kept and len(kept) == len(whole.expectations) - len(LEVEL_SPEEDS)


def test_samples_without_a_level_speed_are_counted_by_reason() -> None:
    found = _at(load_sheet("corrie-18-early"), 20_000.0)
    for kind in LEVEL_SPEEDS:
        e = found[kind]
        assert sum(e.causes.values()) + (e.share if kind != STOPPED else 0.0) == pytest.approx(1.0, abs=1e-3)
    assert found[FIRST].share < 0.9
    assert any("Mach" in cause for cause in found[FIRST].causes)
    assert found[FIRST].causes["take-off pressure cannot be held"] > 0.1
    assert math.isnan(found[TOGETHER].median) and found[TOGETHER].causes["turbo speed limit"] > 0.9


def test_one_speed_asked_for_by_name_is_the_same_number() -> None:
    sheet = load_sheet("corrie-18-late")
    whole = _at(sheet)
    for kind in LEVEL_SPEEDS:
        assert _at(sheet, names=(kind,))[kind] == whole[kind]


def test_an_aeroplane_taken_from_a_model_marks_the_speeds_alone() -> None:
    found = _at(Changed(load_sheet("corrie-18-late"), from_model=("airframe.mass",)), samples=150)
    assert "airframe.mass" in found[FIRST].derived_from and "airframe.mass" in found[FIRST].source
    assert "airframe.mass" not in found["brake_power"].derived_from
    assert "airframe.mass" not in found["brake_power"].source
