"""One session: load, mount, plan, conduct, judge, keep a record. Everything that runs a model goes through here."""

from __future__ import annotations

import platform
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from leverproof import CAUTION
from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.cases.model import ReferenceCase
from leverproof.conduct.matcher_plan import Flown, fit, fly
from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.conduct.plan import Ground, plan_case
from leverproof.conduct.resolvability import resolvability
from leverproof.errors import InputError, LeverproofError, StandError, UsageError, nearest
from leverproof.judge.case import judge_case
from leverproof.judge.endings import DISORDERLY, INTERNAL, INTERRUPTED, INVALID_INPUT, exit_code
from leverproof.judge.facts import STEP_STUDY, session_facts
from leverproof.judge.ladder import block
from leverproof.judge.model import Finding, SessionFacts
from leverproof.record.reader import Record
from leverproof.record.writer import RecordWriter
from leverproof.sheet.loader import find_sheet, parse_sheet, shipped_sheets
from leverproof.sheet.model import EngineSheet
from leverproof.stand import mount as stands
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import StandFile
from leverproof.stand.recording_mount import RECORDING, MountedRecording, mount_recording
from leverproof.stand.stand_file import folder_of, parse_stand_file
from leverproof.timegrid import TimeGrid
from leverproof.toml_file import read_text

DEFAULT_SHEET = "corrie-18-early"
EMBEDDED = "reference_engine"
_FAREWELL_HINT = "what was judged stands; free everything once, and leave with exit code 0"
_INTERRUPTED = "interrupted; what was finished is kept"
Progress = Callable[[float, float, str], None]


@dataclass(frozen=True, slots=True)
class RunRequest:
    """What a person asked for. ``stand`` None mounts the embedded reference engine; ``sheet`` is a path or the id of
    a shipped sheet; ``command`` the words of the command line, for the record."""

    stand: str | None = None
    sheet: str | None = None
    cases: tuple[str, ...] = ()
    case_folders: tuple[str, ...] = ()
    subjects: tuple[str, ...] = ()
    seed: int = 1
    out: Path = Path("leverproof-record")
    defect: str | None = None
    command: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Inputs:
    stand: StandFile
    stand_text: str
    sheet: EngineSheet
    catalogue: Catalogue
    selected: tuple[ReferenceCase, ...]


@dataclass(frozen=True, slots=True)
class SeededDefect:
    """A defect that can be built into the embedded engine, the cases expected to fail then, and those it
    brings within doubt of failing."""

    name: str
    size: str
    reason: str
    fires: tuple[str, ...]
    may_fire: tuple[str, ...]
    variants: tuple[str, ...]


def run_session(request: RunRequest, progress: Progress | None = None) -> int:
    """Runs what was asked, writes the record into ``request.out`` and returns the exit code of the command.

    Raises :class:`LeverproofError` for a stand, sheet or command line that cannot be used, before a record exists.
    """
    inputs = _load(request)
    with RecordWriter(request.out, _header(request, inputs)) as record:
        _keep_inputs(record, inputs)
        try:
            return _recorded(request, inputs, record, progress)
        except KeyboardInterrupt:
            record.close(_INTERRUPTED, INTERRUPTED)
            return INTERRUPTED
        except LeverproofError as problem:
            _problem(record, problem)
            record.close(f"stopped: {problem.message}", INVALID_INPUT)
            raise
        except Exception as fault:
            record.event("problem", message=f"{type(fault).__name__}: {fault}", where="", hint="")
            record.close("internal error; what was finished is kept", INTERNAL)
            raise


def _recorded(request: RunRequest, inputs: _Inputs, record: RecordWriter, progress: Progress | None) -> int:
    """Mounts and runs; a model that never says hello ends here with its own exit code."""
    try:
        mounted = _mounted(request, inputs)
    except StandError as trouble:
        return _not_mounted(record, inputs, trouble)
    with mounted:
        return _session(request, inputs, mounted, record, progress)


def _mounted(request: RunRequest, inputs: _Inputs) -> MountedStand | MountedRecording:
    if inputs.stand.kind == RECORDING:
        return mount_recording(inputs.stand, levers=inputs.sheet.levers, defect=request.defect)
    return stands.mount(inputs.stand, defect=request.defect)


def known_defects(sheet_id: str = DEFAULT_SHEET) -> list[SeededDefect]:
    """The seeded defects of the embedded engine."""
    found = stands.known_defects(_embedded(sheet_id))
    return [
        SeededDefect(
            name,
            str(entry["size"]),
            str(entry["reason"]),
            tuple(entry["fires"]),
            tuple(entry.get("may_fire", ())),
            tuple(entry.get("variants", (sheet_id,))),
        )
        for name, entry in found.items()
    ]


