"""How sharp a case is, from records: how far honest engines lie from its expectations, and how far the weakest defect
it caught, both in tolerances.

A judgement without a tolerance (a sign, a least difference) is measured in its own doubt instead. What is wrong in
words, or could not be judged at all, is caught but has no number.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from leverproof.engine_ids import case_and_engine
from leverproof.judge.model import Finding
from leverproof.record.reader import Record
from leverproof.report.fold import all_findings, fails

BLUNT = 1.5
"""Tolerances that must lie between the worst honest engine and the weakest defect caught (harness choice)."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """How far beyond its expectation a finding is, as a multiple of its ``scale``: ``tolerances``, or ``doubts`` where
    it has no tolerance. Below 0 is on the safe side of a one-sided limit. ``of`` names the record."""

    amount: float
    scale: str
    judgement: str
    of: str


@dataclass(frozen=True, slots=True)
class Catch:
    """A defect that a case caught: by the judgement that tells it farthest from honest engines (``deviation`` against
    the worst ``honest`` one, ``apart`` between them), all None where only words caught it."""

    defect: str
    deviation: Deviation | None = None
    honest: Deviation | None = None
    apart: float | None = None


@dataclass(frozen=True, slots=True)
class Margin:
    """One required case over all records: the worst ``honest`` deviation, the ``weakest`` catch that has a number, the
    defects caught ``in_words`` alone, and how many honest engines it was judged on. ``standing`` is ``sharp``,
    ``blunt``, ``in words`` (nothing measurable was caught) or ``nothing caught``."""

    case: str
    standing: str
    engines: int
    honest: Deviation | None
    weakest: Catch | None
    in_words: tuple[str, ...] = ()
    caught: int = 0


@dataclass(frozen=True)
class Seen:
    """What the records hold: honest deviations and caught defects by case, and findings left out because a user had
    loosened their tolerance."""

    honest: dict[str, dict[str, Deviation]]
    engines: dict[str, int]
    failing: dict[str, dict[str, list[Deviation]]]
    left_out: int


def deviation(finding: Finding, of: str) -> Deviation | None:
    """The farthest point of a finding; None where no point has a number."""
    found: Deviation | None = None
    for point in finding.points:
        scale, size = ("tolerances", point.limit) if point.limit > 0.0 else ("doubts", point.w)
        if point.excess is None or not math.isfinite(point.excess) or not size > 0.0:
            continue
        amount = point.excess / size
        if found is None or amount > found.amount:
            found = Deviation(amount, scale, finding.judgement, of)
    return found


def seen_in(records: Iterable[Record]) -> Seen:
    """Folds records one after the other: a record with a seeded defect shows what is caught, any other an honest
    engine."""
    seen = Seen({}, {}, {}, 0)
    left_out = 0
    for record in records:
        findings = [f for f in all_findings(record) if f.weight == "required"]
        left_out += sum(bool(f.loosened) for f in findings)
        stated = [replace(f, case=case_and_engine(f.case)[0]) for f in findings if not f.loosened]
        defect = str(record.header.get("defect") or "")
        if defect:
            _caught(seen, defect, stated)
        else:
            _honest(seen, record.folder.name, stated)
    return Seen(seen.honest, seen.engines, seen.failing, left_out)


def _honest(seen: Seen, name: str, findings: list[Finding]) -> None:
    judged = {f.case for f in findings if f.verdict not in ("not applicable", "not run")}
    for case in judged:
        seen.engines[case] = seen.engines.get(case, 0) + 1
    for finding in findings:
        found = deviation(finding, name)
        worst = seen.honest.setdefault(finding.case, {})
        if found is not None and (finding.judgement not in worst or worst[finding.judgement].amount < found.amount):
            worst[finding.judgement] = found


def _caught(seen: Seen, defect: str, findings: list[Finding]) -> None:
    for finding in findings:
        if not fails(finding):
            continue
        numbers = seen.failing.setdefault(finding.case, {}).setdefault(defect, [])
        found = deviation(finding, defect)
        beyond = found is not None and found.amount > (1.0 if found.scale == "tolerances" else 0.0)
        if found is not None and beyond:
            numbers.append(found)


def margins(seen: Seen, cases: Iterable[str]) -> list[Margin]:
    """The margin of each case that was judged on an honest engine or caught a defect."""
    return [_margin(seen, case) for case in cases if case in seen.engines or case in seen.failing]


def _margin(seen: Seen, case: str) -> Margin:
    honest, failing = seen.honest.get(case, {}), seen.failing.get(case, {})
    caught = [_catch(defect, numbers, honest) for defect, numbers in failing.items()]
    weakest = min((c for c in caught if c.apart is not None), key=lambda c: c.apart or 0.0, default=None)
    worst = max((d for d in honest.values() if d.scale == "tolerances"), key=lambda d: d.amount, default=None)
    standing = "nothing caught" if not caught else "in words"
    if weakest is not None and weakest.apart is not None:
        standing = "blunt" if weakest.apart < BLUNT else "sharp"
    return Margin(
        case,
        standing,
        seen.engines.get(case, 0),
        worst,
        weakest,
        tuple(c.defect for c in caught if c.apart is None),
        len(caught),
    )


def _catch(defect: str, numbers: list[Deviation], honest: dict[str, Deviation]) -> Catch:
    """The judgement that tells the defect best. Where no honest engine was judged by it, honest counts as right on the
    expectation."""
    best = Catch(defect)
    for found in numbers:
        beside = honest.get(found.judgement)
        comparable = beside is not None and beside.scale == found.scale
        apart = found.amount - (max(0.0, beside.amount) if beside is not None and comparable else 0.0)
        if best.apart is None or apart > best.apart:
            best = Catch(defect, found, beside if comparable else None, apart)
    return best


def unique(records: Iterable[Record]) -> Iterator[Record]:
    """The records, each folder once."""
    known: set[str] = set()
    for record in records:
        place = str(record.folder.resolve())
        if place not in known:
            known.add(place)
            yield record
