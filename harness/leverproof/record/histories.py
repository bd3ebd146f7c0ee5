"""Histories of one case as one ``.npz`` file: float32, deflate level 1, no pickles.

Two arrays a run: ``NNNN.data`` (float32, columns first: a channel lies together, which packs better) and
``NNNN.meta`` (uint8, the bytes of a JSON object: program key, grid step, columns, marks, readings, ending,
trouble, jitter). Readings keep their float64 numbers. The same histories give the same bytes.
"""

from __future__ import annotations

import io
import json
import math
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.conduct.model import ConductedRun
from leverproof.errors import LeverproofError, ReproducibilityError
from leverproof.history import History, Mark, Reading
from leverproof.record.layout import LARGEST_HISTORIES, LARGEST_META
from leverproof.record.plain import from_plain, to_plain
from leverproof.timegrid import TimeGrid

_EPOCH = (1980, 1, 1, 0, 0, 0)
_LARGEST_HEADER = 4096
_SMALL = 64 * 1024
_BROKEN = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError, LookupError, NotImplementedError,
    RuntimeError,
)  # fmt: skip
"""What reading an archive raises that somebody has cut or changed."""


@dataclass(frozen=True, slots=True)
class _Meta:
    key: tuple[str, int, str]
    step: int
    columns: tuple[str, ...]
    marks: tuple[Mark, ...]
    readings: tuple[Reading, ...]
    ending: str
    trouble: str
    jitter: float = 0.0


def pack(runs: Sequence[ConductedRun]) -> bytes:
    """The file that holds ``runs``."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for index, run in enumerate(runs):
            held = run.history
            meta = _Meta(
                run.program.key,
                held.grid.step,
                held.columns,
                held.marks,
                held.readings,
                held.ending,
                held.trouble,
                held.jitter,
            )
            text = json.dumps(to_plain(meta), ensure_ascii=False, allow_nan=False)
            data = np.ascontiguousarray(held.data.T, dtype="<f4")
            _add(archive, f"{index:04d}.data.npy", data)
            _add(archive, f"{index:04d}.meta.npy", np.frombuffer(text.encode("utf-8", "replace"), np.uint8))
    return buffer.getvalue()


def _add(archive: zipfile.ZipFile, name: str, array: NDArray[np.generic]) -> None:
    info = zipfile.ZipInfo(name, _EPOCH)
    info.compress_type = zipfile.ZIP_DEFLATED
    content = io.BytesIO()
    np.lib.format.write_array(content, array, allow_pickle=False)
    archive.writestr(info, content.getbuffer(), compresslevel=1)


def unpack(content: bytes, case_id: str, where: str) -> dict[tuple[int, str], History]:
    """The histories in ``content`` by (point index, run name).

    Sizes are compared with what the archive and each array promise before anything is unpacked. Raises
    :class:`ReproducibilityError` for a file that is damaged, too large or of another case.
    """
    out: dict[tuple[int, str], History] = {}
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for name in _runs(archive, where):
                meta = _read_meta(archive, f"{name}.meta.npy", where)
                if meta.key[0] != case_id:
                    raise _damaged(f"holds a history of {meta.key[0]!r}", where)
                out[meta.key[1], meta.key[2]] = _history(archive, f"{name}.data.npy", meta, where)
    except _BROKEN as reason:
        raise _damaged(str(reason), where) from None
    return out


def promised(content: bytes) -> tuple[int, int]:
    """What the file says of itself, read without unpacking anything: bytes unpacked, and by how many times its most
    packed large member shrank. Nothing for a file that :func:`unpack` refuses as it is."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
    except _BROKEN:
        return 0, 0
    shrunk = (m.file_size // max(1, m.compress_size) for m in members if m.file_size > _SMALL)
    return sum(member.file_size for member in members), max(shrunk, default=0)


def _runs(archive: zipfile.ZipFile, where: str) -> Iterator[str]:
    members = archive.infolist()
    if sum(member.file_size for member in members) > LARGEST_HISTORIES:
        raise _damaged(f"unpacks to more than {LARGEST_HISTORIES:,} bytes", where)
    names = [member.filename for member in members]
    runs = [f"{index:04d}" for index in range(len(names) // 2)]
    if sorted(names) != [f"{run}.{part}.npy" for run in runs for part in ("data", "meta")]:
        raise _damaged("its members are not those of a record", where)
    return iter(runs)


def _read_meta(archive: zipfile.ZipFile, name: str, where: str) -> _Meta:
    raw = _array(archive, name, "|u1", LARGEST_META, where)
    try:
        return from_plain(_Meta, json.loads(raw.tobytes().decode("utf-8")), name)
    except (ValueError, RecursionError) as reason:
        raise _damaged(str(reason), where) from None


def _history(archive: zipfile.ZipFile, name: str, meta: _Meta, where: str) -> History:
    data = _array(archive, name, "<f4", LARGEST_HISTORIES, where)
    if data.ndim != 2 or data.shape[0] != len(meta.columns):
        raise _damaged(f"{name} does not fit its {len(meta.columns)} columns", where)
    try:
        grid = TimeGrid(meta.step)
    except LeverproofError as reason:
        raise _damaged(str(reason), where) from None
    rows = np.ascontiguousarray(data.T, dtype=np.float32)
    return History(grid, meta.columns, rows, meta.marks, meta.readings, meta.ending, meta.trouble, meta.jitter)


def _array(archive: zipfile.ZipFile, name: str, dtype: str, largest: int, where: str) -> NDArray[np.generic]:
    """One member as an array, after its own header has promised exactly the bytes that are there."""
    size = archive.getinfo(name).file_size
    if size > largest:
        raise _damaged(f"{name} unpacks to {size:,} bytes", where)
    with archive.open(name) as member:
        try:
            if np.lib.format.read_magic(member) != (1, 0):
                raise _damaged(f"{name} is of an unknown version", where)
            shape, fortran, found = np.lib.format.read_array_header_1_0(member, max_header_size=_LARGEST_HEADER)
        except ValueError as reason:
            raise _damaged(f"{name}: {reason}", where) from None
        if fortran or found != np.dtype(dtype) or any(extent < 0 for extent in shape):
            raise _damaged(f"{name} holds {found} in place of {np.dtype(dtype)}", where)
        promised = math.prod(shape) * found.itemsize
        if member.tell() + promised != size:
            raise _damaged(f"{name} promises {promised:,} bytes that are not there", where)
        content = member.read(promised)
    if len(content) != promised:
        raise _damaged(f"{name} is cut short", where)
    return np.frombuffer(content, found).reshape(shape)


def _damaged(what: str, where: str) -> ReproducibilityError:
    return ReproducibilityError(
        f"these histories cannot be read: {what}",
        where,
        "run the case again to make a new record",
        "histories",
    )
