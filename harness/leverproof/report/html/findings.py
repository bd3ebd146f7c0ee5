"""Tables of findings: the summary that leads to the parts, the points of a sweep, and the doubt by its parts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from leverproof.judge.decision import COVERAGE
from leverproof.judge.model import Doubt, Finding, PointFinding
from leverproof.report.fold import verdict_words, with_tolerance
from leverproof.report.html.claim import deciding, in_order
from leverproof.report.html.glyphs import glyph
from leverproof.report.html.markup import (
    Markup,
    element,
    joined,
    number_cell,
    number_head,
    table,
    value_cell,
    value_head,
)
from leverproof.report.html.words import units_cell
from leverproof.report.wording import amount, doubt_words


def summary_table(findings: Sequence[Finding], anchor: Callable[[str], str]) -> Markup:
    """Open findings in the order of their parts, each with a link to its part."""
    rows = [
        [
            element("span", glyph(f.verdict), verdict_words(f), class_="chip"),
            joined([element("a", f.asked, href=f"#{anchor(f.case)}"), element("div", f.case, class_="sub")]),
            value_cell(f.found or "-"),
            value_cell(with_tolerance(f)),
            number_cell(_beyond(f)),
            number_cell(doubt_cell(f)),
            number_cell(units_cell(f)),
        ]
        for f in in_order(findings)
    ]
    heads = ["verdict", "asked", *valued_heads(findings), number_head("beyond tolerance"),
             number_head("doubt (95 %)"), number_head("units of doubt")]  # fmt: skip
    return table(heads, rows, caption="The required ones first, the furthest beyond doubt first", class_="summary")


def valued_heads(findings: Sequence[Finding]) -> list[Markup]:
    """The heads of the columns of what was found and expected."""
    return [
        value_head("found", [f.found or "-" for f in findings]),
        value_head("expected", [with_tolerance(f) for f in findings]),
    ]


def _beyond(finding: Finding) -> str:
    point = deciding(finding)
    if point is None or point.excess is None or not math.isfinite(point.excess):
        return "-"
    return amount(point.excess - point.limit, point.unit)


def doubt_cell(finding: Finding) -> str:
    """The doubt of the deciding number; ``-`` where there is none."""
    point = deciding(finding)
    return "-" if point is None or point.excess is None else doubt_words(point.w, point.unit)


def points_table(findings: Sequence[Finding]) -> Markup:
    """Every point of a sweep with its number, tolerance and doubt."""
    rows = [
        [
            point.label or "-",
            value_cell(point.found_text or "-"),
            value_cell(point.expected_text or "-"),
            number_cell(amount(point.limit, point.unit) if point.excess is not None else "-"),
            number_cell(amount(point.excess, point.unit)),
            number_cell(doubt_words(point.w, point.unit) if point.excess is not None else "-"),
            element("span", glyph(point.verdict), point.verdict, class_="chip"),
            point.note,
        ]
        for finding in findings
        for point in finding.points
    ]
    points = [point for finding in findings for point in finding.points]
    heads = ["point", value_head("found", [p.found_text or "-" for p in points]),
             value_head("expected", [p.expected_text or "-" for p in points]), number_head("tolerance"),
             number_head("beyond the expectation"), number_head("doubt (95 %)"), "verdict", "note"]  # fmt: skip
    return table(heads, rows, caption=f"Point by point: {findings[0].asked}")


def doubts_table(findings: Sequence[Finding]) -> Markup | None:
    """The doubt of the deciding point by its parts: each part as U95, and its share of the whole. None when nothing
    was measured."""
    rows = []
    for finding in findings:
        point = deciding(finding)
        if point is None or not point.doubts:
            continue
        for doubt in point.doubts:
            rows.append(_doubt_row(finding, point, doubt, several=len(findings) > 1))
        whole = "all parts together (root of the sum of squares)"
        lead = [finding.judgement] if len(findings) > 1 else []
        share = number_cell("100 %" if point.w > 0.0 else "-")
        rows.append([*lead, whole, "", number_cell(doubt_words(point.w, point.unit)), share])
    if not rows:
        return None
    lead = ["judgement"] if len(findings) > 1 else []
    heads = [*lead, "part", "how", number_head("doubt (95 %)"), number_head("share")]
    return table(heads, rows, caption=f"Uncertainty by part: {findings[0].case}")


def _doubt_row(finding: Finding, point: PointFinding, doubt: Doubt, *, several: bool) -> list[str | Markup]:
    lead: list[str | Markup] = [finding.judgement] if several else []
    if doubt.u is None:
        return [*lead, doubt.part, doubt.how, number_cell("not determined"), number_cell("-")]
    size = number_cell(doubt_words(COVERAGE * doubt.u, point.unit))
    if point.w <= 0.0:
        return [*lead, doubt.part, doubt.how, size, number_cell("-")]
    share = (COVERAGE * doubt.u / point.w) ** 2
    return [*lead, doubt.part, doubt.how, size, number_cell(f"{share:.0%}".replace("%", " %"))]
