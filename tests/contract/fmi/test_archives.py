"""Units that are refused before a byte of them is unpacked, each with its reason."""

from __future__ import annotations

import builtins
import os
import random
import stat
import struct
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from leverproof.errors import InputError
from leverproof.stand.port import StandFile
from leverproof_adapters import fmi
from leverproof_adapters.fmi import archive, opening

StandFor = Callable[..., StandFile]
Changed = Callable[..., Path]
pytestmark = pytest.mark.usefixtures("no_remains")


@pytest.fixture(autouse=True)
def nothing_is_started(monkeypatch: pytest.MonkeyPatch) -> None:
    def started(*_: object) -> None:
        raise AssertionError("a worker was started for a unit that must be refused")

    monkeypatch.setattr(opening, "open_worker", started)


def refusal(stand: StandFile) -> InputError:
    with pytest.raises(InputError) as caught:
        fmi.open_stand(stand, defect=None)
    return caught.value


def test_a_missing_file(tmp_path: Path, stand_for: StandFor) -> None:
    error = refusal(stand_for(tmp_path / "absent.fmu"))
    assert (error.code, "absent.fmu" in error.message) == ("missing_file", True)
    assert error.where.endswith("stand.toml: target")


@pytest.mark.parametrize("content", [b"", b"PK", b"not an archive at all" * 100])
def test_no_archive(tmp_path: Path, stand_for: StandFor, content: bytes) -> None:
    unit = tmp_path / "unit.fmu"
    unit.write_bytes(content)
    error = refusal(stand_for(unit))
    assert (error.code, "not a readable zip archive" in error.message) == ("archive", True)
    assert "none of its code was run" in error.hint


@pytest.mark.parametrize(
    "name",
    [
        "../../escape.so",
        "resources/../../escape",
        "/etc/escape",
        "C:/escape",
        "resources\\..\\..\\escape",
        "C:escape",
    ],
)
def test_members_that_lead_out(
    lag_units: dict[int, Path], changed: Changed, stand_for: StandFor, name: str
) -> None:
    error = refusal(stand_for(changed(lag_units[2], {name: "out"})))
    assert (error.code, "leads out of the archive" in error.message) == ("archive", True)
    assert "escape" in error.message


def test_links(lag_units: dict[int, Path], changed: Changed, stand_for: StandFor) -> None:
    unit = changed(lag_units[2], {})
    link = zipfile.ZipInfo("resources/link")
    link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(unit, "a") as held:
        held.writestr(link, "/etc/passwd")
    assert "is a link" in refusal(stand_for(unit)).message


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_members_named_twice(lag_unit: Path, changed: Changed, stand_for: StandFor) -> None:
    unit = changed(lag_unit, {})
    with zipfile.ZipFile(unit, "a") as held:
        held.writestr("modelDescription.xml", "<another/>")
    assert "is there twice" in refusal(stand_for(unit)).message


def test_a_thousandfold_compression(
    lag_units: dict[int, Path], changed: Changed, stand_for: StandFor
) -> None:
    unit = changed(lag_units[3], {"resources/zeros.bin": bytes(30_000_000)})
    error = refusal(stand_for(unit))
    assert (error.code, "zeros.bin" in error.message, "times its size" in error.message) == (
        "archive",
        True,
        True,
    )


def test_many_small_bombs(
    lag_units: dict[int, Path], changed: Changed, stand_for: StandFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive, "LEAST_SUSPECT", 100_000)
    bombs = {f"resources/{i}.bin": bytes(100_000) for i in range(80)}
    assert "unpacks to" in refusal(stand_for(changed(lag_units[2], bombs))).message


def test_a_size_that_would_fill_the_disk(
    lag_unit: Path, stand_for: StandFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive, "MOST_BYTES", 10_000)
    assert "at most 10,000 are allowed" in refusal(stand_for(lag_unit)).message


def test_bytes_that_do_not_fit_their_checksum(lag_unit: Path, changed: Changed, stand_for: StandFor) -> None:
    unit = changed(lag_unit, {"resources/table.bin": os.urandom(4000)})
    text = bytearray(unit.read_bytes())
    begins = text.index(b"resources/table.bin") + 200
    text[begins : begins + 8] = struct.pack("<d", 1.0)
    unit.write_bytes(bytes(text))
    assert "damaged" in refusal(stand_for(unit)).message


def test_half_an_archive(lag_unit: Path, tmp_path: Path, stand_for: StandFor) -> None:
    unit = tmp_path / "half.fmu"
    unit.write_bytes(lag_unit.read_bytes()[:3000])
    assert refusal(stand_for(unit)).code == "archive"


