"""Whether a passing number may be believed: dead and copied channels, numbers taken from the model under
test, and runs that ended early without any judgement saying so."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from leverproof.cases.model import Judgement, Ref
from leverproof.conduct.model import PlannedCase
from leverproof.judge.evidence import ERRORS, Runs, early_end
from leverproof.judge.model import Finding, PointFinding, SessionFacts
from leverproof.judge.words import spoken

PASSED = ("pass", "conditional pass")
FLAT_DIRECTIONS = ("constant", "never_falling", "never_rising")
SHORTEST_SOURCE = 4


def trusted(judgement: Judgement, point: PointFinding, facts: SessionFacts) -> PointFinding:
    """The finding, turned into a fail where it passes on a copied channel, or on a channel that never moved
    in the session although the expectation is that it stays as it is."""
    if point.verdict not in PASSED:
        return point
    for channel in _channels(judgement):
        if channel in facts.copies:
            return _refused(point, f"{channel} is a copy of {facts.copies[channel]}")
    if expects_no_change(judgement, point) and judgement.channel not in facts.live:
        words = f"{spoken(judgement.channel)} never moved in this session: it may not be connected"
        if facts.noted:
            # a few rows are no session in which everything was moved
            words = f"{spoken(judgement.channel)} did not move in what was written down: it may not be connected"
            return replace(point, verdict="inconclusive", note="; ".join(n for n in (words, point.note) if n))
        return _refused(point, words)
    return point


def _refused(point: PointFinding, words: str) -> PointFinding:
    return replace(point, verdict="fail", note="; ".join(n for n in (words, point.note) if n))


def _channels(judgement: Judgement) -> list[str]:
    named = [judgement.channel, judgement.by, *(event.channel for event in judgement.events)]
    return [channel for channel in dict.fromkeys(named) if channel]


def expects_no_change(judgement: Judgement, point: PointFinding) -> bool:
    """Whether a channel that never moves would satisfy the judgement."""
    if judgement.what == "trend":
        return judgement.direction in FLAT_DIRECTIONS
    if judgement.what == "limit":
        return bool(judgement.change_from)
    expected = point.expected if point.expected is not None else 0.0
    if judgement.what == "difference":
        return expected <= 0.0 if judgement.tolerance is None else abs(expected) <= point.limit
    if judgement.what == "value":
        return judgement.relative_to is not None and abs(expected - 1.0) <= point.limit
    return False


def self_referential(judgement: Judgement, planned: PlannedCase, facts: SessionFacts) -> bool:
    """Whether an expected value comes from the model under test: a datum obtained from it, or a prediction
    whose source the model says it is derived from (each part of ``derived_from`` between ``;`` or ``,`` is
    looked for)."""
    values = [e for point in planned.points for e in point.resolved.get(judgement.id, {}).values()]
    if any(e.from_model for e in values):
        return True
    if judgement.basis != "predicted":
        return False
    sources = " | ".join([judgement.source, *(e.source for e in values)]).casefold()
    parts = (part.strip().casefold() for part in re.split(r"[;,\n]", facts.derived_from))
    return any(len(part) >= SHORTEST_SOURCE and part in sources for part in parts)


def runs_used(judgement: Judgement) -> set[str]:
    """Names of the runs a judgement looks at."""
    refs: Iterable[Ref | None] = (
        judgement.reading,
        judgement.relative_to,
        judgement.more,
        *judgement.less,
        *judgement.readings,
    )
    named = {ref.run for ref in refs if ref is not None}
    return (named | {judgement.run, judgement.longer_than, judgement.against, *judgement.runs}) - {""}


def accounted(findings: list[Finding], planned: PlannedCase, runs: Runs) -> list[Finding]:
    """The findings, after making sure that no run ended early unnoticed.

    What was read before a run ended early stands. But when every judgement happens to look at earlier
    readings, a crash or a NaN would leave no trace; then those that passed on that run get its verdict
    instead.
    """
    told = ("fail", "conditional fail", "error", "invalid run")
    if any(f.weight == "required" and f.verdict in told for f in findings):
        return findings
    early = {name: run.history for (_, name), run in runs.items() if run.history.ending in (*ERRORS, "invalid")}
    if not early:
        return findings
    used = {j.id: runs_used(j) & set(early) for j in planned.judgements}
    nobody = not any(used.values())
    changed: list[Finding] = []
    for finding in findings:
        names = sorted(set(early) if nobody else used.get(finding.judgement, set()))
        if finding.verdict in (*PASSED, "deferred") and names:
            verdict, note = early_end(early[names[0]])
            words = f"the run {names[0]!r} ended early, after what was judged here: {note}"
            finding = replace(finding, verdict=verdict, note="; ".join(n for n in (words, finding.note) if n))
        changed.append(finding)
    return changed
