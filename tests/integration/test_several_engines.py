"""A twin and a four flown engine by engine, with the others held: reports, records, defects, refusals, numbers."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from junitparser import JUnitXml

import leverproof_adapters
from leverproof.cases.catalogue import load_catalogue
from leverproof.cli.main import main
from leverproof.judge.endings import ENDINGS
from leverproof.record.reader import Record, read_record
from leverproof.schema import check
from leverproof.session import RunRequest, rejudge, run_session
from leverproof.stand.mapped import MappedSession
from leverproof.stand.mount import mount
from leverproof.stand.port import Array, StandFile, Start
from leverproof.stand.stand_file import read_stand_file

EXAMPLES = Path(leverproof_adapters.__file__).parents[1] / "examples"
FOLDER = EXAMPLES / "javascript_engine"
TWIN, SINGLE = FOLDER / "twin.stand.toml", FOLDER / "stand.toml"
MODELS = Path(__file__).resolve().parents[1] / "models"
OWN_NAMES, ALONE = MODELS / "several_engines.stand.toml", MODELS / "second_engine.stand.toml"
FEW = ("engines-independent", "idle-speed", "stopped-manifold-pressure", "mixture-order", "take-off-full-throttle")


def run(out: Path, stand: Path, **asked: object) -> tuple[int, Record]:
    code = run_session(RunRequest(out=out, stand=str(stand), **asked))  # type: ignore[arg-type]
    record = read_record(out)
    record.verify()
    return code, record


def failed(record: Record) -> set[str]:
    return {f.case for f in record.findings if f.weight == "required" and ENDINGS[f.verdict].passed is False}


@pytest.fixture(scope="module")
def honest(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The record of the JavaScript twin with a few cases, and its reports beside it."""
    assert shutil.which("node"), "node is needed by the JavaScript engine"
    folder = tmp_path_factory.mktemp("twin")
    words = ["run", "--stand", str(TWIN), "--out", str(folder / "record")]
    for case in (*FEW, "boost-travel"):
        words += ["--case", case]
    for kind in ("json", "junit", "markdown"):
        words += [f"--{kind}", str(folder / kind)]
    assert main(words) == 0
    return folder


def test_every_case_is_flown_on_each_engine(honest: Path) -> None:
    record = read_record(honest / "record")
    record.verify()
    cases = {f.case for f in record.findings}
    assert cases == {f"{case}@{engine}" for case in (*FEW, "boost-travel") for engine in (1, 2)}
    passed = [f.case for f in record.findings if f.verdict in ("pass", "conditional pass") and f.weight == "required"]
    assert passed.count("engines-independent@1") == passed.count("engines-independent@2") == 1
    assert [e.data["engine"] for e in record.events if e.kind == "handshake"] == [1, 2]
    assert sorted(p.name for p in (honest / "record" / "histories").iterdir()) == sorted(
        f"{case}@{engine}.npz" for case in (*FEW, "half-grid-step") for engine in (1, 2)
    )


def test_the_record_can_be_judged_again(honest: Path) -> None:
    record = read_record(honest / "record")
    assert rejudge(record, load_catalogue().ladder) == list(record.findings)


def test_the_levers_of_the_other_engine_are_in_the_record_where_they_were_held(honest: Path) -> None:
    record = read_record(honest / "record")
    for history in record.histories("take-off-full-throttle@2").values():
        assert set(np.unique(history.column("other_throttle")).tolist()) == {float(np.float32(0.4))}
        assert set(np.unique(history.column("other_mixture")).tolist()) == {2.0}
    moved = record.histories("engines-independent@1")[0, "others moved"]
    assert np.ptp(moved.column("other_throttle")) == np.ptp(moved.column("other_propeller")) == 1.0
    assert np.ptp(moved.column("throttle")) == pytest.approx(0.2)


def test_every_report_says_which_engine(honest: Path, capsys: pytest.CaptureFixture[str]) -> None:
    report = json.loads((honest / "json").read_text("utf-8"))
    check(report, "report", "json")
    assert {(case["id"], case["engine"]) for case in report["cases"]} >= {("idle-speed@1", 1), ("idle-speed@2", 2)}
    (second,) = (case for case in report["cases"] if case["id"] == "idle-speed@2")
    assert "--case idle-speed --engine 2" in second["repeat"]
    assert report["run"]["engine"].startswith("1 and 2 of 2")
    names = [case.name for suite in JUnitXml.fromfile(str(honest / "junit")) for case in suite]
    assert len(names) == len(set(names)) and "engines-independent@2/unmoved" in names
    markdown = (honest / "markdown").read_text("utf-8")
    assert "idle-speed&#64;2" in markdown and "- engine: 1 and 2 of 2" in markdown
    assert main(["report", str(honest / "record")]) == 0
    table = capsys.readouterr().out
    assert "idle-speed@1" in table and "boost-travel@2: " in table


