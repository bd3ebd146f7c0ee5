"""Which classes of complaint the reference cases were seen to catch, from results of flying the seeded defects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.complaints import Complaint, load_complaints
from leverproof.kills import MARK, Kills
from leverproof.report.coverage_table import CaseShown, ClassRow, Coverage
from leverproof.session import known_defects


def defects_elsewhere() -> tuple[str, ...]:
    """The defects of example models that the shipped classes name, as ``EXAMPLE:DEFECT``."""
    named = (name for complaint in load_complaints() for name in complaint.defects if MARK in name)
    return tuple(dict.fromkeys(named))


def coverage(kills: Kills, complaints: Sequence[Complaint] | None = None) -> Coverage:
    """Every class with what caught what.

    A result counts only for a case whose text is still the one it was made with, and for a defect and a case that this
    build has. ``complaints`` are the shipped classes unless given."""
    catalogue = load_catalogue()
    changed = kills.changed(catalogue)
    cases = {case.id for case in catalogue.cases}
    defects = {defect.name for defect in known_defects()}
    fired = {run.defect: run.fired - changed for run in kills.runs}
    listed = load_complaints() if complaints is None else complaints
    rows = tuple(_row(complaint, fired, cases, defects) for complaint in listed)
    named = {name for complaint in listed for name in complaint.defects}
    return Coverage(rows, tuple(sorted(defects - named)), tuple(sorted(changed)), kills.whence)


def _row(complaint: Complaint, fired: Mapping[str, frozenset[str]], cases: set[str], defects: set[str]) -> ClassRow:
    shown = tuple(
        CaseShown(case, tuple(d for d in complaint.defects if case in fired.get(d, ()))) for case in complaint.cases
    )
    missing = [f"there is no case {case}" for case in complaint.cases if case not in cases]
    missing += [
        f"no defect of this class has been seen to fail {entry.case}"
        for entry in shown
        if entry.case in cases and not entry.defects
    ]
    for defect in complaint.defects:
        if defect not in defects and MARK not in defect:
            missing.append(f"there is no defect {defect}")
        elif defect not in fired:
            missing.append(f"{defect} was not flown")
        elif not any(defect in entry.defects for entry in shown):
            missing.append(f"{defect} has not been seen to fail one of these cases")
    return ClassRow(
        complaint.number,
        complaint.complaint,
        complaint.source,
        shown,
        complaint.limits,
        complaint.out_of_scope,
        tuple(missing),
    )
