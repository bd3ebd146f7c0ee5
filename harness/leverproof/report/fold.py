"""What every report says of a record: its findings in order, its counts, what failed and how to repeat that.

The header that reports look into: ``request`` (the options of the command, see :func:`repeat_command`),
``stand`` and ``sheet`` (a text, or an object with ``title`` and so on), ``seed``, ``defect``. Events that
reports look into: ``handshake`` (``model``, ``version``, ``derived_from``) and ``warning`` or ``problem``
(``message``, ``where``, ``hint``).
"""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from leverproof.cases.model import Judgement, ReferenceCase
from leverproof.conduct.model import NotApplicable, PlannedCase
from leverproof.engine_ids import case_and_engine
from leverproof.errors import last_words
from leverproof.judge.endings import ENDINGS, FINDINGS, Counts
from leverproof.judge.model import VERDICTS, Finding
from leverproof.record.reader import Record
from leverproof.report.wording import amount, doubt_words

_SHORT = 24
_EVIDENCE = 400

EXAMPLE = "a case's name ends in @ and the engine it was flown on"

EXITS = {
    0: "every required judgement passed",
    1: "there are findings",
    2: "the command line or a file is invalid",
    3: "the model never completed its handshake",
    4: "an internal error",
    5: "nothing was judged",
    130: "interrupted",
}


def all_findings(record: Record) -> tuple[Finding, ...]:
    """The findings of a record, by subject in planned order; a planned judgement without a finding appears as
    ``not applicable`` or ``not run``, so that nothing asked ever goes missing from a report."""
    by_case: dict[str, list[Finding]] = {}
    for finding in record.findings:
        by_case.setdefault(finding.case, []).append(finding)
    out: list[Finding] = []
    for planned in selected(record):
        found = by_case.pop(planned.case.id, [])
        judged = {finding.judgement for finding in found}
        out.extend(_with_reason(finding, _why_not(planned, finding.judgement)) for finding in found)
        for judgement in planned.case.judgements:
            if judgement.id not in judged:
                out.append(_without_finding(planned.case, judgement, _why_not(planned, judgement.id)))
    for rest in by_case.values():
        out.extend(rest)
    subjects = {finding.subject: None for finding in out}
    return tuple(finding for subject in subjects for finding in out if finding.subject == subject)


def _why_not(planned: PlannedCase, judgement: str) -> NotApplicable | None:
    return planned.inapplicable or planned.inapplicable_judgements.get(judgement)


def _with_reason(finding: Finding, why: NotApplicable | None) -> Finding:
    """A finding that does not apply, with a note that tells what is missing from what is lost by it."""
    if why is None or finding.verdict != "not applicable":
        return finding
    return replace(finding, note=_missing(why))


def selected(record: Record) -> Iterator[PlannedCase]:
    """The planned cases that were asked for: others (the study of the grid step) ran only to find the doubts."""
    asked = record.header.get("selected")
    for planned in record.expectations:
        if asked is None or planned.case.id in asked:
            yield planned


def _without_finding(case: ReferenceCase, judgement: Judgement, why: NotApplicable | None) -> Finding:
    return Finding(
        case=case.id,
        judgement=judgement.id,
        subject=case.subject,
        what=judgement.what,
        asked=judgement.asked,
        weight=judgement.weight,
        basis=judgement.basis,
        source=judgement.source,
        verdict="not applicable" if why is not None else "not run",
        note=_missing(why) if why is not None else "the run ended before it was judged",
    )


def by_subject(findings: Sequence[Finding]) -> dict[str, list[Finding]]:
    """Findings by subject, in order of first appearance."""
    out: dict[str, list[Finding]] = {}
    for finding in findings:
        out.setdefault(finding.subject, []).append(finding)
    return out


def occurring(counted: Counts) -> list[str]:
    """The verdicts that occur, in their usual order."""
    groups = (counted.required, counted.self_referential, counted.advisory)
    return [verdict for verdict in VERDICTS if any(group.get(verdict) for group in groups)]


def standing(finding: Finding) -> str:
    """``required``, ``advisory`` or ``self_referential``: where a finding is counted. A pass that rests on
    a datum of the model under test never counts among the passed."""
    if finding.self_referential and ENDINGS[finding.verdict].passed:
        return "self_referential"
    return "required" if finding.weight == "required" else "advisory"


def fails(finding: Finding) -> bool:
    """Whether a finding alone makes the exit code 1."""
    return finding.weight == "required" and ENDINGS[finding.verdict].exit == FINDINGS


def junit_child(finding: Finding) -> str:
    """How a finding ends in JUnit XML: ``pass``, ``failure``, ``error`` or ``skipped``. What never changes
    the exit code (advisory findings that do not pass) and what never counts as passed (self-referential
    passes) is skipped, with its verdict as message."""
    child = ENDINGS[finding.verdict].junit
    kind = standing(finding)
    return "skipped" if kind == "self_referential" or (kind == "advisory" and child != "pass") else child


