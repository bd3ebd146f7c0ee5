"""Planning the items of a campaign cheaply: a case is planned once for a sheet and stand, and where only surroundings
differ and nothing else follows from them, the plan is put together again from its parts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from leverproof.campaign.model import Item
from leverproof.cases.model import Judgement, ReferenceCase, Value
from leverproof.cases.values import setting_number
from leverproof.channels import CHANNELS
from leverproof.conduct.model import PlannedCase
from leverproof.conduct.plan import Ground, plan_case
from leverproof.conduct.resolve import values_of_judgement, values_of_step
from leverproof.quantities import Quantity

ANYWHERE = ("standard", "predicted")
"""Bases of an expectation that follows from the surroundings."""


class Planner:
    """Plans items on one ground. Keeps one plan of each case, so that memory grows with the cases and not with the
    items."""

    def __init__(self, cases: Mapping[str, ReferenceCase], ground: Ground) -> None:
        self._cases = cases
        self._ground = ground
        self._kept: dict[tuple[str, frozenset[str]], PlannedCase] = {}
        self._stated: dict[str, dict[str, float | None]] = {}

    def plan(self, item: Item) -> PlannedCase:
        """The item's case at its surroundings. Raises :class:`leverproof.errors.InputError` where only the sheet shows
        that the case cannot be planned."""
        case = self._cases[item.case]
        own = self._stated.get(item.case)
        if own is None:
            own = self._stated[item.case] = {name: stated(case, name) for name in case.surroundings}
        away = frozenset(n for n, v in item.surroundings.items() if v != own[n])
        kept = self._kept.get((item.case, away))
        if kept is None:
            kept = plan_case(_put(case, item.surroundings, away), self._ground)
            if away <= self._ground.inputs and _indifferent(case):
                self._kept[item.case, away] = kept
            return kept
        return _moved(kept, item.surroundings)


def stated(case: ReferenceCase, name: str) -> float | None:
    """The number that a case gives a surrounding, in its canonical unit; None where it is no plain number."""
    value = case.surroundings[name]
    return None if value.quantity is None else setting_number(name, value.quantity)


def _put(case: ReferenceCase, surroundings: Mapping[str, float], away: frozenset[str]) -> ReferenceCase:
    """The case at other surroundings. What is required there of numbers stated for the case's own is advisory."""
    if not away:
        return case
    others = {name: Value(Quantity(surroundings[name], CHANNELS[name].unit)) for name in away}
    judgements = tuple(j if _holds_anywhere(j) else replace(j, weight="advisory") for j in case.judgements)
    return replace(case, surroundings=case.surroundings | others, judgements=judgements)


def _holds_anywhere(judgement: Judgement) -> bool:
    """Whether an expectation is not bound to the surroundings it was stated for: it follows from them, or it is
    physics about signs, order and limits. How large an effect is depends on where one is; where the judgement itself
    says when the effect is exercised, that decides."""
    if judgement.basis in ANYWHERE:
        return True
    if judgement.basis != "physics":
        return False
    sizes = (judgement.expected, judgement.at_least, judgement.least_step)
    sized = any(v is not None and v.quantity is not None and v.quantity.value != 0.0 for v in sizes)
    return judgement.exercised is not None or not sized


def _moved(kept: PlannedCase, surroundings: Mapping[str, float]) -> PlannedCase:
    """The plan with other surroundings at all its points and at the start of all its programs. The case in it keeps
    those it was planned with: they were for planning."""
    if not surroundings or kept.inapplicable is not None:
        return kept
    own = dict(surroundings)
    points = tuple(replace(point, surroundings=point.surroundings | own) for point in kept.points)
    programs = tuple(replace(p, start=p.start | {n: v for n, v in own.items() if n in p.start}) for p in kept.programs)
    return replace(kept, points=points, programs=programs)


def _indifferent(case: ReferenceCase) -> bool:
    """Whether no number of the case follows from the surroundings."""
    speeds = any(judgement.what == "level_speed" for judgement in case.judgements)
    return not speeds and not any(value.standard or value.predicted for value in _values(case))


def _values(case: ReferenceCase) -> Iterator[Value]:
    for run in case.runs:
        yield from run.surroundings.values()
        for step in run.steps:
            yield from values_of_step(step)
    for judgement in case.judgements:
        yield from values_of_judgement(judgement)
        yield from judgement.span or ()
