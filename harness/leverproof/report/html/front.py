"""What the guide opens with: what was tested, the claim in four parts, counts, the ladder, and the open findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from leverproof import CAUTION
from leverproof.judge.endings import ENDINGS, FINDINGS, Counts, counts, unsupported_subjects
from leverproof.judge.model import VERDICTS, Finding
from leverproof.record.reader import Record
from leverproof.report.by_eye import TITLE, Item, words
from leverproof.report.fold import (
    blocked,
    by_subject,
    ending_words,
    fails,
    left_out,
    mounted,
    notices,
    occurring,
    put_off,
    widened,
)
from leverproof.report.html.claim import PARTS, claim, is_open, ladder
from leverproof.report.html.findings import summary_table
from leverproof.report.html.glyphs import glyph
from leverproof.report.html.markup import Markup, element, joined, number_cell, number_head, table
from leverproof.report.html.part import anchor
from leverproof.report.wording import count

SECTIONS = {
    "tested": "What was tested",
    "claim": "What may be claimed",
    "counts": "Verdicts",
    "ladder": "The ladder of subjects",
    "findings": "Open findings",
    "passed": "Cases without open findings",
    "left-out": "Put off, blocked, not applicable",
    "by-eye": TITLE,
    "notices": "Noticed during the run",
    "reading": "How to read this guide",
}

_STATE_GLYPHS = {
    "holds": "pass", "fails": "fail", "blocked": "blocked", "open": "inconclusive", "put off": "deferred",
    "nothing shown": "not applicable", "not asked": "not run",
}  # fmt: skip


def headline(findings: Sequence[Finding]) -> str:
    """The result in one sentence."""
    counted = counts(findings).required
    judged = sum(counted.values()) - counted["not applicable"]
    failed = sum(1 for finding in findings if fails(finding))
    passed = counted["pass"] + counted["conditional pass"]
    if not judged:
        return "Nothing was judged."
    if failed:
        missed = [f"{counted[v]:,} {v}" for v in VERDICTS if ENDINGS[v].exit == FINDINGS and counted[v]]
        return f"{failed:,} of {count(judged, 'required judgement')} did not pass: {', '.join(missed)}."
    if passed == judged:
        return f"All {count(judged, 'required judgement')} passed."
    return f"{passed:,} of {count(judged, 'required judgement')} passed; none failed."


def banner(record: Record, findings: Sequence[Finding]) -> Markup:
    """The head of the page."""
    said = mounted(record)
    subject = said.get("model") or said.get("stand") or "a model"
    return element(
        "header",
        element("p", "leverproof test guide", class_="kicker"),
        element("h1", subject),
        element("p", headline(findings), class_="headline"),
        element("p", f"Ending: {ending_words(record)}."),
        element("p", CAUTION, class_="caution"),
    )


def section(key: str, *inside: Markup | None) -> Markup:
    """One section of the page under its heading."""
    return element("section", element("h2", SECTIONS[key]), *inside, id=key)


def tested(record: Record) -> Markup:
    """What was run against what, when and where, with the build of the harness."""
    pairs = mounted(record)
    build = f"leverproof {record.header.get('version', 'unknown')}, record format {record.header.get('format')}"
    if record.header.get("suite"):
        build += f", suite {record.header['suite']}"
    pairs["judged by"] = build
    command = record.header.get("command")
    if isinstance(command, list) and command:
        pairs["command"] = " ".join(str(word) for word in command)
    digest = (record.footer or {}).get("lines_sha256")
    if digest:
        pairs["record, SHA-256 of its lines"] = str(digest)
    return section("tested", element("dl", [[element("dt", k), element("dd", v)] for k, v in pairs.items()]))


def claimed(findings: Sequence[Finding]) -> Markup:
    """The claim, split into its four parts, each by subject."""
    cards = []
    for part, some in claim(findings).items():
        lines = [
            element("li", f"{subject}: ", element("span", _tally(own), class_="sub"))
            for subject, own in by_subject(some).items()
        ]
        cards.append(
            element(
                "div",
                element("h3", part.capitalize(), " ", element("span", f"{len(some):,}", class_="n")),
                element("p", PARTS[part]),
                element("ul", lines) if lines else element("p", "None.", class_="sub"),
                class_="card",
            )
        )
    resting = unsupported_subjects(findings)
    told = "Nothing is shown of these subjects, because every pass rests on data of the model itself: "
    note = element("p", told, ", ".join(resting), class_="alarm") if resting else None
    return section("claim", element("div", cards, class_="cards"), note)


def _tally(findings: Sequence[Finding]) -> str:
    tally: dict[str, int] = {}
    for finding in findings:
        own = " (self-referential)" if finding.self_referential else ""
        tally[finding.verdict + own] = tally.get(finding.verdict + own, 0) + 1
    return ", ".join(f"{n} {verdict}" for verdict, n in tally.items())


def verdicts(findings: Sequence[Finding]) -> Markup:
    """Counts by verdict; passes that rest on the model's own data stand apart and never count as passed."""
    counted = counts(findings)
    columns = {"required": counted.required, "advisory": counted.advisory, **_apart(counted)}
    rows: list[list[Markup | str]] = [
        [joined([glyph(v), " ", v]), *(number_cell(f"{held.get(v, 0):,}") for held in columns.values())]
        for v in occurring(counted)
    ]
    rows.append(["in all", *(number_cell(f"{sum(held.values()):,}") for held in columns.values())])
    heads = ["verdict", *(number_head(name) for name in columns)]
    return section("counts", table(heads, rows, caption="Judgements by verdict", class_="narrow"))


