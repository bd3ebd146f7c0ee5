"""Units compiled once for the tests here, their stand files, and what must not be left behind."""

from __future__ import annotations

import importlib.util
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from leverproof.stand.mount import MountedStand, mount
from leverproof.stand.port import StandFile
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters import fmi
from leverproof_adapters.fmi.opening import PREFIX, FmuSession

MODELS = Path(__file__).resolve().parents[2] / "models"
CHANNELS = """
[channels.manifold_pressure]
name = "map"
[channels.mixture]
name = "mix"
[channels.carburettor_heat]
name = "hot"
[channels.turbo_overspeed_light]
name = "lamp"
[channels.carburettor_air_temperature]
name = "box"
"""


def builder() -> ModuleType:
    """The module that builds units."""
    name = "fmi_units"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, MODELS / f"{name}.py")
        assert spec is not None and spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture(scope="session")
def units() -> ModuleType:
    return builder()


@pytest.fixture(scope="session")
def lag_units(tmp_path_factory: pytest.TempPathFactory, units: ModuleType) -> dict[int, Path]:
    """The lag engine as a unit of each FMI version."""
    folder = tmp_path_factory.mktemp("units")
    return {version: units.built(units.LAG_ENGINE, version, folder / str(version)) for version in (2, 3)}


@pytest.fixture(params=[2, 3], ids=["fmi2", "fmi3"])
def version(request: pytest.FixtureRequest) -> int:
    return int(request.param)


@pytest.fixture
def lag_unit(lag_units: dict[int, Path], version: int) -> Path:
    return lag_units[version]


@pytest.fixture(scope="session")
def stand_for() -> Callable[..., StandFile]:
    """The stand of a unit: the lag engine's channels unless ``channels`` says otherwise."""

    def make(unit: Path, *, channels: str = CHANNELS, options: str = "", **deadlines: str) -> StandFile:
        times = {"start": "20 s", "request": "10 s", "row": "0.02 s"} | deadlines
        listed = ", ".join(f'{key} = "{value}"' for key, value in times.items())
        text = (
            f'format = 1\ntitle = "a unit"\nkind = "fmi"\ntarget = "{unit.name}"\ndeadlines = {{ {listed} }}\n'
            f"{channels}\n[options]\n{options}\n"
        )
        return parse_stand_file(text, str(unit.parent / "stand.toml"), kinds=["fmi"])

    return make


@pytest.fixture
def mounted(no_remains: None) -> Iterator[Callable[..., MountedStand]]:
    """Mounts stands and closes them at the end of the test."""
    opened: list[MountedStand] = []

    def open_one(stand: StandFile, defect: str | None = None) -> MountedStand:
        given = replace(stand, defects={defect: {"size": "large", "reason": "a test"}} if defect else {})
        opened.append(mount(given, defect=defect, adapters={"fmi": fmi.open_stand}))
        return opened[-1]

    yield open_one
    for one in opened:
        one.close()


@pytest.fixture
def bare(no_remains: None) -> Iterator[Callable[[StandFile], FmuSession]]:
    """Opens sessions without a guard around them, and closes them at the end of the test."""
    opened: list[FmuSession] = []

    def open_one(stand: StandFile) -> FmuSession:
        session = fmi.open_stand(stand, defect=None)
        assert isinstance(session, FmuSession)
        opened.append(session)
        return session

    yield open_one
    for one in opened:
        one.close()


@pytest.fixture
def no_remains(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Private folders are made in a place of the test's own, and none may be left there at its end."""
    place = tmp_path / "temporary"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    yield
    assert not list(place.glob(f"{PREFIX}*"))


@pytest.fixture
def changed(tmp_path: Path) -> Callable[..., Path]:
    """A copy of a unit with members replaced, added or (None) left out."""

    def change(unit: Path, members: dict[str, Any], name: str = "changed.fmu") -> Path:
        with zipfile.ZipFile(unit) as archive:
            held: dict[str, Any] = {entry: archive.read(entry) for entry in archive.namelist()}
        held |= members
        with zipfile.ZipFile(tmp_path / name, "w", zipfile.ZIP_DEFLATED) as archive:
            for entry, content in held.items():
                if content is not None:
                    archive.writestr(entry, content)
        return tmp_path / name

    return change


@pytest.fixture
def described(units: ModuleType, changed: Callable[..., Path]) -> Callable[..., Path]:
    """A copy of a unit whose description has pieces of text replaced."""

    def describe(unit: Path, version: int, *pieces: tuple[str, str]) -> Path:
        text = units.description(units.LAG_ENGINE, version)
        for old, new in pieces:
            assert old in text
            text = text.replace(old, new)
        return changed(unit, {"modelDescription.xml": text})

    return describe
