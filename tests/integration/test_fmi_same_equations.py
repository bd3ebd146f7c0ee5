"""The Corrie-16 as a unit of FMI 2.0 and 3.0 against the very same equations in a program over stdio."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

import leverproof_adapters
from leverproof.judge.endings import ENDINGS
from leverproof.record.reader import read_record
from leverproof.session import RunRequest, run_session
from leverproof.stand.mount import MountedStand, mount
from leverproof.stand.port import Array, Start
from leverproof.stand.stand_file import read_stand_file
from leverproof_adapters import fmi, stdio

MODELS = Path(__file__).resolve().parents[1] / "models"
EXAMPLE = Path(leverproof_adapters.__file__).parents[1] / "examples" / "c_engine"
ADAPTERS = {"stdio": stdio.open_stand, "fmi": fmi.open_stand}
DEFECT = "charge-ignores-pressure"
CASES = ("climb-power", "turbo-lag", "shutter-fixed-pressure")
SEEDED = {
    "back-pressure-ambient": 1,
    "charge-ignores-pressure": 2,
    "no-turbo-inertia": 3,
    "boost-without-exhaust": 4,
    "starter-too-weak": 5,
}
UNIT = """format = 1
title = "Corrie-16 as a unit"
kind = "fmi"
target = "unit.fmu"
sheet = "corrie-16.sheet.toml"
grid_step = "0.05 s"
clock = "stepped"
deadlines = { start = "30 s", request = "10 s", row = "0.02 s" }
[options]
running = { running = true }
stopped = { running = false }
"""


def _builder() -> ModuleType:
    name = "fmi_units"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, MODELS / f"{name}.py")
        assert spec is not None and spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@dataclass(frozen=True)
class Stands:
    """Stand files of the same engine."""

    stdio: Path
    fmi2: Path
    fmi3: Path

    def unit(self, version: int) -> Path:
        return self.fmi2 if version == 2 else self.fmi3


@pytest.fixture(scope="module")
def stands(tmp_path_factory: pytest.TempPathFactory) -> Stands:
    """The program as its stand file builds it, and both units; the FMI 3.0 one has its defect in a second build."""
    units, folder = _builder(), tmp_path_factory.mktemp("corrie")
    program = folder / "stdio"
    shutil.copytree(EXAMPLE, program)
    build = read_stand_file(str(program / "stand.toml"), kinds=["stdio"]).build_hint.split()
    subprocess.run(build, cwd=program, check=True, timeout=60)
    found = [program / "stand.toml"]
    for version in (2, 3):
        place = folder / f"fmi{version}"
        units.built(units.CORRIE_ENGINE, version, place)
        shutil.copy(EXAMPLE / "corrie-16.sheet.toml", place)
        defects = [f"{name} = {{ parameters = {{ seeded = {number} }} }}" for name, number in SEEDED.items()]
        if version == 3:
            flags = (*units.CORRIE_ENGINE.flags, f"-DBUILT_IN={SEEDED[DEFECT]}")
            units.built(replace(units.CORRIE_ENGINE, flags=flags), 3, place, "spoilt.fmu")
            defects = [f'{DEFECT} = {{ target = "spoilt.fmu" }}']
        declared = f'[defects.{DEFECT}]\nsize = "large"\nreason = "the charge follows the lever"\n'
        text = f"{UNIT}[options.defects]\n" + "\n".join(defects) + f"\n{declared}"
        (place / "stand.toml").write_text(text, "utf-8")
        found.append(place / "stand.toml")
    return Stands(*found)


@pytest.fixture
def opened() -> Iterator[list[MountedStand]]:
    """Mounted stands, closed at the end of the test."""
    mounted: list[MountedStand] = []
    yield mounted
    for one in mounted:
        one.close()


def flight(mounted: MountedStand, rows: Array, engines: tuple[str, ...]) -> dict[str, Array]:
    """Every reading by name, shape (rows + 1, lanes), of one flight through ``rows``."""
    names = sorted(mounted.available_inputs), sorted(mounted.available_outputs)
    starts = [Start(engine, tuple(rows[0, lane])) for lane, engine in enumerate(engines)]
    first = mounted.session.initialise(starts, 1800, *names)
    parts = [mounted.session.advance(range(len(engines)), part) for part in np.array_split(rows, 3)]
    found = np.concatenate([first[None], *parts])
    return {name: found[:, :, column] for column, name in enumerate(names[1])}


def drawn_rows(names: list[str], count: int, lanes: int) -> Array:
    """Levers that jump, and stay for a while; surroundings that drift."""
    rng = np.random.default_rng(20)
    spans = {"pressure_altitude": 25_000.0, "temperature_offset": 20.0, "true_airspeed": 200.0}
    rows = np.repeat(rng.random((count // 40, lanes, len(names))), 40, axis=0)
    for column, name in enumerate(names):
        if name == "mixture":
            rows[:, :, column] = np.floor(rows[:, :, column] * 3.0) + 1.0
        elif name == "starter":
            rows[:, :, column] = np.round(rows[:, :, column])
        elif name in spans:
            drift = np.linspace(0.0, 1.0, len(rows))[:, None]
            rows[:, :, column] = spans[name] * (0.2 + 0.6 * drift * rows[0, :, column])
    return rows


@pytest.mark.parametrize("version", [2, 3])
@pytest.mark.parametrize("defect", [None, DEFECT])
def test_every_reading_is_the_same(
    stands: Stands, opened: list[MountedStand], version: int, defect: str | None
) -> None:
    engines = ("running", "stopped", "running")
    for path in (stands.stdio, stands.unit(version)):
        opened.append(mount(read_stand_file(str(path), kinds=ADAPTERS), defect=defect, adapters=ADAPTERS))
    program, unit = opened
    assert sorted(unit.available_inputs) == sorted(program.available_inputs)
    assert sorted(unit.available_outputs) == sorted(program.available_outputs)
    assert unit.states("mixture") == program.states("mixture")
    rows = drawn_rows(sorted(program.available_inputs), 480, len(engines))
    ours, theirs = flight(unit, rows, engines), flight(program, rows, engines)
    assert np.ptp(theirs["manifold_pressure"][:, 0]) > 5.0
    for name, values in theirs.items():
        # Units of measure are converted by each side's own factors, so not to the last bit.
        np.testing.assert_allclose(ours[name], values, rtol=1e-9, atol=1e-12, err_msg=name)


def failed(stand: Path, out: Path) -> set[tuple[str, str, str]]:
    """Required findings of the cases that did not pass, with the defect built in."""
    code = run_session(RunRequest(stand=str(stand), cases=CASES, defect=DEFECT, out=out))
    record = read_record(out)
    assert code == 1
    assert {finding.case for finding in record.findings} >= set(CASES)
    return {
        (finding.case, finding.judgement, finding.verdict)
        for finding in record.findings
        if finding.weight == "required" and ENDINGS[finding.verdict].passed is False
    }


def test_the_same_findings_fail_with_the_same_defect(stands: Stands, tmp_path: Path) -> None:
    program = failed(stands.stdio, tmp_path / "stdio")
    assert {case for case, _, _ in program} == {"climb-power", "shutter-fixed-pressure"}
    assert failed(stands.fmi2, tmp_path / "parameter") == program
    assert failed(stands.fmi3, tmp_path / "build") == program
