"""The report as Markdown, for a build's summary page: what failed first, always well under a megabyte.

Summary pages of at least one service drop a text above 1,024 kB as a whole, so the tables are cut with a
note.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from leverproof import CAUTION
from leverproof.judge.endings import counts
from leverproof.judge.model import Finding
from leverproof.record.reader import Record
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
_LONGEST_CELL = 600


def render(record: Record, *, largest: int = LARGEST) -> str:
    """The report as text of at most ``largest`` bytes."""
    out: list[str] = []
    room = largest - 200
    for block in _blocks(record):
        size = len(block.encode("utf-8")) + 1
        if size > room:
            out.append("\n*Cut here for length: the record holds the rest.*")
            break
        out.append(block)
        room -= size
    return "\n".join(out) + "\n"


def _blocks(record: Record) -> Iterator[str]:
    findings = all_findings(record)
    applied = [finding for finding in findings if finding.verdict != "not applicable"]
    yield "# leverproof\n"
    yield f"Ending: {_cell(ending_words(record))}.\n"
    yield f"{CAUTION}\n"
    yield from (f"- {_cell(key)}: {_cell(value)}" for key, value in mounted(record).items())
    yield from _counts(findings)
    yield from _failures(record, [finding for finding in findings if fails(finding)])
    for subject, some in by_subject(applied).items():
        yield f"\n## {_cell(subject).capitalize()}\n"
        yield "| case | asked | found | expected | basis | verdict |\n| --- | --- | ---: | --- | --- | --- |"
        yield from (_row(finding) for finding in some)
    yield from _list("Put off", put_off(findings))
    yield from _list("Tolerances loosened by the user", widened(findings))
    yield from _list("What the method can see (95 %), as said before the run", [line for _, line in resolvable(record)])
    yield from _list("Blocked", blocked(findings))
    yield from _list("Not applicable here", left_out(record, findings))
    yield from _list("Noticed during the run", list(notices(record)))


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
        yield f"- **{finding.verdict}**: {_cell(failure_words(finding))}"
        if finding.note:
            yield f"  - {_cell(finding.note)}"
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
    return "| " + " | ".join(_cell(cell) for cell in cells) + " |"


def _list(title: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield f"\n## {title}\n"
        yield from (f"- {_cell(line)}" for line in lines)


def _cell(text: str) -> str:
    """``text`` on one line, of bounded length, with nothing that Markdown or HTML would act on."""
    seen = visible(text)
    if len(seen) > _LONGEST_CELL:
        seen = seen[: _LONGEST_CELL - 3] + "..."
    return re.sub(r"([\\`*_\[\]<>|#~])", r"\\\1", seen).replace("@", "&#64;")


def _code(text: str) -> str:
    seen = visible(text)
    ticks = "`" * (max((len(run) for run in re.findall("`+", seen)), default=0) + 1)
    return f"{ticks} {seen} {ticks}" if "`" in seen else f"`{seen}`"
