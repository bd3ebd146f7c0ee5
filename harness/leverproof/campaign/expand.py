"""From a plan to items and blocks, always in the same order; ids are digests of content."""

from __future__ import annotations

import hashlib
import itertools
import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from leverproof.campaign.model import NOMINAL, Block, Item, Model, Plan, Swept
from leverproof.campaign.sampling import drawn
from leverproof.cases.model import ReferenceCase
from leverproof.record.plain import to_plain
from leverproof.timegrid import TICKS_PER_SECOND

ID_DIGITS = 20
MOST_ITEMS = 250
MOST_SECONDS = 9_000.0
"""A block is 250 items or 9,000 s of model time: enough to fill many lanes with half-minute cases, and some ten seconds
of work for a model of 50 microseconds a step of 0.05 s, which on a cluster is what a kill may cost each worker."""

_STEP_SECONDS = {"seek": 45.0, "read": 8.0}
_TRIM_SECONDS = 8.0


@dataclass(frozen=True, slots=True)
class Shard:
    """Part ``number`` of ``of``, from 1; every item is in one part."""

    number: int = 1
    of: int = 1

    def holds(self, item: str) -> bool:
        """Whether an item of this id belongs to the part."""
        return self.of == 1 or int(item, 16) % self.of == self.number - 1


def items(plan: Plan) -> Iterator[Item]:
    """Every item of the plan: by model, sheet, sample, case, then the swept surroundings in the order of the plan."""
    for index, model in enumerate(plan.models):
        samples = plan.samples if model.coefficients else NOMINAL
        for sheet in model.sheets:
            begun = [(case, _begun(plan, model, sheet, case)) for case in plan.cases]
            for sample in range(samples + 1):
                values = drawn(model.coefficients, plan.seed, sample)
                for case, start in begun:
                    for point in points(plan.cases[case], plan.swept):
                        yield Item(_id(start, point, sample, values), index, sheet, case, point, sample)


def count(plan: Plan) -> int:
    """How many :func:`items` there are, without making them."""
    points_of_cases = sum(
        math.prod(len(axis.values) for axis in free_axes(case, plan.swept)) for case in plan.cases.values()
    )
    samples = (len(m.sheets) * ((plan.samples if m.coefficients else NOMINAL) + 1) for m in plan.models)
    return sum(samples) * points_of_cases


def free_axes(case: ReferenceCase, swept: Iterable[Swept]) -> tuple[Swept, ...]:
    """The swept surroundings that a case leaves free: it gives them one plain number, the same in every run, and no
    step moves them."""
    return tuple(axis for axis in swept if not bound(case, axis.name))


def bound(case: ReferenceCase, name: str) -> str:
    """Why a case does not leave a surrounding free, in words, or ""."""
    value = case.surroundings.get(name)
    if value is not None and value.quantity is None:
        return f"sweeps {name} itself" if value.sweep else f"takes {name} from the sheet"
    for run in case.runs:
        if name in run.surroundings:
            return f"sets {name} otherwise in the run {run.name!r}"
        if any(name in step.levers for step in run.steps):
            return f"moves {name} in the run {run.name!r}"
    return ""


def points(case: ReferenceCase, swept: Iterable[Swept]) -> Iterator[dict[str, float]]:
    """Every combination of the swept surroundings that the case leaves free; one empty one where it leaves none."""
    axes = free_axes(case, swept)
    for values in itertools.product(*(axis.values for axis in axes)):
        yield dict(zip((axis.name for axis in axes), values, strict=True))


def study_blocks(plan: Plan) -> Iterator[Block]:
    """A block for the step study of each model and sheet; none where the library has no such case."""
    if plan.study is None:
        return
    seconds = model_seconds(plan.study)
    for index, model in enumerate(plan.models):
        for sheet in model.sheets:
            yield Block(_begun(plan, model, sheet, plan.study.id).hexdigest()[:ID_DIGITS], index, sheet, (), seconds)


