"""A run against a baseline, as text for a terminal and as Markdown: what moved first, and then the rest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from tabulate import tabulate

from leverproof import CAUTION
from leverproof.baseline.checked import (
    IDENTICAL,
    MISSING,
    MOVED,
    NEW,
    NOT_APPLICABLE,
    NOT_COMPARABLE,
    NOT_FLOWN,
    WITHIN,
    CaseChecked,
    Checked,
    Place,
    RunChecked,
)
from leverproof.baseline.model import Acceptance
from leverproof.baseline.words import at_words, begun_words, doubts_words, largest_of, run_words
from leverproof.judge.words import spoken
from leverproof.report.markdown import cell
from leverproof.report.wording import count, fill, visible

MOST = 60
LARGEST = 900_000
"""Bytes of Markdown, as for one record."""
_ORDER = (IDENTICAL, WITHIN, MOVED, NOT_COMPARABLE, MISSING, NEW, NOT_FLOWN, NOT_APPLICABLE)
_HEADS = ("case", "runs", "first", "when", "how far")
_MEANT = "If the change is meant: leverproof baseline accept RECORD --by NAME --why TEXT"
ANSWERS = {
    IDENTICAL: "identical: every sample and every verdict is the accepted one",
    WITHIN: "within tolerance: numbers moved, none of them out of its tolerance",
    MOVED: "moved: this is not what was accepted",
    NOT_COMPARABLE: "not comparable: this cannot be held against what was accepted",
    MISSING: "missing: cases that were accepted are not in this run",
}


@dataclass(frozen=True, slots=True)
class _Part:
    """A heading and what stands under it: lines, of which ``MOST`` are shown."""

    title: str
    lines: Sequence[str]


def render(found: Checked, *, width: int = 110) -> str:
    """The answer as text of at most about ``width`` columns."""
    out = [
        *(fill(told, width, indent=f"{word:<10}", hang=" " * 10) for word, told in head(found)),
        "",
        fill(answer(found), width),
        "",
    ]
    if found.first is not None:
        out += [*_first_text(found, width), ""]
    out += [line for words in otherwise(found) for line in (fill(words, width, hang="  "), "")]
    rows = list(_rows(found))
    if rows:
        out += [_table(rows, width), ""]
    for part in _parts(found):
        out += [part.title, *(fill(line, width, indent="  ", hang="      ") for line in _shown(part.lines)), ""]
    if found.standing == MOVED:
        out += [fill(_MEANT, width), ""]
    return "\n".join([*out, fill(CAUTION, width)]) + "\n"


def markdown(found: Checked) -> str:
    """The answer as Markdown, below a megabyte."""
    out = [
        "# leverproof baseline\n",
        f"**{cell(answer(found))}**\n",
        *(f"- {word}: {cell(told)}" for word, told in head(found)),
        "",
    ]
    if found.first is not None:
        out += ["## Moved first\n", *(f"- {cell(line)}" for line in first_lines(found)), ""]
    out += [line for words in otherwise(found) for line in (cell(words), "")]
    rows = list(_rows(found))
    if rows:
        out += [f"## Cases that moved\n\n| {' | '.join(_HEADS)} |\n|{' --- |' * len(_HEADS)}"]
        out += [f"| {' | '.join(map(cell, row))} |" for row in rows[:MOST]]
        out += [f"\n{len(rows) - MOST:,} more are in the terminal's and the JSON report."] if len(rows) > MOST else []
    for part in _parts(found):
        out += [f"\n## {part.title}\n", *(f"- {cell(line)}" for line in _shown(part.lines))]
    if found.standing == MOVED:
        out.append(f"\n{_MEANT.replace('leverproof ', '`leverproof ', 1)}`")
    text = "\n".join([*out, f"\n{CAUTION}"]) + "\n"
    if len(text.encode("utf-8")) > LARGEST:
        text = "\n".join([*out[:8], "\nThe rest is too long for this page; the JSON report has it.", CAUTION]) + "\n"
    return text


def head(found: Checked) -> Iterator[tuple[str, str]]:
    """What was held against what: a word and what stands behind it."""
    yield "baseline", f"{found.against}, {accepted_words(found.acceptance)}"
    now = found.origin
    model = " ".join(part for part in (now.model, now.model_version) if part)
    yield "record", f"{found.record}, {model or 'no model'}, {now.date}"


def accepted_words(one: Acceptance) -> str:
    """Who accepted which version when, and why."""
    return f"version {one.version} of {one.origin.date}, accepted by {one.by}: {one.why}"


def answer(found: Checked) -> str:
    """The answer in a sentence with its counts."""
    tally = Counter(case.standing for case in found.cases)
    told = ", ".join(f"{tally[standing]} {standing}" for standing in _ORDER if tally[standing])
    words = ANSWERS[found.standing]
    worse = sum(turn.worse for case in found.cases for turn in case.turned)
    if found.standing == MOVED and not tally[MOVED]:
        words = f"moved: {count(worse, 'required finding')} that passed no longer {'does' if worse == 1 else 'do'}"
    return f"{words} ({count(len(found.cases), 'case')}: {told})" if told else words


def first_lines(found: Checked) -> Iterator[str]:
    """What moved first, and where that is seen earliest."""
    first = found.first
    assert first is not None
    yield f"{spoken(first.channel)}, in {first.runs} of {first.of} runs that moved"
    yield f"earliest in {first.case}, {run_words(first.run, first.point)}: {begun_words(first.places)}"
    if first.others:
        rest = ", ".join(f"{spoken(name)} ({n})" for name, n in first.others[:6])
        yield f"in other runs first: {rest}" + (" and others" if len(first.others) > 6 else "")
    differing = found.differing
    most = next(iter(differing), first.channel)
    if differing.get(most, 0) > differing.get(first.channel, 0):
        own = f"{differing.get(first.channel, 0):,} of {spoken(first.channel)}"
        yield f"but most readings that differ at all are of {spoken(most)}: {differing[most]:,}, and {own}"


def otherwise(found: Checked) -> Iterator[str]:
    """What is otherwise than numbers say in more runs than any channel moved first in: a channel that is gone, runs
    that end early."""
    moved = sum(run.standing == MOVED for case in found.cases for run in case.runs)
    for words, runs in list(found.told.items())[:1]:
        if found.first is None or runs > found.first.runs:
            yield f"In {runs:,} of {count(moved, 'run')} that moved: {words}"


def _first_text(found: Checked, width: int) -> Iterator[str]:
    lines = list(first_lines(found))
    yield fill(f"Moved first: {lines[0]}", width, hang="  ")
    for line in lines[1:]:
        yield fill(line, width, indent="  ", hang="      ")


def _rows(found: Checked) -> Iterator[list[str]]:
    for case in found.cases:
        moved = [run for run in case.runs if run.standing == MOVED]
        if moved:
            yield _row(case, moved)


def _row(case: CaseChecked, moved: Sequence[RunChecked]) -> list[str]:
    begun = [run for run in moved if run.first]
    runs = f"{len(moved)} of {len(case.runs)}"
    if not begun:
        return [case.case, runs, "steps", moved[0].told[0] if moved[0].told else "-", "-"]
    earliest = min(begun, key=lambda run: (run.first[0].time, -(run.first[0].doubts or 0.0)))
    first = earliest.first[0]
    name = run_words(earliest.run, earliest.point)
    return [case.case, runs, spoken(first.channel), f"{at_words(first)} of {name}", _how_far(earliest, first)]


def _how_far(run: RunChecked, first: Place) -> str:
    """Units of doubt when it began, and the most that the channel came to in that run."""
    most = max((p.doubts or 0.0 for p in (*run.readings, *run.curves) if p.channel == first.channel), default=0.0)
    if first.doubts is None or most <= first.doubts:
        return doubts_words(first)
    return f"{doubts_words(first)}, later {doubts_words(replace(first, apart=most * first.doubt))}"


def _parts(found: Checked) -> Iterator[_Part]:
    """What stands below the table, each under its heading; empty parts are left out."""
    by = {standing: [case for case in found.cases if case.standing == standing] for standing in _ORDER}
    moved = [case for case in by[MOVED] if case.why]
    parts = (
        _Part("Nothing could be compared", found.refused),
        _Part("Not comparable", [f"{case.case}: {case.why}" for case in by[NOT_COMPARABLE]]),
        _Part("Moved as a whole", [f"{case.case}: {case.why}" for case in moved]),
        _Part("Differs at all, also within its tolerance", list(_differing(found))),
        _Part("Findings with another verdict", list(_turned(found.cases))),
        _Part("Farthest from what was accepted", list(_farthest(found.cases))),
        _Part("Steps and endings", list(_told(found.cases))),
        _Part("Took another time", list(_noted(found.cases))),
        _Part("Missing", [f"{case.case}: {case.why}" for case in by[MISSING]]),
        _Part("New", [f"{case.case}: {case.why}" for case in by[NEW]]),
        _Part("Not in this run", [", ".join(case.case for case in by[NOT_FLOWN])] if by[NOT_FLOWN] else []),
        _Part("Noticed", found.remarks),
    )
    yield from (part for part in parts if part.lines)


def _differing(found: Checked) -> Iterator[str]:
    """Which channels: of a change too small for any tolerance it tells what was changed."""
    told = [f"{spoken(name)} in {count(n, 'reading')}" for name, n in found.differing.items()]
    if told:
        yield ", ".join(told)
    elif found.standing == WITHIN and not found.told:
        yield "no reading; at most samples between them, or how long a step took"


def _turned(cases: Sequence[CaseChecked]) -> Iterator[str]:
    every = [(case.case, turn) for case in cases for turn in case.turned]
    for case, turn in sorted(every, key=lambda pair: not pair[1].worse):
        weight = "" if turn.weight == "required" else f" ({turn.weight})"
        was = f", was {turn.found_was}" if turn.found_was and turn.found_was != turn.found else ""
        now = f": found {turn.found}{was}" if turn.found else ""
        yield f"{case}/{turn.judgement}{weight}: {turn.was}, now {turn.now}{now}"


def _farthest(cases: Sequence[CaseChecked]) -> Iterator[str]:
    """The number of each case that moved most, the one with most tolerances first; also inside tolerance."""
    best: list[tuple[float, str]] = []
    for case in cases:
        runs = [(run, run.largest) for run in case.runs if run.largest is not None and largest_of(run)]
        if runs:
            run, place = max(runs, key=lambda pair: pair[1].tolerances or float("inf"))
            words = f"{case.case}, {run_words(run.run, run.point)}: {largest_of(run)}"
            best.append((-(place.tolerances or float("inf")), words))
    yield from (words for _, words in sorted(best))


def _told(cases: Sequence[CaseChecked]) -> Iterator[str]:
    for case in cases:
        for run in case.runs:
            if run.told:
                yield f"{case.case}, {run_words(run.run, run.point)}: {'; '.join(run.told)}"


def _noted(cases: Sequence[CaseChecked]) -> Iterator[str]:
    for case in cases:
        for run in case.runs:
            if run.noted:
                yield f"{case.case}, {run_words(run.run, run.point)}: {'; '.join(run.noted)}"


def _shown(lines: Sequence[str]) -> Iterator[str]:
    yield from lines[:MOST]
    if len(lines) > MOST:
        yield f"and {len(lines) - MOST:,} more, which the JSON report has"


def _table(rows: Sequence[Sequence[str]], width: int) -> str:
    room = max(16, (width - 42) // 2)
    shown = [[fill(visible(text), room) if text else "" for text in row] for row in rows[:MOST]]
    text = tabulate(shown, _HEADS, disable_numparse=True)
    return text + (f"\nand {len(rows) - MOST:,} more cases" if len(rows) > MOST else "")
