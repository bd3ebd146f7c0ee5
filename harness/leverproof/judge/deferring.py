"""Known deviations: what a deferral makes of a finding.

A deferral covers a deviation, within its limit and until its date. It covers neither a run that could not be judged
nor a judgement that passes: one that is no longer needed is a failure too, so that the file never outlives its cause.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import replace

from leverproof.engine_ids import case_and_engine
from leverproof.judge.model import TOLERANCES, UNMEASURED, UNNEEDED, Deferral, Finding, PointFinding
from leverproof.judge.words import amount, number

DEVIATES = ("fail", "conditional fail")
PASSES = ("pass", "conditional pass")


def deferred(findings: Sequence[Finding], deferrals: Iterable[Deferral], today: datetime.date) -> list[Finding]:
    """The findings, those with a deferral changed as it says. ``today`` is the last day on which a deferral with that
    expiry date still holds. One for a case on one engine (``idle-speed@2``) goes before one for every engine."""
    known = {(d.case, d.judgement): d for d in deferrals}
    out = []
    for finding in findings:
        every = (case_and_engine(finding.case)[0], finding.judgement)
        deferral = known.get((finding.case, finding.judgement), known.get(every))
        out.append(finding if deferral is None else _deferred(finding, deferral, today))
    return out


def _deferred(finding: Finding, deferral: Deferral, today: datetime.date) -> Finding:
    over = today > datetime.date.fromisoformat(deferral.expires)
    stand = replace(finding, deferral=deferral)
    if finding.verdict in PASSES:
        words = f"passes unexpectedly ({finding.verdict}): its deferral is no longer needed; remove it"
        return _told(stand, "fail", words, UNNEEDED)
    if finding.verdict not in DEVIATES:
        return _told(
            stand, finding.verdict, f"not deferred: there is no deviation to defer ({finding.verdict})", "not used"
        )
    if over:
        return _told(stand, finding.verdict, f"its deferral expired on {deferral.expires}", "expired")
    unjudged = next((p for p in finding.points if p.verdict in ("error", "invalid run", "inconclusive", "flaky")), None)
    if unjudged is not None:
        place = f" at {unjudged.label}" if unjudged.label else ""
        words = f"not deferred: {unjudged.verdict}{place}, which is no deviation: {unjudged.note}"
        return _told(stand, unjudged.verdict, words, "not used")
    beyond = next(filter(None, (_beyond(point, deferral) for point in _deviating(finding))), "")
    if beyond:
        return _told(stand, finding.verdict, f"beyond the limit of its deferral: {beyond}", "beyond its limit")
    return _told(stand, "deferred", f"would be: {finding.verdict}", "holds")


def _deviating(finding: Finding) -> list[PointFinding]:
    return [point for point in finding.points if point.verdict in DEVIATES]


def _beyond(point: PointFinding, deferral: Deferral) -> str:
    """How a point is further off than the deferral allows, in words, or ""."""
    if deferral.unit == UNMEASURED or deferral.limit is None:
        return ""
    place = f" at {point.label}" if point.label else ""
    if point.excess is None:
        return f"how far off it is{place} cannot be said: {point.note or point.found_text}"
    if deferral.unit == TOLERANCES:
        allowed = deferral.limit * point.limit
        words = f"{number(deferral.limit)} tolerances of {amount(point.limit, point.unit)}"
    else:
        allowed, words = deferral.limit, amount(deferral.limit, deferral.unit)
        if point.unit != deferral.unit:
            return f"the limit is in {deferral.unit}, the finding{place} in {point.unit}"
    return "" if point.excess <= allowed else f"{amount(point.excess, point.unit)} off{place}, allowed {words}"


def _told(finding: Finding, verdict: str, words: str, state: str) -> Finding:
    note = "; ".join(n for n in (words, finding.note) if n)
    return replace(finding, verdict=verdict, note=note, deferral_state=state)
