"""Reading what a user puts off or loosens: one TOML file, held against the catalogue of cases.

A file with anything wrong in it forgives nothing: it is refused as a whole, and the cases run as if it were not there.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from leverproof.cases.catalogue import Catalogue
from leverproof.cases.model import Judgement, ReferenceCase
from leverproof.conduct.resolve import judged_unit
from leverproof.engine_ids import case_and_engine
from leverproof.errors import InputError, UsageError, nearest
from leverproof.judge.model import TOLERANCES, UNMEASURED, Deferral
from leverproof.quantities import parse
from leverproof.schema import check
from leverproof.sheet.error_line import with_line
from leverproof.toml_file import parse_toml, read_text

WORDED = ("state", "ending", "same")
"""Judgements of words, which are right or wrong and never off by so much."""


@dataclass(frozen=True, slots=True)
class Loosening:
    """A tolerance made ``times`` as wide by its owner, with the reason."""

    case: str
    judgement: str
    times: float
    owner: str
    reason: str


@dataclass(frozen=True, slots=True)
class Allowed:
    """What a file of deferrals holds, its ``text`` as it was read, and what is wrong with it: then it holds nothing."""

    deferrals: tuple[Deferral, ...] = ()
    loosenings: tuple[Loosening, ...] = ()
    text: str = ""
    problems: tuple[InputError, ...] = ()


NOTHING = Allowed()


def read_deferrals(path: str | None, today: datetime.date | None, catalogue: Catalogue) -> Allowed:
    """What the file at ``path`` allows, nothing without one. Raises :class:`UsageError` where nobody says what day it
    is."""
    if path is None:
        return NOTHING
    if today is None:
        raise UsageError("deferrals expire, and nothing says what day it is", "--deferrals", "pass today")
    text = ""
    try:
        text = read_text(path, what="deferral file")
        return replace(parse_deferrals(text, path, catalogue), text=text)
    except InputError as problem:
        return Allowed(text=text, problems=(problem,))


def parse_deferrals(text: str, where: str, catalogue: Catalogue) -> Allowed:
    """The deferrals and loosenings in a file; ``where`` names it in errors, which also name key and line.

    Raises :class:`InputError` for anything that is not so: a case or judgement that is not there, a limit of the wrong
    dimension, a date that is none, a loosening of what has no tolerance."""
    document = parse_toml(text, where)
    check(_dated(document), "deferrals", where, text=text)
    try:
        deferrals = [
            _deferral(entry, f"{where}: deferral[{i}]", catalogue)
            for i, entry in enumerate(document.get("deferral", ()))
        ]
        loosenings = [
            _loosening(entry, f"{where}: loosening[{i}]", catalogue)
            for i, entry in enumerate(document.get("loosening", ()))
        ]
        _unique(((d.case, d.judgement) for d in deferrals), f"{where}: deferral")
        _unique(((e.case, e.judgement) for e in loosenings), f"{where}: loosening")
    except InputError as error:
        raise with_line(error, where, text) from None
    return Allowed(tuple(deferrals), tuple(loosenings))


def _dated(value: Any, key: str = "") -> Any:
    """The document with a day of expiry as the text that it is written as, which a schema knows."""
    if isinstance(value, Mapping):
        return {name: _dated(item, name) for name, item in value.items()}
    if isinstance(value, list):
        return [_dated(item) for item in value]
    return value.isoformat() if key == "expires" and isinstance(value, datetime.date) else value


def _deferral(entry: Mapping[str, Any], where: str, catalogue: Catalogue) -> Deferral:
    named = case_and_engine(entry["case"])[0]
    case, judgement = _judgement({**entry, "case": named}, where, catalogue)
    if judgement.weight != "required":
        raise InputError(
            f"{case.id}/{judgement.id} is advisory: it changes no ending, so nothing can be put off",
            f"{where}.judgement",
            "remove the deferral",
            "deferral",
        )
    return Deferral(
        entry["case"],
        judgement.id,
        entry["owner"],
        entry["reason"],
        _date(entry["expires"], f"{where}.expires").isoformat(),
        *_limit(entry["limit"], f"{where}.limit", case, judgement),
    )


def _judgement(entry: Mapping[str, Any], where: str, catalogue: Catalogue) -> tuple[ReferenceCase, Judgement]:
    known = {case.id: case for case in catalogue.cases}
    case = known.get(entry["case"])
    if case is None:
        raise InputError(f"no case {entry['case']!r}", f"{where}.case", nearest(entry["case"], known), "case")
    asked = {judgement.id: judgement for judgement in case.judgements}
    judgement = asked.get(entry["judgement"])
    if judgement is None:
        raise InputError(
            f"{case.id} has no judgement {entry['judgement']!r}",
            f"{where}.judgement",
            nearest(entry["judgement"], asked),
            "judgement",
        )
    return case, judgement


def _date(written: object, where: str) -> datetime.date:
    try:
        if isinstance(written, datetime.date) and not isinstance(written, datetime.datetime):
            return written
        if isinstance(written, str):
            return datetime.date.fromisoformat(written)
    except ValueError:
        pass
    raise InputError(f"{str(written)!r} is no date", where, "write year-month-day, such as 2026-12-31", "date")


def _limit(written: str, where: str, case: ReferenceCase, judgement: Judgement) -> tuple[float | None, str]:
    """How far off a deferred finding may be, and in what unit."""
    worded = judgement.what in WORDED or judgement.measure == "monotone"
    if worded != (written == UNMEASURED):
        hint = f"write limit = {UNMEASURED!r}" if worded else "say how far off it may be, such as '1.5 inHg'"
        raise InputError(f"{judgement.id} is{'' if worded else ' not'} a judgement of words", where, hint, "limit")
    if worded:
        return None, UNMEASURED
    number, _, unit = written.strip().partition(" ")
    symbol = judged_unit(judgement, case.sweep.points[0].unit if case.sweep is not None else "1")
    if unit.strip() == TOLERANCES:
        if judgement.tolerance is None:
            raise InputError(f"{judgement.id} has no tolerance", where, f"give the limit in {symbol}", "limit")
        unit, value = TOLERANCES, parse(number, where).value
    elif judgement.what in ("grid_step", "unmoved"):
        raise InputError(f"{judgement.id} compares channels of several units", where, "write '3 tolerances'", "limit")
    else:
        unit, value = symbol, parse(written, where).difference_in(symbol, where)
    if not 0.0 < value < float("inf"):
        raise InputError("a limit must be above zero", where, "say how far off it may be", "range")
    return value, unit


def _loosening(entry: Mapping[str, Any], where: str, catalogue: Catalogue) -> Loosening:
    case, judgement = _judgement(entry, where, catalogue)
    if judgement.tolerance is None:
        raise InputError(
            f"{case.id}/{judgement.id} has no tolerance to loosen",
            f"{where}.judgement",
            "defer it, or write a case of your own",
            "tolerance",
        )
    return Loosening(case.id, judgement.id, float(entry["times"]), entry["owner"], entry["reason"])


def _unique(names: Iterable[tuple[str, str]], where: str) -> None:
    seen: set[tuple[str, str]] = set()
    for index, name in enumerate(names):
        if name in seen:
            raise InputError(f"{'/'.join(name)} is named twice", f"{where}[{index}]", "keep one of them", "duplicate")
        seen.add(name)


def loosened(cases: Iterable[ReferenceCase], loosenings: Iterable[Loosening]) -> tuple[ReferenceCase, ...]:
    """The cases with the tolerances named made wider, each saying so."""
    wider = {(entry.case, entry.judgement): entry for entry in loosenings}
    return tuple(
        replace(case, judgements=tuple(_wider(j, wider.get((case.id, j.id))) for j in case.judgements))
        for case in cases
    )


def _wider(judgement: Judgement, entry: Loosening | None) -> Judgement:
    if entry is None or judgement.tolerance is None:
        return judgement
    words = f"loosened to {entry.times:g} times what the case states, by {entry.owner}: {entry.reason}"
    return replace(judgement, tolerance=replace(judgement.tolerance, times=entry.times, loosened=words))