def test_the_command_given_for_a_repeat_repeats_one_engine(honest: Path, tmp_path: Path) -> None:
    first = read_record(honest / "record")
    code, again = run(tmp_path / "record", TWIN, cases=("engines-independent", "idle-speed"), engine=2)
    assert code == 0
    assert {f.case for f in again.findings} == {"engines-independent@2", "idle-speed@2"}
    name = "engines-independent@2"
    for key, history in again.histories(name).items():
        assert history.data.tobytes() == first.histories(name)[key].data.tobytes()


@pytest.mark.parametrize("defect", list(read_stand_file(str(TWIN)).defects))
def test_a_crossed_twin_is_caught_on_the_engine_it_shows_on(tmp_path: Path, defect: str) -> None:
    stated = set(read_stand_file(str(TWIN)).defects[defect]["fires"])
    expected = {name for name in stated if name.partition("@")[0] in FEW}
    assert "engines-independent@2" in expected
    code, record = run(tmp_path / "record", TWIN, defect=defect, cases=FEW)
    assert (code, failed(record)) == (1, expected)
    crossed = [f for f in record.findings if f.case.startswith("engines-independent")]
    verdicts = {f.case[-1]: f.verdict for f in crossed}
    assert verdicts == {"1": "fail" if defect == "levers-crossed" else "pass", "2": "fail"}
    assert rejudge(record, load_catalogue().ladder) == list(record.findings)


@pytest.mark.parametrize("defect", [None, *read_stand_file(str(OWN_NAMES)).defects])
def test_a_twin_with_names_and_units_of_its_own(tmp_path: Path, defect: str | None) -> None:
    stand = read_stand_file(str(OWN_NAMES))
    expected = set(stand.defects[defect]["fires"]) if defect else set()
    code, record = run(tmp_path / "record", OWN_NAMES, defect=defect, cases=("engines-independent", "idle-speed"))
    assert (code, failed(record)) == (1 if defect else 0, expected)
    assert {f.case[-1] for f in record.findings} == {"1", "2"}


def flown(stand: StandFile, engine: int = 1) -> dict[str, Array]:
    """Every reading through twelve seconds of moving levers, by name, the other engines elsewhere."""
    with mount(stand, defect=None) as mounted:
        mounted.turn_to(engine)
        inputs, outputs = mounted.available_inputs, mounted.available_outputs
        row = {"propeller": 0.9, "mixture": 2.0, "pressure_altitude": 4_000.0, "true_airspeed": 90.0, "boost": 0.2}
        row |= {"other_throttle": 0.7, "other_propeller": 0.6, "other_mixture": 3.0, "intercooler_shutter": 1.0}
        held = np.array([row.get(name, 0.0) for name in inputs])
        rows = np.tile(held, (240, 2, 1))
        rows[:, :, inputs.index("throttle")] = np.linspace([0.1, 0.9], [0.9, 0.2], 240)
        if "other_throttle" in inputs:
            rows[:, :, inputs.index("other_throttle")] = np.linspace(1.0, 0.0, 240)[:, None]
        starts = [Start("running", tuple(held)), Start("stopped", tuple(held))]
        first = mounted.session.initialise(starts, 1800, inputs, outputs)
        data = np.concatenate([first[None], mounted.session.advance([0, 1], rows)])
        return {name: data[..., k] for k, name in enumerate(outputs)}


@pytest.mark.parametrize(("several", "single"), [(TWIN, SINGLE), (OWN_NAMES, ALONE)])
@pytest.mark.parametrize("engine", [1, 2])
def test_an_engine_of_a_twin_is_the_engine_alone(several: Path, single: Path, engine: int) -> None:
    one, other = flown(read_stand_file(str(single))), flown(read_stand_file(str(several)), engine)
    assert len(other) >= 13 and set(other) <= set(one)
    assert all(np.ptp(other[name]) > 0.0 for name in ("manifold_pressure", "engine_speed", "brake_power", "fuel_flow"))
    for name, values in other.items():
        np.testing.assert_allclose(values, one[name], rtol=1e-9, atol=1e-9, err_msg=name)


def test_a_four(tmp_path: Path) -> None:
    words = ["one", "two", "three", "four"]
    text = OWN_NAMES.read_text("utf-8").replace('["port", "starboard"]', json.dumps(words))
    text = text.replace('target = "', f'target = "{MODELS}/').replace('sheet = "', f'sheet = "{MODELS}/')
    stand = tmp_path / "four.stand.toml"
    stand.write_text(text.replace("\ngrid_step", "\nengine = [2, 4]\ngrid_step"), "utf-8")
    # The gauges of the last engine show the first, which is nothing to the second.
    code, record = run(tmp_path / "record", stand, cases=("engines-independent",), defect="gauges-of-the-first")
    assert code == 1
    assert {f.case: f.verdict for f in record.findings} == {
        "engines-independent@2": "pass",
        "engines-independent@4": "fail",
    }


