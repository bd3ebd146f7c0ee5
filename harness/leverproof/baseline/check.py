"""A record against a baseline: what may be compared at all, what is the same by its sums, and what moved."""

from __future__ import annotations

import fnmatch
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from leverproof import __version__
from leverproof.baseline.checked import (
    IDENTICAL,
    MISSING,
    MOVED,
    NEW,
    NOT_APPLICABLE,
    NOT_COMPARABLE,
    NOT_FLOWN,
    WITHIN,
    CaseChecked,
    Checked,
    FirstMove,
    RunChecked,
    Turned,
)
from leverproof.baseline.collect import (
    asked_for,
    asked_of,
    doubts_of,
    findings_of,
    histories_sum,
    origin_of,
    program_sum,
    run_key,
)
from leverproof.baseline.compare import Tier, check_run, new_channels
from leverproof.baseline.model import Asked, HeldCase, HeldFinding, HeldRun, Origin
from leverproof.baseline.store import Kept
from leverproof.baseline.words import run_words
from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.judge.endings import ALL_PASSED, ENDINGS, FINDINGS, INVALID_INPUT, NOTHING_JUDGED
from leverproof.judge.words import amount, spoken
from leverproof.record.reader import Record

_PARTS = {"procedure": "how it is flown", "judgements": "how it is judged", "words": "its words"}


def check(record: Record, kept: Kept) -> Checked:
    """What the record shows against the accepted run. Raises :class:`leverproof.errors.ReproducibilityError` for a
    record that is incomplete or not as it was written."""
    record.verify()
    now, before = origin_of(record), kept.baseline.origin
    refused = (*_disorder(record), *_refused(before, now))
    cases = () if refused else tuple(_cases(record, kept))
    return Checked(
        record=str(record.folder),
        against=str(kept.folder),
        acceptance=kept.acceptance,
        origin=now,
        refused=refused,
        remarks=(*_fresh(cases), *_unseen(before, now, cases), *_remarks(before, now)),
        cases=cases,
        first=_first(cases),
        same_samples=bool(cases) and _same(record, kept),
        tolerances={name: amount(t.value, t.unit) for name, t in kept.baseline.tolerances.items()},
    )


def _disorder(record: Record) -> Iterator[str]:
    """Why the run says nothing by itself."""
    code = int((record.footer or {}).get("exit", -1))
    if code not in (ALL_PASSED, FINDINGS, INVALID_INPUT, NOTHING_JUDGED):
        yield f"the run did not end in order: {record.ending}, exit code {code}"


def _refused(before: Origin, now: Origin) -> Iterator[str]:
    """Why nothing can be compared."""
    one, other = before.sheet, now.sheet
    if one.sha256 != other.sha256:
        if (one.id, one.revision) != (other.id, other.revision):
            words = f"{one.id} revision {one.revision} was used, and now {other.id} revision {other.revision}"
        else:
            words = f"the sheet {one.id} says something else than when the run was accepted"
        yield f"another engine sheet: {words}; expected values and lever rates come from it"
    if before.suite != now.suite:
        yield f"another suite of cases: version {before.suite or 'unknown'} was used, and now {now.suite or 'unknown'}"


def _remarks(before: Origin, now: Origin) -> Iterator[str]:
    """What is another and decides nothing by itself."""
    told = (
        ("the model calls itself", before.model, now.model),
        ("the model's version is", before.model_version, now.model_version),
        ("its grid step is", before.grid_step, now.grid_step),
        ("a seeded defect was built in", before.defect or "none", now.defect or "none"),
    )
    for words, was, found in told:
        if was != found:
            yield f"{words} {found or 'nothing'}, and was {was or 'nothing'}"
    if before.seed != now.seed:
        words = f"the seed is {now.seed}, and was {before.seed}"
        yield f"{words}: the points it draws are other ones; run with --seed {before.seed}"
    if now.leverproof != before.leverproof:
        yield f"judged by leverproof {now.leverproof}, accepted by {before.leverproof}: its own rules may differ"
    elif now.leverproof != __version__:
        yield f"judged by leverproof {now.leverproof}, compared by {__version__}"
    if before.fingerprint and now.fingerprint and before.fingerprint == now.fingerprint:
        yield "the model's fingerprint is the accepted one"


def _same(record: Record, kept: Kept) -> bool:
    """Whether every history of the record is the accepted one by its file's sum."""
    held = {name: case.histories for name, case in kept.baseline.cases.items()}
    return held == {planned.case.id: histories_sum(record, planned.case.id) for planned in asked_for(record)}


def _cases(record: Record, kept: Kept) -> Iterator[CaseChecked]:
    """Every case of either, in the order of the record, those that only the baseline has behind."""
    held = kept.baseline.cases
    tier = Tier(kept.baseline.tolerances, kept.baseline.doubts, doubts_of(record))
    planned = asked_for(record)
    for case in planned:
        known = held.get(case.case.id)
        if known is None:
            yield CaseChecked(case.case.id, NEW, "no run of it has been accepted")
        else:
            yield _case(record, case, known, tier)
    there = {case.case.id for case in planned}
    asked = record.header.get("request", {})
    for name, before in held.items():
        if name not in there and before.inapplicable:
            yield CaseChecked(name, NOT_APPLICABLE)
        elif name not in there:
            chosen = _left_out(name, before.subject, asked)
            why = "it was not asked for" if chosen else "it is held, and this run does not have it any more"
            yield CaseChecked(name, NOT_FLOWN if chosen else MISSING, why)


