"""The table of one subject: columns that fit the width, numbers and units under one another."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from tabulate import tabulate

from leverproof.judge.model import Finding
from leverproof.report.fold import verdict_words, with_tolerance
from leverproof.report.wording import visible

_HEADINGS = ("case", "asked", "found", "expected", "basis", "verdict")
_CASE, _ASKED, _FOUND, _EXPECTED, _BASIS, _VERDICT = range(6)
LEAST = (14, 16, 12, 12, 9, 11)
GAP = 2
_NARROW_HEADINGS = ("case\n- asked", "found", "expected\n(basis)", "verdict")
_NARROW_LEAST = (15, 12, 12, 12)
_WIDEST = 60
_COLOURS = {"pass": "32", "conditional pass": "36", "fail": "31", "conditional fail": "31", "error": "35"}
_FAINT = ("not applicable", "not run", "blocked", "deferred")
_PLACED = re.compile(r"^at ([^:]+): (.+)$")
_DETAILED = re.compile(r"^(-?[\d,.]+[^()]*?) \(.*\)$")
_NUMBER = re.compile(r"^(-?[\d,]+)(\.\d{1,5})?( .*|$)")


def subject_table(findings: Sequence[Finding], width: int, *, colour: bool) -> str:
    """The findings of a subject as a table of about ``width`` columns; a case is named once. Where six columns find no
    room, what is asked stands under the case and the basis under what is expected."""
    narrow = width < sum(LEAST) + GAP * (len(LEAST) - 1)
    rows = [[visible(cell) for cell in _cells(finding)] for finding in findings]
    places = _split_places(rows)
    _align(rows)
    for row, before, finding in zip(rows[1:], findings, findings[1:], strict=False):
        if before.case == finding.case:
            row[_CASE] = ""
    stacks = [_stacks(row, place, narrow=narrow) for row, place in zip(rows, places, strict=True)]
    headings, least = (_NARROW_HEADINGS, _NARROW_LEAST) if narrow else (_HEADINGS, LEAST)
    widths = _widths(headings, least, stacks, width)
    shown = []
    for stack, finding in zip(stacks, findings, strict=True):
        cells = [[line for part in parts for line in _wrap(part, w)] for parts, w in zip(stack, widths, strict=True)]
        cells[-1] = [painted(line, finding.verdict, colour=colour) for line in cells[-1]]
        shown.append(["\n".join(cell) for cell in cells])
    return tabulate(shown, headings, tablefmt="simple", disable_numparse=True, preserve_whitespace=True)


def _stacks(row: Sequence[str], place: str, *, narrow: bool) -> list[list[str]]:
    """For each column the texts that stand under one another in it; ``place`` is where the found number was."""
    found = [row[_FOUND], place] if place else [row[_FOUND]]
    if not narrow:
        return [found if column == _FOUND else [text] for column, text in enumerate(row)]
    asked = f"- {row[_ASKED]}"
    return [
        [row[_CASE], asked] if row[_CASE] else [asked],
        found,
        [row[_EXPECTED], f"({row[_BASIS]})"],
        [row[_VERDICT]],
    ]


def painted(text: str, verdict: str, *, colour: bool) -> str:
    """``text`` in the colour of its verdict."""
    code = "2" if verdict in _FAINT else _COLOURS.get(verdict, "33")
    return f"\x1b[{code}m{text}\x1b[0m" if colour and text else text


def _cells(finding: Finding) -> tuple[str, ...]:
    return (
        finding.case,
        finding.asked,
        finding.found or "-",
        with_tolerance(finding),
        finding.basis,
        verdict_words(finding),
    )


def _split_places(rows: list[list[str]]) -> list[str]:
    """Takes the point of a sweep out of what was found, and the numbers that a found number was made of: the first
    goes on a line of its own, the second are in the other reports and with the failures."""
    places = []
    for row in rows:
        placed = _PLACED.match(row[_FOUND])
        found = placed.group(2) if placed else row[_FOUND]
        detailed = _DETAILED.match(found)
        row[_FOUND] = detailed.group(1) if detailed else found
        places.append(f"at {placed.group(1)}" if placed else "")
    return places


def _align(rows: list[list[str]]) -> None:
    """Puts the decimal points of the found numbers under one another, and their units too."""
    found = [_NUMBER.match(row[_FOUND]) for row in rows]
    whole = max((len(match.group(1)) for match in found if match), default=0)
    decimals = max((len(match.group(2) or "") for match in found if match), default=0)
    for row, match in zip(rows, found, strict=True):
        if match:
            row[_FOUND] = f"{match.group(1):>{whole}}{match.group(2) or '':<{decimals}}{match.group(3)}".rstrip()


def _widths(
    headings: Sequence[str], leasts: Sequence[int], stacks: Sequence[Sequence[Sequence[str]]], width: int
) -> list[int]:
    """Column widths that fit: the widest columns give way first, none below its least."""
    natural = []
    for column, heading in enumerate(headings):
        texts = [text for stack in stacks for text in stack[column]]
        lines = [f"{line}  " for line in heading.split("\n")]  # tabulate sets them two wider
        natural.append(max(len(text) for text in [*lines, *texts]))
    widths = [min(n, _WIDEST) for n in natural]
    room = width - GAP * (len(widths) - 1)
    while sum(widths) > room:
        spare = [(w - least, -i) for i, (w, least) in enumerate(zip(widths, leasts, strict=True))]
        most, index = max(spare)
        if most <= 0:
            break
        widths[-index] -= 1
    return widths


def _wrap(cell: str, width: int) -> list[str]:
    return textwrap.wrap(cell, width, break_on_hyphens=True) or [""]
