"""The verdict in words, with number, tolerance, doubt and what follows from it."""

from __future__ import annotations

import math

from leverproof.judge.model import Finding, PointFinding
from leverproof.judge.words import SIGNIFICANT
from leverproof.report.fold import with_tolerance
from leverproof.report.html.claim import deciding, units_of_doubt
from leverproof.report.wording import amount, doubt_words

_OPENING = {
    "pass": "Passes",
    "conditional pass": "Passes conditionally",
    "conditional fail": "Fails conditionally",
    "fail": "Fails",
    "inconclusive": "Inconclusive",
    "invalid run": "The run is invalid",
    "error": "Error",
    "flaky": "Flaky",
    "blocked": "Blocked",
    "deferred": "Put off",
    "not applicable": "Not applicable",
    "not run": "Not run",
}


def sentence(finding: Finding) -> str:
    """What was found, what was expected and how far apart they are; why, where nothing was found."""
    opening = _OPENING[finding.verdict]
    if not finding.found:
        return f"{opening}: {finding.note}." if finding.note else f"{opening}."
    text = f"{opening}: found {finding.found}, expected {with_tolerance(finding)}."
    distance = _distance(finding)
    return f"{text} {distance}" if distance else text


def _distance(finding: Finding) -> str:
    point = deciding(finding)
    if point is None or point.excess is None or not math.isfinite(point.excess):
        return "A statement in words: no doubt applies to it." if finding.verdict in ("fail", "pass") else ""
    beyond = point.excess - point.limit
    side = "beyond" if beyond > 0 else "inside"
    text = f"That is {amount(abs(beyond), point.unit)} {side} {_what(point)}"
    if point.w > 0.0:
        return f"{text}, {times(units_of_doubt(finding))} the doubt of {doubt_words(point.w, point.unit)} (95 %)."
    return f"{text}; the doubt is nought."


def _what(point: PointFinding) -> str:
    return "what is tolerated" if point.limit > 0.0 else "what is asked"


def times(units: float) -> str:
    """How many doubts, without its sign; ``-`` where there is no number."""
    if math.isinf(units):
        return "-"
    size = abs(units)
    if size >= 1000.0:
        return "more than 1,000 times"
    return f"{size:.1f} times" if size < 100.0 else f"{size:.0f} times"


def units_cell(finding: Finding) -> str:
    """Units of doubt for a table: signed, one decimal; ``no doubt`` where none applies, ``-`` where nothing was
    measured."""
    units = units_of_doubt(finding)
    if units == math.inf:
        return "no doubt"
    if units == -math.inf:
        return "-"
    return f"{units:+,.1f}" if abs(units) < 1e6 else f"{units:+.{SIGNIFICANT - 1}g}"
