"""Invented outcomes for the tests of what is made from them."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterator
from dataclasses import replace

from leverproof.campaign.model import Outcome

HOSTILE = "</title></style><script>window.acted=1</script><img src=x onerror=window.acted=1>\" '&\u202e\x1b[31m|`"

ALTITUDES = (0.0, 5000.0, 10000.0, 15000.0, 20000.0, 25000.0)
SPEEDS = (2000.0, 2200.0, 2400.0, 2600.0)


def row(**given: object) -> Outcome:
    """One outcome, with what is given instead of an invented pass."""
    base = Outcome(
        item=hashlib.sha256(str(sorted(given.items(), key=str)).encode()).hexdigest()[:32],
        block="b" * 32,
        model="Corrie",
        sheet="corrie-18-early",
        case="climb-power",
        subject="power",
        point="",
        sample=0,
        surroundings={},
        coefficients={},
        judgement="power",
        what="value",
        weight="required",
        basis="published",
        unit="hp",
        verdict="pass",
    )
    return replace(base, **given)  # type: ignore[arg-type]


def power(altitude: float, speed: float) -> float:
    """An invented surface of brake power, hp."""
    return 0.6 * speed - 0.012 * altitude - 1e-9 * altitude**2 * speed / 2000.0


def campaign(*, samples: int = 0, seed: int = 1, models: tuple[str, ...] = ("Corrie", "Rill")) -> Iterator[Outcome]:
    """Outcomes of two models, two cases and all altitudes: one case reads four engine speeds in one run, the other
    one only; the second model fails high up, breaks down twice, and has one self-referential pass an item."""
    drawn = random.Random(seed)
    draws = [
        {},
        *({"filling": drawn.uniform(0.8, 1.0), "friction": drawn.uniform(0.1, 0.2)} for _ in range(samples)),
    ]
    for model in models:
        for sample, coefficients in enumerate(draws):
            for altitude in ALTITUDES:
                yield from _item(model, sample, coefficients, altitude)


def _item(model: str, sample: int, coefficients: dict[str, float], altitude: float) -> Iterator[Outcome]:
    text = f"{model} {sample} {altitude}"
    item = hashlib.sha256(text.encode()).hexdigest()[:32]
    share = coefficients.get("filling", 0.9) / 0.9
    readings = {
        f"chart/at {speed:.0f}": {
            "engine_speed": speed + 1.5,
            "brake_power": share * power(altitude, speed),
            "manifold_pressure": 30.0 - altitude / 2000.0,
        }
        for speed in SPEEDS
    }
    common = {
        "item": item, "model": model, "sample": sample, "coefficients": coefficients,
        "surroundings": {"pressure_altitude": altitude, "temperature_offset": 0.0},
    }  # fmt: skip
    found = share * power(altitude, 2600.0)
    margin = 1.0 - abs(share - 1.0) / 0.2 - (altitude / 20000.0 if model == "Rill" else 0.0)
    broken = model == "Rill" and sample == 0 and altitude >= 20000.0
    yield row(
        **common, case="rpm-chart", judgement="power", found=None if broken else found, expected=found / share,
        low=0.8 * found / share, high=1.2 * found / share, doubt=2.0, margin=None if broken else margin,
        verdict="error" if broken else "pass" if margin > 0 else "fail", readings={} if broken else readings,
        trouble="the model ended with signal 9 (SIGKILL)" if broken else "",
    )  # fmt: skip
    yield row(**common, case="rpm-chart", judgement="own-number", weight="required", self_referential=True, found=1.0,
              unit="1", margin=0.5)  # fmt: skip
    yield row(
        **common,
        case="rpm-chart",
        judgement="hint",
        weight="advisory",
        verdict="fail",
        found=5.0,
        margin=-1.5,
    )