@pytest.mark.parametrize(
    ("description", "word"),
    [
        (None, "has no modelDescription.xml"),
        ("", "is not XML"),
        ("<fmiModelDescription", "is not XML"),
        ("<html/>", "begins with <html>"),
        ('<!DOCTYPE x [<!ENTITY a "b">]><fmiModelDescription fmiVersion="2.0"/>', "document type"),
        ("<fmiModelDescription/>", "without a version"),
        ('<fmiModelDescription fmiVersion="1.0"/>', "a unit of FMI 1.0; 2.0 and 3.0"),
        ('<fmiModelDescription fmiVersion="4.0-beta"/>', "a unit of FMI 4.0-beta"),
        ('<fmiModelDescription fmiVersion="2.0"/>', "cannot be read"),
    ],
)
def test_descriptions(
    lag_units: dict[int, Path], changed: Changed, stand_for: StandFor, description: str | None, word: str
) -> None:
    assert word in refusal(stand_for(changed(lag_units[2], {"modelDescription.xml": description}))).message


def test_bytes_changed_at_random_are_read_or_refused(
    lag_unit: Path, version: int, units: ModuleType, tmp_path: Path, changed: Changed, stand_for: StandFor,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Neither the archive nor its description brings anything but a refusal or a start."""

    class Idle:
        def close(self) -> None:
            pass

    monkeypatch.setattr(opening, "open_worker", lambda *_: Idle())
    whole = changed(lag_unit, {units.member(units.LAG_ENGINE, version): b"code"}).read_bytes()
    text = units.description(units.LAG_ENGINE, version).encode()
    draw = random.Random(version)
    refused = 0
    for turn in range(80):
        held = bytearray(text if turn % 2 else whole)
        for _ in range(draw.choice((1, 1, 4))):
            held[draw.randrange(len(held))] = draw.choice(b'"<>/=0-A\x00\xff')
        unit = tmp_path / f"{turn}.fmu"
        if turn % 2:
            unit = changed(lag_unit, {"modelDescription.xml": bytes(held)}, unit.name)
        else:
            unit.write_bytes(bytes(held))
        try:
            fmi.open_stand(stand_for(unit), defect=None).close()
        except InputError:
            refused += 1
    assert 20 < refused < 80


def test_no_co_simulation(lag_units: dict[int, Path], described: Changed, stand_for: StandFor) -> None:
    unit = described(
        lag_units[2], 2, ('<CoSimulation modelIdentifier="LagEngine" canHandleVariableCommunicationStepSize="true" />',
                          '<ModelExchange modelIdentifier="LagEngine"/>'),
    )  # fmt: skip
    error = refusal(stand_for(unit))
    assert (error.code, "it offers model exchange" in error.message) == ("no_co_simulation", True)


def test_an_identifier_that_is_a_path(
    lag_unit: Path, version: int, described: Changed, stand_for: StandFor
) -> None:
    unit = described(lag_unit, version, ('modelIdentifier="LagEngine"', 'modelIdentifier="../LagEngine"'))
    assert "its model identifier is '../LagEngine'" in refusal(stand_for(unit)).message


def test_another_platform_only(
    lag_unit: Path, version: int, units: ModuleType, changed: Changed, stand_for: StandFor
) -> None:
    other = "binaries/win64/LagEngine.dll" if version == 2 else "binaries/x86_64-windows/LagEngine.dll"
    unit = changed(lag_unit, {units.member(units.LAG_ENGINE, version): None, other: b"MZ"})
    error = refusal(stand_for(unit))
    assert error.code == "platform"
    assert f"it has code for {other.split('/')[1]}" in error.message


def test_no_code_at_all(
    lag_unit: Path, version: int, units: ModuleType, changed: Changed, stand_for: StandFor
) -> None:
    unit = changed(lag_unit, {units.member(units.LAG_ENGINE, version): None})
    assert "it has no code at all" in refusal(stand_for(unit)).message


def test_the_extra_is_named_when_it_is_missing(
    lag_unit: Path, stand_for: StandFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] == "fmpy"]:
        monkeypatch.delitem(sys.modules, name)
    plain = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.partition(".")[0] == "fmpy":
            raise ImportError("No module named 'fmpy'")
        return plain(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    monkeypatch.setitem(sys.modules, "fmpy", None)
    error = refusal(stand_for(lag_unit))
    assert error.code == "missing_extra"
    assert "pip install 'leverproof[fmi]'" in error.hint