def rejudge(record: Record, ladder: dict[str, tuple[str, ...]]) -> list[Finding]:
    """The findings that follow from a record's own expectations and histories. Mounts nothing, runs nothing."""
    runs: dict[tuple[str, int, str], ConductedRun] = {}
    for planned in record.expectations:
        histories = record.histories(planned.case.id) if planned.programs else {}
        for program in planned.programs:
            history = histories.get((program.key[1], program.key[2]))
            if history is not None:
                runs[program.key] = ConductedRun(program, history)
    arrangement = str(record.header.get("arrangement", ""))
    said = next((event.data for event in record.events if event.kind == "handshake"), {})
    facts = session_facts(
        runs,
        arrangement=arrangement,
        derived_from=str(said.get("derived_from", "")),
        jitter=float(said.get("jitter", 0.0)),
        recorded=bool(said.get("recorded", False)),
    )
    selected = set(record.header.get("selected", ()))
    return _judged([p for p in record.expectations if p.case.id in selected], runs, facts, ladder)


def _load(request: RunRequest) -> _Inputs:
    if request.seed < 0:
        raise UsageError(f"a seed of {request.seed} is below zero", "--seed", "give 0, 1, 2, ...", "seed")
    catalogue = load_catalogue(request.case_folders)
    if request.stand is None:
        text, where = find_sheet(request.sheet or DEFAULT_SHEET)
        sheet = parse_sheet(text, where)
        stand, stand_text = _embedded(sheet.id), ""
    else:
        stand_text = read_text(Path(request.stand), what="stand file")
        stand = parse_stand_file(stand_text, request.stand)
        sheet = parse_sheet(*find_sheet(_sheet_of(request, stand)))
    _check_defect(request.defect, stand)
    return _Inputs(stand, stand_text, sheet, catalogue, catalogue.select(request.cases, request.subjects))


def _check_defect(defect: str | None, stand: StandFile) -> None:
    """Before a record is begun, so that a misspelt name costs no older record."""
    known = stands.known_defects(stand) if defect is not None else {}
    if defect is not None and defect not in known:
        hint = nearest(defect, known) or "this model has none"
        raise UsageError(f"no seeded defect {defect!r}", "--defect", hint, "defect")


def _sheet_of(request: RunRequest, stand: StandFile) -> str:
    if request.sheet:
        return request.sheet
    if not stand.sheet:
        raise InputError(
            "the stand names no engine sheet",
            f"{stand.path}: sheet",
            "add sheet = 'FILE.toml' to the stand file or give --sheet",
            "missing",
        )
    shipped = {s.name.removesuffix(".toml") for s in shipped_sheets()}
    return stand.sheet if stand.sheet in shipped else str(Path(folder_of(stand)) / stand.sheet)


def _embedded(sheet_id: str) -> StandFile:
    return StandFile(path="embedded", title="embedded reference engine", kind=EMBEDDED, target=sheet_id)


def _header(request: RunRequest, inputs: _Inputs) -> dict[str, object]:
    return {
        "caution": CAUTION,
        "command": list(request.command),
        "request": {
            "stand": request.stand,
            "sheet": request.sheet,
            "cases": list(request.cases),
            "case_folders": list(request.case_folders),
            "subjects": list(request.subjects),
            "seed": request.seed,
            "defect": request.defect,
        },
        "seed": request.seed,
        "defect": request.defect,
        "stand": {"title": inputs.stand.title, "path": inputs.stand.path, "kind": inputs.stand.kind},
        "sheet": {"id": inputs.sheet.id, "title": inputs.sheet.title, "revision": inputs.sheet.revision},
        "arrangement": inputs.sheet.word("hardware.arrangement"),
        "suite": inputs.catalogue.suite,
        "subjects": list(inputs.catalogue.subjects()),
        "selected": [case.id for case in inputs.selected],
        "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "host": f"{platform.system()} {platform.machine()}, Python {platform.python_version()}",
    }


def _keep_inputs(record: RecordWriter, inputs: _Inputs) -> None:
    record.add_input("sheet", inputs.sheet.path, inputs.sheet.text)
    if inputs.stand_text:
        record.add_input("stand", inputs.stand.path, inputs.stand_text)
    for case in inputs.selected:
        record.add_input("case", case.path, inputs.catalogue.texts[case.id])
    for problem in inputs.catalogue.problems:
        _problem(record, problem)


def _problem(record: RecordWriter, problem: LeverproofError) -> None:
    record.event("problem", message=problem.message, where=problem.where, hint=problem.hint)


def _warning(record: RecordWriter) -> Callable[[str], None]:
    return lambda words: record.event("warning", message=words)


def _not_mounted(record: RecordWriter, inputs: _Inputs, trouble: StandError) -> int:
    """No handshake: nothing could be asked of the model. A crash after it is a finding, this is not."""
    record.event(
        "problem",
        message=trouble.message,
        where=trouble.where or inputs.stand.path,
        hint=trouble.hint or inputs.stand.build_hint,
        evidence=trouble.evidence,
    )
    code = exit_code([], handshake=False, input_errors=False, interrupted=False, internal=False)
    record.close(f"no handshake with the model: {trouble.message}", code)
    return code


