"""Reading a filled table: every mistake is an :class:`InputError` with file, line, column, and what was expected.

Comma, semicolon or tab separated; where commas do not separate, a decimal comma is read too. Nothing in a cell is ever
executed: a cell that a spreadsheet would take as a formula is text that is no number."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from leverproof.channels import CHANNELS
from leverproof.conduct.airframe import AIRSPEED
from leverproof.conduct.card import ELSEWHERE, Card, Row
from leverproof.conduct.noted_table import DIVISION, ENDED, INDICATED, STEADY, Column, columns_of, head_of
from leverproof.errors import InputError, nearest
from leverproof.quantities import Quantity, convert, unit

MOST_LINES, LONGEST_CELL = 2_000, 200
_HEAD = re.compile(r"^([A-Za-z_][A-Za-z_ 0-9]*?)\s*(?:[\[(]([^\])]*)[\])])?$")
_MADE = re.compile(r"^#\s*engine sheet (\S+), revision .*, seed (\d+)$")
_MARK = re.compile(r"^#\s*leverproof table (\S+?):\s*(\S+)\s*$")


@dataclass(frozen=True, slots=True)
class Noted:
    """One row as written: which ``row`` of the card it fills, the ``line`` it stands on, numbers by channel in
    canonical units (an airspeed still as written, see ``indicated``), how the last seek ended ("" when not said),
    whether it was steady by the flyer's own note, and remark."""

    row: Row
    line: int
    values: Mapping[str, float]
    ended: str = ""
    steady: bool = True
    remark: str = ""


@dataclass(frozen=True)
class Table:
    """One flyer's table: rows in the order written, the division of each gauge (canonical unit), and whether
    airspeeds are indicated ones. ``columns`` are the channels that hold at least one number."""

    path: str
    rows: tuple[Noted, ...]
    divisions: Mapping[str, float] = field(default_factory=dict)
    indicated: bool = True
    columns: frozenset[str] = frozenset()


@dataclass(frozen=True)
class _Sheet:
    """The lines of a file with their numbers, the columns by position, and how its decimals are written."""

    path: str
    columns: tuple[Column, ...]
    lines: tuple[tuple[int, list[str]], ...]
    comma: bool

    def where(self, line: int, at: int) -> str:
        return f"{self.path}: line {line}, column {head_of(self.columns[at])!r}"


def parse_table(text: str, path: str, card: Card) -> Table:
    """The table in ``text``, written for ``card``; ``path`` names the file in errors."""
    sheet = _split(text.removeprefix("\ufeff"), path, card)
    divisions: dict[str, float] = {}
    rows: list[Noted] = []
    for line, cells in sheet.lines:
        if cells[_place(sheet, "run")].casefold() == DIVISION:
            if divisions:
                raise InputError("a second row of divisions", f"{path}: line {line}", "leave one", "table")
            divisions = _divisions(sheet, line, cells)
            continue
        noted = _row(sheet, line, cells, card)
        if noted is not None:
            rows.append(noted)
    held = frozenset(name for row in rows for name in row.values)
    _divided(sheet, held, divisions)
    indicated = any(column.indicated for column in sheet.columns)
    return Table(path, tuple(rows), divisions, indicated, held)