def with_tolerance(finding: Finding) -> str:
    """The expected value with its tolerance, as one text; a long explanation of the tolerance gives way to
    its number."""
    expected, tolerance = finding.expected or "-", finding.tolerance
    if not tolerance:
        return expected
    if len(tolerance) > _SHORT and finding.limit is not None:
        tolerance = amount(finding.limit, finding.unit)
    tolerance = tolerance.lstrip("± ")
    if expected[0] not in "-0123456789":
        return f"{expected}, tolerance {tolerance}"
    number, _, unit = expected.partition(" ")
    shared = unit and tolerance.partition(" ")[2] == unit
    return f"{number if shared else expected} ± {tolerance}"


def verdict_words(finding: Finding) -> str:
    """The verdict, marked when it does not decide the ending or does not count among the passed."""
    marks = [finding.weight] if finding.weight != "required" else []
    marks += ["self-referential"] if finding.self_referential else []
    marks += ["tolerance loosened"] if finding.loosened else []
    marks += [f"deferral {finding.deferral_state}"] if finding.deferral_state not in ("", "holds") else []
    return f"{finding.verdict} ({', '.join(marks)})" if marks else finding.verdict


def failure_words(finding: Finding) -> str:
    """A finding in one line: case, judgement, found, expected, limit and doubt (U95); where nothing was found that
    could be judged, no number is made up."""
    name = f"{finding.case}/{finding.judgement}"
    if not finding.found and finding.number is None:
        expected = f", expected {finding.expected}" if finding.expected else ""
        return f"{name}: nothing found that could be judged{expected}"
    found = finding.found or amount(finding.number, finding.unit)
    return (
        f"{name}: found {found}, expected {finding.expected or '-'}, "
        f"limit {amount(finding.limit, finding.unit)}, doubt {doubt_words(finding.w, finding.unit)}"
    )


def inapplicable(record: Record) -> Iterator[tuple[str, NotApplicable]]:
    """What was asked and did not apply: case id (with ``/judgement`` where only that does not), and why."""
    for planned in selected(record):
        if planned.inapplicable is not None:
            yield planned.case.id, planned.inapplicable
            continue
        for judgement, why in planned.inapplicable_judgements.items():
            yield f"{planned.case.id}/{judgement}", why


def left_out(record: Record, findings: Sequence[Finding]) -> list[str]:
    """What did not apply, one sentence each: what is missing and what is lost by it, or why a judgement was
    not exercised."""
    known = dict(inapplicable(record))
    out = [f"{what}: {_missing(why)}" for what, why in known.items()]
    for finding in findings:
        name = f"{finding.case}/{finding.judgement}"
        if finding.verdict == "not applicable" and finding.case not in known and name not in known:
            out.append(f"{name}: {finding.note}" if finding.note else name)
    return out


def _missing(why: NotApplicable) -> str:
    lost = f"; lost: {why.lost}" if why.lost else ""
    return f"{why.missing}{lost}{f'; to supply: {why.supply}' if why.supply else ''}"


def blocked(findings: Sequence[Finding]) -> list[str]:
    """What was blocked and by what, one sentence each."""
    out = []
    for finding in findings:
        if finding.verdict == "blocked":
            cause = finding.note or f"because of {', '.join(finding.causes)}"
            out.append(f"{finding.case}/{finding.judgement}: {cause}")
    return out


def put_off(findings: Sequence[Finding]) -> list[str]:
    """Every finding that somebody has put off, one sentence each: what became of it, who answers for it, until
    when, why and how far off it may be."""
    return [
        f"{f.case}/{f.judgement}: {f.verdict} ({_STATES.get(f.deferral_state, f.deferral_state)}); {deferral_words(f)}"
        for f in findings
        if f.deferral is not None
    ]


_STATES = {
    "holds": "deferral holds",
    "expired": "deferral expired",
    "passes unexpectedly": "passes unexpectedly: remove the deferral",
    "beyond its limit": "beyond the limit of its deferral",
    "not used": "deferral not used",
}


def deferral_words(finding: Finding) -> str:
    """Owner, expiry, limit and reason of a finding's deferral; empty without one."""
    held = finding.deferral
    if held is None:
        return ""
    limit = held.unit if held.limit is None else amount(held.limit, held.unit)
    return f"{held.owner} until {held.expires}, at most {limit} off: {held.reason}"


def widened(findings: Sequence[Finding]) -> list[str]:
    """Every finding whose tolerance somebody has loosened, one sentence each."""
    return [f"{f.case}/{f.judgement} ({f.verdict}): {f.loosened}" for f in findings if f.loosened]


def repeat_command(header: Mapping[str, Any], case_id: str) -> str:
    """The command that runs one case alone as this run did: same stand, sheet, case folders, seed and
    defect."""
    request = header.get("request", {})
    case_id, engine = case_and_engine(case_id)
    words = ["leverproof", "run"]
    for option in ("stand", "sheet"):
        if request.get(option):
            words += [f"--{option}", str(request[option])]
    for folder in request.get("case_folders", ()):
        words += ["--cases", str(folder)]
    words += ["--case", case_id]
    if engine is not None:
        words += ["--engine", str(engine)]
    if request.get("seed") is not None:
        words += ["--seed", str(request["seed"])]
    if request.get("deferrals"):
        words += ["--deferrals", str(request["deferrals"])]
    if request.get("defect"):
        words += ["--defect", str(request["defect"])]
    return shlex.join(words)


