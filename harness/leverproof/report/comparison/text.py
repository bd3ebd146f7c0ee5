"""The comparison as text for a terminal, and as Markdown."""

from __future__ import annotations

from collections.abc import Iterator

from leverproof import CAUTION
from leverproof.report.columns import columns, markdown_rows, within
from leverproof.report.comparison.model import Comparison, Panel
from leverproof.report.comparison.words import (
    TIES,
    TITLE,
    audit_lines,
    audit_title,
    held_words,
    relation_words,
    row_words,
    subject_words,
    telling,
)
from leverproof.report.markdown import cell
from leverproof.report.wording import amount, count, fill, visible

LARGEST = 900_000
"""Bytes of Markdown, as for one record."""


def render(found: Comparison, *, width: int = 110) -> str:
    """The comparison as text of at most about ``width`` columns."""
    parts = [TITLE, *(_listed(line, width) for line in _head(found)), *(_listed(note, width) for note in found.notes)]
    parts.append("\n" + fill(TIES, width))
    heads = ["subject", *(m.letter for m in found.models), "told apart"]
    rows = [[row.subject, *map(subject_words, row.cells), row_words(row)] for row in found.rows]
    parts.append("\n" + columns(heads, rows, width))
    kept = telling(found)
    parts.append(
        f"\n{count(len(kept), 'judgement')} of {len(found.judged):,} that tell apart, or do not pass somewhere"
    )
    for row in kept:
        parts.append(_listed(f"{row.case}/{row.judgement} ({row.weight}): {row.asked}", width))
        parts += [
            fill(f"{model.letter}  {held_words(held)}", width, indent="      ", hang="         ")
            for model, held in zip(found.models, row.held, strict=True)
        ]
        parts.append(fill(relation_words(row), width, indent="      ", hang="         "))
    for panel in found.panels:
        parts.append(f"\n{visible(panel.title)}, {panel.unit}\n\n{columns(*panel_table(found, panel), width)}")
        parts += [_listed(line, width) for line in panel_notes(found, panel)]
    if found.audits:
        parts.append("\nOption audit: records of one model")
    for audit in found.audits:
        parts.append("\n" + fill(f"{audit_title(audit, found)}: {audit.conclusion}", width))
        parts += [_listed(line, width) for line in audit_lines(audit)]
    return "\n".join([*parts, "\n" + fill(CAUTION, width)]) + "\n"


def _listed(text: str, width: int) -> str:
    return fill(text, width, indent="  ", hang="      ")


def _head(found: Comparison) -> Iterator[str]:
    for model in found.models:
        told = "; ".join(f"{key} {value}" for key, value in model.head.items() if key not in ("stand", "host"))
        yield f"{model.letter}  {model.name}; {told}; {model.ending}"


def panel_table(found: Comparison, panel: Panel) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of the numbers of a panel: heights down, models across."""
    points = {curve.model: dict(curve.points) for curve in panel.curves}
    heights = sorted({height for own in points.values() for height in own})
    heads = ["pressure altitude", *(found.models[model].letter for model in points)]
    rows = []
    for height in heights:
        values = (own.get(height) for own in points.values())
        rows.append([amount(height, "ft"), *(amount(v, panel.unit) if v is not None else "" for v in values)])
    return heads, rows


def panel_notes(found: Comparison, panel: Panel) -> Iterator[str]:
    """References in numbers, and why a model is not there, one sentence each."""
    for band in panel.bands:
        whose = ", ".join(found.models[model].letter for model in band.models)
        for height, low, high in band.values:
            between = f"{amount(low, panel.unit)} to {amount(high, panel.unit)}"
            yield f"reference ({band.words}; {whose}) at {amount(height, 'ft')}: {between}"
        for low, high, value in band.heights:
            between = f"{amount(low, 'ft')} to {amount(high, 'ft')}"
            yield f"reference ({band.words}; {whose}): {amount(value, panel.unit)} at {between}"
    yield from panel.without


def markdown(found: Comparison, *, largest: int = LARGEST) -> str:
    """The comparison as Markdown of at most ``largest`` bytes; what is too long is cut from the end, and it says so."""
    return within(_markdown(found), largest, "the records hold the rest")


def _markdown(found: Comparison) -> Iterator[str]:
    yield f"# {TITLE}\n"
    yield f"{CAUTION}\n"
    yield from (f"- {cell(line)}" for line in (*_head(found), *found.notes))
    yield f"\n{TIES}\n"
    heads = ["subject", *(m.letter for m in found.models), "told apart"]
    yield from markdown_rows(heads, [[r.subject, *map(subject_words, r.cells), row_words(r)] for r in found.rows])
    if found.audits:
        yield "\n## Option audit\n"
    for audit in found.audits:
        yield f"- **{cell(audit_title(audit, found))}**: {cell(audit.conclusion)}"
        yield from (f"  - {cell(line)}" for line in audit_lines(audit))
    yield "\n## Judgements\n"
    heads = ["judgement", *(m.letter for m in found.models), "told apart"]
    ordered = telling(found) + [row for row in found.judged if row not in telling(found)]
    cells = [[f"{r.case}/{r.judgement}", *map(held_words, r.held), relation_words(r)] for r in ordered]
    yield from markdown_rows(heads, cells)
    for panel in found.panels:
        yield f"\n## {cell(panel.title)}, {cell(panel.unit)}\n"
        yield from markdown_rows(*panel_table(found, panel))
        yield ""
        yield from (f"- {cell(line)}" for line in panel_notes(found, panel))
