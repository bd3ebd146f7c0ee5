"""What the readers of recorded files have in common: cells of text become numbers, or say which line is wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np
import pandas as pd

from leverproof.channels import CHANNELS
from leverproof.errors import InputError, nearest
from leverproof.stand.port import Array
from leverproof.stand.recording_columns import Column, Columns

LARGEST_FILE = 1024 * 1024 * 1024
MOST_ROWS = 5_000_000
SECONDS = {"s": 1.0, "ms": 0.001, "min": 60.0, "h": 3600.0}
NO_NUMBERS = {
    "nan",
    "-nan",
    "+nan",
    "inf",
    "-inf",
    "+inf",
    "infinity",
    "-infinity",
    "#num!",
    "1.#qnan",
    "1.#inf",
}
_CLOCK = re.compile(r"^(\d{1,3}):([0-5]?\d):([0-5]?\d(?:\.\d*)?)$")


class Table(Protocol):
    """A file whose columns are known: ``header`` and the SHA-256 ``digest`` of its bytes; ``warnings`` say what was
    left out when reading."""

    header: tuple[str, ...]
    digest: str
    warnings: tuple[str, ...]

    def read(self, columns: Columns) -> tuple[Array, Mapping[str, Array]]:
        """Times in s and the columns by channel: NaN where a cell is blank, infinite where it says that the model
        gave no number."""
        ...


def numbers(cells: Sequence[Any], first_line: int, name: str, where: str, *, decimal: str = ".") -> Array:
    """Cells of text as numbers; raises :class:`InputError` naming the line of the first that is none."""
    text = pd.Series(list(cells), dtype=object).fillna("").astype(str).str.strip()
    if decimal != ".":
        text = text.str.replace(decimal, ".", regex=False)
    found = pd.to_numeric(text.where(text != "", None), errors="coerce").to_numpy(np.float64, copy=True)
    odd = np.isnan(found) & (text != "").to_numpy()
    for index in np.flatnonzero(odd).tolist():
        word = str(text.iloc[index])
        if word.casefold() not in NO_NUMBERS:
            raise InputError(
                f"{str(cells[index])[:60]!r} in the column {name!r} is not a number",
                f"{where}:{first_line + index}",
                _advice(word),
                "text",
            )
    found[odd] = math.inf
    return found


def _advice(word: str) -> str:
    if re.fullmatch(r"[-+]?\d+,\d+", word):
        return "a comma as decimal mark: write decimal = 'comma' and separator = 'semicolon' in [recording]"
    return "leave the cell blank where nothing was recorded"


def states(cells: Sequence[Any], column: Column, first_line: int, where: str) -> Array:
    """Cells of a discrete column as indices of our states; a blank is NaN. A word that no state answers to is an
    error with its line."""
    known = column.states or {}
    coded = pd.Categorical([_word(cell) for cell in cells])
    values = np.full(len(coded.categories) + 1, np.nan)
    for code, word in enumerate(map(str, coded.categories)):
        found = known.get(word, known.get(word.replace(" ", "_").replace("-", "_")))
        if word and found is None:
            line = first_line + int(np.flatnonzero(coded.codes == code)[0])
            raise InputError(
                f"{word[:60]!r} in the column {column.name!r} is no state of {column.channel}",
                f"{where}:{line}",
                f"{nearest(word, CHANNELS[column.channel].states)} Write it under states of that channel".strip(),
                "state",
            )
        values[code] = np.nan if found is None else found
    out: Array = values[coded.codes]
    return out


def _word(cell: Any) -> str:
    """A cell as a word; a whole number written as 2.0 is 2."""
    if cell is None or cell != cell:
        return ""
    text = str(cell).strip().casefold()
    head, point, tail = text.partition(".")
    return head if point and head.isdigit() and not tail.strip("0") else text


def clock(cells: Sequence[Any], first_line: int, name: str, where: str) -> Array:
    """Times of day such as 14:05:30.25 in s."""
    out = np.full(len(cells), np.nan)
    for index, cell in enumerate(cells):
        text = "" if cell is None or cell != cell else str(cell).strip()
        match = _CLOCK.match(text)
        if match:
            out[index] = 3600.0 * int(match[1]) + 60.0 * int(match[2]) + float(match[3])
        elif text:
            raise InputError(
                f"{text[:60]!r} in the column {name!r} is no time of the form time_of_day",
                f"{where}:{first_line + index}",
                "give the unit the column really has as time_unit",
                "text",
            )
    return out
