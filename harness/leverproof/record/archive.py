"""Reading an archive that a stranger made: every promise it makes about itself is held against limits before one byte
is unpacked, nothing is ever written to disk, and its members are data only.

What is accepted is narrower than what a zip file may be: members lie one after another from the first byte to the
directory, without gaps, overlaps, extra fields or comments; each has a plain name of its own, is stored or deflated,
and is an ordinary file. So nothing can hide in the file, and no member can be read in two ways.
"""

from __future__ import annotations

import io
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from leverproof.errors import InputError
from leverproof.there import is_file

EPOCH = (1980, 1, 1, 0, 0, 0)
LARGEST_ARCHIVE = 2 * 1024 * 1024 * 1024 - 1
LARGEST_MEMBERS = 20_000
LARGEST_DIRECTORY = 8 * 1024 * 1024
LARGEST_RATIO = 200
"""Texts of a record shrink some tenfold; deflate reaches a thousandfold only for what says nothing."""
SMALL = 64 * 1024
"""A member up to this size may shrink by any factor: it can do no harm."""

_END = struct.Struct("<4s4H2LH")
_LOCAL = 30
_UTF8 = 0x800
_WAYS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


@dataclass(frozen=True, slots=True)
class Limits:
    """How large things may be, in bytes: the archive, all members unpacked, and ``member`` for each by its name;
    ``member`` gives None for a name that has no place in such an archive."""

    archive: int
    unpacked: int
    member: Callable[[str], int | None]


def write_archive(members: Mapping[str, bytes]) -> bytes:
    """A zip file of ``members``, sorted by name, with fixed dates and rights: the same members give the same bytes.
    What is compressed already (``.npz``) is stored. Raises :class:`InputError` when it would grow too large."""
    if len(members) > LARGEST_MEMBERS or sum(map(len, members.values())) > LARGEST_ARCHIVE:
        raise InputError("too much for one archive", "", f"at most {LARGEST_ARCHIVE:,} bytes", "archive")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", allowZip64=False) as archive:
        for name in sorted(members):
            info = zipfile.ZipInfo(name, EPOCH)
            info.create_system = 3
            info.external_attr = (stat.S_IFREG | 0o644) << 16
            way = zipfile.ZIP_STORED if name.endswith(".npz") else zipfile.ZIP_DEFLATED
            archive.writestr(info, members[name], way, compresslevel=6)
    return buffer.getvalue()


def read_archive(path: Path, limits: Limits) -> tuple[bytes, dict[str, bytes]]:
    """The bytes of the archive, and its members by name, in memory. Raises :class:`InputError`, which says what was
    refused, for a file that is no archive or not one to be unpacked."""
    where = str(path)
    content = _content(path, limits.archive)
    directory, count = _directory(content, where)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
            if len(members) != count:
                raise refused(f"it tells of {count:,} members and lists {len(members):,}", where)
            _check_names(members, limits, where)
            _check_sizes(members, limits, where)
            _check_places(members, directory, where)
            return content, {info.filename: _unpacked(archive, info, where) for info in members}
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError) as reason:
        raise refused(f"it cannot be unpacked: {reason}", where) from None


def refused(what: str, where: str) -> InputError:
    """The error for an archive that is not to be used."""
    return InputError(
        f"this archive is refused: {what}", where, "ask for it again; nothing of it was unpacked to disk", "archive"
    )


def _content(path: Path, largest: int) -> bytes:
    try:
        if not is_file(path):
            raise refused("there is no such file", str(path))
        size = path.stat().st_size
        if size > largest:
            raise refused(f"{size:,} bytes are more than the {largest:,} allowed", str(path))
        return path.read_bytes()
    except OSError as reason:
        raise refused(reason.strerror or str(reason), str(path)) from None


def _directory(content: bytes, where: str) -> tuple[int, int]:
    """Where the directory of the archive begins, and of how many members it tells; it must end where the archive's own
    end begins, which must be the last thing in the file."""
    if len(content) < _END.size:
        raise refused("it is no zip file", where)
    start = len(content) - _END.size
    mark, disk, first, here, count, size, offset, comment = _END.unpack(content[start:])
    if mark != b"PK\x05\x06" or comment:
        raise refused("it is no zip file, or something follows its end", where)
    if disk or first or here != count or 0xFFFFFFFF in (size, offset) or count == 0xFFFF:
        raise refused("it is a part of an archive, or of the 64-bit kind", where)
    if count > LARGEST_MEMBERS or size > LARGEST_DIRECTORY:
        raise refused(f"{count:,} members are more than the {LARGEST_MEMBERS:,} allowed", where)
    if offset + size != start:
        raise refused("its directory is not where it says", where)
    return offset, count


def _check_names(members: list[zipfile.ZipInfo], limits: Limits, where: str) -> None:
    seen: set[str] = set()
    for info in members:
        name = info.filename
        if info.orig_filename != name or limits.member(name) is None:
            raise refused(f"{info.orig_filename[:200]!r} is no name of a member", where)
        if name.lower() in seen:
            raise refused(f"{name!r} stands in it twice", where)
        seen.add(name.lower())
        kind = stat.S_IFMT(info.external_attr >> 16)
        if kind not in (0, stat.S_IFREG) or info.external_attr & 0x10:
            raise refused(f"{name!r} is a {'link' if kind == stat.S_IFLNK else 'folder or device'}", where)
        if info.flag_bits & ~_UTF8 or info.compress_type not in _WAYS or info.extra or info.comment:
            raise refused(f"{name!r} is encrypted or packed in a way that is not used here", where)


def _check_sizes(members: list[zipfile.ZipInfo], limits: Limits, where: str) -> None:
    for info in members:
        size, packed, largest = info.file_size, info.compress_size, limits.member(info.filename) or 0
        if size > largest:
            raise refused(f"{info.filename!r} unpacks to {size:,} bytes, more than the {largest:,} allowed", where)
        if size > SMALL and size > LARGEST_RATIO * packed:
            raise refused(f"{info.filename!r} unpacks to more than {LARGEST_RATIO} times its size", where)
    if sum(info.file_size for info in members) > limits.unpacked:
        raise refused(f"it unpacks to more than {limits.unpacked:,} bytes", where)


def _check_places(members: list[zipfile.ZipInfo], directory: int, where: str) -> None:
    """Members lie one after another from the first byte: none overlaps another, nothing lies between them."""
    at = 0
    for info in sorted(members, key=lambda info: info.header_offset):
        if info.header_offset != at:
            raise refused(f"{info.filename!r} is not where it should be", where)
        at += _LOCAL + len(info.filename.encode("utf-8")) + info.compress_size
    if at != directory:
        raise refused("something lies between its members and its directory", where)


def _unpacked(archive: zipfile.ZipFile, info: zipfile.ZipInfo, where: str) -> bytes:
    """One member; never more than it promised, and its checksum must be right."""
    with archive.open(info) as member:
        content = member.read(info.file_size + 1)
    if len(content) != info.file_size:
        raise refused(f"{info.filename!r} does not hold the {info.file_size:,} bytes it promises", where)
    return content