def _apart(counted: Counts) -> dict[str, dict[str, int]]:
    out = {"self-referential (not counted as passed)": counted.self_referential}
    return out | {"of these loosened": counted.loosened} if any(counted.loosened.values()) else out


def rungs(record: Record, findings: Sequence[Finding]) -> Markup:
    """The ladder: every subject, what it stands on and how it stands, the lowest first."""
    rows = [
        [
            rung.subject,
            joined([glyph(_STATE_GLYPHS[rung.state]), " ", rung.state]),
            ", ".join(rung.stands_on) or "-",
            number_cell(str(rung.passed)),
            number_cell(str(rung.failed)),
            *(number_cell(str(rung.parts[part])) for part in list(PARTS)[1:]),
        ]
        for rung in ladder(record, findings)
    ]
    heads = ["subject", "stands", "stands on", *map(number_head, ("passed", "failed", *list(PARTS)[1:]))]
    told = "Where a lower subject fails, what stands on it is blocked and not counted twice."
    return section("ladder", element("p", told), table(heads, rows, caption="Subjects, the lowest rung first"))


def opened(findings: Sequence[Finding], parts: Markup) -> Markup:
    """The open findings: a table, then the part of each of their cases."""
    some = [finding for finding in findings if is_open(finding)]
    if not some:
        return section("findings", element("p", "There are none."))
    return section("findings", summary_table(some, anchor), parts)


def put_aside(record: Record, findings: Sequence[Finding]) -> Markup:
    """What was put off, loosened, blocked or did not apply, each with its reason."""
    groups = {
        "Put off": put_off(findings),
        "Tolerances loosened by the user": widened(findings),
        "Blocked": blocked(findings),
        "Not applicable": left_out(record, findings),
    }
    inside = [
        element("details", element("summary", element("h3", f"{title} ({len(lines):,})")), _list(lines), class_="fold",
                open=title not in ("Blocked", "Not applicable"))
        for title, lines in groups.items()
        if lines
    ]  # fmt: skip
    return section("left-out", *(inside or [element("p", "Nothing.")]))


def by_eye(items: Sequence[Item]) -> Markup:
    """What a reviewer has judged by eye, apart from what was measured."""
    lines = words(items)
    return section("by-eye", _list(lines) if lines else element("p", "Nothing was handed in."))


def noticed(record: Record) -> Markup:
    """Warnings and problems of the run."""
    lines = list(notices(record))
    return section("notices", _list(lines) if lines else element("p", "Nothing."))


def _list(lines: Sequence[str]) -> Markup:
    return element("ul", [element("li", line) for line in lines])


def how_to_read() -> Markup:
    """What words, numbers, shapes and keys mean on this page."""
    return section("reading", element("dl", [[element("dt", h), element("dd", t)] for h, t in _reading()]))


def _reading() -> Iterator[tuple[str, str]]:
    yield "doubt", "An expanded uncertainty (95 %): twice the root of the sum of squares of its named parts."
    yield (
        "units of doubt",
        "How far a number lies beyond its tolerance, divided by its doubt. Positive is beyond; more than one is a "
        "fail that the doubt cannot explain, between nought and one a conditional fail.",
    )
    yield (
        "self-referential",
        "The expected value was obtained from the model under test. Such a judgement can fail, and never counts as "
        "passed.",
    )
    yield (
        "plots",
        "Curves on the screen are thinned: at most 480 points a channel, the least and the greatest value of each "
        "stretch of samples, so that no peak is lost, placed within their stretch. Five seconds on either side of "
        "judged instants of open findings are drawn sample by sample. Values are kept to one part in 65,534 of the "
        "curve's own range. The record holds every sample. A difference is taken at equal time since the start: "
        "between the thinned curves in a plot on the screen, between all samples in a still figure.",
    )
    yield (
        "keys in a plot",
        "Left and right move the reading line, with Shift they move the view; + and - zoom, 0 shows the whole run. "
        "Dragging zooms too.",
    )
    yield (
        "printing",
        "Every open finding prints with its still figures. What is folded prints as its heading only.",
    )
    yield "origin", "Made from the record alone; this file fetches nothing and sends nothing."
