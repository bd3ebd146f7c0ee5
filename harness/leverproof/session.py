"""One session: load, mount, plan, conduct, judge, keep a record. Everything that runs a model goes through here."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from leverproof import CAUTION
from leverproof.cases.catalogue import Catalogue, load_catalogue, other_suite
from leverproof.cases.model import ReferenceCase
from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.engine_ids import case_and_engine, on_engine
from leverproof.engine_stage import (
    Asked,
    Progress,
    Runs,
    Stage,
    facts_of,
    fly_stage,
    judge_stage,
    judged,
    prepare,
    record_problem,
)
from leverproof.errors import InputError, LeverproofError, StandError, UsageError, nearest
from leverproof.judge.deferral_file import Allowed, loosened, read_deferrals
from leverproof.judge.endings import DISORDERLY, INTERNAL, INTERRUPTED, INVALID_INPUT, exit_code
from leverproof.judge.model import Deferral, Finding
from leverproof.record.plain import from_plain, to_plain
from leverproof.record.reader import Record
from leverproof.record.writer import RecordWriter
from leverproof.sheet.loader import find_sheet, parse_sheet, shipped_sheets
from leverproof.sheet.model import EngineSheet
from leverproof.stand import mount as stands
from leverproof.stand.engine_numbers import chosen
from leverproof.stand.fingerprint import fingerprint
from leverproof.stand.mount import MountedStand
from leverproof.stand.port import StandFile
from leverproof.stand.recording_mount import RECORDING, MountedRecording, mount_recording
from leverproof.stand.stand_file import folder_of, parse_stand_file
from leverproof.there import is_file
from leverproof.toml_file import read_text

DEFAULT_SHEET = "corrie-18-early"
EMBEDDED = "reference_engine"
_FAREWELL_HINT = "what was judged stands; free everything once, and leave with exit code 0"
_INTERRUPTED = "interrupted; what was finished is kept"


@dataclass(frozen=True, slots=True)
class RunRequest:
    """What a person asked for. ``stand`` None mounts the embedded reference engine; ``sheet`` is a path or the id of
    a shipped sheet; ``engine`` tests that one only, of those the stand has; ``command`` the words of the command line,
    for the record. ``deferrals`` is the path of a file of known deviations, which needs ``today``."""

    stand: str | None = None
    sheet: str | None = None
    cases: tuple[str, ...] = ()
    case_folders: tuple[str, ...] = ()
    subjects: tuple[str, ...] = ()
    seed: int = 1
    out: Path = Path("leverproof-record")
    defect: str | None = None
    engine: int | None = None
    command: tuple[str, ...] = ()
    deferrals: str | None = None
    today: date | None = None


@dataclass(frozen=True)
class _Inputs:
    stand: StandFile
    stand_text: str
    sheet: EngineSheet
    catalogue: Catalogue
    selected: tuple[ReferenceCase, ...]
    allowed: Allowed


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
        _keep_inputs(record, request, inputs)
        try:
            return _recorded(request, inputs, record, progress)
        except KeyboardInterrupt:
            record.close(_INTERRUPTED, INTERRUPTED)
            return INTERRUPTED
        except LeverproofError as problem:
            record_problem(record, problem)
            record.close(f"stopped: {problem.message}", INVALID_INPUT)
            raise
        except Exception as fault:
            record.event("problem", message=f"{type(fault).__name__}: {fault}", where="", hint="")
            record.close("internal error; what was finished is kept", INTERNAL)
            raise


def _recorded(request: RunRequest, inputs: _Inputs, record: RecordWriter, progress: Progress | None) -> int:
    """Mounts and runs; a model that never says hello ends here with its own exit code. The model's fingerprint is in
    the record before it is mounted, and so before a point is drawn."""
    record.event("fingerprint", **fingerprint(inputs.stand, inputs.stand_text, defect=request.defect))
    try:
        mounted = _mounted(request, inputs)
    except StandError as trouble:
        return _not_mounted(record, inputs, trouble)
    with ExitStack() as stack:
        for one in mounted.values():
            stack.enter_context(one)
        return _session(request, inputs, mounted, record, progress)


def _mounted(request: RunRequest, inputs: _Inputs) -> dict[int, MountedStand | MountedRecording]:
    """What flies each engine under test: one model for all of them, or the columns of each in a recording."""
    stand, levers = inputs.stand, inputs.sheet.levers
    if stand.kind == RECORDING:
        return {
            engine: mount_recording(replace(stand, engine=engine), levers=levers, defect=request.defect)
            for engine in stand.tested
        }
    model = stands.mount(stand, defect=request.defect)
    return dict.fromkeys(stand.tested, model)


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
    said = [event.data for event in record.events if event.kind == "handshake"]
    engines = {case_and_engine(planned.case.id)[1]: None for planned in record.expectations}
    findings: list[Finding] = []
    for engine in engines:
        own = [planned for planned in record.expectations if case_and_engine(planned.case.id)[1] == engine]
        told = next((one for one in said if engine is None or one.get("engine") == engine), {})
        findings += _rejudged(record, own, told, ladder)
    return findings


def _rejudged(
    record: Record, planned: Sequence[PlannedCase], said: dict[str, Any], ladder: dict[str, tuple[str, ...]]
) -> list[Finding]:
    runs: Runs = {}
    for case in planned:
        histories = record.histories(case.case.id) if case.programs else {}
        for program in case.programs:
            history = histories.get((program.key[1], program.key[2]))
            if history is not None:
                runs[program.key] = ConductedRun(program, history)
    facts = facts_of(runs, str(record.header.get("arrangement", "")), said)
    selected = set(record.header.get("selected", ()))
    put_off = from_plain(tuple[Deferral, ...], record.header.get("deferrals", []), "deferrals")
    today = date.fromisoformat(str(record.header["today"])) if put_off else None
    return judged([case for case in planned if case.case.id in selected], runs, facts, ladder, put_off, today)


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
    if request.engine is not None:
        tested = chosen(stand.tested, stand.engines, request.engine, "--engine")
        stand = replace(stand, engine=tested[0], tested=tested)
    _check_defect(request.defect, stand)
    allowed = read_deferrals(request.deferrals, request.today, catalogue)
    selected = loosened(catalogue.select(request.cases, request.subjects), allowed.loosenings)
    return _Inputs(stand, stand_text, sheet, catalogue, selected, allowed)


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
    if stand.sheet in shipped:
        return stand.sheet
    beside = Path(folder_of(stand)) / stand.sheet
    if not is_file(beside):
        raise InputError(
            f"no engine sheet {stand.sheet!r}",
            f"{stand.path}: sheet",
            f"a sheet is a file beside the stand file, or a shipped id; {nearest(stand.sheet, shipped)}",
            "sheet",
        )
    return str(beside)


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
            "engine": request.engine,
            "deferrals": request.deferrals,
        },
        "seed": request.seed,
        "defect": request.defect,
        "stand": {"title": inputs.stand.title, "path": inputs.stand.path, "kind": inputs.stand.kind},
        "sheet": {"id": inputs.sheet.id, "title": inputs.sheet.title, "revision": inputs.sheet.revision},
        "arrangement": inputs.sheet.word("hardware.arrangement"),
        "suite": inputs.catalogue.suite,
        "subjects": list(inputs.catalogue.subjects()),
        "ladder": {subject: list(below) for subject, below in inputs.catalogue.ladder.items()},
        "selected": [
            on_engine(case.id, engine, len(inputs.stand.engines))
            for engine in inputs.stand.tested
            for case in inputs.selected
        ],
        "engines": {"tested": list(inputs.stand.tested), "all": list(inputs.stand.engines)},
        "today": request.today.isoformat() if request.today is not None else "",
        "deferrals": to_plain(inputs.allowed.deferrals),
        "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "host": f"{platform.system()} {platform.machine()}, Python {platform.python_version()}",
    }


def _keep_inputs(record: RecordWriter, request: RunRequest, inputs: _Inputs) -> None:
    record.add_input("sheet", inputs.sheet.path, inputs.sheet.text)
    if inputs.stand_text:
        record.add_input("stand", inputs.stand.path, inputs.stand_text)
    for case in inputs.selected:
        record.add_input("case", case.path, inputs.catalogue.texts[case.id])
    if inputs.allowed.text and request.deferrals is not None:
        record.add_input("deferral", request.deferrals, inputs.allowed.text)
    for case in inputs.selected:
        if words := other_suite(case, inputs.catalogue.suite):
            record.event("warning", message=words)
    for problem in (*inputs.catalogue.problems, *inputs.allowed.problems):
        record_problem(record, problem)


def _not_mounted(record: RecordWriter, inputs: _Inputs, trouble: StandError) -> int:
    """No handshake: nothing could be asked of the model. A crash after it is a finding, this is not."""
    record.event(
        "problem",
        message=trouble.message,
        where=trouble.where or inputs.stand.path,
        hint=trouble.hint or inputs.stand.build_hint,
        code=trouble.code,
        evidence=trouble.evidence,
    )
    code = exit_code([], handshake=False, input_errors=False, interrupted=False, internal=False)
    record.close(f"no handshake with the model ({trouble.message})", code)
    return code


def _session(
    request: RunRequest,
    inputs: _Inputs,
    mounts: dict[int, MountedStand | MountedRecording],
    record: RecordWriter,
    progress: Progress | None,
) -> int:
    """Every engine under test in turn: all planned before the first is flown."""
    catalogue = inputs.catalogue
    library, allowed = tuple(catalogue.cases), inputs.allowed
    asked = Asked(
        inputs.sheet, inputs.selected, library, request.seed, catalogue.ladder, allowed.deferrals, request.today
    )
    stages = [prepare(asked, mounted, engine, record, progress) for engine, mounted in mounts.items()]
    findings: list[Finding] = []
    interrupted = False
    for index, stage in enumerate(stages):
        runs = {} if interrupted else fly_stage(stage, record, _shared(progress, index, stages))
        interrupted = interrupted or any(run.history.ending == "interrupted" for run in runs.values())
        findings += judge_stage(asked, stage, runs, record)
    farewell = _taken_leave(mounts.values(), record, request.stand or "")
    code = exit_code(
        findings,
        handshake=True,
        input_errors=bool(catalogue.problems) or bool(allowed.problems) or any(stage.problems for stage in stages),
        interrupted=interrupted,
        internal=False,
        disorderly=bool(farewell),
    )
    orderly = DISORDERLY if farewell else "completed"
    record.close(_INTERRUPTED if interrupted else orderly, code)
    return code


def _taken_leave(mounts: Iterable[MountedStand | MountedRecording], record: RecordWriter, where: str) -> str:
    """Ends the models; what was wrong with how one ended is told and given back."""
    farewell = ""
    for mounted in mounts:
        mounted.close()
        farewell = farewell or mounted.farewell
    if farewell:
        record_problem(record, StandError(farewell, where, _FAREWELL_HINT, "crash"))
    return farewell


def _shared(progress: Progress | None, index: int, stages: Sequence[Stage]) -> Progress | None:
    """Progress of one engine as its share of all."""
    if progress is None or len(stages) == 1:
        return progress

    def told(done: float, total: float, words: str) -> None:
        progress(index * total + done, len(stages) * total, f"{words}, engine {stages[index].engine}")

    return told
