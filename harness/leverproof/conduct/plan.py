"""Planning: which cases apply to this engine on this stand, and every number resolved before anything moves."""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from leverproof.cases.model import Judgement, ReferenceCase, Run, Step, Sweep, Value, applied_share
from leverproof.cases.tolerance_demands import refuse_wide_seek
from leverproof.channels import CHANNELS, OTHER_LEVERS
from leverproof.conduct.airframe import AIRSPEED, flown, lacking, resolved_level_speed
from leverproof.conduct.model import (
    Expected,
    NotApplicable,
    PlannedCase,
    PlannedStep,
    Point,
    Program,
)
from leverproof.conduct.predictions import Predictions
from leverproof.conduct.resolve import (
    Scope,
    judged_channels,
    judged_unit,
    missing_data,
    resolve,
    resolved_judgement,
    setting,
    values_of_judgement,
    values_of_step,
)
from leverproof.quantities import Quantity
from leverproof.sheet.applicability import from_input, from_output, from_sheet, refusal
from leverproof.sheet.model import EngineSheet
from leverproof.timegrid import TimeGrid

NEUTRAL = {
    "throttle": 0.0,
    "boost": 0.0,
    "propeller": 1.0,
    "mixture": 2.0,
    "intercooler_shutter": 1.0,
    "carburettor_heat": 0.0,
    "blower_gear": 0.0,
    "cowl_flaps": 1.0,
    "lever_link": 0.0,
    "coordination": 0.0,
    "starter": 0.0,
    "pressure_altitude": 0.0,
    "temperature_offset": 0.0,
    "relative_humidity": 0.0,
    "true_airspeed": 0.0,
}
"""Where a lever stands that a case does not name: idle, boost back, full forward, auto rich, cooler open, cold air,
low gear, flaps open, nothing linked, starter off. The record holds every lever's start."""

_OTHERS = {name: NEUTRAL[own] for own, name in OTHER_LEVERS.items()}
"""The other engines stand there too, unless the stand file says where they are held."""

PAUSES = "pauses"
"""What somebody in a cockpit can do and a stand on its own clock cannot: stop the model's time."""

_LIGHT_BANDS = ("light.blinking_above", "light.off_above", "light.on_above")
_ALWAYS_STEADY = ("engine_speed", "manifold_pressure")


@dataclass(frozen=True)
class Ground:
    """What a plan stands on: the sheet, what the stand takes and gives, its grid, the seed of off-points, the
    predictions that judgements asked for, and where the levers of the other engines are held."""

    sheet: EngineSheet
    inputs: frozenset[str]
    outputs: frozenset[str]
    capabilities: frozenset[str]
    grid: TimeGrid
    seed: int
    predictions: Predictions = field(default_factory=Predictions)
    held: Mapping[str, float] = field(default_factory=dict)


def plan_case(case: ReferenceCase, ground: Ground) -> PlannedCase:
    """The case with its points, programs and judgements, or why it does not apply."""
    reason, refused = refusals(case, ground)
    if reason is not None:
        return PlannedCase(case, (), (), (), reason)
    judgements = tuple(j for j in case.judgements if j.id not in refused)
    if not judgements:
        return PlannedCase(case, (), (), (), _none_left(refused), refused)
    points = tuple(_points(case, judgements, ground))
    unpredicted = {j.id: r for j in judgements if (r := _unpredicted(j, points)) is not None}
    if unpredicted:
        refused |= unpredicted
        judgements = tuple(j for j in judgements if j.id not in unpredicted)
        if not judgements:
            return PlannedCase(case, (), (), (), _none_left(refused), refused)
        points = tuple(
            replace(p, resolved={k: v for k, v in p.resolved.items() if k not in unpredicted}) for p in points
        )
    programs = tuple(_program(case, run, point, judgements, ground) for point in points for run in case.runs)
    return PlannedCase(case, points, programs, judgements, None, refused)


def refusals(case: ReferenceCase, ground: Ground) -> tuple[NotApplicable | None, dict[str, NotApplicable]]:
    """Why the case does not apply, and, where it does, why which of its judgements do not, by id."""
    reason = _case_refusal(case, ground)
    if reason is not None:
        return reason, {}
    return None, {j.id: r for j in case.judgements if (r := _judgement_refusal(j, ground)) is not None}


