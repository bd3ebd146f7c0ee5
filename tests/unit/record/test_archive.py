"""An archive of a stranger is refused before anything is unpacked, in words, and nothing is ever written."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from leverproof.errors import InputError
from leverproof.record import archive as archive_module
from leverproof.record.archive import EPOCH, Limits, read_archive, write_archive

MEMBERS = {"a.json": b'{"a": 1}', "b/c.npz": bytes(range(256)) * 3, "d": b""}
LIMITS = Limits(1 << 20, 1 << 19, lambda name: 1 << 18 if name in (*MEMBERS, "big", "e") else None)
EOCD = 22


def member(name: str, content: bytes = b"x", *, mode: int = stat.S_IFREG | 0o644, **more: object) -> bytes:
    """An archive of one member, as somebody else would write it."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        info = zipfile.ZipInfo(name, EPOCH)
        info.create_system, info.external_attr = 3, mode << 16
        for key, value in more.items():
            setattr(info, key, value)
        archive.writestr(info, content)
    return buffer.getvalue()


def twice() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr(zipfile.ZipInfo("d", EPOCH), b"one")
        archive.writestr(zipfile.ZipInfo("d", EPOCH), b"two")
    return buffer.getvalue()


def overlapping() -> bytes:
    """Two names in the directory for one member."""
    one = write_archive({"d": b"content"})
    start = one.index(b"PK\x01\x02")
    entry = one[start:-EOCD]
    other = entry[:-1] + b"e"
    size = len(entry) * 2
    return one[:start] + entry + other + struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 2, 2, size, start, 0)


def promising(size: int) -> bytes:
    """A member that says another size of itself than it has, in both of its headers."""
    one = bytearray(write_archive({"d": b"content"}))
    for at in (one.index(b"PK\x03\x04") + 22, one.index(b"PK\x01\x02") + 24):
        one[at : at + 4] = struct.pack("<L", size)
    return bytes(one)


def end(archive: bytes, **fields: int) -> bytes:
    """The archive with fields of its end record changed."""
    names = ("mark", "disk", "first", "here", "count", "size", "offset", "comment")
    held = dict(zip(names, struct.unpack("<4s4H2LH", archive[-EOCD:]), strict=True)) | fields
    return archive[:-EOCD] + struct.pack("<4s4H2LH", *held.values())


GOOD = write_archive(MEMBERS)
REFUSED: dict[str, tuple[Callable[[], bytes], str]] = {
    "nothing": (lambda: b"", "no zip file"),
    "text": (lambda: b"not an archive at all, but long enough", "no zip file"),
    "too large": (lambda: b"x" * ((1 << 20) + 1), "more than the"),
    "upwards": (lambda: member("../d"), "no name of a member"),
    "upwards within": (lambda: member("b/../../d"), "no name of a member"),
    "absolute": (lambda: member("/etc/passwd"), "no name of a member"),
    "backslash": (lambda: member("..\\d"), "no name of a member"),
    "drive": (lambda: member("C:d"), "no name of a member"),
    "nul": (lambda: member("dX").replace(b"dX", b"d\x00"), "no name of a member"),
    "unknown": (lambda: member("run.sh"), "no name of a member"),
    "link": (lambda: member("d", b"/etc/passwd", mode=stat.S_IFLNK | 0o777), "link"),
    "device": (lambda: member("d", mode=stat.S_IFCHR | 0o666), "folder or device"),
    "pipe": (lambda: member("d", mode=stat.S_IFIFO | 0o666), "folder or device"),
    "folder": (lambda: member("d", b"", mode=stat.S_IFDIR | 0o755), "folder or device"),
    "twice": (twice, "twice"),
    "large member": (lambda: member("d", bytes(1 << 18) + b"1"), "more than the"),
    "thousandfold": (lambda: member("big", bytes(1 << 18), compress_type=zipfile.ZIP_DEFLATED), "200 times"),
    "other packing": (lambda: member("d", b"x" * 99, compress_type=zipfile.ZIP_BZIP2), "not used here"),
    "extra field": (lambda: member("d", extra=b"\x99\x99\x04\x00abcd"), "not used here"),
    "comment of a member": (lambda: member("d", comment=b"hello"), "not used here"),
    "something before": (lambda: b"#!/bin/sh\n" + GOOD, "not where it says"),
    "something after": (lambda: GOOD + b"x", "no zip file"),
    "comment": (lambda: GOOD[:-2] + b"\x01\x00x", "no zip file"),
    "two names for one": (overlapping, "not where it should be"),
    "says more": (lambda: promising(900), "does not hold|cannot be unpacked"),
    "says less": (lambda: promising(3), "does not hold|cannot be unpacked"),
    "counts wrong": (lambda: end(GOOD, here=2, count=2), "tells of 2 members and lists 3"),
    "many members": (lambda: end(GOOD, here=30_000, count=30_000), "more than the 20,000"),
    "64-bit": (lambda: end(GOOD, offset=0xFFFFFFFF), "64-bit"),
    "of several": (lambda: end(GOOD, disk=1), "part of an archive"),
    "wrong checksum": (
        lambda: GOOD.replace(b"\x01\x02\x03\x04\x05", b"\x01\x02\x03\x04\x06", 1),
        "cannot be unpacked",
    ),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_it_is_refused_and_nothing_is_written(kind: str, tmp_path: Path) -> None:
    make, words = REFUSED[kind]
    path = tmp_path / "one" / "x.zip"
    path.parent.mkdir()
    path.write_bytes(make())
    with pytest.raises(InputError, match=words):
        read_archive(path, LIMITS)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == [path]


def test_together_too_large(tmp_path: Path) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(GOOD)
    with pytest.raises(InputError, match="more than 100 bytes"):
        read_archive(path, Limits(1 << 20, 100, LIMITS.member))


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(member("big", bytes(1 << 18), compress_type=zipfile.ZIP_DEFLATED))
    monkeypatch.setattr(archive_module, "_unpacked", lambda *_: pytest.fail("unpacked"))
    with pytest.raises(InputError, match="200 times"):
        read_archive(path, LIMITS)


def test_what_was_written_is_read_and_the_bytes_are_always_the_same(tmp_path: Path) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(GOOD)
    content, members = read_archive(path, LIMITS)
    assert (content, members) == (GOOD, MEMBERS)
    assert list(members) == sorted(MEMBERS)
    assert write_archive(dict(reversed(MEMBERS.items()))) == GOOD
    with zipfile.ZipFile(path) as other:
        assert other.testzip() is None
        assert {info.date_time for info in other.infolist()} == {EPOCH}


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, len(GOOD) - 1), st.integers(1, 255), st.booleans())
def test_a_changed_byte_or_a_cut_never_gives_other_members(
    tmp_path: Path, at: int, by: int, cut: bool
) -> None:
    """Dates and rights carry nothing; anything else that changes is refused."""
    changed = GOOD[:at] if cut else GOOD[:at] + bytes([GOOD[at] ^ by]) + GOOD[at + 1 :]
    path = tmp_path / "x.zip"
    path.write_bytes(changed)
    try:
        _, members = read_archive(path, LIMITS)
    except InputError:
        return
    assert members == MEMBERS
