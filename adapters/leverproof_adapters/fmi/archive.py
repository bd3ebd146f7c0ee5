"""The archive of a unit, judged before a byte of it is unpacked.

An archive comes from anywhere: a name that leads out of the folder, a link, a size that would fill the disk or bytes
that do not fit their checksum are refused, each with its reason.
"""

from __future__ import annotations

import lzma
import platform
import stat
import sys
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from xml.parsers import expat

from leverproof.errors import InputError
from leverproof.there import is_file

DESCRIPTION = "modelDescription.xml"
MOST_MEMBERS = 20_000
MOST_BYTES = 2 * 1024**3
"""Unpacked, in all; real units with their tables stay far below (assumption)."""
MOST_DESCRIPTION = 64 * 1024**2
MOST_RATIO = 200
"""Unpacked over packed, for a member beyond ``LEAST_SUSPECT`` bytes; text packs to about a tenth, a bomb to a
thousandth (assumption)."""
LEAST_SUSPECT = 4 * 1024**2
_DAMAGE = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, ValueError, RuntimeError)
"""What the archive reader raises for bytes it cannot make sense of."""
_HINTS = {
    "archive": "none of its code was run: copy or export the unit anew, or ask whoever made it",
    "description": "none of its code was run: export it anew, as an FMI 2.0 or 3.0 co-simulation unit",
}
_CHUNK = 1024 * 1024
_SYSTEMS = {"linux": "linux", "darwin": "darwin", "win32": "windows"}
_MACHINES = {"amd64": "x86_64", "arm64": "aarch64", "i386": "x86", "i686": "x86"}
_SHORT = {"linux": "linux", "darwin": "darwin", "windows": "win"}
_SUFFIXES = {"linux": ".so", "darwin": ".dylib", "windows": ".dll"}


@dataclass(frozen=True, slots=True)
class Archive:
    """A unit's archive that passed: where it is, its members, its description and the FMI version that declares."""

    path: Path
    where: str
    members: tuple[zipfile.ZipInfo, ...]
    description: bytes
    version: str

    def refuse(self, message: str, code: str, hint: str = "") -> InputError:
        """The error to raise for this unit."""
        return InputError(f"{self.path.name}: {message}", self.where, hint or _HINTS.get(code, ""), code)


def inspect(path: Path, where: str) -> Archive:
    """The archive at ``path``, read but not unpacked.

    Raises :class:`InputError` for a file that is missing, no archive, damaged or dangerous, and for one without a
    description that names its FMI version. ``where`` is the place in the stand file.
    """
    if not is_file(path):
        raise InputError(
            f"no such file {str(path)!r}", where, "the unit is a file beside the stand file", "missing_file"
        )
    found = Archive(path, where, (), b"", "")
    try:
        with zipfile.ZipFile(path) as archive:
            members = tuple(archive.infolist())
            _judge(found, members)
            text = _description(found, archive)
    except (*_DAMAGE, OSError) as reason:
        raise found.refuse(f"not a readable zip archive: {reason}", "archive") from None
    return Archive(path, where, members, text, _version(found, text))


def _judge(found: Archive, members: tuple[zipfile.ZipInfo, ...]) -> None:
    if len(members) > MOST_MEMBERS:
        raise found.refuse(f"{len(members):,} members, at most {MOST_MEMBERS:,} are unpacked", "archive")
    seen: set[str] = set()
    for member in members:
        name = member.orig_filename.replace("\\", "/")
        if name.startswith("/") or ".." in PurePosixPath(name).parts or ":" in name or "\0" in name or not name:
            raise found.refuse(f"the member {member.orig_filename[:200]!r} leads out of the archive", "archive")
        if stat.S_ISLNK(member.external_attr >> 16):
            raise found.refuse(f"the member {name[:200]!r} is a link", "archive")
        if member.flag_bits & 0x1:
            raise found.refuse(f"the member {name[:200]!r} is encrypted", "archive")
        if name in seen:
            raise found.refuse(f"the member {name[:200]!r} is there twice", "archive")
        seen.add(name)
        if member.file_size > max(LEAST_SUSPECT, MOST_RATIO * member.compress_size):
            times = member.file_size / max(1, member.compress_size)
            raise found.refuse(
                f"the member {name[:200]!r} unpacks to {times:,.0f} times its size, at most {MOST_RATIO} times is "
                "taken for a unit",
                "archive",
            )
    total = sum(member.file_size for member in members)
    if total > MOST_BYTES:
        raise found.refuse(f"unpacks to {total:,} bytes, at most {MOST_BYTES:,} are allowed", "archive")
    packed = sum(member.compress_size for member in members)
    if total > max(LEAST_SUSPECT, MOST_RATIO * packed):
        raise found.refuse(f"unpacks to {total / max(1, packed):,.0f} times its size", "archive")


