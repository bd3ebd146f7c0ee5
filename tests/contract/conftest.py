"""Stand files for the models under tests/models, written to a folder of the test's own."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from leverproof.stand.mount import MountedStand, mount
from leverproof.stand.port import StandFile
from leverproof.stand.stand_file import read_stand_file
from leverproof_adapters import c_library, in_process, stdio, tcp

MODELS = Path(__file__).resolve().parents[1] / "models"
HERE = Path(__file__).resolve().parent
ADAPTERS = {
    "stdio": stdio.open_stand,
    "tcp": tcp.open_stand,
    "c_library": c_library.open_stand,
    "in_process": in_process.open_stand,
}


def living_members(group: int) -> list[int]:
    """Process ids of the group that are not mere unreaped remains."""
    if not Path("/proc/self/stat").exists():
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return []
        return [group]
    found = []
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text("utf-8", "replace").rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[2]) == group and fields[0] not in "ZX":
            found.append(int(entry.parent.name))
    return found


@pytest.fixture
def gone() -> Callable[[int | None], bool]:
    """Waits up to two seconds for the last member of a process group to go; whether it has."""

    def check(group: int | None) -> bool:
        assert group is not None
        until = time.monotonic() + 2.0
        while living_members(group):
            if time.monotonic() > until:
                return False
            time.sleep(0.01)
        return True

    return check


@pytest.fixture
def stand_of(tmp_path: Path) -> Callable[..., StandFile]:
    """Writes a stand file and reads it; an in-process ``target`` is a file under tests/models."""

    def write(
        *,
        kind: str = "stdio",
        command: list[str] | None = None,
        target: str | None = None,
        start: str = "20 s",
        request: str = "10 s",
        extra: str = "",
    ) -> StandFile:
        lines = ["format = 1", 'title = "a model under test"', f'kind = "{kind}"']
        if command is not None:
            lines.append(f"command = {json.dumps(command)}")
        if target is not None:
            found = os.path.relpath(MODELS / target, tmp_path) if kind == "in_process" else target
            lines.append(f"target = {json.dumps(found)}")
        top, _, tables = extra.partition("[")
        lines += [top, f'deadlines = {{ start = "{start}", request = "{request}", row = "0.02 s" }}']
        path = tmp_path / "stand.toml"
        path.write_text("\n".join(lines) + "\n" + ("[" + tables if tables else ""), encoding="utf-8")
        return read_stand_file(path, kinds=ADAPTERS)

    return write


@pytest.fixture
def faulty(stand_of: Callable[..., StandFile]) -> Callable[..., StandFile]:
    """The stand of the faulty model with one vice."""

    def make(vice: str, **changes: Any) -> StandFile:
        command = [sys.executable, str(MODELS / "faulty_model.py"), "--vice", vice]
        return stand_of(command=command, **changes)

    return make


@pytest.fixture
def lag_stand(stand_of: Callable[..., StandFile]) -> Callable[..., StandFile]:
    """The lag engine, in process or as a child process."""
    channels = '[channels.manifold_pressure]\nname = "map"\n[channels.mixture]\nname = "mix"\n'
    defects = '[defects.charge-ignores-pressure]\nsize = "large"\nreason = "a constant pressure"\n'

    def make(kind: str, factory: str = "make") -> StandFile:
        if kind == "in_process":
            return stand_of(kind=kind, target=f"lag_engine.py:{factory}", extra=channels + defects)
        command = [sys.executable, str(MODELS / "lag_engine.py")]
        return stand_of(command=command, extra='defect_argument = "--defect"\n' + channels + defects)

    return make


@pytest.fixture
def stream_stand(stand_of: Callable[..., StandFile]) -> Callable[..., StandFile]:
    """The faulty stream with one vice, over stdio or TCP, with frames or without."""

    def make(vice: str, kind: str, *, frames: bool = False, **changes: Any) -> StandFile:
        command = [sys.executable, str(HERE / "faulty_stream.py"), "--vice", vice]
        if frames:
            command.append("--frames")
        if kind == "tcp":
            return stand_of(
                kind=kind, target="127.0.0.1:0", command=[*command, "--port", "{port}"], **changes
            )
        return stand_of(kind=kind, command=command, **changes)

    return make


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Builds the faulty library with some macros defined; each build is made once."""
    folder = tmp_path_factory.mktemp("library")

    def build(*macros: str) -> Path:
        path = folder / f"lib{'-'.join(('faulty', *macros))}.so"
        if not path.exists():
            warnings = ["-std=c99", "-D_POSIX_C_SOURCE=200809L", "-Wall", "-Wextra", "-Werror", "-pedantic"]
            places = [
                "-I",
                str(c_library.header().parent),
                "-o",
                str(path),
                str(HERE / "faulty_library.c"),
                "-lm",
            ]
            words = ["cc", "-shared", "-fPIC", *warnings, *(f"-D{macro}" for macro in macros), *places]
            subprocess.run(words, check=True, timeout=60)
        return path

    return build


@pytest.fixture
def library_stand(stand_of: Callable[..., StandFile], built: Callable[..., Path]) -> Callable[..., StandFile]:
    """The faulty library, built with some macros; its vices are asked for as seeded defects."""
    channels = '[channels.manifold_pressure]\nname = "map"\n[channels.mixture]\nname = "mix"\n'

    def make(*macros: str, loader: str = "ctypes", **changes: Any) -> StandFile:
        options = f'[options]\nloader = "{loader}"\n'
        return stand_of(kind="c_library", target=str(built(*macros)), extra=channels + options, **changes)

    return make


@pytest.fixture
def mounted() -> Iterator[Callable[..., MountedStand]]:
    """Mounts stands and closes them at the end of the test."""
    opened: list[MountedStand] = []

    def open_one(stand: StandFile, defect: str | None = None) -> MountedStand:
        opened.append(mount(stand, defect=defect, adapters=ADAPTERS))
        return opened[-1]

    yield open_one
    for one in opened:
        one.close()
