"""The test guide as one page: opening, findings, parts, and what the page's own script draws them from."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Sequence
from importlib.resources import files

from leverproof.judge.model import Finding
from leverproof.record.reader import Record
from leverproof.report.by_eye import Item
from leverproof.report.fold import all_findings, mounted, selected
from leverproof.report.html import front
from leverproof.report.html.claim import in_order, is_open
from leverproof.report.html.evidence import CaseEvidence, of_case, plot_data
from leverproof.report.html.figures import data_id
from leverproof.report.html.glyphs import sprite
from leverproof.report.html.markup import Markup, data_script, element
from leverproof.report.html.part import anchor, parts
from leverproof.report.wording import count


def render(record: Record, *, by_eye: Sequence[Item] = ()) -> str:
    """The page as text. It holds everything that it needs; a browser is told to fetch nothing and to run only the
    script that came with it."""
    findings = all_findings(record)
    cases = list(_cases(record, findings))
    opened = [case for case in cases if any(map(is_open, case.findings))]
    quiet = [case for case in cases if not any(map(is_open, case.findings)) and _applied(case)]
    script = "\n".join(map(_asset, ("vendor/uPlot.iife.min.js", "numbers.js", "guide.js")))
    body = [
        Markup('<a class="skip" href="#findings">Skip to the open findings</a>'),
        sprite(),
        front.banner(record, findings),
        _contents(opened),
        element("main", *_main(record, findings, opened, quiet, by_eye)),
        element("footer", element("p", "Made by leverproof from a record; plots by uPlot 1.6.32, MIT licence.")),
        *(data_script(data_id(c.planned.case.id), plot_data(c)) for c in (*opened, *quiet) if c.histories),
        Markup(f"<script>{script}</script>"),
    ]
    head = element("head", *_head(record, script))
    return f"<!doctype html>\n{element('html', head, element('body', *body), lang='en')}\n"


def _head(record: Record, script: str) -> Iterator[Markup]:
    """Title, style, and a policy under which nothing is fetched and no script runs but ours."""
    said = mounted(record)
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    policy = f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'; base-uri 'none'"
    yield Markup('<meta charset="utf-8">')
    yield Markup(f'<meta http-equiv="Content-Security-Policy" content="{policy}; form-action \'none\'">')
    yield Markup('<meta name="viewport" content="width=device-width, initial-scale=1">')
    yield Markup('<meta name="color-scheme" content="light dark">')
    yield element("title", f"Test guide: {said.get('model') or said.get('stand') or 'a model'}")
    yield Markup(f"<style>{_asset('vendor/uPlot.min.css')}\n{_asset('guide.css')}</style>")


def _asset(name: str) -> str:
    return files("leverproof.report.html").joinpath(name).read_text("utf-8")


def _cases(record: Record, findings: Sequence[Finding]) -> Iterator[CaseEvidence]:
    """Every case that was asked for: those of the worst finding first, the rest as planned."""
    by_case: dict[str, list[Finding]] = {}
    for finding in in_order(findings):
        by_case.setdefault(finding.case, []).append(finding)
    planned = {case.case.id: case for case in selected(record)}
    worst_first = [name for name, own in by_case.items() if any(map(is_open, own))]
    for name in dict.fromkeys([*worst_first, *planned]):
        if name in planned:
            yield of_case(record, planned[name], [f for f in findings if f.case == name])


def _applied(case: CaseEvidence) -> bool:
    return any(finding.verdict != "not applicable" for finding in case.findings)


def _main(
    record: Record,
    findings: Sequence[Finding],
    opened: Sequence[CaseEvidence],
    quiet: Sequence[CaseEvidence],
    by_eye: Sequence[Item],
) -> Iterator[Markup]:
    yield front.tested(record)
    yield front.claimed(findings)
    yield front.verdicts(findings)
    yield front.rungs(record, findings)
    yield front.opened(findings, parts(record, opened))
    yield front.section("passed", parts(record, quiet) if quiet else element("p", "There are none."))
    yield front.put_aside(record, findings)
    yield front.by_eye(by_eye)
    yield front.noticed(record)
    yield front.how_to_read()


def _contents(opened: Sequence[CaseEvidence]) -> Markup:
    """Links to the sections, and to the part of every case with an open finding."""
    items = []
    for key, title in front.SECTIONS.items():
        link = element("a", title, href=f"#{key}")
        below = None
        if key == "findings" and opened:
            links = [element("li", _link(case)) for case in opened]
            below = element(
                "details",
                element("summary", count(len(opened), "case")),
                element("ul", links),
                open=len(opened) <= 20,
            )
        items.append(element("li", link, below))
    return element("nav", element("ul", items), aria_label="Contents", class_="contents")


def _link(case: CaseEvidence) -> Markup:
    return element("a", case.planned.case.title or case.planned.case.id, href=f"#{anchor(case.planned.case.id)}")