def _description(found: Archive, archive: zipfile.ZipFile) -> bytes:
    try:
        member = archive.getinfo(DESCRIPTION)
    except KeyError:
        raise found.refuse(f"has no {DESCRIPTION}: not an FMI unit", "description") from None
    if member.file_size > MOST_DESCRIPTION:
        raise found.refuse(f"{DESCRIPTION} of {member.file_size:,} bytes", "description")
    return archive.read(member)


class _SeenError(Exception):
    """The first element was read; nothing behind it matters here."""


def _version(found: Archive, text: bytes) -> str:
    """What the description says of its FMI version.

    A document type is refused: it has no place in a description, and is how one names files or grows without end.
    """
    version: list[str] = []

    def element(name: str, attributes: dict[str, str]) -> None:
        if name != "fmiModelDescription":
            raise found.refuse(f"{DESCRIPTION} begins with <{name[:60]}>, not <fmiModelDescription>", "description")
        version.append(attributes.get("fmiVersion", ""))
        raise _SeenError

    def document_type(*_: object) -> None:
        raise found.refuse(f"{DESCRIPTION} has a document type declaration", "description")

    parser = expat.ParserCreate()
    parser.StartElementHandler = element
    parser.StartDoctypeDeclHandler = document_type
    try:
        parser.Parse(text, True)
    except expat.ExpatError as reason:
        raise found.refuse(f"{DESCRIPTION} is not XML: {reason}", "description") from None
    except _SeenError:
        pass
    return version[0]


def platform_folders(major: int) -> tuple[str, ...]:
    """The folders under ``binaries`` that hold code for this computer, by the rule of an FMI version (FMI 2.0.4
    section 2.3, FMI 3.0 section 2.5.1.4)."""
    system = _SYSTEMS.get(sys.platform, sys.platform)
    machine = platform.machine().lower()
    machine = _MACHINES.get(machine, machine)
    long = f"{machine}-{system}"
    if major == 3 or machine not in ("x86_64", "x86"):
        return (long,)
    return (f"{_SHORT.get(system, system)}{'64' if machine == 'x86_64' else '32'}", long)


def find_library(archive: Archive, major: int, identifier: str) -> PurePosixPath:
    """The member with the unit's code for this computer; raises :class:`InputError` listing the platforms there
    are."""
    names = {member.filename for member in archive.members}
    suffix = _SUFFIXES.get(_SYSTEMS.get(sys.platform, ""), ".so")
    for folder in platform_folders(major):
        member = f"binaries/{folder}/{identifier}{suffix}"
        if member in names:
            return PurePosixPath(member)
    there = sorted({name.split("/")[1] for name in names if name.startswith("binaries/") and name.count("/") > 1})
    found = f"it has code for {', '.join(there)}" if there else "it has no code at all"
    wanted = " or ".join(platform_folders(major))
    raise archive.refuse(
        f"no binaries/{platform_folders(major)[0]}/{identifier}{suffix}: {found}",
        "platform",
        f"export it for {wanted}, which is this computer",
    )


def unpack(archive: Archive, library: PurePosixPath, folder: Path) -> None:
    """Writes what the unit needs to run into ``folder``: its code for this computer, resources and description.

    Raises :class:`InputError` for a member that does not fit its checksum; ``folder`` is the caller's to remove.
    """
    beside = str(library.parent) + "/"
    try:
        with zipfile.ZipFile(archive.path) as source:
            for member in archive.members:
                name = member.filename
                if not (name.startswith((beside, "resources/", "extra/")) or name == DESCRIPTION):
                    continue
                target = folder.joinpath(*PurePosixPath(name.replace("\\", "/")).parts)
                if member.is_dir():
                    target.mkdir(parents=True, exist_ok=True)
                    continue
                target.parent.mkdir(parents=True, exist_ok=True)
                with source.open(member) as packed, target.open("xb") as out:
                    while chunk := packed.read(_CHUNK):
                        out.write(chunk)
    except _DAMAGE as reason:
        raise archive.refuse(f"the archive is damaged: {reason}", "archive") from None
    except OSError as reason:
        raise archive.refuse(f"cannot be unpacked: {reason}", "archive") from None
    (folder / "resources").mkdir(exist_ok=True)
