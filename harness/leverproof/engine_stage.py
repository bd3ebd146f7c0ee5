"""One engine's part of a session: its cases planned, flown and judged. A model of one engine has one part."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from leverproof.cases.model import ReferenceCase
from leverproof.channels import OTHER_LEVERS
from leverproof.conduct.by_its_clock import by_its_clock
from leverproof.conduct.matcher_plan import Flown, fit, fly
from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.conduct.plan import Ground, plan_case
from leverproof.conduct.resolvability import resolvability
from leverproof.engine_ids import case_and_engine, on_engine
from leverproof.errors import InputError, LeverproofError
from leverproof.judge.case import judge_case
from leverproof.judge.deferring import deferred
from leverproof.judge.facts import STEP_STUDY, session_facts
from leverproof.judge.ladder import block
from leverproof.judge.model import Deferral, Finding, SessionFacts
from leverproof.judge.trust import accounted
from leverproof.record.writer import RecordWriter
from leverproof.sheet.model import EngineSheet
from leverproof.stand.mount import FREE_RUNNING, MountedStand
from leverproof.stand.recording_mount import MountedRecording
from leverproof.timegrid import TimeGrid

Progress = Callable[[float, float, str], None]
Runs = dict[tuple[str, int, str], ConductedRun]


@dataclass(frozen=True)
class Asked:
    """What is asked of every engine: the sheet, the cases selected and the whole library (for the step study), the
    seed, the ladder of subjects, and the deferrals with the day they are judged by."""

    sheet: EngineSheet
    selected: tuple[ReferenceCase, ...]
    library: tuple[ReferenceCase, ...]
    seed: int
    ladder: Mapping[str, tuple[str, ...]]
    deferrals: tuple[Deferral, ...] = ()
    today: date | None = None


@dataclass(frozen=True)
class Stage:
    """One engine, planned: its cases, the step study beside them, what flies them, what the model said of itself, and
    how many cases could not be planned."""

    engine: int
    planned: list[PlannedCase]
    study: list[PlannedCase]
    mounted: MountedStand | MountedRecording
    source: MountedStand | Flown
    said: dict[str, Any]
    problems: int


def prepare(
    asked: Asked,
    mounted: MountedStand | MountedRecording,
    engine: int,
    record: RecordWriter,
    progress: Progress | None,
) -> Stage:
    """Turns to the engine, plans its cases and writes what is expected into the record."""
    if isinstance(mounted, MountedStand):
        mounted.turn_to(engine)
    said = mounted.facts()
    record.event("handshake", adapter=said.pop("kind"), **said)
    for warning in said["warnings"]:
        record.event("warning", message=warning)
    ground = ground_of(asked.sheet, mounted, asked.seed)
    planned, problems = _planned(asked.selected, ground, record)
    engines = len(mounted.stand.engines)
    planned = [_called(case, engine, engines) for case in planned]
    planned, source = fit(planned, mounted, ground, _warning(record), progress)
    study = [_called(case, engine, engines) for case in _step_study(asked, ground, planned)]
    record.expectations([*planned, *study])
    for case in planned:
        for line in resolvability(case):
            record.event("resolvability", **line)
    return Stage(engine, planned, study, mounted, source, said, problems)


def fly_stage(stage: Stage, record: RecordWriter, progress: Progress | None) -> Runs:
    """Flies what was planned for one engine, with the others held. Keeps every history."""
    if isinstance(stage.mounted, MountedStand):
        stage.mounted.turn_to(stage.engine)
    return _conducted([*stage.planned, *stage.study], stage.source, record, progress)


def judge_stage(asked: Asked, stage: Stage, runs: Runs, record: RecordWriter) -> list[Finding]:
    """The findings on one engine; they and the facts they rest on are in the record."""
    facts = facts_of(runs, asked.sheet.word("hardware.arrangement"), stage.said)
    of_several = {"engine": stage.engine} if len(stage.mounted.stand.engines) > 1 else {}
    record.event("facts", live=sorted(facts.live), copies=facts.copies, step_u=facts.step_u, **of_several)
    findings = judged(stage.planned, runs, facts, asked.ladder, asked.deferrals, asked.today)
    record.findings(findings)
    return findings


def facts_of(runs: Runs, arrangement: str, said: Mapping[str, Any]) -> SessionFacts:
    """What all runs of one engine show together with what the model ``said`` of itself."""
    return session_facts(
        runs,
        arrangement=arrangement,
        derived_from=str(said.get("derived_from", "")),
        jitter=float(said.get("jitter", 0.0)),
        recorded=bool(said.get("recorded", False)),
    )


def judged(
    planned: Sequence[PlannedCase],
    runs: Runs,
    facts: SessionFacts,
    ladder: Mapping[str, tuple[str, ...]],
    deferrals: Sequence[Deferral] = (),
    today: date | None = None,
) -> list[Finding]:
    """The findings of the cases of one engine, with what stands on a failed subject blocked. Deferrals come before the
    ladder: what somebody answers for blocks nothing above it."""
    findings: list[Finding] = []
    for case in planned:
        own = {(p.key[1], p.key[2]): runs[p.key] for p in case.programs if p.key in runs}
        found = judge_case(case, own, facts)
        if deferrals and today is not None:
            # A deferred finding no longer tells of a run that ended early: others must.
            found = accounted(deferred(found, deferrals, today), case, own)
        findings += found
    return block(findings, ladder)


def _called(planned: PlannedCase, engine: int, engines: int) -> PlannedCase:
    """The planned case under the id it has on this engine."""
    name = on_engine(planned.case.id, engine, engines)
    if name == planned.case.id:
        return planned
    programs = tuple(replace(program, key=(name, *program.key[1:])) for program in planned.programs)
    return replace(planned, case=replace(planned.case, id=name), programs=programs)


def _warning(record: RecordWriter) -> Callable[[str], None]:
    return lambda words: record.event("warning", message=words)


def ground_of(sheet: EngineSheet, mounted: MountedStand | MountedRecording, seed: int) -> Ground:
    """What plans for a mounted model stand on."""
    said = mounted.capabilities
    able = {
        "stepped": said.clock == "stepped",
        "deterministic": said.deterministic,
        "settable_surroundings": said.settable_surroundings,
        "free_running": said.clock == FREE_RUNNING,
        "reset": said.reset,
    }
    return Ground(
        sheet=sheet,
        inputs=frozenset(mounted.available_inputs),
        outputs=frozenset(mounted.available_outputs),
        capabilities=frozenset(name for name, yes in able.items() if yes),
        grid=TimeGrid.parse(mounted.stand.grid_step, f"{mounted.stand.path}: grid_step"),
        seed=seed,
        held={OTHER_LEVERS[name]: place for name, place in mounted.stand.held.items()},
    )


def _planned(cases: Sequence[ReferenceCase], ground: Ground, record: RecordWriter) -> tuple[list[PlannedCase], int]:
    """The cases planned, and how many could not be: what only the sheet shows to be impossible costs one case."""
    planned: list[PlannedCase] = []
    for case in cases:
        try:
            planned.append(plan_case(case, ground))
        except InputError as problem:
            record_problem(record, InputError(problem.message, problem.where or case.path, problem.hint, problem.code))
    return planned, len(cases) - len(planned)


def _step_study(asked: Asked, ground: Ground, planned: Sequence[PlannedCase]) -> list[PlannedCase]:
    """The step-study case, when it was not selected and there is anything to judge: every number's doubt needs
    it."""
    if any(case_and_engine(p.case.id)[0] == STEP_STUDY for p in planned) or not any(p.programs for p in planned):
        return []
    found = [case for case in asked.library if case.id == STEP_STUDY]
    return [study for case in found if (study := plan_case(case, ground)).programs]


def _conducted(
    planned: Sequence[PlannedCase],
    source: MountedStand | Flown,
    record: RecordWriter,
    progress: Progress | None,
) -> dict[tuple[str, int, str], ConductedRun]:
    """Flies all programs, or finds them flown, and keeps each case's histories as soon as its last run has ended.

    They are packed here and not in a thread beside the model: two threads that both need the interpreter took an eighth
    more processor time for the same wall time."""
    keys = {case.case.id: [program.key for program in case.programs] for case in planned if case.programs}
    runs: dict[tuple[str, int, str], ConductedRun] = {}
    kept: set[str] = set()

    def keep(case_id: str) -> None:
        if case_id not in kept and all(key in runs for key in keys[case_id]):
            record.history(case_id, [runs[key] for key in keys[case_id]])
            kept.add(case_id)

    def finished(run: ConductedRun) -> None:
        if isinstance(source, MountedStand):
            run = by_its_clock(run, source, record.event)
        runs[run.program.key] = run
        keep(run.program.key[0])

    def told(done: float, total: float) -> None:
        if progress is not None:
            progress(done, total, "moving levers")

    programs = [program for case in planned for program in case.programs]
    fly(programs, source, on_finished=finished, on_warning=_warning(record), progress=told)
    for case_id in keys:
        keep(case_id)  # one whose writing was interrupted
    return {program.key: runs[program.key] for program in programs}


def record_problem(record: RecordWriter, problem: LeverproofError) -> None:
    """Something a person must mend, as an event of the record."""
    record.event("problem", message=problem.message, where=problem.where, hint=problem.hint, code=problem.code)