def _none_left(refused: Mapping[str, NotApplicable]) -> NotApplicable:
    """Why a case does not apply of which every judgement is refused: all of their reasons, each told once."""
    reasons = refused.values()
    told = ([r.missing for r in reasons], [r.lost for r in reasons], [r.supply for r in reasons if r.supply])
    missing, lost, supply = ("; ".join(dict.fromkeys(words)) for words in told)
    return NotApplicable(missing, lost, supply)


def _case_refusal(case: ReferenceCase, ground: Ground) -> NotApplicable | None:
    found = refusal(
        case.applies,
        ground.sheet,
        inputs=ground.inputs,
        outputs=ground.outputs,
        capabilities=ground.capabilities,
    )
    if found is not None:
        return NotApplicable(found.missing, found.lost, found.supply)
    lost = case.applies.lost
    if case.engine == "stopped" and {"free_running"} == ground.capabilities & {"free_running", "reset"}:
        return NotApplicable("the model runs on its own clock and cannot be put back: no engine begins stopped", lost)
    for run in case.runs:
        if ground.grid.step % run.grid:
            return NotApplicable(f"the stand's grid step of {ground.grid.step} ticks cannot be halved", lost)
        for step in run.steps:
            missing, supply = _step_lacks(step, ground)
            if missing:
                return NotApplicable(missing, lost, supply)
    datum = missing_data(iter(_surrounding_values(case)), ground.sheet)
    if datum:
        return NotApplicable(f"the sheet does not give {datum}", lost, from_sheet(datum))
    flies = all(_flown(j, ground) for j in case.judgements)
    for name in _surroundings_used(case):
        if name not in ground.inputs and not (flies and name == AIRSPEED):
            return NotApplicable(f"the stand takes no {name}", lost, from_input(name))
    return None


def _flown(judgement: Judgement, ground: Ground) -> bool:
    """Whether a level speed is flown rather than computed from power: then the stand sets the airspeed itself."""
    return judgement.what == "level_speed" and flown(ground.outputs, ground.capabilities)


def _step_lacks(step: Step, ground: Ground) -> tuple[str, str]:
    """What a step needs and is not there, in words, or "", and what to supply."""
    datum = missing_data(values_of_step(step), ground.sheet)
    if datum:
        return f"the sheet does not give {datum}", from_sheet(datum)
    others = frozenset(OTHER_LEVERS.values())
    if others.intersection(step.levers) and not others & ground.inputs:
        return "the stand has one engine", "a stand with several engines"
    if step.do == "pause" and not ground.capabilities & {"stepped", PAUSES}:
        return "nothing can keep this model waiting: its time goes on by itself", ""
    moved = ("throttle", "boost") if step.do == "couple" else (step.lever,) if step.do == "seek" else ()
    for name in (step.channel, *step.guard) if step.do == "seek" else ():
        if name not in ground.outputs:
            return f"the stand gives no {name}", from_output(name)
    for name in moved:
        if name not in ground.inputs:
            return f"the stand takes no {name} lever", from_input(name)
    if step.do == "seek" and step.rate is None and step.lever not in ground.sheet.levers:
        return f"the sheet gives no rate of the {step.lever} lever", from_sheet(f"levers.{step.lever}.rate")
    return "", ""


def _surrounding_values(case: ReferenceCase) -> list[Value]:
    return [v for table in (case.surroundings, *(r.surroundings for r in case.runs)) for v in table.values()]


def _surroundings_used(case: ReferenceCase) -> list[str]:
    used: dict[str, bool] = {}
    for table in (case.surroundings, *(r.surroundings for r in case.runs)):
        for name, value in table.items():
            plain = value.quantity is not None and value.quantity.value == 0.0
            used[name] = used.get(name, False) or not plain
    for run in case.runs:
        for step in run.steps:
            for name in step.levers:
                if CHANNELS[name].kind == "surrounding":
                    used[name] = True
    return [name for name, is_used in used.items() if is_used]


