"""Points of a sweep gathered for the judgements that look at all of them together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from leverproof.cases.model import Judgement, Ref, Sweep
from leverproof.judge.evidence import Evidence, WithheldError
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.result import withheld

LEAST_POINTS = 3


@dataclass(frozen=True, slots=True)
class Sample:
    """One usable point: the sweep variable (or place in the order), the number found there and its doubts."""

    label: str
    x: float
    y: float
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class Gathered:
    """Usable samples in order of the variable, and the points that could not be used, each with its
    reason."""

    samples: tuple[Sample, ...]
    lost: tuple[PointFinding, ...]
    idle: tuple[PointFinding, ...]


def swept_unit(sweep: Sweep | None) -> str:
    """Unit in which the plan holds the sweep variable: that of the first stated point."""
    return sweep.points[0].unit if sweep is not None and sweep.points else "1"


def gather(evidences: Sequence[Evidence], take: Callable[[Evidence], Sample]) -> Gathered:
    """The samples of all points in order of the variable; a point that withholds keeps its reason."""
    samples: list[Sample] = []
    lost: list[PointFinding] = []
    idle: list[PointFinding] = []
    for evidence in sorted(evidences, key=lambda e: e.point.variable):
        try:
            samples.append(take(evidence))
        except WithheldError as reason:
            kept = idle if reason.verdict == "not applicable" else lost
            kept.append(withheld(evidence.point.label, reason.verdict, reason.note))
    return Gathered(tuple(samples), tuple(lost), tuple(idle))


def swept_reading(judgement: Judgement) -> Ref:
    """The reading judged at every point; an error when the judgement names none."""
    if judgement.reading is None:
        raise WithheldError("error", "the judgement names no reading")
    return judgement.reading
