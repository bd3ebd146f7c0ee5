"""Judgement ``ending``: how a seek ended."""

from __future__ import annotations

from collections.abc import Sequence

from leverproof.judge.decision import plain
from leverproof.judge.evidence import Evidence, WithheldError, early_end, history_of
from leverproof.judge.model import PointFinding
from leverproof.judge.result import worded


def ended_as(ending: str, accepted: Sequence[str]) -> bool:
    """Whether a seek's ending is among those named; ``limit`` stands for any guarded limit."""
    return ending in accepted or ("limit" in accepted and ending.endswith(" limit"))


def ending(evidence: Evidence) -> PointFinding:
    """Whether the named seek ended in one of the ways named. A seek that ended the run by failing still
    counts."""
    judgement = evidence.judgement
    history = history_of(evidence, judgement.run)
    mark = next((m for m in history.marks if m.name == judgement.seek and m.kind == "seek"), None)
    if mark is None and history.noted and history.ending == "completed":
        raise WithheldError("not run", f"nobody wrote down how the seek {judgement.seek!r} ended")
    if mark is None or not mark.ending:
        verdict, note = early_end(history)
        raise WithheldError(verdict, f"the seek {judgement.seek!r} did not end: {note}")
    return worded(
        evidence.point.label,
        plain(ended_as(mark.ending, judgement.endings)),
        found_text=f"the seek of {mark.lever or 'its lever'} ended: {mark.ending}",
        expected_text=" or ".join(judgement.endings),
        note=mark.note,
    )
