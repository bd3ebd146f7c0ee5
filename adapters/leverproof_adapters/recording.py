"""Recorded histories: what somebody flew and logged, as CSV or Parquet. Reading one runs no code of anybody's."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from leverproof.errors import InputError
from leverproof.stand.port import StandFile
from leverproof.stand.recording import Recording
from leverproof.stand.recording_build import build
from leverproof.stand.recording_columns import find_columns
from leverproof.there import is_file, is_there
from leverproof_adapters.recording_csv import read_csv
from leverproof_adapters.recording_parquet import read_parquet
from leverproof_adapters.recording_table import LARGEST_FILE, Table

PARQUET = (".parquet", ".pq")


def open_stand(stand: StandFile, *, defect: str | None) -> Recording:
    """The recording in the stand's target, a file beside the stand file.

    Unlike other adapters this gives no session: nothing can be asked of what is over. Raises :class:`InputError`
    for a file that is missing, empty, too large or not text, for a column that does not fit and for what cannot be
    mended honestly; ``defect`` cannot be built in and is refused before."""
    path = Path(stand.path).parent / stand.target
    _usable(path, stand)
    table: Table = read_parquet(path, stand) if path.suffix.lower() in PARQUET else read_csv(path, stand)
    columns = find_columns(stand, table.header)
    times, raw = table.read(columns)
    found = build(stand, columns, times, raw, digest=table.digest, where=str(path))
    return replace(found, warnings=(*table.warnings, *found.warnings))


def _usable(path: Path, stand: StandFile) -> None:
    if not is_file(path):
        what = "this is no file" if is_there(path) else "no such file"
        raise InputError(f"{what}: {str(path)!r}", f"{stand.path}: target", "check the name", "missing_file")
    size = path.stat().st_size
    if not size:
        raise InputError("the file is empty", str(path), "record something", "recording")
    if size > LARGEST_FILE:
        raise InputError(
            f"{size:,} bytes are more than the {LARGEST_FILE:,} allowed",
            str(path),
            "split the recording into several files, or leave out columns that no case needs",
            "file_size",
        )
