"""Items about cause and effect: levers move what they move in every engine, surroundings reach the model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from leverproof.atmosphere import pressure_at_feet
from leverproof.channels import CHANNELS, SURROUNDINGS
from leverproof.quantities import convert
from leverproof.stand.port import Array, Start
from leverproof.stand.shakedown.bench import Bench
from leverproof.stand.shakedown.model import Outcome, failed, not_applicable, passed
from leverproof.stand.shakedown.programs import Program, cruise, ramped

_BEFORE, _MOVE, _AFTER = 12.0, 2.0, 26.0
"""Seconds at rest, moving and at rest again: long against the lags of pressures and speeds (assumption)."""


@dataclass(frozen=True, slots=True)
class Expect:
    """How a reading answers: it ``rises`` by at least ``by``, is ``not lower`` or ``not higher`` by more than
    ``by``, or ends at ``by`` at most (``ends below``); all in the channel's unit."""

    channel: str
    sense: str
    by: float


@dataclass(frozen=True, slots=True)
class Trial:
    """A lever moved from one place to another. Of ``either`` the first reading the model has is asked; each of
    ``each`` that it has. ``alive`` demands that some reading moves; ``engine`` is how it begins."""

    words: str
    lever: str
    places: tuple[float | str, float | str]
    either: tuple[Expect, ...] = ()
    each: tuple[Expect, ...] = ()
    others: Mapping[str, float] = field(default_factory=dict)
    alive: bool = True
    engine: str = "running"


TRIALS = (
    Trial(
        "throttle opened", "throttle", (0.3, 0.6),
        (Expect("manifold_pressure", "rises", 0.5), Expect("brake_power", "rises", 5.0),
         Expect("engine_speed", "rises", 20.0)),
        (Expect("throttle_position", "rises", 0.15),),
    ),
    Trial("propeller lever forward", "propeller", (0.5, 1.0), (Expect("engine_speed", "rises", 50.0),)),
    Trial(
        "boost lever up", "boost", (0.0, 1.0),
        each=(Expect("turbo_speed", "not lower", 60.0), Expect("manifold_pressure", "not lower", 0.2),
              Expect("boost_position", "rises", 0.35)),
        others={"throttle": 0.7},
    ),
    Trial(
        "mixture to cut-off", "mixture", ("auto_rich", "cut_off"),
        (Expect("fuel_flow", "ends below", 0.5), Expect("brake_power", "ends below", 4.0)),
    ),
    Trial("mixture enriched", "mixture", ("auto_lean", "full_rich"), (Expect("fuel_flow", "rises", 0.5),)),
    Trial(
        "carburettor heat on", "carburettor_heat", ("cold", "hot"),
        (Expect("carburettor_air_temperature", "rises", 3.0), Expect("manifold_temperature", "rises", 3.0)),
    ),
    Trial("blower into high gear", "blower_gear", ("low", "high"), (Expect("manifold_pressure", "rises", 0.3),)),
    Trial(
        "intercooler shutter opened", "intercooler_shutter", (0.0, 1.0),
        each=(Expect("carburettor_air_temperature", "not higher", 0.3),),
        others={"throttle": 0.7, "boost": 0.5}, alive=False,
    ),
    Trial(
        "cowl flaps opened", "cowl_flaps", (0.0, 1.0),
        each=(Expect("cylinder_head_temperature", "not higher", 2.0),), alive=False,
    ),
    Trial(
        "starter engaged", "starter", ("off", "engaged"), (Expect("engine_speed", "rises", 30.0),),
        others={"throttle": 0.05, "propeller": 1.0, "pressure_altitude": 0.0, "true_airspeed": 0.0}, engine="stopped",
    ),
)  # fmt: skip
"""Signs that hold for every piston engine (physics; the least amounts are assumptions, far below any real answer)."""


def levers(bench: Bench) -> Outcome:
    """Each lever the model has moves its readings the right way."""
    trials = [trial for trial in TRIALS if _there(bench, trial)]
    if not trials:
        return not_applicable("the model has no lever whose effect is known beforehand")
    runs = _fly(bench, trials)
    wrong, seen = [], []
    for trial, run in zip(trials, runs, strict=True):
        begin, end = run[0], run[1]
        asked = _asked(bench, trial)
        bad = [_short(e, begin, end, bench) for e in asked if not _holds(e, begin, end, bench)]
        if not bad and trial.alive and not _moved(begin, end, bench):
            bad = ["no reading moved beyond its steadiness band"]
        if bad:
            wrong.append(f"{trial.words}: {' and '.join(bad)}")
        elif asked:
            seen.append(f"{trial.words}: {_short(asked[0], begin, end, bench)}")
    if wrong:
        return failed(
            "; ".join(wrong),
            "check the lever's sign in the model and its map in the stand file (scale = -1 and offset = 1 turn a "
            "lever that runs backwards), and the order of the states hello lists",
        )
    return passed("; ".join(seen) or "accepted", levers=len(trials))


def _there(bench: Bench, trial: Trial) -> bool:
    words = [place for place in trial.places if isinstance(place, str)]
    return trial.lever in bench.inputs and all(word in bench.states[trial.lever] for word in words)


def _place(trial: Trial, index: int) -> float:
    place = trial.places[index]
    return float(CHANNELS[trial.lever].states.index(place)) if isinstance(place, str) else place


