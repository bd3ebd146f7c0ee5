"""A case planned for a person in a cockpit: what there is to read, what can be judged from it, and why not the rest."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from leverproof.cases.model import Judgement, Ref, ReferenceCase
from leverproof.channels import CHANNELS, SURROUNDINGS
from leverproof.conduct.airframe import AIRSPEED, HOLDS
from leverproof.conduct.model import NotApplicable, PlannedCase
from leverproof.conduct.plan import PAUSES, Ground, plan_case
from leverproof.conduct.resolve import judged_channels
from leverproof.judge.noted import needs_history
from leverproof.sheet.model import EngineSheet
from leverproof.timegrid import CONTROL_TICKS, TimeGrid

POWER = frozenset(("brake_power", "torque"))
USUAL = {
    "manifold_pressure": 0.5,
    "engine_speed": 20.0,
    "turbo_speed": 200.0,
    "fuel_flow": 20.0,
    "carburettor_air_temperature": 2.0,
    "carburettor_deck_pressure": 0.5,
    "exhaust_back_pressure": 0.5,
    "exhaust_gas_temperature": 10.0,
    "cylinder_head_temperature": 5.0,
    "ambient_temperature": 1.0,
    "throttle_position": 0.02,
    "boost_position": 0.02,
    "torque": 50.0,
    "pressure_altitude": 20.0,
    AIRSPEED: 2.0,
}
"""The division to which a gauge of an instrument panel is usually read, canonical unit (assumption). Channels that are
not here are shown by no gauge; a torque gauge is there only where somebody says so."""

LIGHT = "turbo_overspeed_light"
HIGHEST_FIELD = 14_500.0
"""ft: no airfield is much higher (common knowledge, from memory), so that nothing can stand still above it."""
_BY_MODEL = {"same": "", "grid_step": "", "unmoved": ""}


TURBO = frozenset(("turbo_speed", "boost_position", LIGHT))
WITH_TURBO = ("turbo_normalised", "two_stage")


def shown(sheet: EngineSheet) -> frozenset[str]:
    """Readings that the cockpit of a sheet's engine is taken to show before anybody has said what is there."""
    gauges = (frozenset(USUAL) | {LIGHT}) - POWER - frozenset(SURROUNDINGS)
    return gauges if sheet.word("hardware.arrangement") in WITH_TURBO else gauges - TURBO


def level_flown(case: ReferenceCase) -> bool:
    """Whether the case is about level speed, so that the airspeed is read and not set."""
    return all(judgement.what == "level_speed" for judgement in case.judgements)


def plan_by_hand(case: ReferenceCase, sheet: EngineSheet, readings: Collection[str], *, seed: int) -> PlannedCase:
    """The case as planned for somebody who reads ``readings`` (channels). What only needs power to be worth driving is
    planned for the sake of its other judgements."""
    airborne = level_flown(case)
    outputs = frozenset(readings) | ({AIRSPEED} if airborne else set())
    inputs = frozenset((*sheet.levers, *SURROUNDINGS)) - ({AIRSPEED} if airborne else set())
    ground = Ground(
        sheet=sheet,
        inputs=inputs,
        outputs=outputs,
        capabilities=frozenset((HOLDS, PAUSES)),
        grid=TimeGrid(CONTROL_TICKS),
        seed=seed,
    )
    needed = tuple(name for name in case.applies.channels if name not in POWER or name in outputs)
    eased = replace(case, applies=replace(case.applies, channels=needed))
    planned = plan_case(eased, ground)
    refused = {name: _spoken(reason) for name, reason in planned.inapplicable_judgements.items()}
    whole = planned.inapplicable
    return replace(
        planned,
        case=case,
        inapplicable=None if whole is None else _spoken(whole),
        inapplicable_judgements=refused,
    )


def _spoken(reason: NotApplicable) -> NotApplicable:
    """A reason in the words of somebody who reads gauges: there is no stand."""
    said = {f"the stand gives no {name}": f"no {name.replace('_', ' ')} is read" for name in CHANNELS}
    said |= {
        f"the stand takes no {name} lever": f"the engine has no {name.replace('_', ' ')} lever" for name in CHANNELS
    }
    missing = "; ".join(said.get(part, part) for part in reason.missing.split("; "))
    missing = missing.replace("the stand has one engine", "it moves the levers of the other engines")
    return replace(reason, missing=missing, supply="")


def unflyable(planned: PlannedCase) -> str:
    """Why nobody can fly a case by hand, in words; "" where somebody can."""
    case = planned.case
    model = [j for j in case.judgements if j.what in _BY_MODEL]
    if len(model) == len(case.judgements):
        return f"{needs_history(model[0])}; a model that can be driven is needed"
    if any(run.grid != 1 for run in case.runs):
        return "nobody sets a model's time step from the cockpit; a model that can be driven is needed"
    if planned.inapplicable is not None:
        return planned.inapplicable.missing
    for program in planned.programs:
        still = AIRSPEED in program.start and program.start[AIRSPEED] == 0.0
        if still and program.start["pressure_altitude"] > HIGHEST_FIELD:
            return f"it stands still at {program.start['pressure_altitude']:,.0f} ft, where there is no airfield"
    return ""


def by_numbers(planned: PlannedCase) -> tuple[Judgement, ...]:
    """The judgements that numbers written down can answer."""
    return tuple(j for j in planned.judgements if not unwritten(j, planned.case))


def unwritten(judgement: Judgement, case: ReferenceCase) -> str:
    """Why steady numbers cannot answer a judgement, in words; "" where they can."""
    if judgement.what == "ending" and ending_row(judgement, case) is None:
        return "nothing is written down right after the seek whose ending it asks for"
    return needs_history(judgement)


def ending_row(judgement: Judgement, case: ReferenceCase) -> Ref | None:
    """The reading in whose row the ending of a judgement's seek is told: the first after it, with no seek and
    no move between."""
    latest = ""
    for step in next((run.steps for run in case.runs if run.name == judgement.run), ()):
        if step.do in ("set", "move"):
            latest = ""
        if step.do == "seek":
            latest = step.name
        if step.do == "read" and latest == judgement.seek:
            return Ref(judgement.run, step.name)
    return None


def noted_channels(planned: PlannedCase) -> tuple[str, ...]:
    """What has to be written down for :func:`by_numbers`, in the order of the channel table: what is judged, what a
    case cannot do without, what a seek brings to its place, and what a guard keeps below its limit."""
    asked = by_numbers(planned)
    wanted: set[str] = set(planned.case.applies.channels) - POWER if asked else set()
    for judgement in asked:
        wanted.update(judged_channels(judgement))
        wanted.update(set(judgement.applies.channels) - POWER)
        if judgement.what == "level_speed":
            wanted.discard("brake_power")
            wanted.discard("engine_speed")
            wanted.add(AIRSPEED)
        if judgement.at_equal is not None:
            wanted.add(judgement.at_equal.channel)
        if judgement.exercised is not None:
            wanted.add(judgement.exercised.channel)
        if judgement.per is not None:
            wanted.add(judgement.per.channel)
    for step in (step for program in planned.programs for step in program.steps):
        wanted.update((step.channel, *step.guard) if step.do == "seek" else ())
    return tuple(name for name, item in CHANNELS.items() if name in wanted and item.kind != "other lever")