def _judgement_refusal(judgement: Judgement, ground: Ground) -> NotApplicable | None:
    found = refusal(
        judgement.applies,
        ground.sheet,
        inputs=ground.inputs,
        outputs=ground.outputs,
        capabilities=ground.capabilities,
    )
    lost = judgement.applies.lost or judgement.asked
    if found is not None:
        return NotApplicable(found.missing, lost, found.supply)
    flies = _flown(judgement, ground)
    for name in judged_channels(judgement):
        if name not in ground.outputs and not (flies and name in (judgement.channel, "engine_speed")):
            return NotApplicable(f"the stand gives no {name}", lost, from_output(name))
    datum = missing_data(values_of_judgement(judgement), ground.sheet)
    if not datum and judgement.what == "level_speed":
        datum = lacking(judgement, ground.sheet, flies=flies)
    if datum:
        return NotApplicable(f"the sheet does not give {datum}", lost, from_sheet(datum))
    if judgement.table:
        three = ground.sheet.word("hardware.light") == "three_state"
        for path in _LIGHT_BANDS if three else _LIGHT_BANDS[-1:]:
            if ground.sheet.number(path) is None:
                return NotApplicable(f"the sheet does not give {path}", lost, from_sheet(path))
    return None


def _unpredicted(judgement: Judgement, points: tuple[Point, ...]) -> NotApplicable | None:
    """Why nothing can be judged where every point's prediction was refused, in the predictor's words."""
    if judgement.basis != "predicted":
        return None
    told = [
        next((e.source for e in point.resolved[judgement.id].values() if math.isnan(e.value)), "") for point in points
    ]
    return NotApplicable(told[0], judgement.applies.lost or judgement.asked) if all(told) else None


def _points(case: ReferenceCase, judgements: tuple[Judgement, ...], ground: Ground) -> list[Point]:
    points = []
    for index, (quantity, off) in enumerate(_sweep_values(case, ground.seed)):
        sweep = {case.sweep.name: quantity} if case.sweep and quantity else {}
        surroundings = _surroundings(case.surroundings, Scope(ground.sheet, sweep, {}))
        resolved = {}
        for judgement in judgements:
            own = {**surroundings, **_run_surroundings(case, judgement, ground.sheet, sweep)}
            scope = Scope(ground.sheet, sweep, own, ground.predictions)
            resolved[judgement.id] = resolved_judgement(judgement, scope)
            if judgement.what == "level_speed":
                flies = _flown(judgement, ground)
                resolved[judgement.id] |= resolved_level_speed(judgement, ground.sheet, own, flies=flies)
        points.append(
            Point(
                index=index,
                label=_label(case.sweep, quantity),
                off_point=off,
                variable=quantity.value if quantity else 0.0,
                surroundings=surroundings,
                resolved=resolved,
            )
        )
    return points


def _sweep_values(case: ReferenceCase, seed: int) -> list[tuple[Quantity | None, bool]]:
    sweep = case.sweep
    if sweep is None:
        return [(None, False)]
    symbol = sweep.points[0].unit
    stated = [p.to(symbol) for p in sweep.points]
    drawn = _off_points(sweep, stated, case.id, seed)
    return [(Quantity(number, symbol), number not in stated) for number in sorted([*stated, *drawn])]


def _off_points(sweep: Sweep, stated: list[float], case_id: str, seed: int) -> list[float]:
    """Further points inside the interval, three figures of its width, none twice and none a stated one."""
    if sweep.low is None or sweep.high is None:
        return []
    symbol = sweep.points[0].unit
    low, high = sweep.low.to(symbol), sweep.high.to(symbol)
    random = np.random.default_rng([seed, zlib.crc32(case_id.encode())])
    figures = 2 - math.floor(math.log10(high - low))
    found: list[float] = []
    for _ in range(100 * sweep.off_points):
        if len(found) == sweep.off_points:
            break
        drawn = float(random.uniform(low, high))
        near = min(max(round(drawn, figures), low), high)
        point = drawn if near in stated or near in found else near
        if point not in stated and point not in found:
            found.append(point)
    return found


def _label(sweep: Sweep | None, quantity: Quantity | None) -> str:
    if sweep is None or quantity is None:
        return ""
    return f"{sweep.name} {quantity.value:,.10g}{'' if quantity.unit == '1' else ' ' + quantity.unit}"


def _surroundings(table: Mapping[str, Value], scope: Scope) -> dict[str, float]:
    return {name: setting(name, value, scope) for name, value in table.items()}


def _run_surroundings(
    case: ReferenceCase, judgement: Judgement, sheet: EngineSheet, sweep: dict[str, Quantity]
) -> dict[str, float]:
    ref = judgement.reading or judgement.more or next(iter(judgement.readings), None)
    name = ref.run if ref is not None else judgement.run
    run = next((r for r in case.runs if r.name == name), None)
    return _surroundings(run.surroundings, Scope(sheet, sweep, {})) if run else {}