def blocks(
    plan: Plan,
    wanted: Callable[[str], bool],
    *,
    left: int | None = None,
    jobs: int = 1,
    lanes: Mapping[tuple[int, str], int] = MappingProxyType({}),
    most_items: int = MOST_ITEMS,
    most_seconds: float = MOST_SECONDS,
) -> Iterator[Block]:
    """The items whose id is ``wanted``, in blocks of one model and sheet. Where it is told how many are ``left``, every
    ``jobs`` blocks together are at most half of them: towards the end blocks get smaller, so that all workers end at
    about the same time. ``lanes`` of a model and sheet, where they are known, share the time of a block; where there
    are several a block takes as long with few items as with many, and so nothing is halved."""
    parts = jobs if min(lanes.values(), default=1) > 1 else 2 * jobs
    seconds = {name: model_seconds(case) for name, case in plan.cases.items()}
    held: list[Item] = []
    took, made = 0.0, 0
    most = _most(left, parts, most_items)
    for item in items(plan):
        if not wanted(item.id):
            continue
        longer = took + seconds[item.case] > most_seconds * lanes.get((item.model, item.sheet), 1)
        other = held and (held[0].model, held[0].sheet) != (item.model, item.sheet)
        if held and (other or longer or len(held) >= most):
            yield block_of(held, took)
            left = None if left is None else left - len(held)
            made += 1
            if made % jobs == 0:
                most = _most(left, parts, most_items)
            held, took = [], 0.0
        held.append(item)
        took += seconds[item.case]
    if held:
        yield block_of(held, took)


def _most(left: int | None, parts: int, most_items: int) -> int:
    return most_items if left is None else max(1, min(most_items, -(-left // parts)))


def block_of(held: Iterable[Item], seconds: float) -> Block:
    """These items, all of one model and sheet, as a block."""
    own = tuple(held)
    name = hashlib.sha256("".join(item.id for item in own).encode("ascii")).hexdigest()[:ID_DIGITS]
    return Block(name, own[0].model, own[0].sheet, own, seconds)


def alone(block: Block) -> list[Block]:
    """The items of a block, each as a block of its own with what the step study showed: to find whose doing it was."""
    share = block.seconds / max(1, len(block.items))
    return [replace(block_of([item], share), facts=block.facts) for item in block.items]


def model_seconds(case: ReferenceCase) -> float:
    """Model time that a case will about take over all its runs and points, as
    :func:`leverproof.conduct.batch.estimated_seconds` counts (assumption; used for sizing blocks only)."""
    stated = len(case.sweep.points) + case.sweep.off_points if case.sweep else 1
    total = 0.0
    for run in case.runs:
        total += _TRIM_SECONDS
        for step in run.steps:
            if step.do in ("move", "hold"):
                total += step.duration / TICKS_PER_SECOND
            elif step.do in _STEP_SECONDS:
                total += min(_STEP_SECONDS[step.do], step.limit / TICKS_PER_SECOND)
    return stated * total


def content(case: ReferenceCase) -> Any:
    """All that a case says, as plain data that is equal for equal cases wherever their files are."""
    return to_plain(replace(case, path=""), sparse=True)


def _begun(plan: Plan, model: Model, sheet: str, case: str) -> hashlib._Hash:
    """The digest of what all items of a model, sheet and case share. The seed is in it for the points that a case
    draws from its own sweep."""
    asked = plan.cases.get(case) or plan.study
    parts = [model.title, model.fingerprint, model.text, plan.sheets[sheet].text, plan.seed]
    told = content(asked) if asked is not None else None
    return hashlib.sha256(json.dumps([*parts, told]).encode("ascii"))


def _id(begun: hashlib._Hash, point: dict[str, float], sample: int, values: dict[str, float]) -> str:
    own = begun.copy()
    own.update(repr((sorted(point.items()), sample, sorted(values.items()))).encode("utf-8", "surrogatepass"))
    return own.hexdigest()[:ID_DIGITS]
