"""Recorded histories as text: one row a sample, the first line names the columns."""

from __future__ import annotations

import codecs
import csv
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from leverproof.errors import InputError
from leverproof.stand.port import Array, StandFile
from leverproof.stand.recording_columns import Columns
from leverproof_adapters.recording_table import MOST_ROWS, SECONDS, clock, numbers, states

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
_CHUNK = 1 << 20
_ROWS_AT_ONCE = 200_000
_LONGEST_HEADER = 1 << 20
_FIRST_LINE = 2


class CsvTable:
    """A CSV file whose header was read."""

    def __init__(self, path: Path, stand: StandFile, header: tuple[str, ...], checked: _Checked) -> None:
        self.header = header
        self.digest = checked.digest
        self.warnings: tuple[str, ...] = ()
        self._ended = checked.ended
        self._path = path
        self._separator = _separator(stand)
        self._decimal = "," if stand.recording.get("decimal") == "comma" else "."

    def read(self, columns: Columns) -> tuple[Array, Mapping[str, Array]]:
        """See :class:`leverproof_adapters.recording_table.Table`."""
        text = {c.name for c in columns.channels if c.states is not None}
        if columns.time_unit == "time_of_day":
            text.add(columns.time)
        used = [columns.time, *(c.name for c in columns.channels)]
        try:
            frames = list(self._frames(used, text))
        except (ValueError, OverflowError) as reason:
            if isinstance(reason, pd.errors.ParserError):
                raise InputError(_plain(reason), str(self._path), "every line needs the same columns", "csv") from None
            frames = list(self._frames(used, set(used)))
        if frames and not self._ended:
            # Nobody knows how much of a line without an end is there.
            frames[-1] = (frames[-1][0], frames[-1][1].iloc[:-1])
            self.warnings = ("the last line has no end and was left out",)
        parts = [self._numbers(frame, first, columns) for first, frame in frames]
        if not sum(times.size for times, _ in parts):
            raise InputError("the file has a header and no rows", str(self._path), "record something", "recording")
        times = np.concatenate([t for t, _ in parts])
        return times, {c.channel: np.concatenate([v[c.channel] for _, v in parts]) for c in columns.channels}

    def _frames(self, used: list[str], text: set[str]) -> Iterator[tuple[int, pd.DataFrame]]:
        """Rows in pieces, each with the line of its first row; lines without any cell stay, so that lines count."""
        types: dict[str, Any] = {name: (str if name in text else np.float64) for name in used}
        reader = pd.read_csv(
            self._path,
            sep=self._separator,
            decimal=self._decimal,
            encoding="utf-8-sig",
            header=0,
            names=list(self.header),
            index_col=False,
            usecols=used,
            dtype=types,
            na_values=[""],
            keep_default_na=False,
            skip_blank_lines=False,
            skipinitialspace=True,
            chunksize=_ROWS_AT_ONCE,
        )
        rows = 0
        with reader:
            for frame in reader:
                yield rows + _FIRST_LINE, frame
                rows += len(frame)
                if rows > MOST_ROWS:
                    raise InputError(
                        f"more than {MOST_ROWS:,} rows", str(self._path), "split the recording", "file_size"
                    )

    def _numbers(self, frame: pd.DataFrame, first: int, columns: Columns) -> tuple[Array, dict[str, Array]]:
        where = str(self._path)
        found = {}
        for column in columns.channels:
            cells = frame[column.name]
            if column.states is not None:
                found[column.channel] = states(cells.tolist(), column, first, where)
            else:
                found[column.channel] = self._plain(cells, first, column.name)
        time = frame[columns.time]
        if columns.time_unit == "time_of_day":
            return clock(time.tolist(), first, columns.time, where), found
        return self._plain(time, first, columns.time) * SECONDS[columns.time_unit], found

    def _plain(self, cells: pd.Series[Any], first: int, name: str) -> Array:
        if cells.dtype == np.float64:
            out: Array = cells.to_numpy(np.float64, copy=True)
            return out
        return numbers(cells.tolist(), first, name, str(self._path), decimal=self._decimal)


def _separator(stand: StandFile) -> str:
    return SEPARATORS[stand.recording.get("separator", "comma")]


