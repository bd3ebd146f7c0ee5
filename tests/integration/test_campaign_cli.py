"""The campaign command: shards and merging, an interrupt, what it refuses, and coefficients of a program."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from leverproof.campaign import store
from leverproof.cli.main import main

COMMAND = "import sys; from leverproof.cli.main import main; sys.exit(main(sys.argv[1:]))"


def test_shards_merged_are_the_whole(tmp_path: Path, plans: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    plan = str(plans.write_plan(tmp_path / "p"))
    for part in (1, 2):
        assert main(["campaign", plan, "--shard", f"{part}/2", "--jobs", "1", "--out", str(tmp_path / f"s{part}")]) == 0
    assert main(["campaign", plan, "--jobs", "1", "--out", str(tmp_path / "whole")]) == 0
    both = [str(tmp_path / "s1"), str(tmp_path / "s2")]
    report = tmp_path / "summary.json"
    capsys.readouterr()
    assert main(["campaign", "merge", *both, "--out", str(tmp_path / "merged"), "--json", str(report)]) == 0
    assert store.digest(tmp_path / "merged") == store.digest(tmp_path / "whole")
    assert store.digest(tmp_path / "merged") in capsys.readouterr().out
    assert json.loads(report.read_text())["items"] == 20
    assert not json.loads(report.read_text())["notes"]
    half, page = tmp_path / "half", tmp_path / "half.html"
    asked = ["--json", str(report), "--html", str(page)]
    assert main(["campaign", "merge", both[0], "--out", str(half), *asked]) == 1
    said = capsys.readouterr()
    assert "incomplete: " in said.err
    there = len(store.finished(half))
    words = f"only {there} of the 20 items of the plan are here: {20 - there} are missing"
    # A page that is read without the command beside it must not pass for the whole.
    assert words in said.out and words in page.read_text() and json.loads(report.read_text())["notes"] == [words]


@pytest.mark.skipif(os.name != "posix", reason="signals are sent")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupt_keeps_what_is_finished_and_says_how_to_go_on(
    tmp_path: Path, plans: ModuleType, number: signal.Signals
) -> None:
    plan = str(plans.write_plan(tmp_path / "p", options={"pause": 0.05}))
    words = ["campaign", plan, "--jobs", "2", "--out", str(tmp_path / "out")]
    child = subprocess.Popen([sys.executable, "-c", COMMAND, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    deadline = time.monotonic() + 60.0
    while not any(b'"rows"' in f.read_bytes() for f in (tmp_path / "out" / store.RESULTS).glob("*.jsonl")):
        assert child.poll() is None and time.monotonic() < deadline
        time.sleep(0.01)
    child.send_signal(number)
    _, told = child.communicate(timeout=60)
    assert child.returncode == 130, told.decode()
    there = store.finished(tmp_path / "out")
    assert 0 < len(there) < 20
    assert f"interrupted: {len(there)} of 20 cases are kept" in told.decode()
    again = told.decode().splitlines()[-1].split()
    assert again[:2] == ["leverproof", "campaign"]
    assert main(again[1:]) == 0
    assert there < store.finished(tmp_path / "out")
    assert len(store.finished(tmp_path / "out")) == 20


HANGING = """
import os, time
from pathlib import Path
from campaign_engine import CampaignEngine
from leverproof.stand.server import serve

class Hanging(CampaignEngine):
    def misbehave(self):
        if 4000.0 in self.heights:
            Path("pid").write_text(str(os.getpid()))
            time.sleep(600.0)