def _session(
    request: RunRequest,
    inputs: _Inputs,
    mounted: MountedStand | MountedRecording,
    record: RecordWriter,
    progress: Progress | None,
) -> int:
    said = mounted.facts()
    record.event("handshake", adapter=said.pop("kind"), **said)
    for warning in said["warnings"]:
        record.event("warning", message=warning)
    ground = _ground(request, inputs, mounted)
    planned, problems = _planned(inputs.selected, ground, record)
    planned, source = fit(planned, mounted, ground, _warning(record), progress)
    study = _step_study(inputs, ground, planned)
    record.expectations([*planned, *study])
    for case in planned:
        for line in resolvability(case):
            record.event("resolvability", **line)
    runs = _conducted([*planned, *study], source, record, progress)
    mounted.close()
    if mounted.farewell:
        _problem(record, StandError(mounted.farewell, request.stand or "", _FAREWELL_HINT, "crash"))
    facts = session_facts(
        runs,
        arrangement=inputs.sheet.word("hardware.arrangement"),
        derived_from=mounted.hello.derived_from,
        jitter=float(said.get("jitter", 0.0)),
        recorded=bool(said.get("recorded", False)),
    )
    record.event(
        "facts",
        live=sorted(facts.live),
        copies=facts.copies,
        step_u=facts.step_u,
    )
    findings = _judged(planned, runs, facts, inputs.catalogue.ladder)
    record.findings(findings)
    interrupted = any(run.history.ending == "interrupted" for run in runs.values())
    code = exit_code(
        findings,
        handshake=True,
        input_errors=bool(inputs.catalogue.problems) or bool(problems),
        interrupted=interrupted,
        internal=False,
        disorderly=bool(mounted.farewell),
    )
    orderly = DISORDERLY if mounted.farewell else "completed"
    record.close(_INTERRUPTED if interrupted else orderly, code)
    return code


def _ground(request: RunRequest, inputs: _Inputs, mounted: MountedStand | MountedRecording) -> Ground:
    said = mounted.capabilities
    able = {
        "stepped": said.clock == "stepped",
        "deterministic": said.deterministic,
        "settable_surroundings": said.settable_surroundings,
    }
    return Ground(
        sheet=inputs.sheet,
        inputs=frozenset(mounted.available_inputs),
        outputs=frozenset(mounted.available_outputs),
        capabilities=frozenset(name for name, yes in able.items() if yes),
        grid=TimeGrid.parse(mounted.stand.grid_step, f"{mounted.stand.path}: grid_step"),
        seed=request.seed,
    )


def _planned(cases: Sequence[ReferenceCase], ground: Ground, record: RecordWriter) -> tuple[list[PlannedCase], int]:
    """The cases planned, and how many could not be: what only the sheet shows to be impossible costs one case."""
    planned: list[PlannedCase] = []
    for case in cases:
        try:
            planned.append(plan_case(case, ground))
        except InputError as problem:
            _problem(record, InputError(problem.message, problem.where or case.path, problem.hint, problem.code))
    return planned, len(cases) - len(planned)


def _step_study(inputs: _Inputs, ground: Ground, planned: Sequence[PlannedCase]) -> list[PlannedCase]:
    """The step-study case, when it was not selected and there is anything to judge: every number's doubt needs
    it."""
    if any(p.case.id == STEP_STUDY for p in planned) or not any(p.programs for p in planned):
        return []
    found = [case for case in inputs.catalogue.cases if case.id == STEP_STUDY]
    return [study for case in found if (study := plan_case(case, ground)).programs]


def _conducted(
    planned: Sequence[PlannedCase],
    source: MountedStand | Flown,
    record: RecordWriter,
    progress: Progress | None,
) -> dict[tuple[str, int, str], ConductedRun]:
    """Flies all programs, or finds them flown, and keeps each case's histories as soon as its last run has ended.

    Packing runs beside the model in one thread: compression leaves the interpreter free."""
    programs = [program for case in planned for program in case.programs]
    runs: dict[tuple[str, int, str], ConductedRun] = {}
    open_runs = {case.case.id: len(case.programs) for case in planned if case.programs}
    order = {program.key: i for i, program in enumerate(programs)}
    kept: list[Future[None]] = []

    def finished(run: ConductedRun) -> None:
        runs[run.program.key] = run
        case_id = run.program.key[0]
        open_runs[case_id] -= 1
        if not open_runs[case_id]:
            done = sorted((r for k, r in runs.items() if k[0] == case_id), key=lambda r: order[r.program.key])
            kept.append(packer.submit(record.history, case_id, done))

    def told(done: float, total: float) -> None:
        if progress is not None:
            progress(done, total, "moving levers")

    with ThreadPoolExecutor(1) as packer:
        fly(
            programs,
            source,
            on_finished=finished,
            on_warning=_warning(record),
            progress=told,
        )
    for future in kept:
        future.result()
    return {key: runs[key] for key in order}


def _judged(
    planned: Sequence[PlannedCase],
    runs: dict[tuple[str, int, str], ConductedRun],
    facts: SessionFacts,
    ladder: dict[str, tuple[str, ...]],
) -> list[Finding]:
    findings: list[Finding] = []
    for case in planned:
        own = {(p.key[1], p.key[2]): runs[p.key] for p in case.programs if p.key in runs}
        findings += judge_case(case, own, facts)
    return block(findings, ladder)
