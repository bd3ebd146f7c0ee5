"""What a reviewer has judged by eye: items with name and date in a file of their own, beside a record and never in it.

They are no findings: no report counts them, and none changes an ending.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from leverproof.errors import InputError, UsageError, nearest
from leverproof.record.reader import Record
from leverproof.schema import check
from leverproof.sheet.error_line import with_line
from leverproof.there import is_there
from leverproof.toml_file import parse_toml, read_text

TITLE = "Judged by eye, not measured"
RUN = "run"
SAYS = {"looks_right": "looks right", "looks_wrong": "looks wrong", "remark": "remark"}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing judged by eye: ``about`` is a case, ``CASE/JUDGEMENT`` or ``run``; ``says`` a key of :data:`SAYS`."""

    reviewer: str
    date: str
    about: str
    says: str
    text: str


def read_by_eye(path: str, record: Record) -> tuple[Item, ...]:
    """The items in the file at ``path``, held against the record. Raises :class:`InputError` with file, line and key
    for anything that is not so: an unknown case, a date that is none, an item without a name."""
    return parse_by_eye(read_text(path, what="file of items judged by eye"), path, record)


def parse_by_eye(text: str, where: str, record: Record) -> tuple[Item, ...]:
    """The items in ``text``; raises as :func:`read_by_eye`."""
    document = parse_toml(text, where)
    held = document.get("item", [])
    plain = {**document, "item": [_dated(entry) for entry in held] if isinstance(held, list) else held}
    check(plain, "by-eye", where, text=text)
    try:
        return tuple(_item(entry, f"{where}: item[{i}]", record) for i, entry in enumerate(plain["item"]))
    except InputError as error:
        raise with_line(error, where, text) from None


def _dated(entry: Any) -> Any:
    """A date may be written as TOML's own or as text."""
    if isinstance(entry, dict) and isinstance(entry.get("date"), datetime.date | datetime.time):
        return {**entry, "date": entry["date"].isoformat()}
    return entry


def _item(entry: dict[str, str], where: str, record: Record) -> Item:
    try:
        datetime.date.fromisoformat(entry["date"])
    except ValueError:
        raise InputError(f"{entry['date']!r} is no date", f"{where}.date", "such as 2026-12-31", "date") from None
    known = abouts(record)
    if entry["about"] not in known:
        hint = nearest(entry["about"], known)
        raise InputError(f"the record knows no {entry['about']!r}", f"{where}.about", hint, "about")
    return Item(entry["reviewer"], entry["date"], entry["about"], entry["says"], entry["text"])


def abouts(record: Record) -> list[str]:
    """What an item may be about: the run, each case, each judgement."""
    out = {RUN: None}
    for planned in record.expectations:
        out[planned.case.id] = None
        out |= {f"{planned.case.id}/{judgement.id}": None for judgement in planned.case.judgements}
    return list(out)


def words(items: Sequence[Item]) -> list[str]:
    """Every item in one sentence: what about, what is said of it, by whom and when."""
    return [f"{i.about}, {SAYS[i.says]}: {i.text} ({i.reviewer}, {i.date})" for i in items]


def with_item(path: Path, item: Item, record: Record) -> str:
    """The text of the file at ``path`` with one more item at its end; a new file where there is none. Raises
    :class:`InputError` when the file there is not one of items, or the item is not one of the record."""
    text = read_text(path, what="file of items judged by eye") if is_there(path) else "format = 1\n"
    written = "\n".join(f"{key} = {_toml(getattr(item, key))}" for key in ("reviewer", "about", "says", "text"))
    whole = f"{text.rstrip()}\n\n[[item]]\ndate = {_day(item.date)}\n{written}\n"
    parse_by_eye(whole, str(path), record)
    return whole


def _day(written: str) -> str:
    try:
        return datetime.date.fromisoformat(written).isoformat()
    except ValueError:
        raise UsageError(f"{written!r} is no date", "--date", "write year-month-day, such as 2026-12-31") from None


def _toml(text: str) -> str:
    """A text as TOML writes it on one line."""
    escaped = json.dumps(text.encode("utf-8", "replace").decode("utf-8"), ensure_ascii=False)
    return "".join(c if c != "\x7f" else "\\u007f" for c in escaped)