def read_csv(path: Path, stand: StandFile) -> CsvTable:
    """The file with its header read. Raises :class:`InputError` naming the line for bytes that are no UTF-8 text."""
    separator = _separator(stand)
    checked = _checked(path, separator)
    with path.open(encoding="utf-8-sig", newline="") as lines:
        first = lines.readline(_LONGEST_HEADER)
    try:
        header = tuple(name.strip() for name in next(csv.reader([first], delimiter=separator), []))
    except csv.Error as reason:
        advice = "write the columns' names there"
        raise InputError(f"the first line names no columns: {reason}", f"{path}:1", advice, "csv") from None
    if not any(header):
        raise InputError("the first line names no columns", f"{path}:1", "write the columns' names there", "csv")
    blank = [index for index, name in enumerate(header) if not name]
    if blank:
        if blank != [len(header) - 1]:
            raise InputError(f"column {blank[0] + 1} has no name", f"{path}:1", "name every column", "csv")
        header = (*header[:-1], "(after the last separator)")
    return CsvTable(path, stand, header, checked)


@dataclass(frozen=True, slots=True)
class _Checked:
    """The SHA-256 of a file, and whether its last line has an end."""

    digest: str
    ended: bool


class _Widths:
    """Holds the width of every line against the header's: a line of another width has its numbers in the wrong
    columns, and the table reader would not say so. Separators within quotes do not count."""

    def __init__(self, path: Path, separator: str) -> None:
        self._path = path
        self._separator = ord(separator)
        self._header = -1
        self._carried = 0
        self._before = 0
        self._quotes = 0
        self._begun = 0

    def look(self, block: bytes, first_line: int) -> None:
        """Take the next piece of the file, whose first byte is in line ``first_line``."""
        if not block:
            return
        held = np.frombuffer(block, dtype=np.uint8)
        bare = np.ones(held.size, dtype=np.bool_)
        if self._quotes or b'"' in block:
            quotes = np.cumsum(held == ord('"')) + self._quotes
            bare = quotes % 2 == 0
            self._quotes = int(quotes[-1]) % 2
        ends = np.flatnonzero((held == ord("\n")) & bare)
        marks = np.flatnonzero((held == self._separator) & bare)
        upto = np.searchsorted(marks, ends)
        widths = np.diff(upto, prepend=0)
        if widths.size:
            widths[0] += self._carried
        self._carried = marks.size - (int(upto[-1]) if upto.size else -self._carried)
        if self._header < 0 and widths.size:
            self._header = int(widths[0])
        lengths = np.diff(ends, prepend=-1 - self._begun) - 1
        self._begun = held.size - 1 - int(ends[-1]) if ends.size else self._begun + held.size
        for index in np.flatnonzero((widths != self._header) & (lengths > 1)).tolist():
            end, over = int(ends[index]), int(widths[index]) - self._header
            if over == 1 and self._blank_end(held, end):
                continue
            raise InputError(
                f"this line has {'more' if over > 0 else 'less'} than the {self._header + 1} fields of the header",
                f"{self._path}:{first_line + block.count(10, 0, end)}",
                "numbers with a decimal comma need another separator; a blank needs its separators too",
                "csv",
            )
        self._before = int(held[-1])

    def _blank_end(self, held: NDArray[np.uint8], end: int) -> bool:
        """Whether a line ends with a separator."""
        last = end - 1
        if last >= 0 and held[last] == ord("\r"):
            last -= 1
        return (int(held[last]) if last >= 0 else self._before) == self._separator


def _checked(path: Path, separator: str) -> _Checked:
    """What is to be known of a file that is UTF-8 text throughout, with every line as wide as its header."""
    widths = _Widths(path, separator)
    decoder = codecs.getincrementaldecoder("utf-8")()
    digest = hashlib.sha256()
    lines, last = 0, b""
    with path.open("rb") as file:
        while True:
            block = file.read(_CHUNK)
            digest.update(block)
            held = decoder.getstate()[0]
            try:
                decoder.decode(block, final=not block)
            except UnicodeDecodeError as reason:
                whole = held + block
                line = lines + whole.count(b"\n", 0, reason.start) + 1
                byte = f"byte 0x{whole[reason.start]:02x}" if reason.start < len(whole) else "the end"
                raise InputError(
                    f"{byte} is not UTF-8", f"{path}:{line}", "save the file as UTF-8 text", "encoding"
                ) from None
            if b"\0" in block:
                line = lines + block.count(b"\n", 0, block.index(b"\0")) + 1
                raise InputError("a zero byte: this is no text", f"{path}:{line}", "export it as CSV", "encoding")
            widths.look(block, lines + 1)
            lines += block.count(b"\n")
            if not block:
                return _Checked(digest.hexdigest(), last in (b"\n", b"\r"))
            last = block[-1:]


def _plain(reason: Exception) -> str:
    """What the reader says, in one line."""
    words = str(reason).strip().splitlines()
    return words[-1].removeprefix("Error tokenizing data. C error: ") if words else "not a table"
