"""What an acceptance did, for the person who accepted."""

from __future__ import annotations

from collections.abc import Iterator

from leverproof.baseline.accept import Accepted
from leverproof.baseline.model import Change
from leverproof.report.baseline_check import accepted_words
from leverproof.report.wording import count, fill

_MOST = 8


def render(found: Accepted, *, width: int = 110) -> str:
    """The acceptance as text of at most about ``width`` columns."""
    one = found.acceptance
    if found.already:
        words = f"{found.folder}: this record is the accepted one already ({accepted_words(one)}); nothing was written"
        return fill(words, width, hang="  ") + "\n"
    lines = [f"{found.folder}: {accepted_words(one)}", *_held(found)]
    lines += _changed(one.changed) if one.changed is not None else ["the first: nothing was held before"]
    if one.failures:
        fail = "fails" if len(one.failures) == 1 else "fail"
        lines.append(f"accepted although {count(len(one.failures), 'required finding')} {fail}, because: {one.despite}")
        lines += [f"  {line}" for line in few(one.failures)]
    if one.fewer:
        lines.append(f"fewer cases than before, because: {one.fewer}")
    return "\n".join(fill(line, width, hang="    ") for line in lines) + "\n"


def _held(found: Accepted) -> Iterator[str]:
    runs = [run for case in found.baseline.cases.values() for run in case.runs.values()]
    readings = sum(len(run.readings) for run in runs)
    curves = sum(len(run.curves) for run in runs)
    flown = sum(bool(case.runs) for case in found.baseline.cases.values())
    cases = f"{count(flown, 'case')} of {len(found.baseline.cases):,} asked for"
    yield f"held: {cases}, {count(len(runs), 'run')}, {count(readings, 'reading')}, {count(curves, 'curve')}"


def _changed(change: Change) -> Iterator[str]:
    if not change.compared:
        yield f"not compared with the version before: {change.why}"
        return
    yield from (f"against the version before: {line}" for line in change_lines(change))


def change_lines(change: Change) -> Iterator[str]:
    """What an acceptance changed, one sentence a kind of change."""
    if not change.compared:
        yield f"not comparable with the version before: {change.why}"
    if change.cases:
        yield (
            f"{change.moved:,} of {count(change.readings, 'number')} of its readings out of tolerance; moved: "
            f"{', '.join(few(change.cases))}"
        )
    if change.first:
        yield f"first {change.first}"
    kinds = (
        ("verdicts", change.verdicts),
        ("new", change.new),
        ("not in it any more", change.missing),
        ("not comparable", change.not_compared),
        ("tolerances", change.tolerances),
    )
    for words, names in kinds:
        if names:
            yield f"{words}: {', '.join(few(names))}"
    if change.compared and not any((change.cases, change.first, *(names for _, names in kinds))):
        yield "nothing moved out of its tolerance"


def few(names: tuple[str, ...]) -> list[str]:
    """The first few, and how many more."""
    more = [f"and {len(names) - _MOST:,} more"] if len(names) > _MOST else []
    return [*names[:_MOST], *more]
