"""What each verdict means for the count of passes, the exit of the command and the test report, as data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from leverproof.judge.model import VERDICTS, Finding

ALL_PASSED, FINDINGS, INVALID_INPUT, NO_HANDSHAKE, INTERNAL, NOTHING_JUDGED, INTERRUPTED = (
    0,
    1,
    2,
    3,
    4,
    5,
    130,
)

DISORDERLY = "completed, but the model did not end in order"
"""How a session ends in its record when everything was judged and the model crashed when it was told to close."""


@dataclass(frozen=True, slots=True)
class Ending:
    """``passed`` is None where a verdict is neither; ``exit`` is what a required finding brings, None when it
    brings nothing (a blocked one by its cause); ``junit`` is ``pass``, ``failure``, ``error`` or
    ``skipped``."""

    passed: bool | None
    exit: int | None
    junit: str


ENDINGS: dict[str, Ending] = {
    "pass": Ending(True, ALL_PASSED, "pass"),
    "conditional pass": Ending(True, ALL_PASSED, "pass"),
    "conditional fail": Ending(False, FINDINGS, "failure"),
    "fail": Ending(False, FINDINGS, "failure"),
    "inconclusive": Ending(False, FINDINGS, "error"),
    "invalid run": Ending(False, FINDINGS, "error"),
    "error": Ending(False, FINDINGS, "error"),
    "flaky": Ending(False, FINDINGS, "error"),
    "blocked": Ending(False, None, "skipped"),
    "deferred": Ending(False, ALL_PASSED, "skipped"),
    "not applicable": Ending(None, None, "skipped"),
    "not run": Ending(None, None, "skipped"),
}


def passed(finding: Finding) -> bool:
    """Whether a finding counts as passed; one that refers to itself never does."""
    return ENDINGS[finding.verdict].passed is True and not finding.self_referential


def exit_code(
    findings: Iterable[Finding],
    *,
    handshake: bool,
    input_errors: bool,
    interrupted: bool,
    internal: bool,
    disorderly: bool = False,
) -> int:
    """The exit of the command: the first of 4, 130, 3, 2, 1, 5 that applies, else 0.

    ``disorderly`` tells that the model did not end in order when it was told to close: an error of the model that
    belongs to no case. Only required findings count. A self-referential pass is no pass, so where nothing else is
    left nothing was judged.
    """
    if internal:
        return INTERNAL
    if interrupted:
        return INTERRUPTED
    if not handshake:
        return NO_HANDSHAKE
    if input_errors:
        return INVALID_INPUT
    brought = [
        ENDINGS[f.verdict].exit
        for f in findings
        if f.weight == "required" and not (f.self_referential and ENDINGS[f.verdict].passed)
    ]
    if disorderly or FINDINGS in brought:
        return FINDINGS
    return ALL_PASSED if ALL_PASSED in brought else NOTHING_JUDGED


@dataclass(frozen=True)
class Counts:
    """Findings by verdict: ``required`` ones that count; ``advisory``; and ``self_referential`` ones that
    pass, which count as neither. ``loosened`` are those among all of them whose tolerance somebody has made
    wider. Every verdict is a key."""

    required: dict[str, int] = field(default_factory=dict)
    advisory: dict[str, int] = field(default_factory=dict)
    self_referential: dict[str, int] = field(default_factory=dict)
    loosened: dict[str, int] = field(default_factory=dict)


def counts(findings: Iterable[Finding]) -> Counts:
    """The findings counted, each once."""
    tallies: dict[str, Counter[str]] = {k: Counter() for k in ("required", "advisory", "self", "loosened")}
    for finding in findings:
        own = finding.self_referential and ENDINGS[finding.verdict].passed
        tallies["self" if own else finding.weight][finding.verdict] += 1
        tallies["loosened"][finding.verdict] += bool(finding.loosened)
    full = {kind: {verdict: tally[verdict] for verdict in VERDICTS} for kind, tally in tallies.items()}
    return Counts(full["required"], full["advisory"], full["self"], full["loosened"])


def unsupported_subjects(findings: Iterable[Finding]) -> tuple[str, ...]:
    """Subjects whose only passes refer to the model itself: nothing may be claimed of them."""
    resting: dict[str, bool] = {}
    for finding in findings:
        if ENDINGS[finding.verdict].passed:
            resting[finding.subject] = resting.get(finding.subject, False) or not finding.self_referential
    return tuple(sorted(subject for subject, supported in resting.items() if not supported))
