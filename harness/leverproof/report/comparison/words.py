"""What every form of the comparison says in the same words."""

from __future__ import annotations

from collections.abc import Iterator

from leverproof.report.comparison.model import UNTESTABLE, Audit, Comparison, Held, Judged, Row, Subject
from leverproof.report.wording import count

TITLE = "Models side by side"
TIES = (
    "Two models are told apart where their numbers differ by more than the root sum of squares of their doubts (95 %), "
    "or where no number can differ and the verdicts do. Everything else is a tie. Nothing is ranked."
)


def subject_words(cell: Subject) -> str:
    """One cell of the matrix."""
    told = ", ".join(f"{n} {verdict}" for verdict, n in cell.counts.items())
    if cell.word == UNTESTABLE:
        return f"untestable: {cell.missing}"
    return f"{cell.word}: {told}" if told else cell.word


def row_words(row: Row) -> str:
    """What tells the models apart in a subject."""
    if not row.shared:
        return "not comparable: nothing was judged on two of them"
    if not row.apart:
        return f"tie on all {row.shared}"
    return f"told apart by {row.apart} of {count(row.shared, 'judgement')}"


def held_words(held: Held) -> str:
    """One model's part of a judgement."""
    if not held.verdict:
        return "not asked"
    if not held.found:
        return held.verdict
    return f"{held.verdict}: {held.found}" + (f" ± {held.doubt}" if held.doubt else "")


def relation_words(row: Judged) -> str:
    """Whether a judgement tells the models apart."""
    return row.words if row.relation == "one only" else f"{row.relation}: {row.words}"


def audit_title(audit: Audit, found: Comparison) -> str:
    """Which two records."""
    one, other = found.models[audit.one], found.models[audit.other]
    return f"{one.letter} and {other.letter}: {one.name}" + (f" / {other.name}" if other.name != one.name else "")


def audit_lines(audit: Audit) -> Iterator[str]:
    """What was declared otherwise and what came of it."""
    yield from (f"declared: {line}" for line in audit.declared)
    if not audit.declared:
        yield "declared: nothing otherwise"
    kind = "undeclared" if audit.undeclared else "effect"
    yield from (f"{kind}: {line}" for line in audit.effects)
    if audit.cut:
        yield f"and {audit.cut:,} more, smaller ones"


def telling(found: Comparison) -> list[Judged]:
    """The judgements that are worth a line: any that tells models apart, is asked differently, or does not pass
    somewhere."""
    kept = ("apart", "asked differently")
    bad = ("fail", "conditional fail", "error", "invalid run", "inconclusive", "flaky", "blocked", "deferred")
    return [row for row in found.judged if row.relation in kept or any(h.verdict.startswith(bad) for h in row.held)]