def mounted(record: Record) -> dict[str, str]:
    """What was run against what, as pairs for the head of a report; absent ones are left out."""
    header = record.header
    said = next((event.data for event in record.events if event.kind == "handshake"), {})
    model = " ".join(str(said[key]) for key in ("model", "version") if said.get(key))
    pairs = {
        "stand": _title(header.get("stand")),
        "model": model,
        "derived from": str(said.get("derived_from") or ""),
        "fingerprint": _fingerprint(record),
        "engine": _engines(header.get("engines")),
        "clock": _own_clock(record),
        "sheet": _title(header.get("sheet")),
        "suite": str(header.get("suite") or ""),
        "seed": str(header.get("seed", header.get("request", {}).get("seed", ""))),
        "drawn points": _drawn(record),
        "defect": str(header.get("defect") or header.get("request", {}).get("defect") or ""),
        "date": str(header.get("date") or ""),
        "host": str(header.get("host") or ""),
    }
    return {key: value for key, value in pairs.items() if value}


def _drawn(record: Record) -> str:
    """The off-points that the seed drew, by case, each told once where several engines were flown at it."""
    drawn = {
        case_and_engine(planned.case.id)[0]: ", ".join(point.label for point in planned.points if point.off_point)
        for planned in record.expectations
    }
    return "; ".join(f"{case} at {labels}" for case, labels in drawn.items() if labels)


def _fingerprint(record: Record) -> str:
    """SHA-256 of what the model is made of, and which files of its own that covers; empty for older records."""
    said = next((event.data for event in record.events if event.kind == "fingerprint"), {})
    parts = said.get("parts")
    if not isinstance(parts, Mapping) or not said.get("sha256"):
        return ""
    named = ", ".join(str(name) for name in parts)
    return f"SHA-256 {said['sha256']}, taken before points were drawn, of: {named}"


def _engines(said: object) -> str:
    """Which engines of how many were tested, where there are several; their words where they are not numbers."""
    words, tested = (said.get("all"), said.get("tested")) if isinstance(said, Mapping) else (None, None)
    if not isinstance(words, list) or not isinstance(tested, list) or len(words) < 2:
        return ""
    named = [
        str(n) if words[n - 1] == str(n) else f"{n} ({words[n - 1]})" for n in tested if n in range(1, len(words) + 1)
    ]
    return f"{' and '.join(named)} of {len(words)}, the others held; {EXAMPLE}"


def _own_clock(record: Record) -> str:
    """How sure an instant is on a model's own clock, over all runs; empty for a model that moves when told."""
    seen = [event.data.get("jitter") for event in record.events if event.kind == "clock"]
    found = sorted(value for value in seen if isinstance(value, float) and math.isfinite(value))
    if not found:
        return ""
    usual, worst = (amount(found[at], "s") for at in (len(found) // 2, -1))
    return f"the model's own: an instant is sure to {usual}, at worst {worst}"


def _title(said: object) -> str:
    if isinstance(said, Mapping):
        title = str(said.get("title") or said.get("id") or said.get("path") or "")
        return f"{title}, revision {said['revision']}" if said.get("revision") else title
    return str(said or "")


def notices(record: Record) -> Iterator[str]:
    """Warnings and problems of the run, one sentence each."""
    for event in record.events:
        if event.kind in ("warning", "problem"):
            place = f"{event.data['where']}: " if event.data.get("where") else ""
            advice = f" ({event.data['hint']})" if event.data.get("hint") else ""
            message = str(event.data.get("message", ""))
            yield f"{place}{message}{advice}{_tail(message, event.data.get('evidence'))}"


def _tail(message: str, evidence: object) -> str:
    """How the model's process ended, where the message does not say so, and the last of what the model wrote."""
    ended, wrote = last_words(str(evidence or ""))
    told = [f"its process: {ended}"] if ended and ended not in message else []
    told += [f"the model wrote: {wrote[-_EVIDENCE:]}"] if wrote else []
    return "".join(f"; {part}" for part in told)


def resolvable(record: Record) -> Iterator[tuple[str, str]]:
    """What the method of each difference can see, and the effect expected of it, as said before the run: name of
    the judgement, and a sentence."""
    for event in record.events:
        data = event.data
        if event.kind == "resolvability" and data.get("effect") and isinstance(data.get("sees"), float):
            name = f"{data.get('case')}/{data.get('judgement')}"
            yield (
                name,
                f"{name}: {doubt_words(data['sees'], str(data.get('unit', '')))}; expected: {data['effect']}",
            )


def ending_words(record: Record) -> str:
    """How the run ended, in a sentence without its full stop."""
    if record.footer is None:
        return "incomplete: the run stopped before its footer was written; what is missing counts as not run"
    code = int(record.footer["exit"])
    return f"{record.ending}, exit code {code}: {EXITS.get(code, 'unknown')}"
