"""The report as Markdown, for a build's summary page: what failed first, always well under a megabyte.

Summary pages of at least one service drop a text above 1,024 kB as a whole, so what is too long is shortened: passes
give way first, then what only explains, failures last; and the text says what it left out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from leverproof import CAUTION
from leverproof.judge.endings import ENDINGS, counts
from leverproof.judge.model import Finding
from leverproof.record.reader import Record
from leverproof.report.by_eye import TITLE, Item, words
from leverproof.report.fold import (
    all_findings,
    blocked,
    by_subject,
    ending_words,
    fails,
    failure_words,
    left_out,
    mounted,
    notices,
    occurring,
    put_off,
    repeat_command,
    resolvable,
    verdict_words,
    widened,
    with_tolerance,
)
from leverproof.report.wording import visible

LARGEST = 900_000
"""Bytes."""
_LONGEST_CELL = 600
_ROOM_FOR_NOTE = 600
_AFTER_ENDING = 2


@dataclass(frozen=True, slots=True)
class _Line:
    """A piece of the text; pieces of a higher ``rank`` give way first, and ``kind`` is what is said to be left out."""

    text: str
    rank: int = 0
    kind: str = ""


def render(record: Record, *, largest: int = LARGEST, by_eye: Sequence[Item] = ()) -> str:
    """The report as text of at most ``largest`` bytes (4,000 at least), with a sentence about what was left out for
    it."""
    told = _ranked(_list(TITLE, words(by_eye)), 3, "lines judged by eye")
    lines = [*_lines(record), *told]
    room = largest - _ROOM_FOR_NOTE - sum(_size(line) for line in lines)
    gone: Counter[str] = Counter()
    dropped: set[int] = set()
    for rank in sorted({line.rank for line in lines if line.rank}, reverse=True):
        for index in [i for i, line in enumerate(lines) if line.rank == rank][::-1]:
            if room >= 0:
                break
            room += _size(lines[index])
            dropped.add(index)
            gone[lines[index].kind] += 1
    out = [line.text for index, line in enumerate(lines) if index not in dropped]
    if gone:
        said = ", ".join(f"{n:,} {kind}" for kind, n in gone.items())
        out.insert(_AFTER_ENDING, f"**Shortened** to {largest:,} bytes: {said} left out; the record holds them.\n")
    return "\n".join(out) + "\n"


def _size(line: _Line) -> int:
    return len(line.text.encode("utf-8")) + 1


def _lines(record: Record) -> Iterator[_Line]:
    findings = all_findings(record)
    applied = [finding for finding in findings if finding.verdict != "not applicable"]
    yield _Line("# leverproof\n")
    yield _Line(f"Ending: {cell(ending_words(record))}.\n")
    yield _Line(f"{CAUTION}\n")
    yield from (_Line(f"- {cell(key)}: {cell(value)}") for key, value in mounted(record).items())
    yield from map(_Line, _counts(findings))
    yield from _ranked(_failures(record, [f for f in findings if fails(f)]), 1, "lines about what did not pass")
    for subject, some in by_subject(applied).items():
        kind = "headings"
        yield _Line(f"\n## {cell(subject).capitalize()}\n", 2, kind)
        yield _Line(
            "| case | asked | found | expected | basis | verdict |\n| --- | --- | ---: | --- | --- | --- |", 2, kind
        )
        for finding in some:
            passed = ENDINGS[finding.verdict].passed
            yield _Line(_row(finding), 5, "passes") if passed else _Line(_row(finding), 3, "rows of other findings")
    yield from _ranked(_list("Put off", put_off(findings)), 2, "lines about what is put off")
    yield from _ranked(
        _list("Tolerances loosened by the user", widened(findings)), 2, "lines about loosened tolerances"
    )
    seen = _list("What the method can see (95 %), as said before the run", [line for _, line in resolvable(record)])
    yield from _ranked(seen, 4, "lines about what the method can see")
    yield from _ranked(_list("Blocked", blocked(findings)), 4, "lines about what was blocked")
    yield from _ranked(_list("Not applicable here", left_out(record, findings)), 4, "lines about what does not apply")
    yield from _ranked(_list("Noticed during the run", list(notices(record))), 3, "notices")


def _ranked(texts: Iterable[str], rank: int, kind: str) -> Iterator[_Line]:
    yield from (_Line(text, rank, kind) for text in texts)


def _counts(findings: Sequence[Finding]) -> Iterator[str]:
    counted = counts(findings)
    heads = ["verdict", "required", "self-referential", "advisory"]
    held = [counted.required, counted.self_referential, counted.advisory]
    if any(counted.loosened.values()):
        heads, held = [*heads, "of these loosened"], [*held, counted.loosened]
    yield f"\n| {' | '.join(heads)} |\n| --- |{' ---: |' * len(held)}"
    for verdict in occurring(counted):
        yield f"| {verdict} | " + " | ".join(str(group.get(verdict, 0)) for group in held) + " |"


def _failures(record: Record, failed: Sequence[Finding]) -> Iterator[str]:
    if not failed:
        return
    yield "\n## Not passed\n"
    for finding in failed:
        yield f"- **{finding.verdict}**: {cell(failure_words(finding))}"
        if finding.note:
            yield f"  - {cell(finding.note)}"
        yield f"  - repeat: {_code(repeat_command(record.header, finding.case))}"


def _row(finding: Finding) -> str:
    cells = (
        f"{finding.case}/{finding.judgement}",
        finding.asked,
        finding.found or "-",
        with_tolerance(finding),
        finding.basis,
        verdict_words(finding),
    )
    return "| " + " | ".join(map(cell, cells)) + " |"


def _list(title: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield f"\n## {title}\n"
        yield from (f"- {cell(line)}" for line in lines)


def cell(text: str) -> str:
    """``text`` on one line, of bounded length, with nothing that Markdown or HTML would act on."""
    seen = visible(text)
    if len(seen) > _LONGEST_CELL:
        seen = seen[: _LONGEST_CELL - 3] + "..."
    return re.sub(r"([\\`*_\[\]<>|#~])", r"\\\1", seen).replace("@", "&#64;")


def _code(text: str) -> str:
    seen = visible(text)
    ticks = "`" * (max((len(run) for run in re.findall("`+", seen)), default=0) + 1)
    return f"{ticks} {seen} {ticks}" if "`" in seen else f"`{seen}`"
