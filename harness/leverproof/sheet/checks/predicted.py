"""The sheet's own check points held against what the predictor computes from the rest of it."""

from __future__ import annotations

import math

from leverproof.errors import InputError
from leverproof.sheet.checks.laws import CLIMB_AIRSPEED
from leverproof.sheet.checks.remark import WARNING, Remark, Remarks, doubt, number, shown
from leverproof.sheet.model import EngineSheet

SAMPLES, SEED = 400, 1
WIDER = 1.96 / 1.645
"""From half a 5-95 % band to U95 of a normal distribution."""
WORTH = 2_000.0
"""ft of height that a turbo must at least be good for (assumption)."""
SPLIT_LEVER_HEIGHT, SPLIT_LEVER_AIRSPEED = 15_000.0, 220.0
"""ft and kt of the shipped case ``split-lever-size``."""
_SOURCE = "the predictor, from the rest of the sheet: docs/explanation/predictor-equations.md"
_POINTS = {
    "power.maximum_continuous": "maximum_continuous.brake_power",
    "power.climb": "climb.brake_power",
    "full_throttle_height.climb": "climb.full_throttle_height",
    "full_throttle_height.climb.low_gear": "climb.full_throttle_height",
}
_TURBO_ALONE = {"critical_altitude.climb": "climb.full_throttle_height"}
"""With the turbo alone the height is where the automatic gate, or its limit, can no longer hold the pressure."""


def check_predicted(sheet: EngineSheet) -> Remarks:
    """Powers, full-throttle height and turbo limit against the predictor, where it can compute them. Imports the
    predictor only here: it takes most of the time."""
    from leverproof.physics.predictor.expectations import Conditions, Expectation, predict

    points = _POINTS | (_TURBO_ALONE if sheet.word("hardware.arrangement") == "turbo_normalised" else {})
    names = {
        *points,
        "critical_altitude.climb",
        "critical_altitude.takeoff",
        "full_throttle_height.takeoff",
        "full_throttle_height.takeoff.low_gear",
    }
    airspeed = CLIMB_AIRSPEED.get(sheet.word("hardware.service"), 150.0)
    try:
        made = predict(sheet, (), conditions=Conditions(airspeed=airspeed), samples=SAMPLES, seed=SEED, names=names)
    except InputError as refused:
        path = refused.where.rpartition(": ")[2]
        path = path if path in sheet.data else "takeoff.brake_power"
        words = f"nothing can be predicted from this sheet: {refused.message}"
        yield Remark("check points", WARNING, path, words, refused.hint, _SOURCE)
        return
    found: dict[str, Expectation] = made.expectations
    for name, path in points.items():
        if name in found and sheet.number(path) is not None and _same_point(name, found[name]):
            yield from _compared(sheet, path, found[name], airspeed)
    yield from _split_lever(sheet)
    yield from _turbo_limit(sheet, found)
    yield from _take_off_reached(sheet, found)


def _split_lever(sheet: EngineSheet) -> Remarks:
    """What moving the levers together costs, declared against computed, at the height and airspeed it is flown at."""
    from leverproof.physics.predictor.expectations import Conditions, predict

    path, name = "split_lever.advantage", "split_lever_advantage.procedure"
    if sheet.number(path) is None:
        return
    conditions = Conditions(airspeed=SPLIT_LEVER_AIRSPEED)
    made = predict(sheet, (SPLIT_LEVER_HEIGHT,), conditions=conditions, samples=SAMPLES, seed=SEED, names={name})
    told = made.expectations.get(f"{name}@{SPLIT_LEVER_HEIGHT:.0f}ft")
    if told is not None:
        yield from _compared(sheet, path, told, SPLIT_LEVER_AIRSPEED)


def _same_point(name: str, told: object) -> bool:
    """Climb power is stated at full-throttle height: where the predictor has none, it is of another point."""
    return name != "power.climb" or "sea level" not in str(getattr(told, "words", ""))


def _compared(sheet: EngineSheet, path: str, told: object, airspeed: float) -> Remarks:
    median, low, high = (float(getattr(told, key)) for key in ("median", "low", "high"))
    declared = number(sheet, path)
    if declared is None or not math.isfinite(median):
        return
    edge = (high - median if declared > median else median - low) * WIDER
    allowed = math.hypot(edge, doubt(sheet, path))
    if abs(declared - median) > allowed:
        unit, where = getattr(told, "unit", ""), getattr(told, "words", "")
        calculation = (
            f"declared {shown(sheet, path)}; predicted {median:.0f} {unit}, 5-95 % {low:.0f} to {high:.0f} "
            f"({where or f'{airspeed:g} kt'}); apart by {abs(declared - median):.0f}, allowed {allowed:.0f} {unit}"
        )
        words = f"{path} is not what the rest of the sheet gives"
        yield Remark("check points", WARNING, path, words, calculation, _SOURCE)


def _turbo_limit(sheet: EngineSheet, found: object) -> Remarks:
    """A turbo whose limit comes before the height at which it is needed at all holds nothing."""
    assert isinstance(found, dict)
    if sheet.word("hardware.arrangement") != "two_stage":
        return
    for rating in ("takeoff", "climb"):
        reach, alone = found.get(f"critical_altitude.{rating}"), found.get(f"full_throttle_height.{rating}")
        if reach is None or alone is None or not math.isfinite(reach.median):
            continue
        if reach.median <= alone.median + WORTH and reach.causes.get("turbo speed limit", 0.0) > 0.5:
            told = (
                f"boost back {alone.median:.0f} ft; to the turbo limit of {shown(sheet, 'limits.turbo_speed')} "
                f"{reach.median:.0f} ft (5-95 % {reach.low:.0f} to {reach.high:.0f})"
            )
            words = f"the turbo limit leaves the turbo nothing to add at the {rating} rating"
            yield Remark("turbo limit", WARNING, "limits.turbo_speed", words, told, _SOURCE)


def _take_off_reached(sheet: EngineSheet, found: object) -> Remarks:
    """Take-off pressure with boost back must be within reach at sea level."""
    assert isinstance(found, dict)
    if sheet.word("hardware.takeoff_boost") == "automatic":
        return
    for name in ("full_throttle_height.takeoff", "full_throttle_height.takeoff.low_gear"):
        told = found.get(name)
        if told is not None and math.isfinite(told.high) and told.high < 0.0:
            path = "takeoff.manifold_pressure"
            words = "take-off pressure is out of reach at sea level with the throttle wide open and boost back"
            calculation = f"predicted height {told.median:.0f} ft, 5-95 % {told.low:.0f} to {told.high:.0f}"
            yield Remark("gear and wheel", WARNING, path, words, calculation, _SOURCE)
