"""Every seeded defect changes a reading that an honest engine gives otherwise, and says what it is."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.stand.port import StandFile
from leverproof_adapters.reference_engine import known_defects
from leverproof_adapters.reference_engine.defects import DEFECTS

Rigs = Callable[..., Any]
LANES: dict[str, list[float]] = {
    "throttle": [0, 0.58, 1, 0.7, 1, 0.5, 0.6],
    "boost": [0, 0, 0.33, 0.3, 1, 0.2, 0.4],
    "mixture": [2, 2, 2, 3, 2, 0, 1],
    "intercooler_shutter": [1, 1, 1, 0, 1, 1, 0],
    "pressure_altitude": [0, 0, 15_000, 10_000, 20_000, 0, 12_000],
    "temperature_offset": [0, 0, 0, 15, 0, 0, -10],
    "relative_humidity": [0, 0, 0, 0.8, 0, 0, 0],
    "true_airspeed": [0, 0, 170, 150, 170, 0, 150],
    "blower_gear": [0, 0, 0, 1, 1, 0, 0],
    "carburettor_heat": [0, 0, 0, 1, 0, 0, 0],
    "cowl_flaps": [1, 1, 1, 0, 1, 1, 0.5],
}


LATE = {"throttle-creeps": 135.0}
"""How long to wait (s) for a defect that shows only then."""
PAUSED = {"runs-on-while-paused": 0.5}
"""How long (s) to ask nothing of an engine whose defect shows only then."""


@functools.cache
def honest_history(rig: Rigs, variant: str, step_ticks: int, wait: float) -> np.ndarray[Any, Any]:
    """What the honest engine gives."""
    return history(rig, variant, None, step_ticks, wait)


def history(rig: Rigs, variant: str, defect: str | None, step_ticks: int, wait: float = 0.0) -> np.ndarray[Any, Any]:
    """Slow and fast readings of a few lanes, with the link or the coordination on in one of them, a pause where the
    defect needs one, gear and hot air put back, a shutter part way, a dive below sea level; of starts with and without
    fuel; and of engines at rest on other days, in the slipstream and moved to another height."""
    lever = "lever_link" if variant.endswith("early") else "coordination"
    levers: dict[str, list[float]] = {**LANES, lever: [0, 0, 0, 0, 0, 0, 1]}
    run = rig(8, variant, step_ticks=step_ticks, defect=defect, **{k: [*v, v[0]] for k, v in levers.items()})
    run.run(5.0 if variant.startswith("corrie-18") else 14.0)
    parts = [run.history, run.run(0.5, throttle=0.45).history]
    if defect in PAUSED:
        time.sleep(PAUSED[defect])
    parts.append(run.run(1.0).history)
    if "blower_gear" in run.inputs:
        parts.append(run.run(1.0, blower_gear=1).history)
        parts.append(run.run(4.0, blower_gear=0, carburettor_heat=0).history)
    if "intercooler_shutter" in run.inputs:
        parts.append(run.run(4.0, intercooler_shutter=0.7).history)
    still = rig(8, variant, engine="stopped", step_ticks=step_ticks, defect=defect, throttle=0.05, mixture=[2, 0] * 4)
    parts += [still.set(starter=engaged).run(3.0).history for engaged in (1, 0)]
    days: dict[str, list[float]] = {
        "throttle": [0, 0.6] * 4,
        "pressure_altitude": [-1_000, 4_000, 0, 0, 0, 0, 0, 0],
        "temperature_offset": [0, 0, -30, 25, 0, 0, 0, 0],
        "true_airspeed": [0, 0, 0, 0, 250, 0, 0, 0],
    }
    rest = rig(8, variant, engine="stopped", step_ticks=step_ticks, defect=defect, **days)
    parts += [rest.run(0.5).history, rest.set(pressure_altitude=8_000).run(1.0).history]
    parts.append(run.run(3.0, pressure_altitude=-1_500).history)
    if wait:
        parts.append(run.run(wait).history)
    result: np.ndarray[Any, Any] = np.concatenate(parts)
    stopped = rig(1, variant, engine="stopped", step_ticks=step_ticks, defect=defect).run(0.5).last
    result[-1, -1] = stopped
    return result


@pytest.mark.parametrize("name", sorted(DEFECTS))
def test_defect_is_visible_and_finite(rig: Rigs, name: str) -> None:
    step_ticks = 900 if name == "frame-rate-dependent" else 1800
    variant = DEFECTS[name].applies_to[0]
    spans = np.array([CHANNELS[c].span for c in rig(1, variant).outputs])
    wait = LATE.get(name, 0.0)
    wrong, good = history(rig, variant, name, step_ticks, wait), honest_history(rig, variant, step_ticks, wait)
    assert np.all(np.isfinite(wrong))
    assert (np.abs(wrong - good) / spans).max() > 0.005


def test_catalogue_is_well_formed() -> None:
    assert len(DEFECTS) >= 18
    assert {d.size for d in DEFECTS.values()} == {"large", "small"}
    known = known_defects(StandFile("", "", "reference_engine", target="corrie-18-early"))
    assert set(known) == set(DEFECTS)
    for name, defect in DEFECTS.items():
        assert (known[name]["size"], known[name]["variants"]) == (defect.size, list(defect.applies_to))
        assert name == defect.name == name.lower().replace(" ", "-")
        assert defect.reason.endswith(".") and defect.applies_to


def test_unknown_and_unfitting_defects_are_refused(rig: Rigs) -> None:
    with pytest.raises(InputError):
        rig(1, defect="no-such-defect")
    with pytest.raises(InputError):
        rig(1, "corrie-18-early", defect="no-turbo-limit")
