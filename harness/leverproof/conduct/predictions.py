"""What the predictor says of a sheet at a run's surroundings: computed when first asked for, then kept."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from leverproof.cases.model import Value
from leverproof.conduct.model import Expected
from leverproof.errors import InputError
from leverproof.physics.predictor.names import AT_ALTITUDE, LEVEL_SPEEDS
from leverproof.quantities import convert, convert_difference
from leverproof.sheet.model import EngineSheet

if TYPE_CHECKING:
    from leverproof.physics.predictor.expectations import Expectation, Prediction

SAMPLES, SEED = 800, 1
"""Samples and seed of a prediction that judges. With the shipped sheets the ends of the bands move by at most a
tenth of the band's width from seed to seed; docs/explanation/physics.md has the numbers. The seed is not the session's:
a model must not pass or fail by the luck of the draw."""
NORMAL_95 = 1.96 / 1.645
"""U95 over half of a 5-95 % band, for a normal distribution (JCGM 100:2008, table G.1)."""


@dataclass(frozen=True, slots=True)
class Foretold:
    """One prediction: ``found`` None where there is none, and why in ``words``; ``missing`` the data not there."""

    found: Expectation | None
    words: str
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Predictions:
    """The predictions made so far, by sheet, name and surroundings."""

    kept: dict[tuple[str, str, tuple[float, ...]], Foretold] = field(default_factory=dict)

    def of(self, sheet: EngineSheet, name: str, surroundings: Mapping[str, float]) -> Foretold:
        """The prediction of that name. A prediction that is not of an altitude does not depend on the run's."""
        height = surroundings["pressure_altitude"] if name in AT_ALTITUDE else math.inf
        air = tuple(surroundings[k] for k in ("true_airspeed", "temperature_offset", "relative_humidity"))
        key = (sheet.text, name, (height, *air))
        if key not in self.kept:
            self.kept[key] = _foretold(sheet, name, height, air)
        return self.kept[key]


def predicted(value: Value, told: Foretold, symbol: str, where: str) -> Expected:
    """The part of a prediction that ``value`` asks for, in ``symbol``; NaN with the predictor's words where it is
    refused. Doubt: the median's is its 5-95 % band; what is taken of the band itself has none of its own."""
    e = told.found
    if e is None:
        return Expected(math.nan, None, told.words)
    half = 0.5 * (e.high - e.low)
    if value.part == "half_band":
        number = convert_difference(half * value.times, e.unit, symbol, where)
    else:
        number = {"median": e.median, "low": e.low, "high": e.high, "middle": e.low + half}[value.part]
        number = convert(number * value.times, e.unit, symbol, where)
    if value.plus is not None:
        number += value.plus.difference_in(symbol, where)
    doubt = convert_difference(NORMAL_95 * half * value.times, e.unit, symbol, where)
    return Expected(number, doubt if value.part == "median" else 0.0, told.words, bool(e.derived_from))


def _foretold(sheet: EngineSheet, name: str, height: float, air: tuple[float, ...]) -> Foretold:
    from leverproof.physics.predictor.expectations import Conditions, predict  # numpy-heavy: only when asked

    conditions = Conditions(*air)
    at = (height,) if math.isfinite(height) else ()
    try:
        whole = predict(sheet, at, conditions=conditions, samples=SAMPLES, seed=SEED, names=(name,))
    except InputError as refused:
        return Foretold(None, f"no prediction of {name}: {refused.message}")
    found = next((e for full, e in whole.expectations.items() if full.partition("@")[0] == name), None)
    missing = tuple(sorted(whole.sampled.notes.missing))
    if found is None:
        return Foretold(None, _not_given(sheet, name, whole), missing)
    if not math.isfinite(found.median):
        return Foretold(None, f"no prediction of {name}: {_why(found)}", missing)
    return Foretold(found, _words(found, whole, missing), missing)


def _not_given(sheet: EngineSheet, name: str, whole: Prediction) -> str:
    """Why there is no such prediction at all: the tables and data it needs and the sheet lacks; else the hardware."""
    from leverproof.physics.predictor.level_speeds import NO_LEVEL_SPEED

    lacking = [path for path, effect in whole.sampled.notes.missing.items() if effect == NO_LEVEL_SPEED]
    if name in LEVEL_SPEEDS and lacking:
        return f"the predictor gives no {name}: the sheet does not give {', '.join(sorted(lacking))}"
    kind = sheet.word("hardware.arrangement").replace("_", " ")
    return f"the predictor gives no {name} for this sheet ({kind})"


def _why(found: Expectation) -> str:
    shares = [f"{cause} in {100.0 * share:.0f} % of the samples" for cause, share in found.causes.items()]
    return "; ".join(w for w in (found.words, *shares) if w) or "no sample has a number"


def _words(found: Expectation, whole: Prediction, missing: tuple[str, ...]) -> str:
    lacks = f"the sheet does not give {', '.join(missing)}" if missing else "no datum missing"
    parts = [
        f"computed by the predictor: {found.meaning} {found.median:.4g} {found.unit}",
        f"5-95 % band {found.low:.4g} to {found.high:.4g}",
        f"seed {whole.sampled.seed}",
        lacks,
        found.words,
    ]
    if found.derived_from:
        parts.append(f"rests on data taken from a model: {', '.join(found.derived_from)}")
    return "; ".join(part for part in parts if part)
