"""One case judged: every judgement over all its points, and the finding its worst point gives."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from leverproof.cases.model import Judgement
from leverproof.conduct.model import NotApplicable, PlannedCase
from leverproof.errors import LeverproofError
from leverproof.judge.crossing import crossing, exponent
from leverproof.judge.difference import difference
from leverproof.judge.ending import ending
from leverproof.judge.evidence import Evidence, Runs, WithheldError
from leverproof.judge.level_speed import level_speed
from leverproof.judge.limit import limit
from leverproof.judge.model import Finding, PointFinding, SessionFacts
from leverproof.judge.noted import needs_history
from leverproof.judge.order import order
from leverproof.judge.response import response
from leverproof.judge.result import withheld, worst
from leverproof.judge.sameness import grid_step, same, unmoved
from leverproof.judge.state import state
from leverproof.judge.sweep import swept_unit
from leverproof.judge.time_history import time_history
from leverproof.judge.trend import trend
from leverproof.judge.trust import accounted, self_referential, trusted
from leverproof.judge.value import identity, value

AT_POINT: dict[str, Callable[[Evidence], PointFinding]] = {
    "value": value,
    "identity": identity,
    "limit": limit,
    "difference": difference,
    "order": order,
    "state": state,
    "response": response,
    "ending": ending,
    "same": same,
    "grid_step": grid_step,
    "unmoved": unmoved,
    "level_speed": level_speed,
    "history": time_history,
}
OVER_SWEEP: dict[str, Callable[[Sequence[Evidence]], list[PointFinding]]] = {
    "trend": trend,
    "crossing": crossing,
    "exponent": exponent,
}


def judge_case(planned: PlannedCase, runs: Runs, facts: SessionFacts) -> list[Finding]:
    """One finding for each judgement of the case, in the order the case states them. ``runs`` holds the runs
    made, by (point index, run name). Never raises for anything a model did."""
    case = planned.case
    if planned.inapplicable is not None:
        return [_inapplicable(planned, j, planned.inapplicable) for j in case.judgements]
    ready = {j.id: j for j in planned.judgements}
    findings: list[Finding] = []
    for stated in case.judgements:
        lost = planned.inapplicable_judgements.get(stated.id)
        if lost is not None:
            findings.append(_inapplicable(planned, stated, lost))
        elif stated.id in ready:
            judgement = ready[stated.id]
            findings.append(_finding(planned, judgement, evaluate(judgement, planned, runs, facts), facts))
        else:
            points = [withheld("", "error", "the plan left this judgement out")]
            findings.append(_finding(planned, stated, points, facts))
    return accounted(findings, planned, runs)


def evaluate(judgement: Judgement, planned: PlannedCase, runs: Runs, facts: SessionFacts) -> list[PointFinding]:
    """The findings of one judgement at each point, or over the sweep. A judgement over the sweep gives its
    own finding first, then one for each point it could not use."""
    unit = swept_unit(planned.case.sweep)
    evidences = [
        Evidence(judgement, p, {name: run for (index, name), run in runs.items() if index == p.index}, facts, unit)
        for p in planned.points
    ]
    if not evidences:
        return [withheld("", "not run", "the plan holds no point")]
    over = OVER_SWEEP.get(judgement.what)
    missing = needs_history(judgement) if facts.noted else ""
    if missing:
        return [withheld("", "not run", f"not flown: {missing}")]
    if over is not None:
        points = _guarded("over the sweep", lambda: over(evidences))
        points = _unflown(planned, points) if facts.recorded else points
    else:
        at = AT_POINT.get(judgement.what)
        if at is None:
            return [withheld("", "error", f"no such judgement: {judgement.what!r}")]
        points = [p for e in evidences for p in _guarded(e.point.label, lambda e=e: [at(e)])]  # type: ignore[misc]
    return [trusted(judgement, point, facts) for point in points]


def _unflown(planned: PlannedCase, points: list[PointFinding]) -> list[PointFinding]:
    """A judgement over a sweep that lacks points because nobody flew them, or none of them, is not run either. Only a
    recording leaves stated points out of the plan."""
    if not points or points[0].verdict != "inconclusive" or points[0].found is not None:
        return points
    stated = len(planned.case.sweep.points) if planned.case.sweep else 0
    left_out = sum(not p.off_point for p in planned.points) < stated
    if left_out or sum(p.verdict == "not run" for p in points[1:]) == len(planned.points):
        return [replace(points[0], verdict="not run"), *points[1:]]
    return points


def _guarded(label: str, judge: Callable[[], list[PointFinding]]) -> list[PointFinding]:
    """What the judgement found, or why it was withheld; a case that cannot be computed is an error, not a
    crash."""
    try:
        return judge()
    except WithheldError as reason:
        return [withheld(label, reason.verdict, reason.note)]
    except LeverproofError as reason:
        return [withheld(label, "error", str(reason))]


def _finding(planned: PlannedCase, judgement: Judgement, points: list[PointFinding], facts: SessionFacts) -> Finding:
    decided = worst(points)
    if decided is None:
        return _not_exercised(planned, judgement, points)
    several = len([p for p in points if p.verdict != "not applicable"]) > 1 and decided.label
    at = f"at {decided.label}: " if several and decided.label != "over the sweep" else ""
    return _base(
        planned,
        judgement,
        decided.verdict,
        found=f"{at}{decided.found_text}" if decided.found_text else "",
        expected=decided.expected_text,
        tolerance=decided.tolerance_text,
        unit=decided.unit,
        number=decided.found,
        limit=decided.limit,
        w=decided.w,
        note=decided.note if decided.found_text or not at else f"{at}{decided.note}",
        self_ref=self_referential(judgement, planned, facts),
        points=tuple(points),
    )


def _not_exercised(planned: PlannedCase, judgement: Judgement, points: list[PointFinding]) -> Finding:
    reasons = dict.fromkeys(f"{p.label}: {p.note}" if p.label else p.note for p in points)
    words = "; ".join(reason.replace("not exercised: ", "", 1) for reason in reasons)
    return _base(planned, judgement, "not applicable", note=f"not exercised: {words}", points=tuple(points))


def _inapplicable(planned: PlannedCase, judgement: Judgement, reason: NotApplicable) -> Finding:
    lost = f"; {reason.lost}" if reason.lost else ""
    supply = f"; to supply: {reason.supply}" if reason.supply else ""
    return _base(planned, judgement, "not applicable", note=f"{reason.missing}{lost}{supply}")


def _base(
    planned: PlannedCase,
    judgement: Judgement,
    verdict: str,
    *,
    found: str = "",
    expected: str = "",
    tolerance: str = "",
    unit: str = "",
    number: float | None = None,
    limit: float | None = None,
    w: float | None = None,
    note: str = "",
    self_ref: bool = False,
    points: tuple[PointFinding, ...] = (),
) -> Finding:
    return Finding(
        case=planned.case.id,
        judgement=judgement.id,
        subject=planned.case.subject,
        what=judgement.what,
        asked=judgement.asked,
        weight=judgement.weight,
        basis=judgement.basis,
        source=judgement.source,
        verdict=verdict,
        found=found,
        expected=expected,
        tolerance=tolerance,
        unit=unit,
        number=number,
        limit=limit,
        w=w,
        note=note,
        why=judgement.why,
        loosened=judgement.tolerance.loosened if judgement.tolerance is not None else "",
        self_referential=self_ref,
        points=points,
    )
