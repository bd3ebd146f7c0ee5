"""Recorded histories as Parquet; needs the extra ``parquet``."""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from leverproof.errors import InputError
from leverproof.stand.port import Array, StandFile
from leverproof.stand.recording_columns import Columns
from leverproof_adapters.recording_table import MOST_ROWS, SECONDS, clock, numbers, states

_FIRST_ROW = 1


class ParquetTable:
    """A Parquet file whose schema was read."""

    def __init__(self, path: Path, file: Any, digest: str) -> None:
        self.header: tuple[str, ...] = tuple(map(str, file.schema_arrow.names))
        self.digest = digest
        self.warnings: tuple[str, ...] = ()
        self._path = path
        self._file = file

    def read(self, columns: Columns) -> tuple[Array, Mapping[str, Array]]:
        """See :class:`leverproof_adapters.recording_table.Table`; rows count from 1 in messages."""
        where = str(self._path)
        used = [columns.time, *(c.name for c in columns.channels)]
        try:
            table = self._file.read(columns=used)
        except Exception as reason:  # the library raises its own errors, OSError and ValueError alike
            raise _broken(self._path, reason) from None
        found = {}
        for column in columns.channels:
            cells = table.column(column.name)
            if column.states is not None:
                found[column.channel] = states(cells.to_pylist(), column, _FIRST_ROW, where)
            else:
                found[column.channel] = self._numbers(cells, column.name)
        time = table.column(columns.time)
        if columns.time_unit == "time_of_day":
            return clock(time.to_pylist(), _FIRST_ROW, columns.time, where), found
        return self._numbers(time, columns.time) * SECONDS[columns.time_unit], found

    def _numbers(self, cells: Any, name: str) -> Array:
        """A value that is NaN is what the model gave, a null is a blank."""
        kind = str(cells.type)
        if not kind.startswith(("float", "double", "half", "int", "uint")):
            return numbers(cells.to_pylist(), _FIRST_ROW, name, str(self._path))
        null = np.asarray(cells.is_null().to_numpy())
        found: Array = np.array(cells.to_numpy(), dtype=np.float64)
        found[np.isnan(found)] = np.inf
        found[null] = np.nan
        return found


def read_parquet(path: Path, stand: StandFile) -> ParquetTable:
    """The file with its schema read. Raises :class:`InputError` when there is no reader or the file is none."""
    try:
        parquet: Any = importlib.import_module("pyarrow.parquet")
    except ImportError:
        raise InputError(
            "reading Parquet needs the package pyarrow",
            f"{stand.path}: target",
            "pip install 'leverproof[parquet]', or export CSV",
            "missing_extra",
        ) from None
    try:
        file = parquet.ParquetFile(path)
        rows = int(file.metadata.num_rows)
    except Exception as reason:  # the library raises its own errors, OSError and ValueError alike
        raise _broken(path, reason) from None
    if not 0 < rows <= MOST_ROWS:
        raise InputError(
            f"{rows:,} rows; from 1 to {MOST_ROWS:,} can be read", str(path), "name another recording", "recording"
        )
    with path.open("rb") as content:
        digest = hashlib.file_digest(content, "sha256").hexdigest()
    return ParquetTable(path, file, digest)


def _broken(path: Path, reason: Exception) -> InputError:
    words = str(reason).splitlines() or [type(reason).__name__]
    return InputError(f"this is no Parquet file that can be read: {words[0]}", str(path), "export it again", "parquet")