def _split(text: str, path: str, card: Card) -> _Sheet:
    lines = [(n, line) for n, line in enumerate(text.splitlines(), start=1) if line.strip(' ,;\t"')]
    if len(lines) > MOST_LINES:
        raise InputError(f"{len(lines):,} lines are more than {MOST_LINES:,}", path, code="table")
    for _, line in lines:
        mark = _MARK.match(line.strip().strip('",;\t'))
        if mark is not None and mark.group(2) != card.case.id:
            raise InputError(
                f"this table was printed for the case {mark.group(2)!r}, not for {card.case.id!r}",
                path,
                f"judge it with --case {mark.group(2)[:80]}",
                "table",
            )
        made = _MADE.match(line.strip().strip('",;\t'))
        if made is not None and (made.group(1), made.group(2)) != (card.sheet.id, str(card.seed)):
            raise InputError(
                f"this table was printed for the sheet {made.group(1)[:80]!r} with seed {made.group(2)[:20]}",
                path,
                f"judge it with --sheet and --seed of that; asked was {card.sheet.id!r} with seed {card.seed}",
                "table",
            )
    lines = [(n, line) for n, line in lines if not line.lstrip(' "').startswith("#")]
    if not lines:
        raise InputError("the table holds nothing", path, "write one with `leverproof card --table FILE`", "table")
    separator = next((s for s in ";\t" if s in lines[0][1]), ",")
    cells = [(n, _cells(line, separator, f"{path}: line {n}")) for n, line in lines]
    columns = tuple(
        _column(cell, card, f"{path}: line {cells[0][0]}, column {i + 1}") for i, cell in enumerate(cells[0][1])
    )
    _complete(columns, card, f"{path}: line {cells[0][0]}")
    body = []
    for n, found in cells[1:]:
        if len(found) > len(columns) and any(found[len(columns) :]):
            words = f"{len(found)} cells under {len(columns)} headings"
            raise InputError(
                words,
                f"{path}: line {n}",
                "a number with a decimal comma needs a file split by semicolons",
                "table",
            )
        body.append((n, [*found, *[""] * len(columns)][: len(columns)]))
    return _Sheet(path, columns, tuple(body), separator != ",")


def _cells(line: str, separator: str, where: str) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=separator, strict=True))
    except csv.Error as reason:
        raise InputError(
            f"cannot read this line: {reason}", where, "fill the table in as it was printed", "table"
        ) from None
    if any(len(cell) > LONGEST_CELL for cell in cells):
        raise InputError(f"a cell of more than {LONGEST_CELL} characters", where, "write numbers only", "table")
    return [cell.strip() for cell in cells]


def _column(text: str, card: Card, where: str) -> Column:
    match = _HEAD.match(text)
    name = match.group(1).strip().replace(" ", "_") if match is not None else text
    symbol = (match.group(2) or "").strip() if match is not None else ""
    known = {column.name: column for column in columns_of(card)}
    if name in known and known[name].kind not in ("number", "point"):
        return known[name]
    if name in known and known[name].kind == "point":
        return Column("point", name, "", _unit(symbol, known[name].unit, where))
    channel = AIRSPEED if name == INDICATED else name
    if channel not in CHANNELS or CHANNELS[channel].kind in ("lever", "other lever"):
        words = nearest(name, [*known, *(n for n, c in CHANNELS.items() if c.kind == "reading"), INDICATED, AIRSPEED])
        raise InputError(f"no such column: {name[:60]!r}", where, words, "column")
    if CHANNELS[channel].states:
        return Column("number", name, channel, "")
    return Column("number", name, channel, _unit(symbol, CHANNELS[channel].unit, where), name == INDICATED)


def _unit(symbol: str, canonical: str, where: str) -> str:
    """The unit written in brackets; it may be left out only where there is none."""
    if not symbol:
        if canonical != "1":
            raise InputError("the heading gives no unit", where, f"write for example [{canonical}]", "unit")
        return "1"
    found = unit(symbol, where)
    if found.dimension != unit(canonical).dimension:
        raise InputError(
            f"{symbol!r} is a unit of {found.dimension}, expected {unit(canonical).dimension} such as {canonical!r}",
            where,
            code="dimension",
        )
    return symbol


def _complete(columns: Sequence[Column], card: Card, where: str) -> None:
    names = [column.channel or column.name for column in columns]
    twice = next((name for name in names if names.count(name) > 1), "")
    if twice:
        raise InputError(f"two columns for {twice}", where, "leave one", "column")
    needed = [c.name for c in columns_of(card) if c.kind in ("run", "reading", "point")]
    missing = next((name for name in needed if name not in names), "")
    if missing:
        raise InputError(
            f"the column {missing!r} is missing", where, "leave the printed headings as they are", "column"
        )


def _place(sheet: _Sheet, kind: str) -> int:
    return next((i for i, column in enumerate(sheet.columns) if column.kind == kind), -1)


