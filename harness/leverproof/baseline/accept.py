"""Accepting a run: a person says that from now on this is what the model gives, and why.

Nothing is accepted silently: every acceptance stays in the log with what it changed, and one over another needs words
of its own. What is not whole, or fails and is not put off, is not accepted unless somebody says so with a reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from leverproof.baseline.check import check
from leverproof.baseline.checked import MOVED, NEW, NOT_COMPARABLE, Checked
from leverproof.baseline.collect import asked_for, baseline_of, record_sum
from leverproof.baseline.layout import FORMAT, LARGEST_VERSIONS, PROGRAM
from leverproof.baseline.lock import holding
from leverproof.baseline.model import Acceptance, Baseline, Change, Regression
from leverproof.baseline.numbers import numbers_of
from leverproof.baseline.store import Kept, read_if_there, write_acceptance
from leverproof.baseline.tolerances import parse_tolerances, usual_tolerances
from leverproof.baseline.words import first_words
from leverproof.errors import UsageError
from leverproof.judge.endings import ALL_PASSED, DISORDERLY, ENDINGS, FINDINGS, NOTHING_JUDGED
from leverproof.judge.words import amount, spoken
from leverproof.record.reader import Record

_MOST = 5
_LONGEST = 2_000


@dataclass(frozen=True, slots=True)
class Wish:
    """Who accepts and why; ``despite`` is the reason for accepting failures, ``fewer`` for holding fewer cases than
    before ("" for none). ``tolerances`` is the text of a file of tolerances, read from ``tolerances_from``."""

    by: str
    why: str
    despite: str = ""
    fewer: str = ""
    tolerances: str = ""
    tolerances_from: str = ""


@dataclass(frozen=True)
class Accepted:
    """An acceptance that stands. ``already`` is true when this very record was accepted before, so that nothing was
    written; ``checked`` what it changed, None for the first."""

    folder: Path
    acceptance: Acceptance
    baseline: Baseline
    already: bool = False
    checked: Checked | None = None


def accept(record: Record, folder: Path, wish: Wish) -> Accepted:
    """Stores the record as the accepted run in ``folder`` and adds a line to its log.

    Raises :class:`UsageError` for what may not be accepted and while another acceptance into the folder is under way,
    :class:`leverproof.errors.ReproducibilityError` for a
    record that is not as it was written, :class:`leverproof.errors.InputError` for a baseline that is damaged."""
    by, why = _said(wish.by, "--by", "name a person"), _said(wish.why, "--why", "say why this run is right")
    whole(record)
    record.verify()
    with holding(folder):
        return _accepted(record, folder, wish, by=by, why=why)


def _accepted(record: Record, folder: Path, wish: Wish, *, by: str, why: str) -> Accepted:
    kept = read_if_there(folder)
    if kept is not None and kept.baseline.origin.record == record_sum(record):
        return Accepted(folder, kept.acceptance, kept.baseline, already=True)
    failures = _failures(record, wish)
    if kept is not None:
        _own_words(why, kept)
        _not_fewer(record, kept, wish)
    before = dict(kept.baseline.tolerances) if kept is not None else usual_tolerances()
    tier = parse_tolerances(wish.tolerances, wish.tolerances_from, before) if wish.tolerances_from else before
    checked = check(record, kept) if kept is not None else None
    baseline = baseline_of(record, 1 if kept is None else kept.baseline.version + 1, tier)
    if baseline.version > LARGEST_VERSIONS:
        raise UsageError("this log is full", str(folder), "begin another folder with --to", "baseline")
    acceptance = Acceptance(
        format=FORMAT,
        program=PROGRAM,
        version=baseline.version,
        by=by,
        why=why,
        origin=baseline.origin,
        baseline="",
        numbers="",
        previous="",
        changed=None if checked is None else change(checked, tolerances=tuple(_widths(before, tier))),
        failures=tuple(failures),
        despite=_spaced(wish.despite),
        fewer=_spaced(wish.fewer),
    )
    log = kept.log if kept is not None else ()
    write_acceptance(folder, baseline, numbers_of(record, baseline), acceptance, log)
    written = read_if_there(folder)
    assert written is not None
    return Accepted(folder, written.acceptance, written.baseline, checked=checked)


def whole(record: Record) -> None:
    """Returns for a record of a run that ended as it should. Raises :class:`UsageError` for any other: incomplete,
    interrupted, without a handshake, with files that could not be read, with nothing judged, or of a model with a
    seeded defect."""
    where = str(record.folder)
    if not record.complete:
        raise _unfit("its run stopped before it was written to the end", where, "run again, and accept that")
    code = int((record.footer or {}).get("exit", -1))
    if code == NOTHING_JUDGED:
        raise _unfit("nothing was judged in it", where, "see `leverproof report RECORD` for what did not apply")
    if code not in (ALL_PASSED, FINDINGS):
        raise _unfit(f"its run did not end in order ({record.ending}, exit code {code})", where, "run again")
    if record.header.get("defect"):
        words = f"it is of a model with the seeded defect {record.header['defect']!r} built in"
        raise _unfit(words, where, "run the model as it is")
    judged = {finding.case for finding in record.findings}
    for planned in asked_for(record):
        if planned.judgements and planned.inapplicable is None and planned.case.id not in judged:
            raise _unfit(f"the case {planned.case.id} was not judged in it", where, "run again")


def _unfit(what: str, where: str, hint: str) -> UsageError:
    return UsageError(f"this record cannot be accepted: {what}", where, hint, "not_acceptable")


def _said(text: str, option: str, hint: str) -> str:
    told = _spaced(text)
    if not any(character.isalnum() for character in told):
        raise UsageError("an acceptance needs words here", option, hint, "not_acceptable")
    if len(told) > _LONGEST:
        raise UsageError(f"more than {_LONGEST:,} characters", option, "say it shorter", "not_acceptable")
    return told


def _spaced(text: str) -> str:
    return " ".join(text.split())


def _failures(record: Record, wish: Wish) -> list[str]:
    """The required findings that fail and are not put off, which need a reason; a reason that is not needed is refused
    too, so that no script carries one along."""
    found = [
        f"{f.case}/{f.judgement}: {f.verdict}"
        for f in record.findings
        if f.weight == "required" and ENDINGS[f.verdict].exit == FINDINGS
    ]
    if record.ending == DISORDERLY:
        found.append(DISORDERLY)
    if found and not wish.despite.strip():
        shown = "; ".join(found[:_MOST]) + (f"; and {len(found) - _MOST} more" if len(found) > _MOST else "")
        raise _unfit(
            f"{len(found)} required findings fail and are not put off: {shown}",
            str(record.folder),
            "put them off in a deferral file, or give your reason with --with-failures TEXT",
        )
    if wish.despite.strip():
        _said(wish.despite, "--with-failures", "say why a run that fails is accepted")
    if wish.despite.strip() and not found:
        raise UsageError("nothing fails that is not put off", "--with-failures", "leave it out", "needless")
    return found


def _own_words(why: str, kept: Kept) -> None:
    for earlier in kept.log:
        if earlier.why.casefold() == why.casefold():
            words = f"these are the words of version {earlier.version}; {kept.acceptance.version} is accepted now"
            raise UsageError(words, "--why", "say why this run is to take its place", "not_acceptable")


def _not_fewer(record: Record, kept: Kept, wish: Wish) -> None:
    # A case that did not apply holds nothing; one that does not apply any more holds nothing from now on.
    now = {planned.case.id for planned in asked_for(record) if planned.inapplicable is None}
    gone = [name for name, case in kept.baseline.cases.items() if not case.inapplicable and name not in now]
    if gone and not wish.fewer.strip():
        shown = ", ".join(gone[:_MOST]) + (f" and {len(gone) - _MOST} more" if len(gone) > _MOST else "")
        raise _unfit(
            f"nothing would be held any more of {'1 case' if len(gone) == 1 else f'{len(gone)} cases'}: {shown}",
            str(record.folder),
            "run them all, with every channel they need, or give your reason with --fewer-cases TEXT",
        )
    if wish.fewer.strip():
        _said(wish.fewer, "--fewer-cases", "say why fewer cases are held")
    if wish.fewer.strip() and not gone:
        raise UsageError("every case that is held is in this record", "--fewer-cases", "leave it out", "needless")


def change(checked: Checked, *, tolerances: Sequence[str] = ()) -> Change:
    """What a check shows, as the log keeps it."""
    if checked.refused:
        return Change(False, "; ".join(checked.refused), tolerances=tuple(tolerances))
    runs = [run for case in checked.cases for run in case.runs]
    return Change(
        compared=True,
        readings=sum(run.compared for run in runs),
        moved=sum(len(run.readings) for run in runs),
        cases=tuple(case.case for case in checked.cases if case.standing == MOVED),
        first=first_words(checked.first) if checked.first is not None else "",
        verdicts=tuple(
            f"{c.case}/{turn.judgement}: {turn.was}, now {turn.now}" for c in checked.cases for turn in c.turned
        ),
        new=tuple(case.case for case in checked.cases if case.standing == NEW),
        missing=tuple(case.case for case in checked.cases if case.standing in ("missing", "not in this run")),
        not_compared=tuple(case.case for case in checked.cases if case.standing == NOT_COMPARABLE),
        tolerances=tuple(tolerances),
    )


def _widths(before: Mapping[str, Regression], now: Mapping[str, Regression]) -> Iterator[str]:
    for name, held in now.items():
        was = before.get(name)
        if was is not None and replace(held, source=was.source) != was:
            widths = [f"{amount(one.value, one.unit)} and {amount(one.time, 's')}" for one in (was, held)]
            yield f"{spoken(name)}: {widths[1]}, was {widths[0]} ({held.reason})"