def _program(case: ReferenceCase, run: Run, point: Point, judgements: tuple[Judgement, ...], ground: Ground) -> Program:
    sweep = {}
    if case.sweep is not None:
        sweep = {case.sweep.name: Quantity(point.variable, case.sweep.points[0].unit)}
    surroundings = {**point.surroundings, **_surroundings(run.surroundings, Scope(ground.sheet, sweep, {}))}
    scope = Scope(ground.sheet, sweep, surroundings)
    steps = tuple(_step(step, scope, ground) for step in run.steps)
    start = {name: {**NEUTRAL, **_OTHERS, **ground.held}[name] for name in sorted(ground.inputs)}
    start.update({k: v for k, v in surroundings.items() if k in ground.inputs})
    start.update(steps[0].levers)
    grid = TimeGrid(ground.grid.step // run.grid)
    watch = _watch(judgements, point, ground)
    return Program((case.id, point.index, run.name), case.engine, start, steps, grid, watch)


def _step(step: Step, scope: Scope, ground: Ground) -> PlannedStep:
    levers = {name: setting(name, value, scope) for name, value in step.levers.items() if name in ground.inputs}
    if step.do != "seek" or step.value is None or step.within is None:
        return PlannedStep(step.do, step.name, levers, step.duration, limit=step.limit, lead=step.lead)
    unit = CHANNELS[step.channel].unit
    rate = step.rate.to("1/s") if step.rate is not None else ground.sheet.levers[step.lever]
    value = resolve(step.value, scope, unit).value
    refuse_wide_seek(step.within, value, unit)
    return PlannedStep(
        "seek",
        step.name,
        lever=step.lever,
        channel=step.channel,
        value=value,
        within=step.within.difference_in(unit),
        accept=step.accept,
        guard=_guards(step, scope, ground),
        rate=rate,
        limit=step.limit,
    )


def _guards(step: Step, scope: Scope, ground: Ground) -> dict[str, float]:
    """Limits a seek stops at: those stated, and those of the sheet the step accepts as an ending. The turbo's is
    left to its governor where the sheet has one."""
    guard = {name: resolve(v, scope, CHANNELS[name].unit).value for name, v in step.guard.items()}
    governor = ground.sheet.word("hardware.overspeed_protection") == "governor"
    for word in step.accept:
        name = word.removesuffix(" limit")
        datum = ground.sheet.number(f"limits.{name}")
        governed = governor and name == "turbo_speed"
        if name == word or name in guard or governed or datum is None or name not in ground.outputs:
            continue
        guard[name] = float(datum.value)
    return guard


def _watch(judgements: tuple[Judgement, ...], point: Point, ground: Ground) -> dict[str, float]:
    """Channels that must be steady, with the remaining change allowed: a fifth of the tightest tolerance."""
    watch: dict[str, float] = {}
    for judgement in judgements:
        amount = tolerance_amount(judgement, point.resolved[judgement.id])
        for name in judged_channels(judgement):
            item = CHANNELS[name]
            if item.kind != "reading" or item.states or name not in ground.outputs:
                continue
            limit = amount / 5.0 if amount is not None and name == judgement.channel else 2.0 * item.band
            watch[name] = min(limit, watch.get(name, np.inf))
    for name in _ALWAYS_STEADY:
        if name in ground.outputs:
            watch.setdefault(name, 2.0 * CHANNELS[name].band)
    return watch


def tolerance_amount(judgement: Judgement, resolved: Mapping[str, Expected]) -> float | None:
    """The tolerance in the channel's canonical unit, where it is one."""
    tolerance = judgement.tolerance
    if tolerance is None or not judgement.channel or judged_unit(judgement) != CHANNELS[judgement.channel].unit:
        return None
    amounts = []
    if tolerance.absolute is not None:
        amounts.append(tolerance.absolute.difference_in(CHANNELS[judgement.channel].unit))
    if tolerance.percent is not None:
        named = ("tolerance_of",) if isinstance(tolerance.of, Value) else ("expected", "at_most", "at_least")
        whole = next((resolved[key].value for key in named if key in resolved), None)
        base = CHANNELS[judgement.channel].span if tolerance.of == "range" else whole
        if base:
            amounts.append(abs(base) * tolerance.percent / 100.0)
    return max(amounts) * applied_share(tolerance) if amounts else None
