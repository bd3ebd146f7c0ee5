"""One set of equations, the Corrie-16 engine in C, as a program, behind a TCP port and as a shared library: the same
readings and the same failed findings, whatever it is mounted by."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import leverproof_adapters
from leverproof.judge.endings import ENDINGS
from leverproof.record.reader import Record, read_record
from leverproof.session import RunRequest, run_session
from leverproof.stand.mount import mount
from leverproof.stand.port import Array, StandFile, Start
from leverproof.stand.stand_file import read_stand_file
from leverproof_adapters.c_library import header

EXAMPLES = Path(leverproof_adapters.__file__).parents[1] / "examples"
STANDS = ("stand.toml", "tcp.stand.toml", "library.stand.toml")
DEFECTS = (
    None,
    "back-pressure-ambient",
    "charge-ignores-pressure",
    "no-turbo-inertia",
    "boost-without-exhaust",
    "starter-too-weak",
)
CASES = (
    "mixture-order", "temperature-exponent", "back-pressure-and-power", "split-lever-advantage", "boost-travel",
    "cut-off-flight", "overspeed-light", "start-from-rest", "start-needs-fuel", "stopped-manifold-pressure",
)  # fmt: skip
LEVERS = {
    "throttle": (0.0, 1.0), "boost": (0.0, 1.0), "propeller": (0.4, 1.0), "mixture": (1.0, 3.0),
    "intercooler_shutter": (0.0, 1.0), "starter": (0.0, 1.0), "pressure_altitude": (0.0, 25_000.0),
    "temperature_offset": (-20.0, 20.0), "relative_humidity": (0.0, 1.0), "true_airspeed": (0.0, 250.0),
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the example, with every build hint followed to the letter."""
    root = tmp_path_factory.mktemp("stands")
    shutil.copytree(header().parent, root / "include")
    shutil.copytree(EXAMPLES / "c_engine", root / "examples" / "c_engine")
    found = root / "examples" / "c_engine"
    for name in STANDS:
        for words in stand_of(found, name).build_hint.split(" && "):
            strict = ["-Wall", "-Wextra", "-Werror", "-pedantic"]
            subprocess.run([*words.split(), *strict], cwd=found, check=True, timeout=60)
    return found


def stand_of(folder: Path, name: str) -> StandFile:
    return read_stand_file(str(folder / name))


@cache
def flown(path: str, defect: str | None) -> Array:
    """Every reading of three lanes, one of them stopped, through half a minute of levers moved at random."""
    random = np.random.default_rng(16)
    with mount(read_stand_file(path), defect=defect) as mounted:
        assert set(mounted.available_inputs) == set(LEVERS)
        inputs, outputs = tuple(LEVERS), tuple(sorted(mounted.available_outputs))
        low, high = np.array(list(LEVERS.values())).T
        points = low + random.random((7, 3, len(inputs))) * (high - low)
        for name in ("mixture", "starter"):
            points[..., inputs.index(name)] = np.round(points[..., inputs.index(name)])
        starts = [
            Start(engine, tuple(row))
            for engine, row in zip(("running", "running", "stopped"), points[0], strict=True)
        ]
        first = mounted.session.initialise(starts, 1800, inputs, outputs)
        rows = np.repeat(points[1:], 100, axis=0)
        whole = mounted.session.advance([0, 1, 2], rows)
        part = mounted.session.advance([2, 0], rows[:50, :2])
    return np.concatenate([first.ravel(), whole.ravel(), part.ravel()])


@pytest.mark.parametrize("defect", DEFECTS)
def test_every_reading_is_the_same(folder: Path, defect: str | None) -> None:
    numbers = [flown(str(folder / name), defect) for name in STANDS]
    assert np.isfinite(numbers[0]).all()
    assert len(np.unique(numbers[0])) > 5_000
    for other in numbers[1:]:
        np.testing.assert_allclose(other, numbers[0], rtol=1e-9, atol=0.0)


def test_a_defect_changes_the_readings(folder: Path) -> None:
    path = str(folder / "library.stand.toml")
    assert len({flown(path, defect).tobytes() for defect in DEFECTS}) == len(DEFECTS)


def test_the_three_stand_files_agree(folder: Path) -> None:
    stands = [stand_of(folder, name) for name in STANDS]
    for stand in stands[1:]:
        assert stand.defects == stands[0].defects
        mounted_alike = replace(
            stand,
            **{
                key: getattr(stands[0], key)
                for key in ("path", "title", "kind", "target", "command", "build_hint")
            },
        )
        assert replace(mounted_alike, defect_argument=stands[0].defect_argument) == stands[0]


def findings(record: Record) -> set[tuple[object, ...]]:
    return {(f.case, f.judgement, f.weight, f.verdict, f.found) for f in record.findings}


def test_the_same_defect_fails_the_same_findings(folder: Path, tmp_path: Path) -> None:
    """Cases of every kind of program against each stand, with one seeded defect built in."""
    seen = []
    for name in STANDS:
        out = tmp_path / name
        code = run_session(
            RunRequest(stand=str(folder / name), cases=CASES, defect="charge-ignores-pressure", out=out)
        )
        assert code == 1
        seen.append(findings(read_record(out)))
    failed = {
        case
        for case, _, weight, verdict, _ in seen[0]
        if weight == "required" and ENDINGS[str(verdict)].passed is False
    }
    assert len(failed) >= 3
    assert seen[1] == seen[0]
    assert seen[2] == seen[0]