@pytest.mark.parametrize(
    ("change", "words", "said"),
    [
        (("engines = 2", "engines = 3"), [], ["the model has no engine 3", "did you mean 'throttle_2'?"]),
        (("engines = 2", "engines = 2\nengine = 4"), [], ["engine 4 is tested and the model has 2 engines"]),
        (("engines = 2", "engines = 2"), ["--engine", "3"], ["there is no engine 3", "the nearest is engine 2"]),
        (("throttle = 0.4", "trottle = 0.4"), [], ["'trottle' is no lever", "did you mean 'throttle'?"]),
    ],
)
def test_an_engine_that_is_not_there_is_refused_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: tuple[str, str], words: list[str], said: list[str]
) -> None:
    shutil.copytree(FOLDER, tmp_path / "js")
    stand = tmp_path / "js" / "twin.stand.toml"
    stand.write_text(stand.read_text("utf-8").replace(*change), "utf-8")
    assert main(["run", "--stand", str(stand), "--out", str(tmp_path / "record"), *words]) == 2
    shown = capsys.readouterr().err
    assert all(word in shown for word in said), shown


def test_a_model_of_one_engine_has_no_second(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(SINGLE.parent, tmp_path / "js")
    path = tmp_path / "js" / "stand.toml"
    path.write_text(path.read_text("utf-8").replace("engine = 1", "engine = 2"), "utf-8")
    assert main(["run", "--stand", str(path), "--out", str(tmp_path / "record")]) == 2
    shown = capsys.readouterr().err
    assert "no lever is its own" in shown and "did you mean 'throttle'?" in shown


def test_of_one_engine_nothing_is_lost_by_it(tmp_path: Path) -> None:
    code, record = run(tmp_path / "record", ALONE, cases=("engines-independent",))
    (finding,) = record.findings
    assert (code, finding.case, finding.verdict) == (5, "engines-independent", "not applicable")
    assert "the stand has one engine" in finding.note and "of one nothing" in finding.note


def test_a_twin_that_dies_on_one_engine_is_flown_again_on_the_other(tmp_path: Path) -> None:
    for name in ("several_engines.py", "second_engine.sheet.toml"):
        shutil.copy(MODELS / name, tmp_path / name)
    (tmp_path / "mortal.py").write_text(MORTAL.format(models=str(MODELS)), "utf-8")
    text = OWN_NAMES.read_text("utf-8").replace("several_engines.py:factory", "mortal.py:factory")
    (tmp_path / "stand.toml").write_text(text, "utf-8")
    code, record = run(tmp_path / "record", tmp_path / "stand.toml", cases=("engines-independent", "idle-speed"))
    assert code == 1
    verdicts = {(f.case, f.verdict) for f in record.findings if f.weight == "required"}
    assert ("idle-speed@1", "error") in verdicts and ("idle-speed@2", "error") not in verdicts
    assert ("engines-independent@2", "pass") in verdicts


MORTAL = '''
"""The twin of this folder, which falls over when its first engine is read at sea level."""
import sys

import numpy as np

sys.path.insert(0, {models!r})
import several_engines


class Mortal(several_engines.Aeroplane):
    def advance(self, lanes, rows):
        low = rows[..., [ours for _, ours in self.inputs].index("pressure_altitude")] < 1.0
        if low.any() and self.outputs[0][0] == 0:
            raise RuntimeError("the first engine fell over")
        return super().advance(lanes, rows)


def factory(options, defect):
    return Mortal(list(options["names"]), defect)
'''


def test_the_plug_in_has_a_test_for_each_engine(pytester_project: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-v", "-p", "no:cacheprovider", f"--leverproof-stand={TWIN}",
         "--leverproof-case=idle-speed", "--leverproof-case=engines-independent"],
        cwd=pytester_project, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    for engine in (1, 2):
        assert f"leverproof::engines-independent@{engine}::unmoved PASSED" in done.stdout
        assert f"leverproof::idle-speed@{engine}::engine-speed PASSED" in done.stdout


@pytest.fixture
def pytester_project(tmp_path: Path) -> Path:
    (tmp_path / "pytest.ini").write_text("[pytest]\nfilterwarnings = error\n", "utf-8")
    return tmp_path


def test_an_interrupt_leaves_the_other_engine_not_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[int] = []

    def interrupt(*_: object) -> Array:
        begun.append(1)
        raise KeyboardInterrupt

    monkeypatch.setattr(MappedSession, "advance", interrupt)
    code, record = run(tmp_path / "record", OWN_NAMES, cases=("idle-speed",))
    assert (code, len(begun)) == (130, 1)
    assert {(f.case, f.verdict) for f in record.findings} == {("idle-speed@1", "not run"), ("idle-speed@2", "not run")}
