"""The comparison as one HTML file that needs nothing else: no script, nothing fetched, every text escaped."""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence

from leverproof import CAUTION, __version__
from leverproof.report.comparison.model import Comparison, Held, Judged, Panel
from leverproof.report.comparison.plot import drawing, key
from leverproof.report.comparison.style import STYLE
from leverproof.report.comparison.text import panel_notes, panel_table
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
from leverproof.report.wording import count, visible

_LONGEST = 2_000


def render(found: Comparison) -> str:
    """The page as text."""
    letters = ", ".join(m.letter for m in found.models)
    parts = [
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        f"<title>{TITLE}</title>\n<style>{STYLE}</style>\n</head>\n<body>",
        f'<header><p class="soft">leverproof {_t(__version__)}</p><h1>{TITLE}</h1>',
        f"<p>{count(len(found.models), 'record')}, {letters}. {_t(_verdict(found))}</p>",
        f'<p class="soft">{_t(CAUTION)}</p></header>\n<main>',
        *_models(found),
        *_matrix(found),
        *_audits(found),
        *_panels(found),
        *_judgements(found),
        "</main>\n</body>\n</html>\n",
    ]
    return "\n".join(parts)


def _t(text: str) -> str:
    """``text`` as markup that shows it and does nothing else."""
    shown = text if len(text) <= _LONGEST else f"{text[:_LONGEST]} ... ({len(text) - _LONGEST:,} characters left out)"
    return html.escape(visible(shown), quote=True)


def _verdict(found: Comparison) -> str:
    told = sum(row.apart for row in found.rows)
    shared = sum(row.shared for row in found.rows)
    hidden = sum(audit.undeclared for audit in found.audits)
    words = f"They are told apart by {told:,} of {count(shared, 'judgement')} that at least two could be judged by."
    return f"{words} Undeclared differences in {count(hidden, 'pair')}." if hidden else words


def _models(found: Comparison) -> Iterator[str]:
    yield "<h2>What is compared</h2>"
    keys = list(dict.fromkeys(k for model in found.models for k in model.head))
    rows = [[_t(k), *(_t(m.head.get(k, "-")) for m in found.models)] for k in keys]
    rows.append(["ending", *(_t(m.ending) for m in found.models)])
    heads = [f"{key(i)} {m.letter}" for i, m in enumerate(found.models)]
    yield _table("The records and what stands at their head", ["", *heads], rows)
    if found.notes:
        yield "<ul>" + "".join(f"<li>{_t(note)}</li>" for note in found.notes) + "</ul>"


def _matrix(found: Comparison) -> Iterator[str]:
    yield f"<h2>Subjects</h2>\n<p>{_t(TIES)}</p>"
    rows = []
    for row in found.rows:
        cells = [f'<span class="v v-{c.word.split()[0]}">{_t(subject_words(c))}</span>' for c in row.cells]
        rows.append([_t(row.subject), *cells, _t(row_words(row))])
    heads = ["subject", *(m.letter for m in found.models), "told apart"]
    yield _table("Required judgements of each subject, by model", heads, rows)


def _audits(found: Comparison) -> Iterator[str]:
    if not found.audits:
        return
    yield "<h2>Option audit</h2>\n<p>Records of one model: what was declared otherwise, and what came of it.</p>"
    for audit in found.audits:
        mark = ' class="alarm"' if audit.undeclared else ""
        yield f"<section{mark}><h3>{_t(audit_title(audit, found))}</h3><p>{_t(audit.conclusion)}</p>"
        yield "<ul>" + "".join(f"<li>{_t(line)}</li>" for line in audit_lines(audit)) + "</ul></section>"


def _panels(found: Comparison) -> Iterator[str]:
    if not found.panels:
        return
    yield "<h2>Against altitude</h2>"
    for panel in found.panels:
        yield _panel(found, panel)


def _panel(found: Comparison, panel: Panel) -> str:
    legend = "".join(f"<li>{key(c.model)} {found.models[c.model].letter}</li>" for c in panel.curves)
    legend += '<li><span class="swatch"></span> reference</li>' if panel.bands else ""
    heads, rows = panel_table(found, panel)
    numbers = _table(f"Readings: {panel.title}", heads, [[_t(c) for c in row] for row in rows], numbers=True)
    notes = "".join(f"<li>{_t(line)}</li>" for line in panel_notes(found, panel))
    return (
        f"<figure><figcaption>{_t(panel.title)}, {_t(panel.unit)}</figcaption>{drawing(found, panel)}"
        f'<ul class="legend">{legend}</ul>'
        + (f"<ul>{notes}</ul>" if notes else "")
        + f"<details><summary>The numbers as a table</summary>{numbers}</details></figure>"
    )


def _judgements(found: Comparison) -> Iterator[str]:
    kept = telling(found)
    yield f"<h2>Judgements that tell apart, or do not pass somewhere: {len(kept):,}</h2>"
    yield _judged(found, kept, "Judgements that tell apart or do not pass")
    rest = [row for row in found.judged if row not in kept]
    others = _judged(found, rest, "The others")
    yield f"<details><summary>{count(len(rest), 'other judgement')}</summary>{others}</details>"


def _judged(found: Comparison, rows: Sequence[Judged], caption: str) -> str:
    cells = []
    for row in rows:
        name = f"{_t(row.case)}/{_t(row.judgement)}<br><span class='soft'>{_t(row.asked)} ({_t(row.weight)})</span>"
        told = [_held(h, e) for h, e in zip(row.held, row.expected, strict=True)]
        cells.append([name, *told, _t(relation_words(row))])
    return _table(caption, ["judgement", *(m.letter for m in found.models), "told apart"], cells)


def _held(held: Held, expected: str) -> str:
    first = held.verdict.split(" (")[0].replace(" ", "-")
    told = f'<span class="v v-{_t(first) or "none"}">{_t(held_words(held))}</span>'
    if expected and held.found:
        told += f"<br><span class='soft'>expected {_t(expected)}</span>"
    return told


def _table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]], *, numbers: bool = False) -> str:
    """A table of cells that are markup already, the first of each row its head."""
    kind = ' class="n"' if numbers else ""
    top = "".join(f'<th scope="col"{kind if i else ""}>{h}</th>' for i, h in enumerate(heads))
    body = "".join(
        f'<tr><th scope="row">{row[0]}</th>' + "".join(f"<td{kind}>{c}</td>" for c in row[1:]) + "</tr>" for row in rows
    )
    inner = f"<table><caption>{_t(caption)}</caption><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="scroll" tabindex="0" role="region" aria-label="{_t(caption)}">{inner}</div>'
