"""A record made into what a baseline holds of it."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from leverproof import __version__
from leverproof.baseline.curve import FIDELITY, thinned
from leverproof.baseline.layout import FORMAT, PROGRAM, digest
from leverproof.baseline.model import (
    Asked,
    Baseline,
    Block,
    HeldCase,
    HeldFinding,
    HeldRun,
    HeldStep,
    Origin,
    Regression,
    Sheet,
)
from leverproof.cases.model import Judgement, Ref, ReferenceCase
from leverproof.channels import CHANNELS
from leverproof.conduct.model import ConductedRun, PlannedCase, Program
from leverproof.conduct.resolve import judged_channels
from leverproof.history import History, Reading
from leverproof.record.layout import histories_path
from leverproof.record.plain import to_plain
from leverproof.record.reader import Record, named

_PROCEDURE = ("engine", "surroundings", "runs", "sweep", "applies")


def baseline_of(record: Record, version: int, tolerances: Mapping[str, Regression]) -> Baseline:
    """What is held of a record as ``version``, with the regression tier it is accepted with. Raises as
    :meth:`Record.histories` does for a damaged record."""
    cases = {
        planned.case.id: held_case(record, planned, record.conducted(planned.case.id), tolerances)
        for planned in asked_for(record)
    }
    sums = {case_id: digest(to_plain(case, sparse=True)) for case_id, case in cases.items()}
    origin, told = origin_of(record), dict(sorted(tolerances.items()))
    return Baseline(FORMAT, PROGRAM, version, "", origin, doubts_of(record), told, sums, cases)


def asked_for(record: Record) -> list[PlannedCase]:
    """The cases that were asked for, without those that ran only to find doubts."""
    selected = set(record.header.get("selected") or ())
    return [planned for planned in record.expectations if planned.case.id in selected]


def origin_of(record: Record) -> Origin:
    """Where a record comes from, in its own words."""
    said = _said(record, "handshake")
    header, footer = record.header, record.footer or {}
    able = said.get("capabilities")
    able = able if isinstance(able, dict) else {}
    return Origin(
        record=record_sum(record),
        date=str(header.get("date") or ""),
        model=str(said.get("model") or ""),
        model_version=str(said.get("version") or ""),
        derived_from=str(said.get("derived_from") or ""),
        fingerprint=str(_said(record, "fingerprint").get("sha256") or ""),
        stand=str(named(record, "stand").get("title") or ""),
        sheet=sheet_of(record),
        suite=str(header.get("suite") or ""),
        seed=str(header.get("seed", "")),
        leverproof=str(header.get("version") or __version__),
        grid_step=str(said.get("grid_step") or ""),
        defect=str(header.get("defect") or ""),
        ending=record.ending,
        exit=int(footer.get("exit", -1)),
        deterministic=able.get("deterministic") is True and able.get("clock") == "stepped",
    )


def record_sum(record: Record) -> str:
    """SHA-256 that stands for all of a record: its footer, in which the sums of its lines and of its files are."""
    return digest(record.footer) if record.footer is not None else record.lines_sha256


def _said(record: Record, kind: str) -> dict[str, Any]:
    return next((event.data for event in record.events if event.kind == kind), {})


def sheet_of(record: Record) -> Sheet:
    """The engine sheet of a record. Its sum is of the document, so that comments and order change nothing; of its
    bytes where it cannot be read."""
    told = named(record, "sheet")
    name = next(
        (str(e.data.get("file")) for e in record.events if e.kind == "input" and e.data.get("input") == "sheet"), ""
    )
    content = (record.content(name) if name in record.names() else None) or b""
    try:
        whole = digest(json.loads(json.dumps(tomllib.loads(content.decode("utf-8")), default=str)))
    except (ValueError, RecursionError):
        whole = hashlib.sha256(content).hexdigest()
    return Sheet(str(told.get("id") or ""), str(told.get("title") or ""), str(told.get("revision") or ""), whole)


def doubts_of(record: Record) -> dict[str, float]:
    """Standard uncertainty of each channel from the study of the grid step: the largest of all engines."""
    out: dict[str, float] = {}
    for event in record.events:
        told = event.data.get("step_u") if event.kind == "facts" else None
        for name, u in told.items() if isinstance(told, dict) else ():
            if name in CHANNELS and isinstance(u, float | int):
                out[name] = max(out.get(name, 0.0), float(u))
    return dict(sorted(out.items()))


def asked_of(case: ReferenceCase) -> Asked:
    """Sums of what a case asks. Where it was read from, and a tolerance that a user has loosened, is not part of it."""
    judged = [replace(j, tolerance=replace(j.tolerance, times=1.0, loosened="") if j.tolerance else None)
              for j in case.judgements]  # fmt: skip
    plain: dict[str, Any] = to_plain(replace(case, path="", judgements=tuple(judged)), sparse=True)
    judgements = plain.pop("judgements", [])
    procedure = {key: plain.pop(key) for key in _PROCEDURE if key in plain}
    return Asked(digest(procedure), digest(judgements), digest(plain))


def held_case(
    record: Record, planned: PlannedCase, runs: Sequence[ConductedRun], tolerances: Mapping[str, Regression]
) -> HeldCase:
    """What is held of one case."""
    labels = {point.index: point.label for point in planned.points}
    lost = planned.inapplicable
    return HeldCase(
        asked=asked_of(planned.case),
        histories=histories_sum(record, planned.case.id),
        inapplicable=lost.missing if lost is not None else "",
        findings=findings_of(record, planned),
        runs={run_key(run.program): held_run(run, labels.get(run.program.key[1], ""), tolerances) for run in runs},
        subject=planned.case.subject,
    )


def run_key(program: Program) -> str:
    """The key of a run within its case."""
    return f"{program.key[1]:02d}/{program.key[2]}"


def histories_sum(record: Record, case_id: str) -> str:
    """SHA-256 of the file of a case's histories as the record's footer has it, "" where it left none."""
    entry = (record.footer or {}).get("files", {}).get(histories_path(case_id))
    return str(entry.get("sha256", "")) if entry else ""


def findings_of(record: Record, planned: PlannedCase) -> dict[str, HeldFinding]:
    """The findings of a case by judgement."""
    judgements = {judgement.id: judgement for judgement in planned.judgements}
    return {
        f.judgement: HeldFinding(
            f.verdict, f.weight, f.asked, f.found, uses(judgements[f.judgement]) if f.judgement in judgements else ()
        )
        for f in record.findings
        if f.case == planned.case.id
    }


def uses(judgement: Judgement) -> tuple[str, ...]:
    """The readings that a judgement looks at, as ``RUN/READING/CHANNEL``."""
    refs = {ref for ref in (judgement.reading, judgement.relative_to, judgement.more) if ref is not None}
    refs |= {*judgement.readings, *judgement.less}
    runs = [run for run in (judgement.run, judgement.against, judgement.longer_than, *judgement.runs) if run]
    names = [*(judgement.between or ()), judgement.change_from, judgement.at_reading]
    names += [name for event in judgement.events for name in event.between or ()]
    refs |= {Ref(run, name) for run in runs for name in names if name}
    if judgement.at_equal:
        refs |= {Ref(ref.run, judgement.at_equal.slope) for ref in set(refs)}
    if judgement.exercised:
        refs |= {judgement.exercised.more, judgement.exercised.less}
    return tuple(sorted(f"{ref.run}/{ref.reading}/{c}" for ref in refs for c in judged_channels(judgement)))


def held_run(run: ConductedRun, label: str, tolerances: Mapping[str, Regression]) -> HeldRun:
    """What is held of one run."""
    history = run.history
    curves: dict[str, tuple[Block, ...]] = {}
    losses: dict[str, float] = {}
    lost: dict[str, int] = {}
    for name in compared(history, tolerances):
        samples = history.column(name)
        bad = np.flatnonzero(~np.isfinite(samples))
        if bad.size:
            lost[name] = int(bad[0])
            samples = samples[: lost[name]]
        tolerance = tolerances[name].value
        curves[name], loss = thinned(samples, tolerance)
        if loss > FIDELITY * tolerance:
            losses[name] = loss
    return HeldRun(
        point=label,
        program=program_sum(run.program),
        samples=samples_sum(history),
        step=history.grid.step,
        rows=int(history.data.shape[0]),
        ending=history.ending,
        trouble=history.trouble,
        steps=steps_of(history),
        readings={r.name: _values(r, history, tolerances) for r in history.readings},
        unsteady={r.name: tuple(sorted(r.unsteady)) for r in history.readings if r.unsteady},
        curves=curves,
        losses=losses,
        lost=lost,
        jitter=history.jitter,
    )


def compared(history: History, tolerances: Mapping[str, Regression]) -> list[str]:
    """The channels of a history that are compared: those the table of tolerances has."""
    return sorted(name for name in history.columns if name in tolerances)


def _values(reading: Reading, history: History, tolerances: Mapping[str, Regression]) -> dict[str, float]:
    known = compared(history, tolerances)
    return {name: reading.values[name] for name in known if name in reading.values}


def steps_of(history: History) -> tuple[HeldStep, ...]:
    """The steps as flown."""
    return tuple(HeldStep(m.kind, m.row, m.end, m.name, m.lever, m.ending) for m in history.marks)


def program_sum(program: Program) -> str:
    """SHA-256 of a lever program with every value resolved: what was asked of the model, whatever it is called and
    whatever the grid step."""
    plain: dict[str, Any] = to_plain(program, sparse=True)
    return digest({key: value for key, value in plain.items() if key not in ("key", "grid")})


def samples_sum(history: History) -> str:
    """SHA-256 of everything a run left: channels, steps, ending, readings and every sample."""
    left = replace(history, data=np.zeros((0, 0), dtype=np.float32), marks=())
    whole = hashlib.sha256(digest([to_plain(left), to_plain(steps_of(history))]).encode("ascii"))
    whole.update(np.ascontiguousarray(history.data, dtype="<f4").tobytes())
    return whole.hexdigest()
