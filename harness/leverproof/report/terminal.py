"""The report on a terminal: one table a subject, the counts, what failed and how to repeat it."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from tabulate import tabulate

from leverproof import CAUTION
from leverproof.judge.endings import counts, unsupported_subjects
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
    repeat_command,
    verdict_words,
    with_tolerance,
)
from leverproof.report.wording import count, fill, visible

_HEADINGS = ("case", "asked", "found", "expected", "basis", "verdict")
_LEAST = (14, 16, 10, 12, 9, 11)
_GAP = 2
_COLOURS = {"pass": "32", "conditional pass": "36", "fail": "31", "conditional fail": "31", "error": "35"}
_FAINT = ("not applicable", "not run", "blocked", "deferred")


def render(record: Record, *, width: int = 110, colour: bool = False) -> str:
    """The report as text of at most about ``width`` columns (command lines are never broken). With
    ``colour`` the verdicts carry terminal colours; the words are there either way."""
    findings = all_findings(record)
    applied = [finding for finding in findings if finding.verdict != "not applicable"]
    parts = [_head(record, width)]
    parts += [_subject(subject, some, width, colour=colour) for subject, some in by_subject(applied).items()]
    parts += [_counts(findings), _unsupported(findings, width)]
    parts.append(_failures(record, findings, width, colour=colour))
    parts.append(_listed("Blocked", blocked(findings), width))
    parts.append(_listed("Not applicable here", left_out(record, findings), width))
    parts.append(_listed("Noticed during the run", list(notices(record)), width))
    parts.append(_foot(record, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(record: Record, width: int) -> str:
    pairs = mounted(record)
    reach = max((len(key) for key in pairs), default=0)
    return "\n".join(
        fill(value, width, indent=f"{key:<{reach}}  ", hang=" " * (reach + 2)) for key, value in pairs.items()
    )


def _subject(subject: str, findings: Sequence[Finding], width: int, *, colour: bool) -> str:
    rows = [[visible(cell) for cell in _cells(finding)] for finding in findings]
    widths = _widths(rows, width)
    wrapped = [["\n".join(_wrap(cell, w)) for cell, w in zip(row, widths, strict=True)] for row in rows]
    for row, before, finding in zip(wrapped[1:], findings, findings[1:], strict=False):
        if before.case == finding.case:
            row[0] = ""
    for row, finding in zip(wrapped, findings, strict=True):
        row[5] = "\n".join(_painted(line, finding.verdict, colour) for line in row[5].split("\n"))
    table = tabulate(
        wrapped,
        _HEADINGS,
        tablefmt="simple",
        disable_numparse=True,
        colalign=("left", "left", "right", "left", "left", "left"),
    )
    return f"{visible(subject).capitalize()}\n\n{table}"


def _cells(finding: Finding) -> tuple[str, ...]:
    return (
        finding.case,
        finding.asked,
        finding.found or "-",
        with_tolerance(finding),
        finding.basis,
        verdict_words(finding),
    )


def _widths(rows: Sequence[Sequence[str]], width: int) -> list[int]:
    """Column widths that fit: the widest columns give way first, none below its least."""
    natural = [max(len(cell) for cell in column) for column in zip(_HEADINGS, *rows, strict=True)]
    widths = [max(min(n, 60), len(h)) for n, h in zip(natural, _HEADINGS, strict=True)]
    room = width - _GAP * (len(widths) - 1)
    while sum(widths) > room:
        spare = [(w - least, i) for i, (w, least) in enumerate(zip(widths, _LEAST, strict=True))]
        most, index = max(spare, key=lambda pair: (pair[0], -pair[1]))
        if most <= 0:
            break
        widths[index] -= 1
    return widths


def _wrap(cell: str, width: int) -> list[str]:
    return textwrap.wrap(cell, width, break_on_hyphens=True) or [""]


def _painted(text: str, verdict: str, colour: bool) -> str:
    code = "2" if verdict in _FAINT else _COLOURS.get(verdict, "33")
    return f"\x1b[{code}m{text}\x1b[0m" if colour and text else text


def _counts(findings: Sequence[Finding]) -> str:
    counted = counts(findings)
    columns = {
        "required": counted.required,
        "self-referential": counted.self_referential,
        "advisory": counted.advisory,
    }
    shown = {head: held for head, held in columns.items() if head == "required" or any(held.values())}
    rows = [
        [verdict, *(str(held.get(verdict, 0)) for held in shown.values())] for verdict in occurring(counted)
    ]
    rows.append(["in all", *(str(sum(held.values())) for held in shown.values())])
    return tabulate(
        rows, ["verdict", *shown], disable_numparse=True, colalign=("left", *["right"] * len(shown))
    )


def _unsupported(findings: Sequence[Finding], width: int) -> str:
    subjects = unsupported_subjects(findings)
    told = "Nothing is shown of these subjects, because every pass rests on data of the model itself: "
    return fill(told + ", ".join(subjects), width) if subjects else ""


def _failures(record: Record, findings: Sequence[Finding], width: int, *, colour: bool) -> str:
    failed = [finding for finding in findings if fails(finding)]
    if not failed:
        return ""
    lines = [f"{count(len(failed), 'judgement')} not passed"]
    for finding in failed:
        lines.append(_failure(record, finding, colour=colour))
        told = "; ".join(part for part in (finding.note, finding.why) if part)
        if told:
            lines.append(fill(told, width, indent="      "))
    return "\n".join(lines)


def _failure(record: Record, finding: Finding, *, colour: bool) -> str:
    verdict = _painted(verdict_words(finding), finding.verdict, colour)
    repeat = repeat_command(record.header, finding.case)
    return f"  {verdict}: {visible(failure_words(finding))}; repeat: {visible(repeat)}"


def _listed(title: str, told: Sequence[str], width: int) -> str:
    lines = [fill(line, width, indent="  ", hang="      ") for line in told]
    return "\n".join([title, *lines]) if lines else ""


def _foot(record: Record, width: int) -> str:
    return "\n".join(
        (
            fill(CAUTION, width),
            fill(f"Ending: {ending_words(record)}.", width),
            f"Record: {visible(str(record.folder))}",
        )
    )