serve(Hanging({}))
"""


@pytest.mark.skipif(os.name != "posix", reason="signals are sent")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_no_model_outlives_its_campaign(tmp_path: Path, plans: ModuleType, number: signal.Signals) -> None:
    plan = plans.write_plan(tmp_path / "p")
    (tmp_path / "p" / "program.py").write_text(HANGING)
    (tmp_path / "p" / "stand.toml").write_text(
        f'format = 1\ntitle = "hangs"\nkind = "stdio"\ncommand = ["{sys.executable}", "program.py"]\n'
        'sheet = "corrie-18-early"\ndeadlines = { start = "60 s", request = "300 s", row = "1 s" }\n'
    )
    words = ["campaign", str(plan), "--jobs", "1", "--out", str(tmp_path / "out")]
    child = subprocess.Popen([sys.executable, "-c", COMMAND, *words], stdout=subprocess.DEVNULL)
    deadline, told = time.monotonic() + 60.0, tmp_path / "p" / "pid"
    while not (told.exists() and told.read_text()):
        assert child.poll() is None and time.monotonic() < deadline
        time.sleep(0.02)
    child.send_signal(number)
    child.wait(timeout=60)
    while alive(int(told.read_text())):
        assert time.monotonic() < deadline
        time.sleep(0.02)


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["PLAN", "--shard", "3/2"], "no part of a whole"),
        (["PLAN", "--shard", "x"], "--shard 2/5"),
        (["PLAN", "--jobs", "0"], "0 processes"),
        (["PLAN", "somewhere"], "leverproof campaign merge"),
        (["merge", "somewhere"], "--out DIR"),
        (["merge", "somewhere", "--out", "x", "--jobs", "2"], "merging flies nothing"),
        (["nowhere.toml"], "no such plan"),
        (["PLAN", "--html", "nowhere/x.html"], "cannot write this file"),
    ],
)
def test_what_cannot_be_done_is_refused(
    tmp_path: Path, plans: ModuleType, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    plan = str(plans.write_plan(tmp_path / "p"))
    assert main(["campaign", *(plan if word == "PLAN" else word for word in words)]) == 2
    assert told in capsys.readouterr().err
    assert not Path("leverproof-campaign").exists()


def test_another_plan_in_the_same_folder_is_refused(
    tmp_path: Path, plans: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    out = ["--jobs", "1", "--out", str(tmp_path / "out")]
    assert main(["campaign", str(plans.write_plan(tmp_path / "p", heights="['0 ft']")), *out]) == 0
    before = store.digest(tmp_path / "out")
    assert main(["campaign", str(plans.write_plan(tmp_path / "p", heights="['0 ft', '9 ft']")), *out]) == 2
    assert "another campaign" in capsys.readouterr().err
    assert store.digest(tmp_path / "out") == before


PROGRAM = """
import importlib.util, sys
spec = importlib.util.spec_from_file_location("campaign_engine", "campaign_engine.py")
module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
from leverproof.stand.server import serve
told = dict(word.split("=") for flag, word in zip(sys.argv[1:], sys.argv[2:]) if flag == "--put")
serve(module.make({"coefficients": told}, None))
"""


def test_a_program_is_given_its_coefficients_as_arguments(tmp_path: Path, plans: ModuleType) -> None:
    spread = (
        '[[model.coefficient]]\nname = "gain"\ndistribution = "triangular"\n'
        'low = 0.8\nmode = 1\nhigh = 1.2\nsource = "assumption"\n'
    )
    plan = str(plans.write_plan(tmp_path / "p", more=spread, top="samples = 3", heights="['0 ft']"))
    (tmp_path / "p" / "engine.py").write_text(PROGRAM)
    (tmp_path / "p" / "stand.toml").write_text(
        f"format = 1\ntitle = 'program'\nkind = 'stdio'\ncommand = ['{sys.executable}', 'engine.py']\n"
        "coefficient_argument = '--put'\nsheet = 'corrie-18-early'\n[coefficients]\ngain = 1.0\n"
    )
    assert main(["campaign", plan, "--jobs", "2", "--out", str(tmp_path / "out")]) in (0, 1)
    rows = {o.sample: o for o in store.outcomes(tmp_path / "out") if o.judgement == "higher"}
    nominal = rows[0].found
    assert nominal is not None and sorted(rows) == [0, 1, 2, 3]
    for sample in (1, 2, 3):
        assert rows[sample].found == pytest.approx(nominal * rows[sample].coefficients["gain"], rel=1e-4)


def test_the_embedded_engine_is_sampled_by_factors(tmp_path: Path, plans: ModuleType) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        "format = 1\ntitle = 'friction'\nsamples = 2\n[[model]]\nembedded = 'rill-6'\n[[model.coefficient]]\n"
        "name = 'friction_constant'\ndistribution = 'uniform'\nlow = 0.5\nhigh = 1.5\nsource = 'assumption'\n"
        "[cases]\nselect = ['idle-speed']\n"
    )
    assert main(["campaign", str(plan), "--jobs", "2", "--out", str(tmp_path / "out")]) in (0, 1)
    rows = {o.sample: o for o in store.outcomes(tmp_path / "out") if o.readings}
    powers = {s: next(iter(o.readings.values()))["torque"] for s, o in rows.items()}
    assert len(set(powers.values())) == 3
