"""``leverproof baseline`` on real models: what moved is named, what did not is recognised, drift is seen."""

from __future__ import annotations

import json
import shlex
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import leverproof_adapters
from leverproof.cli.main import main
from leverproof.session import RunRequest, run_session

EXAMPLES = Path(leverproof_adapters.__file__).parents[1] / "examples"
CASES = ("take-off-boost-back", "shutter-fixed-levers", "idle-fuel-flow")
LARGEST = 2_000_000
"""Bytes of an accepted run of the whole library."""
Flown = Callable[..., Path]


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Flown:
    """A record of the embedded engine, with coefficients scaled."""
    folder = tmp_path_factory.mktemp("flown")
    made: dict[str, Path] = {}

    def fly(*cases: str, sheet: str = "corrie-18-early", seed: int = 1, again: int = 0, **factors: float) -> Path:
        name = json.dumps([cases, sheet, seed, again, factors])
        if name not in made:
            made[name] = folder / str(len(made))
            table = ", ".join(f"{key} = {value}" for key, value in factors.items())
            stand = folder / f"{len(made)}.stand.toml"
            stand.write_text(
                f'format = 1\ntitle = "Corrie-18"\nkind = "reference_engine"\ntarget = "{sheet}"\nsheet = "{sheet}"\n'
                f'grid_step = "0.05 s"\nclock = "stepped"\n[options]\ncoefficients = {{ {table} }}\n'
            )
            assert run_session(RunRequest(stand=str(stand), cases=cases, seed=seed, out=made[name])) == 0
        return made[name]

    return fly


