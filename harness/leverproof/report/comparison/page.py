"""The comparison as one HTML file that needs nothing else: no script, nothing fetched, every text escaped. It looks
like the test guide, with whose parts it is made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from leverproof import CAUTION
from leverproof.judge.model import VERDICTS
from leverproof.report.comparison.model import (
    FAILS,
    PASSES,
    SELF_REFERENTIAL,
    UNDECIDED,
    UNTESTABLE,
    Audit,
    Comparison,
    Held,
    Judged,
    Panel,
    Subject,
)
from leverproof.report.comparison.plot import drawing, key
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
from leverproof.report.html.glyphs import glyph
from leverproof.report.html.markup import Child, Markup, element, number_cell, number_head, table
from leverproof.report.html.still_page import still_page
from leverproof.report.wording import count

_SECTIONS = {
    "records": "What is compared",
    "subjects": "Subjects",
    "audit": "Option audit",
    "altitude": "Against altitude",
    "judgements": "Judgements",
}
_SHAPES = {
    PASSES: "pass",
    FAILS: "fail",
    UNDECIDED: "inconclusive",
    UNTESTABLE: "not applicable",
    SELF_REFERENTIAL: "conditional pass",
}


def render(found: Comparison) -> str:
    """The page as text."""
    main = [_models(found), _matrix(found), _audits(found), _panels(found), _judgements(found)]
    made, style = "from the records alone.", ("comparison", "page.css")
    return still_page(TITLE, _header(found), _SECTIONS, main, made=made, style=style)


def _header(found: Comparison) -> Markup:
    told = sum(row.apart for row in found.rows)
    shared = sum(row.shared for row in found.rows)
    hidden = sum(audit.undeclared for audit in found.audits)
    words = f"Told apart by {told:,} of {count(shared, 'judgement')} that at least two could be judged by."
    alarm = element("p", f"Undeclared differences in {count(hidden, 'pair')} of records.", class_="alarm")
    return element(
        "header",
        element("p", count(len(found.models), "record"), class_="kicker"),
        element("h1", TITLE),
        element("p", words, class_="headline"),
        alarm if hidden else None,
        element("p", CAUTION, class_="caution"),
    )


def _section(name: str, *inside: Child) -> Markup:
    return element("section", element("h2", _SECTIONS[name]), inside, id=name)


def _models(found: Comparison) -> Markup:
    keys = list(dict.fromkeys(k for model in found.models for k in model.head))
    rows: list[list[Child]] = [[k, *(model.head.get(k, "-") for model in found.models)] for k in keys]
    rows.append(["ending", *(model.ending for model in found.models)])
    heads: list[Child] = ["", *(_letter(found, i) for i in range(len(found.models)))]
    notes = element("ul", [element("li", note) for note in found.notes]) if found.notes else None
    return _section("records", table(heads, rows, caption="The records and what stands at their head"), notes)


def _letter(found: Comparison, model: int) -> Markup:
    return element("th", Markup(key(model)), f" {found.models[model].letter}", scope="col")


def _matrix(found: Comparison) -> Markup:
    rows: list[list[Child]] = [[row.subject, *map(_subject, row.cells), row_words(row)] for row in found.rows]
    heads = ["subject", *(m.letter for m in found.models), "told apart"]
    caption = "Required judgements of each subject, by model"
    return _section("subjects", element("p", TIES), table(heads, rows, caption=caption))


def _subject(cell: Subject) -> Markup:
    kind = "missing" if cell.word == UNTESTABLE else "v-fail" if cell.word == FAILS else None
    return element("td", glyph(_SHAPES[cell.word]), element("span", subject_words(cell), class_=kind))


def _audits(found: Comparison) -> Markup:
    if not found.audits:
        return _section("audit", element("p", "No two of the records are of one model."))
    intro = element("p", "Records of one model: what was declared otherwise, and what came of it.")
    return _section("audit", intro, [_audit(audit, found) for audit in found.audits])


def _audit(audit: Audit, found: Comparison) -> Markup:
    return element(
        "section",
        element("h3", audit_title(audit, found)),
        element("p", audit.conclusion),
        element("ul", [element("li", line) for line in audit_lines(audit)]),
        class_="pair alarm" if audit.undeclared else "pair",
    )


def _panels(found: Comparison) -> Markup:
    if not found.panels:
        return _section("altitude", element("p", "No record holds steady readings at two heights."))
    return _section("altitude", [_panel(found, panel) for panel in found.panels])


def _panel(found: Comparison, panel: Panel) -> Markup:
    legend = [element("li", Markup(key(c.model)), f" {found.models[c.model].letter}") for c in panel.curves]
    if panel.bands:
        legend.append(element("li", element("span", class_="swatch"), " reference"))
    heads, rows = panel_table(found, panel)
    cells: list[list[Child]] = [[row[0], *map(number_cell, row[1:])] for row in rows]
    numbers = table([heads[0], *map(number_head, heads[1:])], cells, caption=f"Readings: {panel.title}")
    notes = [element("li", line) for line in panel_notes(found, panel)]
    return element(
        "figure",
        element("figcaption", f"{panel.title}, {panel.unit}"),
        Markup(drawing(found, panel)),
        element("ul", legend, class_="key"),
        element("ul", notes) if notes else None,
        element("details", element("summary", "The numbers as a table"), numbers),
    )


def _judgements(found: Comparison) -> Markup:
    kept = telling(found)
    rest = [row for row in found.judged if row not in kept]
    return _section(
        "judgements",
        element("p", f"{len(kept):,} tell the models apart, are asked differently, or do not pass somewhere."),
        _judged(found, kept, "Judgements that tell apart or do not pass"),
        element("details", element("summary", count(len(rest), "other judgement")), _judged(found, rest, "The others")),
    )


def _judged(found: Comparison, rows: Sequence[Judged], caption: str) -> Markup:
    heads = ["judgement", *(m.letter for m in found.models), "told apart"]
    return table(heads, [list(_row(row)) for row in rows], caption=caption)


def _row(row: Judged) -> Iterator[Child]:
    about = element("span", f"{row.asked} ({row.weight})", class_="sub")
    yield element("th", f"{row.case}/{row.judgement}", Markup("<br>"), about, scope="row")
    for held, expected in zip(row.held, row.expected, strict=True):
        yield _held(held, expected)
    yield relation_words(row)


def _held(held: Held, expected: str) -> Markup:
    verdict = held.verdict.split(" (")[0]
    kind = "v-fail" if verdict == "fail" else None if verdict in VERDICTS else "missing"
    asked = element("span", f"expected {expected}", class_="sub") if expected and held.found else None
    shape = glyph(verdict) if verdict in VERDICTS else None
    words = element("span", held_words(held), class_=kind)
    return element("td", shape, words, Markup("<br>") if asked else None, asked)