def _left_out(name: str, subject: str, asked: Mapping[str, Any]) -> bool:
    """Whether a case was left out by what was asked for, so that nobody can say that it is gone."""
    patterns, subjects = asked.get("cases") or (), asked.get("subjects") or ()
    names = (name, name.partition("@")[0])
    if patterns and not any(fnmatch.fnmatchcase(one, str(pattern)) for one in names for pattern in patterns):
        return True
    if subjects and (not subject or subject not in subjects):
        return True
    return bool(asked.get("engine"))


def _fresh(cases: Sequence[CaseChecked]) -> Iterator[str]:
    """Channels that the accepted run does not have: nothing holds them."""
    found = sorted({name for case in cases for run in case.runs for name in run.fresh})
    if found:
        names = ", ".join(spoken(name) for name in found)
        yield f"the model gives {names}, which the accepted run has not: not compared until a run with it is accepted"


def _unseen(before: Origin, now: Origin, cases: Sequence[CaseChecked]) -> Iterator[str]:
    """A change that nothing shows: who made it should know that it was not tried."""
    compared = {case.standing for case in cases} & {IDENTICAL, WITHIN, MOVED}
    if compared == {IDENTICAL} and before.fingerprint and now.fingerprint and before.fingerprint != now.fingerprint:
        yield (
            "the fingerprint of stand, model and leverproof is another than the accepted one: something was changed, "
            "and no case that was flown shows it"
        )


def _case(record: Record, planned: PlannedCase, before: HeldCase, tier: Tier) -> CaseChecked:
    name = planned.case.id
    now = asked_of(planned.case)
    if now != before.asked:
        return CaseChecked(name, NOT_COMPARABLE, f"its text is another: {_parts(before.asked, now)}")
    lost = planned.inapplicable.missing if planned.inapplicable is not None else ""
    turned = tuple(_turned(before.findings, findings_of(record, planned)))
    if bool(lost) != bool(before.inapplicable):
        if lost:
            return CaseChecked(name, MOVED, f"it does not apply any more: {lost}", turned=turned)
        return CaseChecked(name, NEW, f"it applies now, and did not: {before.inapplicable}", turned=turned)
    if lost:
        return CaseChecked(name, NOT_APPLICABLE, turned=turned)
    programs = {run_key(program): program_sum(program) for program in planned.programs}
    same = programs == {key: run.program for key, run in before.runs.items()}
    if same and before.histories and before.histories == histories_sum(record, name):
        return CaseChecked(name, IDENTICAL, turned=turned)
    runs = tuple(_runs(record.conducted(name), before, tier))
    return CaseChecked(name, _standing(runs), _why(runs), runs, turned)


def _parts(before: Asked, now: Asked) -> str:
    return ", ".join(words for part, words in _PARTS.items() if getattr(before, part) != getattr(now, part))


def _runs(runs: Sequence[ConductedRun], before: HeldCase, tier: Tier) -> Iterator[RunChecked]:
    flown = {run_key(run.program): run for run in runs}
    for key, held in before.runs.items():
        run = flown.get(key)
        if run is None:
            yield RunChecked(key, held.point, MISSING, "it was not flown")
        elif program_sum(run.program) != held.program:
            yield RunChecked(key, held.point, NOT_COMPARABLE, _other_program(held, run, tier))
        else:
            yield check_run(held, run, tier, key=key)
    for key in flown:
        if key not in before.runs:
            yield RunChecked(key, "", NEW, "no run of it has been accepted")


def _other_program(held: HeldRun, run: ConductedRun, tier: Tier) -> str:
    lost = [spoken(name) for name in held.curves if name not in run.history.columns]
    if lost:
        return f"the model gives no {' and no '.join(lost)} any more, so its lever program reads something else"
    fresh = [spoken(name) for name in new_channels(held, run.history, tier)]
    if fresh:
        return f"the model gives {', '.join(fresh)} now, so its lever program may read something else"
    return "its lever program is another one: another point, which the seed draws, or other numbers"


def _standing(runs: Sequence[RunChecked]) -> str:
    found = {run.standing for run in runs}
    for standing in (MOVED, NOT_COMPARABLE, MISSING, WITHIN):
        if standing in found:
            return standing
    return IDENTICAL


def _why(runs: Sequence[RunChecked]) -> str:
    standing = _standing(runs)
    told = [run for run in runs if run.standing == standing and run.why]
    if not told:
        return ""
    places = list(dict.fromkeys(run.point or run_words(run.run, "") for run in told))
    more = f" and {len(places) - 3} more" if len(places) > 3 else ""
    return f"{', '.join(places[:3])}{more}: {told[0].why}"


def _turned(before: dict[str, HeldFinding], now: dict[str, HeldFinding]) -> Iterator[Turned]:
    for name in dict.fromkeys((*before, *now)):
        was, found = before.get(name), now.get(name)
        if was is None or found is None or was.verdict == found.verdict:
            continue
        passed = ENDINGS[was.verdict].passed, ENDINGS[found.verdict].passed
        worse = found.weight == "required" and passed[0] is True and passed[1] is not True
        yield Turned(name, found.weight, was.verdict, found.verdict, worse, was.found, found.found)


def _first(cases: Sequence[CaseChecked]) -> FirstMove | None:
    """The channel that moved first in most runs; of its runs the one where that is seen earliest is shown."""
    moved = [(case.case, run) for case in cases for run in case.runs if run.standing == MOVED and run.first]
    if not moved:
        return None
    tally = Counter(run.first[0].channel for _, run in moved)
    channel = min(tally, key=lambda name: (-tally[name], name))
    own = [(case, run) for case, run in moved if run.first[0].channel == channel]
    case, run = min(own, key=lambda pair: (pair[1].first[0].time, -(pair[1].first[0].doubts or 0.0), pair[0]))
    others = tuple((name, n) for name, n in tally.most_common() if name != channel)
    return FirstMove(channel, tally[channel], len(moved), case, run.run, run.point, run.first, others)