def _divisions(sheet: _Sheet, line: int, cells: Sequence[str]) -> dict[str, float]:
    found = {}
    for at, column in enumerate(sheet.columns):
        if column.kind != "number" or not column.unit or not cells[at]:
            continue
        where = sheet.where(line, at)
        value = Quantity(_number(sheet, cells[at], where, column.unit), column.unit)
        division = value.difference_in(CHANNELS[column.channel].unit, where)
        if not division > 0.0:
            raise InputError(f"a division of {cells[at]!r} is not above zero", where, code="range")
        found[column.channel] = division
    return found


def _divided(sheet: _Sheet, held: frozenset[str], divisions: Mapping[str, float]) -> None:
    """Every gauge that was read needs its division: nobody else knows what half of it is worth."""
    for at, column in enumerate(sheet.columns):
        if column.kind == "number" and column.unit and column.channel in held and column.channel not in divisions:
            raise InputError(
                f"the row {DIVISION!r} does not say the smallest division of this gauge",
                f"{sheet.path}: column {head_of(sheet.columns[at])!r}",
                f"write it there, in {column.unit}",
                "division",
            )


def _row(sheet: _Sheet, line: int, cells: Sequence[str], card: Card) -> Noted | None:
    """One row; None where it holds neither number nor note."""
    numbers = [(at, c) for at, c in enumerate(sheet.columns) if c.kind == "number" and cells[at]]
    values = {}
    for at, column in numbers:
        where = sheet.where(line, at)
        values[column.channel] = _value(sheet, cells[at], column, where)
    told = {kind: cells[at].casefold() if (at := _place(sheet, kind)) >= 0 else "" for kind in ("ended", "steady")}
    for kind, words in (("ended", ENDED), ("steady", STEADY)):
        if told[kind] and told[kind] not in words:
            hint = f"write {' or '.join(words)}"
            raise InputError(f"unknown word {told[kind][:40]!r}", sheet.where(line, _place(sheet, kind)), hint, "word")
    if not numbers and told["steady"] != "no":
        return None
    remark = cells[at] if (at := _place(sheet, "remark")) >= 0 else ""
    return Noted(_card_row(sheet, line, cells, card), line, values, told["ended"], told["steady"] != "no", remark)


def _value(sheet: _Sheet, cell: str, column: Column, where: str) -> float:
    states = CHANNELS[column.channel].states
    if states:
        word = cell.casefold().replace(" ", "_")
        if word not in states:
            raise InputError(f"unknown word {cell[:40]!r}", where, f"write {' or '.join(states)}", "word")
        return float(states.index(word))
    number = _number(sheet, cell, where, column.unit)
    return convert(number, column.unit, CHANNELS[column.channel].unit, where)


def _number(sheet: _Sheet, cell: str, where: str, symbol: str) -> float:
    text = cell.replace(",", ".") if sheet.comma else cell
    try:
        if not re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?", text):
            raise ValueError
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        expected = f"a number in {symbol}" if symbol != "1" else "a number"
        raise InputError(f"cannot read {cell[:40]!r}", where, f"expected {expected}, such as 52.1", "number")
    return value


def _card_row(sheet: _Sheet, line: int, cells: Sequence[str], card: Card) -> Row:
    run, reading = (cells[_place(sheet, kind)] for kind in ("run", "reading"))
    rows = [row for row in card.rows if row.run == run and row.reading == reading]
    if not rows:
        known = sorted({f"{row.run} / {row.reading}" for row in card.rows})
        raise InputError(
            f"the card has no row {run[:60]!r} / {reading[:60]!r}",
            f"{sheet.path}: line {line}",
            nearest(f"{run} / {reading}", known),
            "row",
        )
    at = _place(sheet, "point")
    if at < 0 or rows[0] == ELSEWHERE:
        return rows[0]
    where, column = sheet.where(line, at), sheet.columns[at]
    canonical = card.case.sweep.points[0].unit if card.case.sweep is not None else "1"
    value = convert(_number(sheet, cells[at], where, column.unit), column.unit, canonical, where)
    found = next((row for row in rows if math.isclose(row.variable, value, rel_tol=1e-6, abs_tol=1e-9)), None)
    if found is None:
        points = ", ".join(f"{row.variable:.10g}" for row in rows)
        raise InputError(
            f"the card has no point {cells[at][:40]}", where, f"its points are {points} {canonical}", "point"
        )
    return found
