"""One case's part of the guide: what failed first, then the question, the procedure, everything judged and the
readings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from leverproof.cases.model import ReferenceCase, Run
from leverproof.judge.model import Finding
from leverproof.record.layout import safe_name
from leverproof.record.reader import Record
from leverproof.report.case_page import step_words, sweep_words, tolerance_words, value_words
from leverproof.report.fold import deferral_words, repeat_command, resolvable, verdict_words, with_tolerance
from leverproof.report.html import figures
from leverproof.report.html.claim import in_order, is_open
from leverproof.report.html.evidence import CaseEvidence, asked
from leverproof.report.html.findings import doubt_cell, doubts_table, points_table, valued_heads
from leverproof.report.html.glyphs import glyph
from leverproof.report.html.markup import Markup, element, joined, number_cell, number_head, table, value_cell
from leverproof.report.html.readings import readings_table
from leverproof.report.html.words import sentence, units_cell
from leverproof.report.judgement_words import judgement_words
from leverproof.report.wording import channel_words, count

_STARTED = {
    "running": "The engine is running, warm and trimmed.",
    "stopped": "The engine stands still, cold.",
}


def anchor(case_id: str) -> str:
    """The place of a case on the page."""
    return f"case-{safe_name(case_id)}"


def case_part(record: Record, case: CaseEvidence) -> Markup:
    """The part: open where somebody has to look at it, folded where everything passed."""
    opened = [finding for finding in in_order(case.findings) if is_open(finding)]
    return element(
        "details",
        _summary(case, opened),
        element("div", *_body(record, case, opened), class_="body"),
        id=anchor(case.planned.case.id),
        class_="part" if opened else "part quiet",
        open=bool(opened),
    )


def _summary(case: CaseEvidence, opened: Sequence[Finding]) -> Markup:
    reference = case.planned.case
    marks = [glyph(finding.verdict) for finding in (opened or case.findings)][:12]
    asked_of = count(len(case.findings), "judgement")
    told = f"{len(opened)} of {asked_of} open" if opened else f"{asked_of}: {_verdicts(case.findings)}"
    return element(
        "summary",
        element("h3", reference.title or reference.id),
        element(
            "p",
            element("code", reference.id),
            " · ",
            reference.subject,
            " · ",
            told,
            " ",
            marks,
            class_="sub",
        ),
    )


def _verdicts(findings: Sequence[Finding]) -> str:
    tally: dict[str, int] = {}
    for finding in findings:
        tally[finding.verdict] = tally.get(finding.verdict, 0) + 1
    return ", ".join(f"{n} {verdict}" for verdict, n in tally.items())


def _body(record: Record, case: CaseEvidence, opened: Sequence[Finding]) -> Iterator[Markup]:
    reference = case.planned.case
    yield element("p", reference.question, class_="question")
    if case.trouble:
        yield element("p", f"The histories of this case cannot be shown: {case.trouble}.", class_="alarm")
    for index, finding in enumerate(opened):
        yield _open_finding(record, case, finding, index)
    yield element("div", element("h4", "To repeat this case"), _command(record, reference), class_="repeat")
    rest = [finding for finding in case.findings if finding not in opened]
    yield from _judged(rest, "Also judged here" if opened else "Judged")
    yield from _folded("Conditions and procedure", _procedure(reference))
    yield from _folded("Tolerances, basis and sources", _grounds(case))
    yield from _folded("Uncertainty by part", [doubts] if (doubts := doubts_table(rest)) is not None else [])
    if case.histories:
        yield figures.explorer(case)
        yield element(
            "details",
            element("summary", element("h4", "Readings behind the plots")),
            readings_table(case),
            class_="fold",
            open=bool(opened),
        )


def _command(record: Record, reference: ReferenceCase) -> Markup:
    return element("pre", element("code", repeat_command(record.header, reference.id)), tabindex="0", class_="command")


def _open_finding(record: Record, case: CaseEvidence, finding: Finding, index: int) -> Markup:
    consequence = case.planned.case.consequence
    seen = [line for name, line in resolvable(record) if name == f"{finding.case}/{finding.judgement}"]
    return element(
        "article",
        element("h4", glyph(finding.verdict), finding.asked),
        element("p", element("strong", sentence(finding)), class_="verdict"),
        element("p", "If this is so: ", consequence) if consequence else None,
        element("p", "Note: ", finding.note) if finding.note and finding.found else None,
        element("p", "Deferral: ", deferral_words(finding), class_="alarm") if finding.deferral else None,
        element("p", "Its tolerance is the user's: ", finding.loosened, class_="alarm") if finding.loosened else None,
        element("p", "What the method can see, as said before the run: ", *seen) if seen else None,
        element("p", "Why it is asked: ", finding.why) if finding.why else None,
        figures.of_finding(case, finding, f"{anchor(finding.case)}-{index}"),
        points_table([finding]) if len(finding.points) > 1 else None,
        doubts_table([finding]),
        _facts(case, finding),
        class_=f"finding v-{finding.verdict.replace(' ', '-')}",
    )


def _facts(case: CaseEvidence, finding: Finding) -> Markup:
    """Tolerance, basis, source and weight of one finding."""
    return _pairs(
        [
            ("judgement", finding.judgement),
            ("how", _how(case, finding)),
            ("expected", finding.expected),
            ("tolerance", finding.tolerance or "none: a sign or a least difference"),
            ("why this wide", _reason(case, finding)),
            ("basis", finding.basis),
            ("source", finding.source),
            ("weight", _weight(finding)),
        ]
    )


def _how(case: CaseEvidence, finding: Finding) -> str:
    judgement = asked(case, finding)
    return judgement_words(judgement, value_words) if judgement is not None else ""


def _reason(case: CaseEvidence, finding: Finding) -> str:
    judgement = asked(case, finding)
    return judgement.tolerance.reason if judgement is not None and judgement.tolerance is not None else ""


def _weight(finding: Finding) -> str:
    text = finding.weight if finding.weight == "required" else "advisory: never changes the ending"
    return f"{text}; rests on data of the model itself" if finding.self_referential else text


def _pairs(pairs: Iterable[tuple[str, str]]) -> Markup:
    return element("dl", [[element("dt", head), element("dd", text)] for head, text in pairs if text])


def _judged(findings: Sequence[Finding], title: str) -> Iterator[Markup]:
    """Judgements in one table: verdict, number, tolerance, doubt."""
    if not findings:
        return
    rows = [
        [
            element("span", glyph(f.verdict), " ", verdict_words(f), class_="chip"),
            f.asked,
            value_cell(f.found or "-"),
            value_cell(with_tolerance(f)),
            number_cell(doubt_cell(f)),
            number_cell(units_cell(f)),
            f.note,
        ]
        for f in findings
    ]
    heads = ["verdict", "asked", *valued_heads(findings), number_head("doubt (95 %)"),
             number_head("units of doubt"), "note"]  # fmt: skip
    yield element("h4", title)
    yield table(heads, rows, caption=f"{title}: {findings[0].case}")


def _folded(title: str, inside: Sequence[Markup]) -> Iterator[Markup]:
    if inside:
        yield element("details", element("summary", element("h4", title)), *inside, class_="fold")


def _procedure(reference: ReferenceCase) -> list[Markup]:
    conditions = [_STARTED[reference.engine]]
    if reference.surroundings:
        said = (f"{channel_words(n)} {value_words(v)}" for n, v in reference.surroundings.items())
        conditions.append(f"Surroundings: {', '.join(said)}.")
    if reference.sweep is not None:
        conditions.append(sweep_words(reference.sweep))
    out = [element("ul", [element("li", line) for line in conditions])]
    for run in reference.runs:
        title = "Procedure" if len(reference.runs) == 1 else f"Procedure, run {run.name}"
        out.append(element("h5", title))
        out.append(element("ol", [element("li", words) for words in _steps(run)]))
    out.append(element("p", reference.caution, class_="caution"))
    return out


def _steps(run: Run) -> Iterator[str]:
    if run.grid != 1:
        yield f"On a grid step of 1/{run.grid} of the stand's."
    if run.surroundings:
        said = (f"{channel_words(n)} {value_words(v)}" for n, v in run.surroundings.items())
        yield f"With {', '.join(said)}."
    yield from (step_words(step) for step in run.steps)


def _grounds(case: CaseEvidence) -> list[Markup]:
    """What every judgement of the case stands on."""
    rows = []
    for finding in case.findings:
        judgement = asked(case, finding)
        tolerance = judgement.tolerance if judgement is not None else None
        words = tolerance_words(tolerance) if tolerance is not None else finding.tolerance or "none"
        rows.append([finding.judgement, _how(case, finding), words, finding.basis, finding.source, finding.weight])
    heads = ["judgement", "how", "tolerance", "basis", "source", "weight"]
    return [table(heads, rows, caption=f"Tolerances, basis and sources: {case.planned.case.id}")] if rows else []


def parts(record: Record, cases: Sequence[CaseEvidence]) -> Markup:
    """Several parts, one after another."""
    return joined(case_part(record, case) for case in cases)
