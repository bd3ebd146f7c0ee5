"""Open findings over several records: when each was first and last seen, who has put it off, and until when.

Records are put in order of their dates. A finding is one judgement of one case by one sheet of one model; what another
model shows is another finding. Only required findings count, as everywhere.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tabulate import tabulate

from leverproof import CAUTION, __version__
from leverproof.judge.endings import ALL_PASSED, ENDINGS, FINDINGS, INVALID_INPUT, NOTHING_JUDGED
from leverproof.judge.model import Deferral, Finding
from leverproof.record.plain import to_plain
from leverproof.record.reader import Record, named
from leverproof.report.fold import failure_words
from leverproof.report.wording import amount, count, fill, visible

FORMAT = 1
OPEN, CLOSED, UNKNOWN = "open", "closed", "not judged since"
_HEADS = ("discrepancy", "state", "first seen", "last seen", "seen", "put off")
_SOON = 14
_IN_ORDER = (ALL_PASSED, FINDINGS, INVALID_INPUT, NOTHING_JUDGED)
_KEY = tuple[str, str, str, str]


@dataclass(frozen=True, slots=True)
class Sight:
    """A record in which a judgement was judged: its date, where it lies and the verdict."""

    date: str
    record: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Discrepancy:
    """One finding that was open somewhere. ``state`` is ``open``, ``closed`` (it passes in the last record that judged
    it) or ``not judged since``; ``seen`` is in how many of ``judged`` records it was open, ``first`` and ``last`` those
    of them; ``days`` is how many days its deferral still holds (below zero: it has expired)."""

    model: str
    sheet: str
    case: str
    judgement: str
    subject: str
    asked: str
    state: str
    verdict: str
    words: str
    first: Sight
    last: Sight
    seen: int
    judged: int
    deferral: Deferral | None = None
    deferral_state: str = ""
    days: int | None = None


def discrepancies(records: Sequence[Record], today: datetime.date) -> list[Discrepancy]:
    """Everything that was ever open in the records, each record once, what is open now first, then by first sight.
    ``today`` is the day on which deferrals are looked at."""
    once = {record.lines_sha256: record for record in records}.values()
    ordered = sorted(once, key=lambda record: (str(record.header.get("date", "")), str(record.folder)))
    seen: dict[_KEY, list[tuple[Sight, Finding]]] = {}
    newest: dict[tuple[str, str], Record] = {}
    for record in ordered:
        model, sheet = _model(record), str(named(record, "sheet").get("id") or "")
        newest[model, sheet] = record
        for finding in record.findings:
            if finding.weight == "required" and finding.verdict not in ("not applicable", "not run"):
                sight = Sight(str(record.header.get("date", "")), str(record.folder), finding.verdict)
                seen.setdefault((model, sheet, finding.case, finding.judgement), []).append((sight, finding))
    found = [
        _folded(key, sights, newest[key[:2]], today)
        for key, sights in seen.items()
        if any(is_open(finding) for _, finding in sights)
    ]
    order = {OPEN: 0, UNKNOWN: 1, CLOSED: 2}
    return sorted(found, key=lambda d: (order[d.state], d.first.date, d.model, d.sheet, d.case, d.judgement))


def is_open(finding: Finding) -> bool:
    """Whether a finding stands open: it does not pass, put off or not. What is blocked is open by its cause."""
    return ENDINGS[finding.verdict].passed is False and finding.verdict != "blocked"


def _model(record: Record) -> str:
    said = next((event.data for event in record.events if event.kind == "handshake"), {})
    return str(said.get("model") or named(record, "stand").get("title") or "a model")


def _folded(key: _KEY, sights: Sequence[tuple[Sight, Finding]], newest: Record, today: datetime.date) -> Discrepancy:
    opened = [(sight, finding) for sight, finding in sights if is_open(finding)]
    last_sight, last = sights[-1]
    judged_last = last_sight.record == str(newest.folder)
    state = (OPEN if judged_last else UNKNOWN) if is_open(last) or last.verdict == "blocked" else CLOSED
    told = opened[-1][1]
    put_off = told.deferral if state != CLOSED else None
    return Discrepancy(
        *key,
        subject=told.subject,
        asked=told.asked,
        state=state,
        verdict=last.verdict,
        words=_words(told),
        first=opened[0][0],
        last=opened[-1][0],
        seen=len(opened),
        judged=len(sights),
        deferral=put_off,
        deferral_state=told.deferral_state if put_off is not None else "",
        days=_days(put_off, today),
    )


def _words(finding: Finding) -> str:
    """What was found; where nothing could be, why."""
    if finding.found or finding.number is not None:
        return failure_words(finding)
    return f"{finding.case}/{finding.judgement}: {finding.note.partition(chr(10))[0] or 'nothing was found'}"


def unfinished(records: Sequence[Record]) -> list[str]:
    """The records whose runs did not end in order, one sentence each: what they did not come to is in no list."""
    return [
        f"{record.folder} is of a run that did not end in order ({record.ending}): "
        "what it had not judged by then is not among these"
        for record in records
        if int((record.footer or {}).get("exit", -1)) not in _IN_ORDER
    ]


def _days(put_off: Deferral | None, today: datetime.date) -> int | None:
    """Days that a deferral still holds, today not counted; None without one, or with a date that is none."""
    try:
        return None if put_off is None else (datetime.date.fromisoformat(put_off.expires) - today).days
    except ValueError:
        return None


def render(
    found: Sequence[Discrepancy], records: int, *, closed: bool, remarks: Sequence[str] = (), width: int = 110
) -> str:
    """The list as text of about ``width`` columns; with ``closed`` also what is open no more. ``remarks`` are about the
    records, as :func:`unfinished` has them."""
    shown = [one for one in found if closed or one.state != CLOSED]
    several = len({(one.model, one.sheet) for one in found}) > 1
    lines = [headline(found, records), *(fill(f"note: {remark}", width, hang="      ") for remark in remarks), ""]
    if shown:
        room = max(18, (width - 62) // 2)
        rows = [[fill(visible(text), room) if text else "" for text in _row(one, several)] for one in shown]
        lines += [tabulate(rows, _HEADS, disable_numparse=True), ""]
    for one in shown:
        lines.append(fill(f"{one.words}; {one.asked}", width, indent="  ", hang="      "))
    return "\n".join([*lines, *([""] if shown else []), fill(CAUTION, width)]) + "\n"


def headline(found: Sequence[Discrepancy], records: int) -> str:
    """How many are open, put off, about to be due, over, closed."""
    opened = [one for one in found if one.state != CLOSED]
    put_off = [one for one in opened if one.deferral is not None]
    over = sum(one.days is not None and one.days < 0 for one in put_off)
    soon = sum(one.days is not None and 0 <= one.days <= _SOON for one in put_off)
    parts = [f"{count(len(opened), 'open discrepancy', 'open discrepancies')} in {count(records, 'record')}"]
    parts += [f"{len(put_off)} put off"] if put_off else []
    parts += [f"{over} put off until a day that is over"] if over else []
    parts += [f"{soon} due within {_SOON} days"] if soon else []
    parts += [f"{len(found) - len(opened)} closed"] if len(found) > len(opened) else []
    return ", ".join(parts)


def _row(one: Discrepancy, several: bool) -> Iterator[str]:
    yield f"{one.case}/{one.judgement}" + (f" ({one.model}, {one.sheet})" if several else "")
    yield f"{one.state}: {one.verdict}"
    yield one.first.date[:10] or "-"
    yield one.last.date[:10] or "-"
    yield f"{one.seen} of {one.judged}"
    yield deferral_words(one)


def deferral_words(one: Discrepancy) -> str:
    """Who has put it off until when, and what that is worth today."""
    held = one.deferral
    if held is None:
        return "-" if one.state == CLOSED else "no"
    limit = held.unit if held.limit is None else amount(held.limit, held.unit)
    if one.days is None:
        left = "no day"
    elif one.days < 0:
        left = f"over for {count(-one.days, 'day')}"
    else:
        left = f"{count(one.days, 'day')} left"
    return f"{held.owner} until {held.expires} ({left}), at most {limit}: {held.reason}"


def render_json(found: Sequence[Discrepancy], records: int, today: datetime.date, remarks: Sequence[str] = ()) -> str:
    """Everything as one object; ``discrepancies.schema.json`` among the schemas describes it."""
    document: dict[str, Any] = {
        "format": FORMAT,
        "program": "leverproof",
        "version": __version__,
        "caution": CAUTION,
        "today": today.isoformat(),
        "records": records,
        "remarks": list(remarks),
        "discrepancies": [asdict(one) for one in found],
    }
    return json.dumps(to_plain(document), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
