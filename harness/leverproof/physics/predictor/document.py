"""A prediction as a plain document: what the JSON file holds and what tables and plots are drawn from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from leverproof.physics.predictor.coefficients import COEFFICIENTS
from leverproof.physics.predictor.design import Sheet
from leverproof.physics.predictor.expectations import Expectation, Prediction, law_words
from leverproof.quantities import convert, convert_difference

LAWS = ("throttle_exponent", "gate_exponent", "speed_exponent", "full_speed", "full_deck")
SPLIT_LEVER_HEIGHT = 15_000.0
"""ft: where a sheet's split-lever advantage is stated."""


def document_of(
    prediction: Prediction, sheet: Sheet, *, heading: dict[str, str], samples: int, asked: Sequence[float]
) -> dict[str, Any]:
    """The document. ``heading`` brings id, title and caution of the sheet and the version; ``asked`` the altitudes
    in ft that a table shows, the others being there for curves. No number in it is NaN: it is None."""
    sampled, conditions = prediction.sampled, prediction.conditions
    notes = sampled.notes
    boosted = sampled.engine.has_turbo and sampled.engine.boost_acts_on not in ("", "none")
    return {
        "format": 1,
        "program": "leverproof",
        **heading,
        "seed": sampled.seed,
        "samples": samples,
        "airspeed": {"value": conditions.airspeed, "unit": "kt"},
        "temperature_offset": {"value": conditions.offset, "unit": "K"},
        "relative_humidity": conditions.humidity,
        "mixture": "auto_rich",
        "calibration": sampled.calibration,
        "lever_law": law_words(sampled, throttle=True) if boosted else "no separate boost lever",
        "sheet_data": dict(sorted(notes.used.items())),
        "missing": [{"datum": path, "effect": effect} for path, effect in sorted(notes.missing.items())],
        "derived_from": list(notes.from_model),
        "altitudes": list(prediction.at),
        "asked": sorted(set(asked)),
        "numbers": [_number(e, sheet) for e in prediction.expectations.values()],
        "coefficients": [
            {"name": c.name, "shape": c.shape, "a": c.a, "b": c.b, "unit": c.unit, "source": c.source}
            for c in COEFFICIENTS.values()
        ],
    }


def _number(e: Expectation, sheet: Sheet) -> dict[str, Any]:
    """One expectation; ``sheet`` in it is what the sheet itself says, for comparison."""
    out: dict[str, Any] = {
        "name": e.name, "meaning": e.meaning, "unit": e.unit, "altitude": e.altitude, "median": _finite(e.median),
        "low": _finite(e.low), "high": _finite(e.high), "share": round(e.share, 6), "words": e.words,
        "causes": {k: round(v, 6) for k, v in e.causes.items()}, "source": e.source,
        "derived_from": list(e.derived_from), "sheet": None,
    }  # fmt: skip
    found = sheet.number(_path(e)) if _path(e) else None
    if found is not None:
        doubt = None if found.doubt is None else convert_difference(found.doubt, found.unit, e.unit)
        out["sheet"] = {
            "value": convert(float(found.value), found.unit, e.unit), "doubt": doubt, "from_model": found.from_model,
        }  # fmt: skip
    return out


def _finite(number: float) -> float | None:
    return float(f"{number:.7g}") if math.isfinite(number) else None


def _path(e: Expectation) -> str:
    """The sheet datum that states the same thing, or ""."""
    kind, _, rest = e.name.partition(".")
    if kind == "full_throttle_height":
        return f"{rest}.full_throttle_height"
    if kind == "power":
        return f"{rest}.brake_power"
    same = e.name.startswith("split_lever_advantage@") and e.altitude == SPLIT_LEVER_HEIGHT
    return "split_lever.advantage" if same else ""
