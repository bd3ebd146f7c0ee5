"""Planning: which cases apply to this engine on this stand, and every number resolved before anything moves."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from leverproof.cases.model import Judgement, ReferenceCase, Run, Step, Sweep, Value
from leverproof.channels import CHANNELS
from leverproof.conduct.model import (
    Expected,
    NotApplicable,
    PlannedCase,
    PlannedStep,
    Point,
    Program,
)
from leverproof.conduct.resolve import (
    Scope,
    judged_channels,
    judged_unit,
    missing_data,
    resolve,
    resolved_judgement,
    values_of_judgement,
    values_of_step,
)
from leverproof.quantities import Quantity
from leverproof.sheet.applicability import refusal
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
    "pressure_altitude": 0.0,
    "temperature_offset": 0.0,
    "relative_humidity": 0.0,
    "true_airspeed": 0.0,
}
"""Where a lever stands that a case does not name: idle, boost back, full forward, auto rich, cooler open, cold air,
low gear, flaps open, nothing linked. The record holds every lever's start."""

_ALWAYS_STEADY = ("engine_speed", "manifold_pressure")


@dataclass(frozen=True)
class Ground:
    """What a plan stands on: the sheet, what the stand takes and gives, its grid and the seed of off-points."""

    sheet: EngineSheet
    inputs: frozenset[str]
    outputs: frozenset[str]
    capabilities: frozenset[str]
    grid: TimeGrid
    seed: int


def plan_case(case: ReferenceCase, ground: Ground) -> PlannedCase:
    """The case with its points, programs and judgements, or why it does not apply."""
    reason = _case_refusal(case, ground)
    if reason is not None:
        return PlannedCase(case, (), (), (), reason)
    refused = {j.id: r for j in case.judgements if (r := _judgement_refusal(j, ground)) is not None}
    judgements = tuple(j for j in case.judgements if j.id not in refused)
    if not judgements:
        return PlannedCase(case, (), (), (), next(iter(refused.values())), refused)
    points = tuple(_points(case, judgements, ground))
    programs = tuple(_program(case, run, point, judgements, ground) for point in points for run in case.runs)
    return PlannedCase(case, points, programs, judgements, None, refused)


def _case_refusal(case: ReferenceCase, ground: Ground) -> NotApplicable | None:
    found = refusal(
        case.applies,
        ground.sheet,
        inputs=ground.inputs,
        outputs=ground.outputs,
        capabilities=ground.capabilities,
    )
    if found is not None:
        return NotApplicable(found.missing, found.lost)
    lost = case.applies.lost
    steps = [step for run in case.runs for step in run.steps]
    for step in steps:
        datum = missing_data(values_of_step(step), ground.sheet)
        if datum:
            return NotApplicable(f"the sheet does not give {datum}", lost)
        if step.do == "seek":
            if step.channel not in ground.outputs:
                return NotApplicable(f"the stand gives no {step.channel}", lost)
            if step.lever not in ground.inputs:
                return NotApplicable(f"the stand takes no {step.lever} lever", lost)
    for name in _surroundings_used(case):
        if name not in ground.inputs:
            return NotApplicable(f"the stand takes no {name}", lost)
    return None


def _surroundings_used(case: ReferenceCase) -> list[str]:
    used = {}
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
        return NotApplicable(found.missing, lost)
    for name in judged_channels(judgement):
        if name not in ground.outputs:
            return NotApplicable(f"the stand gives no {name}", lost)
    datum = missing_data(values_of_judgement(judgement), ground.sheet)
    if datum:
        return NotApplicable(f"the sheet does not give {datum}", lost)
    if judgement.table and ground.sheet.number("light.on_above") is None:
        return NotApplicable("the sheet does not give light.on_above", lost)
    return None


def _points(case: ReferenceCase, judgements: tuple[Judgement, ...], ground: Ground) -> list[Point]:
    points = []
    for index, (quantity, off) in enumerate(_sweep_values(case, ground.seed)):
        sweep = {case.sweep.name: quantity} if case.sweep and quantity else {}
        surroundings = _surroundings(case.surroundings, Scope(ground.sheet, sweep, {}))
        resolved = {}
        for judgement in judgements:
            own = {**surroundings, **_run_surroundings(case, judgement, ground.sheet, sweep)}
            resolved[judgement.id] = resolved_judgement(judgement, Scope(ground.sheet, sweep, own))
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
    values = [(Quantity(p.to(symbol), symbol), False) for p in sweep.points]
    if sweep.low is not None and sweep.high is not None:
        low, high = sweep.low.to(symbol), sweep.high.to(symbol)
        random = np.random.default_rng([seed, zlib.crc32(case.id.encode())])
        step = 10.0 ** np.floor(np.log10(high - low) - 2.0)
        for drawn in random.uniform(low, high, sweep.off_points):
            values.append((Quantity(float(np.round(drawn / step) * step), symbol), True))
    return sorted(values, key=lambda pair: pair[0].value)


