"""The order of the ratings, and the limits and lights that belong to them."""

from __future__ import annotations

from itertools import pairwise

from leverproof.sheet.checks.remark import CONTRADICTION, WARNING, Remark, Remarks, doubt, number, shown
from leverproof.sheet.model import EngineSheet

_PRACTICE = "common practice, no published source"
_ORDER = "definition of the ratings: take-off is held for minutes, maximum continuous without limit, climb within it"
_KEYS = ("manifold_pressure", "engine_speed", "brake_power", "fuel_flow")
_PAIRS = (
    ("takeoff", "maximum_continuous", CONTRADICTION),
    ("takeoff", "climb", CONTRADICTION),
    ("maximum_continuous", "climb", CONTRADICTION),
    ("takeoff", "cruise", CONTRADICTION),
    ("maximum_continuous", "cruise", CONTRADICTION),
    ("climb", "cruise", WARNING),
)


def check_order(sheet: EngineSheet) -> Remarks:
    """A higher rating has no less pressure, rpm, power or fuel than a lower one; beyond the stated doubts."""
    for upper, lower, kind in _PAIRS:
        for key in _KEYS:
            high, low = number(sheet, f"{upper}.{key}"), number(sheet, f"{lower}.{key}")
            if high is None or low is None:
                continue
            spread = doubt(sheet, f"{upper}.{key}") + doubt(sheet, f"{lower}.{key}")
            if low > high + spread:
                timed = lower == "climb" and upper == "maximum_continuous" and "climb.minutes" in sheet.data
                yield Remark(
                    "rating order",
                    WARNING if timed else kind,
                    f"{lower}.{key}",
                    f"{lower}.{key} is above {upper}.{key}",
                    f"{shown(sheet, f'{lower}.{key}')} against {shown(sheet, f'{upper}.{key}')}",
                    _ORDER,
                )
    idle, cruise = number(sheet, "idle.engine_speed"), number(sheet, "cruise.engine_speed")
    lowest = cruise if cruise is not None else number(sheet, "takeoff.engine_speed")
    if idle is not None and lowest is not None and idle >= lowest:
        told = f"{idle:g} rpm against {lowest:g} rpm"
        yield Remark(
            "rating order",
            CONTRADICTION,
            "idle.engine_speed",
            "the engine idles as fast as it cruises",
            told,
            "definition",
        )
    if "maximum_continuous.minutes" in sheet.data:
        path = "maximum_continuous.minutes"
        yield Remark("rating order", WARNING, path, "a continuous rating has no time limit", shown(sheet, path), _ORDER)


def check_light(sheet: EngineSheet) -> Remarks:
    """The light's bands against each other, their hysteresis and the turbo limit."""
    limit, band = number(sheet, "limits.turbo_speed"), number(sheet, "light.hysteresis")
    bands = {key: number(sheet, f"light.{key}") for key in ("blinking_above", "off_above", "on_above")}
    given = [value for value in bands.values() if value is not None]
    if sheet.word("hardware.light") in ("", "none"):
        for path in (path for path in sheet.data if path.startswith("light.")):
            yield Remark(
                "light",
                CONTRADICTION,
                path,
                "the sheet says there is no light",
                "hardware.light = none",
                "definition",
            )
        return
    gaps = [after - before for before, after in pairwise(given)] + given[:1]
    if band is not None and gaps and band >= min(gaps):
        words = "the hysteresis is as wide as the narrowest band: the light would never show it"
        yield Remark(
            "light",
            CONTRADICTION,
            "light.hysteresis",
            words,
            f"{band:g} rpm of {min(gaps):g} rpm",
            "definition",
        )
    if limit is None:
        return
    off, on = bands["off_above"], bands["on_above"]
    if off is not None and off >= limit:
        words = "the light goes out only beyond the turbo limit: it is never out in safe running"
        yield Remark(
            "light",
            CONTRADICTION,
            "light.off_above",
            words,
            f"{off:g} rpm against a limit of {limit:g} rpm",
            "definition",
        )
    margin = limit * (number(sheet, "limits.turbo_speed_tolerance") or 0.0)
    late = 0.0 if on is None else on - limit - margin - doubt(sheet, "light.on_above") - 1e-6 * limit
    if late > 0.0:
        words = "the overspeed light comes on only after the limit, and what its governor may add to it, is passed"
        told = f"on above {on:g} rpm; limit {limit:g} + {margin:g} rpm"
        yield Remark("light", WARNING, "light.on_above", words, told, _PRACTICE)
    if on is not None and on < 0.8 * limit:
        words = "the overspeed light comes on far below the limit"
        yield Remark(
            "light",
            WARNING,
            "light.on_above",
            words,
            f"{on:g} rpm is {on / limit:.0%} of {limit:g} rpm",
            _PRACTICE,
        )


def check_speeds_asked(sheet: EngineSheet) -> Remarks:
    """What full boost lever demands against the turbo limit."""
    full, limit = number(sheet, "lever_law.full_speed"), number(sheet, "limits.turbo_speed")
    if full is None or limit is None:
        return
    told = f"full lever demands {full:g} rpm; limit {limit:g} rpm"
    if full > 1.25 * limit:
        yield Remark(
            "boost demand",
            WARNING,
            "lever_law.full_speed",
            "full boost lever demands far more than the limit",
            told,
            _PRACTICE,
        )
    if full < 0.7 * limit:
        yield Remark(
            "boost demand",
            WARNING,
            "lever_law.full_speed",
            "full boost lever stays far below the limit",
            told,
            _PRACTICE,
        )
