"""The ladder of subjects: where a lower rung failed, what stands on it is blocked and not counted twice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from leverproof.judge.endings import ENDINGS
from leverproof.judge.model import UNNEEDED, Finding

FAILED = ("fail", "conditional fail")
BLOCKABLE = ("fail", "conditional fail", "inconclusive", "invalid run", "error", "flaky")


def block(findings: Sequence[Finding], ladder: Mapping[str, Sequence[str]]) -> list[Finding]:
    """The findings in their order, with those of a subject that stands on a failed one turned into
    ``blocked``.

    ``ladder`` maps a subject to the subjects it stands on, directly. A subject has failed when a required
    finding of it failed; the note names the lowest such subject and its first failed judgement. A pass stays
    a pass, an advisory finding stays as it is, and a crash or a hang stays an error: it is its own cause.
    """
    roots: dict[str, Finding] = {}
    for finding in findings:
        # A deferral that is no longer needed is a failure of the file, not of the engine.
        stale = finding.deferral_state == UNNEEDED
        if finding.weight == "required" and finding.verdict in FAILED and not stale:
            roots.setdefault(finding.subject, finding)
    return [_blocked(finding, _cause(finding.subject, ladder, roots)) for finding in findings]


def _blocked(finding: Finding, root: Finding | None) -> Finding:
    stale = finding.deferral_state == UNNEEDED
    if root is None or stale or finding.weight != "required" or finding.verdict not in BLOCKABLE:
        return finding
    if ENDINGS[finding.verdict].passed is not False or finding.verdict == "error":
        return finding
    words = f"blocked by {root.case}/{root.judgement} ({root.subject}), would be: {finding.verdict}"
    return replace(
        finding,
        verdict="blocked",
        note="; ".join(n for n in (words, finding.note) if n),
        causes=(root.judgement,),
    )


def _cause(subject: str, ladder: Mapping[str, Sequence[str]], roots: Mapping[str, Finding]) -> Finding | None:
    """What blocks a subject; nothing when that would be blocked itself, so that a circle never hides its
    cause."""
    root = _root(subject, ladder, roots)
    return root if root is not None and _root(root.subject, ladder, roots) is None else None


def _root(subject: str, ladder: Mapping[str, Sequence[str]], roots: Mapping[str, Finding]) -> Finding | None:
    """The failed finding furthest down under a subject; its own failures do not count. Safe against
    circles."""
    found: Finding | None = None
    seen = {subject}
    rung = list(ladder.get(subject, ()))
    while rung:
        below = [name for name in rung if name not in seen]
        seen.update(below)
        found = next((roots[name] for name in below if name in roots), found)
        rung = [name for under in below for name in ladder.get(under, ())]
    return found
