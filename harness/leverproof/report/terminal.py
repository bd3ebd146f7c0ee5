"""The report on a terminal: one table a subject, the counts, what failed and how to repeat it."""

from __future__ import annotations

from collections.abc import Sequence

from tabulate import tabulate

from leverproof import CAUTION
from leverproof.judge.endings import counts, unsupported_subjects
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
)
from leverproof.report.table import painted, subject_table
from leverproof.report.wording import count, fill, visible


def render(record: Record, *, width: int = 110, colour: bool = False, by_eye: Sequence[Item] = ()) -> str:
    """The report as text of at most about ``width`` columns (command lines are never broken). With
    ``colour`` the verdicts carry terminal colours; the words are there either way. ``by_eye`` stands apart from what
    was measured."""
    findings = all_findings(record)
    applied = [finding for finding in findings if finding.verdict != "not applicable"]
    missed = {f"{finding.case}/{finding.judgement}" for finding in findings if fails(finding)}
    parts = [_head(record, width)]
    for subject, some in by_subject(applied).items():
        parts.append(f"{visible(subject).capitalize()}\n\n{subject_table(some, width, colour=colour)}")
    parts += [_counts(findings), _unsupported(findings, width)]
    parts.append(_failures(record, findings, width, colour=colour))
    parts.append(_listed("Put off", put_off(findings), width))
    parts.append(_listed("Tolerances loosened by the user", widened(findings), width))
    seen = [line for name, line in resolvable(record) if name in missed]
    parts.append(_listed("What the method can see (95 %), as said before the run", seen, width))
    parts.append(_listed("Blocked", blocked(findings), width))
    parts.append(_listed("Not applicable here", left_out(record, findings), width))
    parts.append(_listed("Noticed during the run", list(notices(record)), width))
    parts.append(_listed(TITLE, words(by_eye), width))
    parts.append(_foot(record, width))
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(record: Record, width: int) -> str:
    pairs = {key: value for key, value in mounted(record).items() if key != "host"}
    reach = max((len(key) for key in pairs), default=0)
    return "\n".join(
        fill(value, width, indent=f"{key:<{reach}}  ", hang=" " * (reach + 2)) for key, value in pairs.items()
    )


def _counts(findings: Sequence[Finding]) -> str:
    if not findings:
        return ""
    counted = counts(findings)
    columns = {
        "required": counted.required,
        "self-referential": counted.self_referential,
        "advisory": counted.advisory,
        "of these loosened": counted.loosened,
    }
    shown = {head: held for head, held in columns.items() if head == "required" or any(held.values())}
    rows = [[verdict, *(str(held.get(verdict, 0)) for held in shown.values())] for verdict in occurring(counted)]
    rows.append(["in all", *(str(sum(held.values())) for held in shown.values())])
    return tabulate(rows, ["verdict", *shown], disable_numparse=True, colalign=("left", *["right"] * len(shown)))


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
    verdict = painted(verdict_words(finding), finding.verdict, colour=colour)
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