@pytest.fixture(scope="module")
def held(flown: Flown, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The embedded engine as it is, accepted on a few cases."""
    folder = tmp_path_factory.mktemp("held") / "baseline"
    assert main(["baseline", "accept", str(flown(*CASES)), "--to", str(folder), "--by", "Ann", "--why", "ok"]) == 0
    return folder


def answer(record: Path, held: Path, tmp_path: Path) -> tuple[int, dict[str, Any]]:
    out = tmp_path / "answer.json"
    code = main(["baseline", "check", str(record), "--against", str(held), "--json", str(out)])
    return code, json.loads(out.read_text("utf-8"))


def test_the_same_model_again_is_identical(flown: Flown, held: Path, tmp_path: Path) -> None:
    code, found = answer(flown(*CASES, again=1), held, tmp_path)
    assert (code, found["answer"], found["recognised_by_sum"]) == (0, "identical", True)


@pytest.mark.parametrize(
    ("factors", "channel", "case"),
    [
        ({"indicated_work": 1.006}, "brake_power torque", ""),
        ({"cooler_open": 1.05}, "carburettor_air_temperature", "shutter-fixed-levers"),
        ({"auto_rich_ratio": 1.01}, "fuel_flow", ""),
        ({"gas_peak_temperature": 1.01}, "exhaust_gas_temperature", ""),
    ],
)
def test_a_coefficient_changed_slightly_is_named_by_its_channel(
    factors: dict[str, float], channel: str, case: str, flown: Flown, held: Path, tmp_path: Path
) -> None:
    """Small enough that every judgement still passes, so that nothing but the baseline can tell."""
    code, found = answer(flown(*CASES, **factors), held, tmp_path)
    assert (code, found["answer"]) == (1, "moved")
    first = found["first"]
    assert first["channel"] in channel.split() and first["runs"] > first["of"] / 2
    assert first["places"][0]["doubts"] >= 2.0
    moved = {one["case"] for one in found["cases"] if one["answer"] == "moved"}
    assert not case or case in moved


def test_a_change_of_the_last_digits_is_inside_tolerance(flown: Flown, held: Path, tmp_path: Path) -> None:
    code, found = answer(flown(*CASES, indicated_work=1.0002), held, tmp_path)
    assert (code, found["answer"]) == (0, "within tolerance")


def test_what_moves_when_is_told_to_the_half_second(flown: Flown, held: Path, tmp_path: Path) -> None:
    """A rotor with less inertia differs from the first movement on."""
    code, found = answer(flown(*CASES, turbo_inertia=0.7), held, tmp_path)
    assert code == 1 and found["first"]["channel"] in ("turbo_speed", "carburettor_deck_pressure", "manifold_pressure")
    assert found["first"]["places"][0]["time"] > 0.0


def test_another_seed_is_not_comparable_where_it_draws_points(flown: Flown, tmp_path: Path) -> None:
    cases = ("idle-at-height", "take-off-boost-back")
    folder = tmp_path / "held"
    assert main(["baseline", "accept", str(flown(*cases)), "--to", str(folder), "--by", "Ann", "--why", "ok"]) == 0
    code, found = answer(flown(*cases, seed=2), folder, tmp_path)
    assert (code, found["answer"]) == (1, "not comparable")
    by = {one["case"]: one["answer"] for one in found["cases"]}
    assert by == {"idle-at-height": "not comparable", "take-off-boost-back": "identical"}


def test_another_sheet_is_not_comparable(flown: Flown, held: Path, tmp_path: Path) -> None:
    code, found = answer(flown("take-off-boost-back", sheet="corrie-18-late"), held, tmp_path)
    assert code == 1 and "another engine sheet" in found["refused"][0] and found["cases"] == []


def test_endings_of_the_command(flown: Flown, held: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = str(flown(*CASES))
    assert main(["baseline", "check", record, "--against", str(tmp_path / "none")]) == 2
    told = capsys.readouterr().err
    assert "there is no baseline here" in told and "baseline accept RECORD --by NAME --why TEXT" in told
    assert main(["baseline", "check", str(tmp_path / "no-record"), "--against", str(held)]) == 2
    assert main(["baseline", "accept", record, "--to", str(tmp_path / "new"), "--by", "Ann"]) == 2
    assert "--why" in capsys.readouterr().err and not (tmp_path / "new").exists()
    assert main(["baseline", "accept", record, "--to", str(held), "--by", "Bob", "--why", "again"]) == 0
    assert "nothing was written" in capsys.readouterr().out
    copy = tmp_path / "copy"
    shutil.copytree(held, copy)
    path = copy / "baseline.json"
    path.write_text(path.read_text("utf-8").replace('"brake_power":2', '"brake_power":3', 1), "utf-8")
    assert main(["baseline", "check", record, "--against", str(copy)]) == 2
    assert "changed by hand" in capsys.readouterr().err


def test_a_bundle_is_as_good_as_a_record(flown: Flown, held: Path, tmp_path: Path) -> None:
    bundle = tmp_path / "run.zip"
    assert main(["bundle", str(flown(*CASES)), "--out", str(bundle)]) == 0
    assert main(["baseline", "check", str(bundle), "--against", str(held)]) == 0


def test_drift_inside_tolerance_is_seen_before_it_fails(
    flown: Flown, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Power falls by 0.15 % a version, each less than a reading's tolerance; the judgement of it would fail after some
    thirty more."""
    held = tmp_path / "held"
    for step in range(6):
        record = str(flown("take-off-boost-back", indicated_work=1.0 - 0.0009 * step))
        if step:
            assert main(["baseline", "check", record, "--against", str(held)]) == 0
        told = ["--by", "Ann", "--why", f"version {step}"]
        assert main(["baseline", "accept", record, "--to", str(held), *told]) == 0
    capsys.readouterr()
    out, numbers = tmp_path / "history.html", tmp_path / "history.json"
    asked = ["baseline", "history", "--against", str(held), "--out", str(out), "--json", str(numbers)]
    assert main(asked) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "take-off-boost-back, power: -" in text and "it fails after" in text
    found = json.loads(numbers.read_text("utf-8"))
    assert "take-off-boost-back/power/" in found["drifting"]
    (series,) = [one for one in found["judged"] if one["key"] == "take-off-boost-back/power/"]
    assert len(series["spots"]) == 6 and all(spot["verdict"] == "pass" for spot in series["spots"])
    assert 20 <= series["drift"]["left"] <= 60
    assert out.read_text("utf-8").count("<svg") == len(found["drifting"]) + len(found["judged"]) + len(
        found["readings"]
    )


def test_the_whole_library_is_held_in_two_megabytes(flown: Flown, tmp_path: Path) -> None:
    """The set to which most of the library applies; every reading and curve of every run is in it."""
    record, held = flown(sheet="corrie-18-late"), tmp_path / "held"
    assert main(["baseline", "accept", str(record), "--to", str(held), "--by", "Ann", "--why", "all of it"]) == 0
    size = sum(path.stat().st_size for path in held.rglob("*") if path.is_file())
    cases = json.loads((held / "baseline.json").read_text("utf-8"))["cases"]
    assert len(cases) >= 120 and size <= LARGEST * len(cases) / 120
    assert main(["baseline", "check", str(record), "--against", str(held)]) == 0


def foreign(folder: Path, name: str) -> Path:
    """An example engine in another language, built as its stand file says."""
    shutil.copytree(EXAMPLES / name, folder)
    if name == "c_engine":
        hint = next(line for line in (folder / "stand.toml").read_text().splitlines() if line.startswith("build_hint"))
        subprocess.run(shlex.split(hint.split('"')[1]), cwd=folder, check=True, timeout=60)
    return folder / "stand.toml"


@pytest.mark.parametrize(
    ("engine", "cases", "defect", "channel"),
    [
        ("c_engine", ("take-off-boost-back", "turbo-lag"), "no-turbo-inertia", "turbo_speed"),
        ("javascript_engine", ("idle-fuel-flow", "throttle-both-ways"), "instant-response", "manifold_pressure"),
    ],
)
def test_engines_in_other_languages(
    engine: str, cases: tuple[str, ...], defect: str, channel: str, tmp_path: Path
) -> None:
    stand, held = foreign(tmp_path / "engine", engine), tmp_path / "held"
    records = [tmp_path / "one", tmp_path / "two", tmp_path / "three"]
    for record, built_in in zip(records, (None, None, defect), strict=True):
        run_session(RunRequest(stand=str(stand), cases=cases, out=record, defect=built_in))
    assert main(["baseline", "accept", str(records[0]), "--to", str(held), "--by", "Ann", "--why", "ok"]) == 0
    assert answer(records[1], held, tmp_path)[0] == 0
    code, found = answer(records[2], held, tmp_path)
    assert code == 1 and found["first"]["channel"] == channel
    assert main(["baseline", "accept", str(records[2]), "--to", str(held), "--by", "Ann", "--why", "worse"]) == 2
