"""Rulings on the split-lever advantage: its size by computation, what makes it large, and what cases ask of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.model import Judgement
from leverproof.physics.predictor.bands import band
from leverproof.physics.predictor.calibrate import sampled_engine
from leverproof.physics.predictor.coefficients import Array
from leverproof.physics.predictor.design import Sampled
from leverproof.physics.predictor.expectations import Conditions, air_of, power_available, rating
from leverproof.physics.predictor.settings import levers_together, levers_together_or_limit
from leverproof.reference_data import reference_data
from leverproof.sheet.loader import load_sheet
from leverproof.sheet.model import EngineSheet

HORSEPOWER = 745.69987
AIR = Conditions(airspeed=220.0)
EARLY, LATE = "corrie-18-early", "corrie-18-late"


def sheet_of(name: str) -> EngineSheet:
    return load_sheet(str(reference_data() / "sheets" / f"{name}.toml"))


def advantage(sampled: Sampled, sheet: EngineSheet, feet: float, *, limited: bool = False) -> Array:
    """hp lost by moving the levers together at take-off pressure, one number a sample; ``limited``: where equal levers
    meet the turbo limit short of the pressure, what is left there."""
    at = np.array([[feet]])
    first = power_available(sheet, sampled, at, conditions=AIR)
    demand = rating(sheet, sampled, "takeoff")
    assert demand is not None
    both = (levers_together_or_limit if limited else levers_together)(
        sampled.engine, air_of(sampled, AIR, at), demand, work=sampled.work
    )
    full = np.abs(first.manifold_pressure / demand.manifold_pressure - 1.0) < 1e-6
    lost: Array = np.where(full, (first.power.brake - both.power.brake) / HORSEPOWER, np.nan)
    return lost


@pytest.fixture(scope="module")
def early() -> Sampled:
    return sampled_engine(sheet_of(EARLY), samples=600, seed=1)


@pytest.fixture(scope="module")
def late() -> Sampled:
    return sampled_engine(sheet_of(LATE), samples=600, seed=1)


def test_ordinary_coefficients_give_5_to_60_hp_at_equal_pressure(late: Sampled) -> None:
    found = band(advantage(late, sheet_of(LATE), 15_000.0), late.weight)
    print(found)
    assert found.low > 5.0 and found.median < 60.0
    assert found.share > 0.95


def test_no_sample_gives_the_rule_of_thumb_at_equal_pressure(early: Sampled, late: Sampled) -> None:
    for sampled, name in ((early, EARLY), (late, LATE)):
        assert np.nanmax(advantage(sampled, sheet_of(name), 15_000.0)) < 240.0


def test_a_small_nozzle_and_a_shut_cooler_give_more_yet_not_the_rule(late: Sampled) -> None:
    hard = replace(
        late.engine,
        exhaust_area=0.8 * late.engine.exhaust_area,
        cooler_effectiveness=np.zeros_like(late.engine.cooler_effectiveness),
    )
    sheet = sheet_of(LATE)
    plain, worse = (
        band(advantage(sampled, sheet, 15_000.0), late.weight)
        for sampled in (late, replace(late, engine=hard))
    )
    print(plain, worse)
    assert 1.15 * plain.median < worse.median < 190.0
    assert worse.high < 240.0


def test_a_turbo_limit_that_stops_the_levers_together_makes_it_hundreds(early: Sampled) -> None:
    sheet = sheet_of(EARLY)
    equal, limited = (advantage(early, sheet, 15_000.0, limited=stop) for stop in (False, True))
    stopped = np.isnan(equal) & np.isfinite(limited)
    assert early.weight[stopped].sum() > 0.3
    low, middle, high = np.quantile(limited[stopped], (0.25, 0.5, 0.75))
    print(low, middle, high)
    assert 140.0 < low < middle < high < 400.0, "the rule of thumb is inside what the limit explains"
    higher = band(advantage(early, sheet, 20_000.0, limited=True), early.weight)
    assert higher.median > 250.0


def test_it_shrinks_with_height_for_a_speed_demand_below_the_limit(late: Sampled) -> None:
    sheet = sheet_of(LATE)
    lost = np.hstack([advantage(late, sheet, h) for h in (10_000.0, 15_000.0, 20_000.0)])
    good = np.all(np.isfinite(lost), axis=1)
    assert good.mean() > 0.9
    assert np.all(np.diff(lost[good], axis=1) < 0.0)


def _judgements(case_id: str) -> dict[str, Judgement]:
    case = next(case for case in load_catalogue().cases if case.id == case_id)
    return {judgement.id: judgement for judgement in case.judgements}


def test_the_size_is_required_by_the_sheet_else_by_the_predictor_and_300_hp_never() -> None:
    size = _judgements("split-lever-size")
    stated = "split_lever.advantage"
    assert size["sheet-size"].weight == "required" and stated in size["sheet-size"].applies.data
    assert size["predicted-size"].weight == "required" and stated in size["predicted-size"].applies.without
    assert size["predicted-size-beside-sheet"].weight == "advisory"
    assert size["practice-size"].weight == "advisory"
    for judgement in (size["predicted-size"], size["predicted-size-beside-sheet"]):
        assert judgement.expected is not None and judgement.expected.part == "middle"
        assert judgement.tolerance is not None and judgement.tolerance.percent == 100.0


def test_the_sign_is_asked_only_where_it_is_exercised_and_the_trend_only_of_a_speed_demand() -> None:
    sign = _judgements("split-lever-advantage")
    for name in ("power", "turbo-speed", "carburettor-air", "back-pressure"):
        exercised = sign[name].exercised
        assert sign[name].weight == "required" and exercised is not None
        assert exercised.channel == "carburettor_deck_pressure"
    assert sign["power"].per is not None and sign["power"].per.rate.value == 2.0
    assert sign["trend"].applies.sheet == {"hardware.boost_acts_on": ("speed",)}
