"""The minimal adapters: as short as promised, the same engine in every language, and sound."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import leverproof_adapters
from leverproof.session import RunRequest, run_session
from leverproof.stand.mount import mount
from leverproof.stand.port import Array, Start
from leverproof.stand.shakedown import shakedown
from leverproof.stand.stand_file import read_stand_file

ROOT = Path(__file__).resolve().parents[3]
EXAMPLES = Path(leverproof_adapters.__file__).parents[1] / "examples"
PAGE = ROOT / "docs" / "reference" / "minimal-adapters.md"
SHORT = {"python": "engine.py", "javascript": "engine.mjs", "c": "engine.c"}
STANDS = ("python", "javascript", "c", "library", "object", "object_program", "perl", "fmi")


@pytest.fixture(scope="module")
def stands(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The stand file of every Rill-1, built in a copy as its build hint says."""
    tree = tmp_path_factory.mktemp("rill") / "adapters"
    for name in ("minimal", "perl_engine", "fmi_unit"):
        shutil.copytree(EXAMPLES / name, tree / "examples" / name)
    shutil.copytree(EXAMPLES.parent / "include", tree / "include")
    found = {
        name: tree / "examples" / "minimal" / f"{name}.stand.toml"
        for name in STANDS
        if name not in ("perl", "fmi")
    }
    found["perl"] = tree / "examples" / "perl_engine" / "stand.toml"
    found["fmi"] = tree / "examples" / "fmi_unit" / "stand.toml"
    for path in found.values():
        text = path.read_text("utf-8").replace('"python3", ', f'"{sys.executable}", ')
        path.write_text(text, "utf-8")
        hint = read_stand_file(str(path)).build_hint
        if hint.startswith(("cc ", "python3 ")):
            words = [sys.executable if word == "python3" else word for word in shlex.split(hint)]
            subprocess.run(words, cwd=path.parent, check=True, timeout=60)
    return found


@pytest.mark.parametrize("language", SHORT)
def test_eighty_lines_do_and_the_page_shows_these(language: str) -> None:
    text = (EXAMPLES / "minimal" / SHORT[language]).read_text("utf-8")
    lines = text.splitlines()
    assert 40 < len(lines) <= 80
    assert max(map(len, lines)) <= 120
    shown = dict(re.findall(r"^```(\w+)\n(.*?)^```$", PAGE.read_text("utf-8"), re.M | re.S))
    assert shown[language] == text


def test_c_compiles_without_a_warning(tmp_path: Path) -> None:
    for file, words in (
        ("engine.c", ["-o", "engine"]),
        ("library.c", ["-shared", "-fPIC", "-o", "librill.so"]),
    ):
        command = [
            "cc",
            "-std=c99",
            "-O2",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-I",
            str(EXAMPLES.parent / "include"),
        ]
        source = EXAMPLES / "minimal" / file
        subprocess.run([*command, *words, str(source), "-lm"], cwd=tmp_path, check=True, timeout=60)


@pytest.mark.parametrize("name", ["python", "javascript", "c", "object", "perl"])
def test_each_is_shaken_down(stands: dict[str, Path], name: str) -> None:
    found = shakedown(str(stands[name]))
    assert [(r.name, r.outcome.seen) for r in found.results if r.ending in ("fail", "blocked")] == []
    assert sum(r.ending == "pass" for r in found.results) >= 19
    assert found.exit_code == 0


@pytest.mark.parametrize("name", ["library", "object_program", "fmi"])
def test_each_behind_a_worker_is_sound(stands: dict[str, Path], name: str) -> None:
    items = ("units", "levers", "surroundings", "reset", "nan", "refusal", "clean-end")
    found = shakedown(str(stands[name]), items=items)
    assert [(r.name, r.outcome.seen) for r in found.results if r.ending in ("fail", "blocked")] == []


def flown(path: Path) -> Array:
    """Both readings through a throttle and a height that move, begun running and begun stopped."""
    inputs, outputs = ("pressure_altitude", "throttle"), ("engine_speed", "manifold_pressure")
    rows = np.empty((200, 1, 2))
    rows[:, 0, 0] = np.linspace(1_000.0, 9_000.0, 200)
    rows[:, 0, 1] = 0.5 + 0.45 * np.sin(np.arange(200) / 9.0)
    out = []
    with mount(read_stand_file(str(path)), defect=None) as mounted:
        for engine in ("running", "stopped"):
            start = Start(engine, tuple(rows[0, 0]))
            out.append(mounted.session.initialise([start], 1800, inputs, outputs))
            out.append(mounted.session.advance([0], rows)[:, 0])
    return np.concatenate(out)


def test_all_are_the_same_engine(stands: dict[str, Path]) -> None:
    found = {name: flown(path) for name, path in stands.items()}
    assert np.ptp(found["python"], axis=0).min() > 10.0
    for name, numbers in found.items():
        np.testing.assert_allclose(numbers, found["python"], rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.mark.parametrize("name", ["python", "c", "fmi"])
def test_what_applies_of_the_cases_passes(stands: dict[str, Path], tmp_path: Path, name: str) -> None:
    request = RunRequest(stand=str(stands[name]), cases=("idle-*", "stopped-*"), out=tmp_path / "record")
    assert run_session(request) == 0


def test_a_program_that_takes_words_for_numbers_is_caught(stands: dict[str, Path]) -> None:
    path = stands["perl"].with_name("lenient.stand.toml")
    program = stands["perl"].with_name("engine.pl").read_text("utf-8")
    lenient = program.replace("return ($flags & (B::SVp_IOK", "return !ref $_[0] || ($flags & (B::SVp_IOK")
    assert lenient != program
    path.with_name("lenient.pl").write_text(lenient, "utf-8")
    path.write_text(stands["perl"].read_text("utf-8").replace("engine.pl", "lenient.pl"), "utf-8")
    last = shakedown(str(path), items=["refusal"]).results[-1]
    assert (last.name, last.ending) == ("refusal", "fail")
    assert "a number in quotes" in last.outcome.seen