def _label(sweep: Sweep | None, quantity: Quantity | None) -> str:
    if sweep is None or quantity is None:
        return ""
    return f"{sweep.name} {quantity.value:,.10g}{'' if quantity.unit == '1' else ' ' + quantity.unit}"


def _surroundings(table: Mapping[str, Value], scope: Scope) -> dict[str, float]:
    return {name: resolve(value, scope, CHANNELS[name].unit).value for name, value in table.items()}


def _run_surroundings(
    case: ReferenceCase, judgement: Judgement, sheet: EngineSheet, sweep: dict[str, Quantity]
) -> dict[str, float]:
    name = judgement.reading.run if judgement.reading else judgement.run
    run = next((r for r in case.runs if r.name == name), None)
    return _surroundings(run.surroundings, Scope(sheet, sweep, {})) if run else {}


def _program(
    case: ReferenceCase, run: Run, point: Point, judgements: tuple[Judgement, ...], ground: Ground
) -> Program:
    sweep = {}
    if case.sweep is not None:
        sweep = {case.sweep.name: Quantity(point.variable, case.sweep.points[0].unit)}
    surroundings = {**point.surroundings, **_surroundings(run.surroundings, Scope(ground.sheet, sweep, {}))}
    scope = Scope(ground.sheet, sweep, surroundings)
    steps = tuple(_step(step, scope, ground) for step in run.steps)
    start = {name: NEUTRAL[name] for name in ground.inputs}
    start.update({k: v for k, v in surroundings.items() if k in ground.inputs})
    start.update(steps[0].levers)
    grid = TimeGrid(ground.grid.step // run.grid)
    watch = _watch(judgements, point, ground)
    return Program((case.id, point.index, run.name), case.engine, start, steps, grid, watch)


def _step(step: Step, scope: Scope, ground: Ground) -> PlannedStep:
    levers = {
        name: resolve(value, scope, CHANNELS[name].unit, lever=name).value
        for name, value in step.levers.items()
        if name in ground.inputs
    }
    if step.do != "seek" or step.value is None or step.within is None:
        return PlannedStep(step.do, step.name, levers, step.duration, limit=step.limit, lead=step.lead)
    unit = CHANNELS[step.channel].unit
    guard = {name: resolve(v, scope, CHANNELS[name].unit).value for name, v in step.guard.items()}
    for word in step.accept:
        name = word.removesuffix(" limit")
        datum = ground.sheet.number(f"limits.{name}")
        if word.endswith(" limit") and name not in guard and datum is not None and name in ground.outputs:
            governed = (
                name == "turbo_speed" and ground.sheet.word("hardware.overspeed_protection") == "governor"
            )
            if not governed and not isinstance(datum.value, str):
                guard[name] = datum.value
    rate = step.rate.to("1/s") if step.rate is not None else ground.sheet.levers.get(step.lever, 0.1)
    return PlannedStep(
        "seek",
        step.name,
        lever=step.lever,
        channel=step.channel,
        value=resolve(step.value, scope, unit).value,
        within=step.within.difference_in(unit),
        accept=step.accept,
        guard=guard,
        rate=rate,
        limit=step.limit,
    )


def _watch(judgements: tuple[Judgement, ...], point: Point, ground: Ground) -> dict[str, float]:
    """Channels that must be steady, with the remaining change allowed: a fifth of the tightest tolerance."""
    watch: dict[str, float] = {}
    for judgement in judgements:
        amount = _amount(judgement, point.resolved[judgement.id])
        for name in judged_channels(judgement):
            item = CHANNELS[name]
            if item.kind != "reading" or item.states:
                continue
            limit = amount / 5.0 if amount is not None and name == judgement.channel else 2.0 * item.band
            watch[name] = min(limit, watch.get(name, np.inf))
    for name in _ALWAYS_STEADY:
        if name in ground.outputs:
            watch.setdefault(name, 2.0 * CHANNELS[name].band)
    return watch


def _amount(judgement: Judgement, resolved: Mapping[str, Expected]) -> float | None:
    """The tolerance in the channel's canonical unit, where it is one."""
    tolerance = judgement.tolerance
    if (
        tolerance is None
        or not judgement.channel
        or judged_unit(judgement) != CHANNELS[judgement.channel].unit
    ):
        return None
    amounts = []
    if tolerance.absolute is not None:
        amounts.append(tolerance.absolute.difference_in(CHANNELS[judgement.channel].unit))
    if tolerance.percent is not None:
        whole = resolved.get("tolerance_of") or resolved.get("expected")
        base = CHANNELS[judgement.channel].span if tolerance.of == "range" else whole.value if whole else None
        if base is not None:
            amounts.append(abs(base) * tolerance.percent / 100.0)
    return max(amounts) if amounts else None
