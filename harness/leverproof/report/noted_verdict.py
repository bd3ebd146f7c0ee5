"""The verdict on a filled table, as text and as one JSON object."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from leverproof import CAUTION, __version__
from leverproof.conduct.card import Card
from leverproof.conduct.noted_judging import Judged
from leverproof.conduct.noted_load import Table
from leverproof.conduct.noted_runs import AGAIN, Invalid
from leverproof.judge.model import Finding, PointFinding
from leverproof.record.plain import to_plain
from leverproof.report.fold import EXITS, fails, verdict_words, with_tolerance
from leverproof.report.table import painted, subject_table
from leverproof.report.wording import channel_words, doubt_words, fill, visible


def render(
    card: Card, tables: Sequence[Table], judged: Judged, code: int, *, width: int = 100, colour: bool = False
) -> str:
    """The verdict as text of about ``width`` columns; ``code`` is the exit the command ends with."""
    case, sheet = card.case, card.sheet
    out = [
        fill(f"{case.title} ({case.id}), flown by hand", width),
        fill(f"engine sheet {sheet.id}, revision {sheet.revision}; {_files(tables)}", width),
    ]
    if judged.invalid:
        out += ["", f"Rows that do not count: {AGAIN.replace('this one', 'these')}"]
        out += [fill(invalid_words(one), width, indent="  ", hang="      ") for one in judged.invalid]
    shown = [f for f in judged.findings if f.verdict not in ("not applicable", "not run")]
    if shown:
        out += ["", subject_table(shown, width, colour=colour), "", "In words"]
        for finding in shown:
            out.append(fill(_words(finding), width, indent="  ", hang="      "))
    left = [f for f in judged.findings if f not in shown]
    if left:
        out += ["", "Not judged from this"]
        out += [fill(f"{f.judgement}: {f.note}", width, indent="  ", hang="      ") for f in left]
    if judged.told:
        out += ["", "Noticed", *(fill(words, width, indent="  ", hang="      ") for words in judged.told)]
    worst = painted(EXITS[code], "fail" if code else "pass", colour=colour)
    return "\n".join([*out, "", f"Ending: {worst}.", fill(CAUTION, width)]) + "\n"


def _files(tables: Sequence[Table]) -> str:
    names = " and ".join(visible(table.path) for table in tables)
    return f"table {names}" if len(tables) == 1 else f"tables of {len(tables)} flyers: {names}"


def invalid_words(one: Invalid) -> str:
    """One row that does not count, with the reason."""
    at = f", {channel_words(one.row.label)}" if one.row.label else ""
    return f"{one.row.run} / {one.row.reading}{at} ({one.path}: line {one.line}): {one.reason}; {AGAIN}"


def _words(finding: Finding) -> str:
    found = finding.found or "no number"
    text = f"{finding.judgement}: {verdict_words(finding)}. {finding.asked[:1].upper()}{finding.asked[1:]}: {found}"
    if finding.expected:
        text += f"; expected {with_tolerance(finding)}"
    if finding.w:
        text += f"; the doubt is {doubt_words(finding.w, finding.unit)} (95 %)"
    parts = [f"{part} {doubt_words(2.0 * u, unit)}" for part, u, unit in _parts(finding) if u]
    text += f", from {', '.join(parts)}" if parts else ""
    return f"{text}." + (f" {finding.note[:1].upper()}{finding.note[1:]}." if finding.note else "")


def _parts(finding: Finding) -> Iterator[tuple[str, float, str]]:
    """The determined parts of doubt of the deciding point, those of one name taken together, largest first."""
    point = _deciding(finding)
    sums: dict[str, float] = {}
    for doubt in point.doubts if point is not None else ():
        if doubt.u is not None:
            sums[doubt.part] = sums.get(doubt.part, 0.0) + doubt.u**2
    for part in sorted(sums, key=lambda name: -sums[name]):
        yield part, sums[part] ** 0.5, finding.unit


def _deciding(finding: Finding) -> PointFinding | None:
    return next((p for p in finding.points if p.found == finding.number and p.w == finding.w), None)


def render_json(card: Card, tables: Sequence[Table], judged: Judged, code: int) -> str:
    """The verdict as one JSON object, indented; numbers that are not finite are the strings of the report."""
    held: dict[str, Any] = {
        "format": 1,
        "program": "leverproof",
        "version": __version__,
        "caution": CAUTION,
        "case": card.case.id,
        "sheet": {"id": card.sheet.id, "revision": card.sheet.revision},
        "seed": card.seed,
        "tables": [table.path for table in tables],
        "exit": code,
        "fly_again": [
            {
                "run": one.row.run,
                "reading": one.row.reading,
                "point": one.row.label,
                "file": one.path,
                "line": one.line,
                "reason": one.reason,
            }
            for one in judged.invalid
        ],
        "findings": [{**to_plain(finding), "fails": fails(finding)} for finding in judged.findings],
        "notices": list(judged.told),
    }
    return json.dumps(to_plain(held), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