def _fly(bench: Bench, trials: list[Trial]) -> list[Array]:
    """For each trial the readings before and after the move, shape (2, outputs); in as many lanes as there are."""
    parts = (bench.rows(_BEFORE), bench.rows(_MOVE), bench.rows(_AFTER))
    rows = []
    for trial in trials:
        ends = [
            cruise(bench.inputs, bench.states, **{**trial.others, trial.lever: _place(trial, index)})
            for index in (0, 1)
        ]
        moves = ramped(ends, parts)
        if CHANNELS[trial.lever].states:
            moves[parts[0] :] = ends[1]
        rows.append(moves)
    most = bench.mounted.capabilities.lanes
    found: list[Array] = []
    for first in range(0, len(trials), most):
        several = np.stack(rows[first : first + most], axis=1)
        begun = trials[first : first + most]
        starts = tuple(Start(t.engine, tuple(row)) for t, row in zip(begun, several[0].tolist(), strict=True))
        out = bench.fly(Program(bench.inputs, starts, several))
        found += [out[[parts[0], -1], lane] for lane in range(len(starts))]
    return found


def _asked(bench: Bench, trial: Trial) -> list[Expect]:
    first = [expect for expect in trial.either if expect.channel in bench.outputs][:1]
    return first + [expect for expect in trial.each if expect.channel in bench.outputs]


def _holds(expect: Expect, begin: Array, end: Array, bench: Bench) -> bool:
    column = bench.outputs.index(expect.channel)
    change = float(end[column] - begin[column])
    return {
        "rises": change >= expect.by,
        "not lower": change >= -expect.by,
        "not higher": change <= expect.by,
        "ends below": float(end[column]) <= expect.by,
    }[expect.sense]


def _short(expect: Expect, begin: Array, end: Array, bench: Bench) -> str:
    column = bench.outputs.index(expect.channel)
    unit = "" if CHANNELS[expect.channel].unit == "1" else f" {CHANNELS[expect.channel].unit}"
    return f"{expect.channel} {begin[column]:.5g} to {end[column]:.5g}{unit}"


def _moved(begin: Array, end: Array, bench: Bench) -> bool:
    """Whether a reading moved; a lever read back is no evidence of an engine behind it."""
    real = np.array([not name.endswith("_position") for name in bench.outputs])
    bands = np.array([CHANNELS[name].band for name in bench.outputs])
    return bool(np.any(real & (np.abs(end - begin) > bands)))


_HEIGHT, _WARMER = 10_000.0, 20.0


def surroundings(bench: Bench) -> Outcome:
    """Surroundings set during a run reach the model: its air is that of the standard atmosphere at that height."""
    there = [name for name in SURROUNDINGS if name in bench.inputs]
    if not bench.mounted.capabilities.settable_surroundings or not there:
        return not_applicable("the model's surroundings cannot be set")
    wrong: list[str] = []
    seen: list[str] = []
    for trial in (_height, _warmth):
        for words, good in trial(bench):
            (seen if good else wrong).append(words)
    if wrong:
        return failed(
            "; ".join(wrong),
            "read the surroundings from every row, not from the start alone, and compute the air from them: "
            "pressure from pressure_altitude alone, temperature_offset added to the standard temperature",
        )
    if not seen:
        return not_applicable("no reading of this model shows its surroundings by itself")
    return passed("; ".join(seen))


def _travel(bench: Bench, name: str, first: float, last: float, engine: str) -> tuple[Array, Array]:
    still = {} if engine == "running" else {"true_airspeed": 0.0, "throttle": 0.0}
    ends = [cruise(bench.inputs, bench.states, **{**still, name: value}) for value in (first, last)]
    rows = ramped(ends, (bench.rows(1.0), bench.rows(5.0), bench.rows(10.0)))
    out = bench.fly(Program(bench.inputs, (Start(engine, tuple(ends[0])),), rows[:, None]))
    return out[1, 0], out[-1, 0]


def _height(bench: Bench) -> list[tuple[str, bool]]:
    if "pressure_altitude" not in bench.inputs:
        return []
    expected = float(convert(float(np.asarray(pressure_at_feet(_HEIGHT))), "Pa", "inHg"))
    name = "ambient_pressure" if "ambient_pressure" in bench.outputs else "manifold_pressure"
    if name not in bench.outputs:
        return []
    engine = "running" if name == "ambient_pressure" else "stopped"
    column = bench.outputs.index(name)
    _, end = _travel(bench, "pressure_altitude", 0.0, _HEIGHT, engine)
    words = f"{name} {end[column]:.2f} inHg at {_HEIGHT:,.0f} ft, the standard atmosphere has {expected:.2f}"
    return [(words, abs(float(end[column]) - expected) <= 0.015 * expected)]


def _warmth(bench: Bench) -> list[tuple[str, bool]]:
    if "temperature_offset" not in bench.inputs or "ambient_temperature" not in bench.outputs:
        return []
    column = bench.outputs.index("ambient_temperature")
    begin, end = _travel(bench, "temperature_offset", 0.0, _WARMER, "running")
    warmer = float(end[column] - begin[column])
    return [(f"ambient_temperature {warmer:+.2f} K for an offset of {_WARMER:+g} K", abs(warmer - _WARMER) <= 0.5)]
