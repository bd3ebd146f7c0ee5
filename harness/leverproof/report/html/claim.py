"""What the guide says of the whole record: the claim in its four parts, the ladder of subjects, and findings in the
order in which a reader should meet them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from leverproof.judge.endings import ENDINGS, unsupported_subjects
from leverproof.judge.model import Finding, PointFinding
from leverproof.judge.result import worst
from leverproof.record.reader import Record

TESTED = ("pass", "conditional pass", "conditional fail", "fail")
UNTESTED = ("inconclusive", "invalid run", "error", "flaky", "blocked", "not run")
PARTS: dict[str, str] = {
    "tested": "A verdict was reached on what the model did.",
    "untested": "It was asked, and no verdict could be reached: nothing is known either way.",
    "untestable": "It cannot be asked of this model on this stand with this sheet.",
    "withdrawn by deferral": "It deviates, and a named person has put it off until a date: it is not claimed.",
}
"""The four parts of the claim, and what each means."""

_SEVERITY = ("fail", "conditional fail", "error", "flaky", "invalid run", "inconclusive")


@dataclass(frozen=True, slots=True)
class Rung:
    """A subject on the ladder: what it stands on, its findings by part of the claim, and where it stands in words."""

    subject: str
    stands_on: tuple[str, ...]
    parts: dict[str, int]
    passed: int
    failed: int
    state: str


def part_of_claim(finding: Finding) -> str:
    """Which of :data:`PARTS` a finding belongs to."""
    if finding.verdict in TESTED:
        return "tested"
    if finding.verdict == "deferred":
        return "withdrawn by deferral"
    return "untestable" if finding.verdict == "not applicable" else "untested"


def claim(findings: Sequence[Finding]) -> dict[str, list[Finding]]:
    """The findings by part of the claim; every part is a key."""
    out: dict[str, list[Finding]] = {part: [] for part in PARTS}
    for finding in findings:
        out[part_of_claim(finding)].append(finding)
    return out


def is_open(finding: Finding) -> bool:
    """Whether somebody has to look at the finding: it did not pass, and was neither put off nor left out."""
    return ENDINGS[finding.verdict].passed is False and finding.verdict not in ("deferred", "blocked")


def units_of_doubt(finding: Finding) -> float:
    """How far the deciding number lies beyond its tolerance, in doubts (U95): infinite where it is beyond and no doubt
    applies, minus infinite where there is no number."""
    point = deciding(finding)
    if point is None or point.excess is None or not math.isfinite(point.excess):
        return math.inf if finding.verdict in ("fail", "conditional fail") else -math.inf
    beyond = point.excess - point.limit
    if point.w > 0.0:
        return beyond / point.w
    return math.copysign(math.inf, beyond) if beyond else 0.0


def deciding(finding: Finding) -> PointFinding | None:
    """The point that decided a finding."""
    return worst(list(finding.points))


def in_order(findings: Sequence[Finding]) -> list[Finding]:
    """Required before advisory; then failures by units of doubt, the furthest beyond first; then what could not be
    judged. Findings that tie stay in their order."""

    def key(finding: Finding) -> tuple[bool, bool, float, int]:
        judged = finding.verdict in TESTED
        rank = _SEVERITY.index(finding.verdict) if finding.verdict in _SEVERITY else len(_SEVERITY)
        return finding.weight != "required", not judged, -units_of_doubt(finding) if judged else 0.0, rank

    return sorted(findings, key=key)


def ladder(record: Record, findings: Sequence[Finding]) -> list[Rung]:
    """The subjects from the lowest up, as the suite orders them; those that only occur in findings come last."""
    said = record.header.get("ladder")
    below = said if isinstance(said, Mapping) else {}
    named = [str(subject) for subject in (*record.header.get("subjects", ()), *below)]
    subjects = dict.fromkeys([*named, *(finding.subject for finding in findings)])
    unsupported = unsupported_subjects(findings)
    rungs = []
    for subject in subjects:
        own = [finding for finding in findings if finding.subject == subject]
        parts = {part: len(some) for part, some in claim(own).items()}
        passed = [f for f in own if ENDINGS[f.verdict].passed and not f.self_referential]
        failed = [f for f in own if f.verdict in ("fail", "conditional fail")]
        stands_on = tuple(str(name) for name in below.get(subject, ()))
        state = _state(own, passed, failed, self_only=subject in unsupported)
        rungs.append(Rung(subject, stands_on, parts, len(passed), len(failed), state))
    return rungs


def _state(own: Sequence[Finding], passed: Sequence[Finding], failed: Sequence[Finding], *, self_only: bool) -> str:
    required = [finding for finding in own if finding.weight == "required"]
    if not own:
        return "not asked"
    if any(finding.weight == "required" for finding in failed):
        return "fails"
    if any(finding.verdict == "blocked" for finding in own):
        return "blocked"
    if any(finding.verdict in UNTESTED for finding in required):
        return "open"
    if self_only:
        return "nothing shown"
    if any(finding.verdict == "deferred" for finding in own):
        return "put off"
    return "holds" if passed else "nothing shown"
