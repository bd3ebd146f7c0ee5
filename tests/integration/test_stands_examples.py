"""The example engines in other languages: JavaScript over TCP as over standard streams, and the one in Perl."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import leverproof_adapters
from leverproof.judge.endings import ENDINGS
from leverproof.record.reader import read_record
from leverproof.schema import check
from leverproof.session import RunRequest, run_session
from leverproof.stand.mount import mount
from leverproof.stand.port import Array, Start
from leverproof.stand.stand_file import read_stand_file
from leverproof_adapters.child_process import Child

EXAMPLES = Path(leverproof_adapters.__file__).parents[1] / "examples"
PERL = EXAMPLES / "perl_engine"


def flown(path: Path, defect: str | None = None) -> Array:
    """Every reading through ten seconds of a moving throttle, in two lanes."""
    with mount(read_stand_file(str(path)), defect=defect) as mounted:
        inputs, outputs = mounted.available_inputs, mounted.available_outputs
        row = {"propeller": 0.9, "mixture": 2.0, "pressure_altitude": 4_000.0, "true_airspeed": 90.0}
        held = np.array([row.get(name, 0.0) for name in inputs])
        rows = np.tile(held, (200, 2, 1))
        rows[:, :, inputs.index("throttle")] = np.linspace([0.1, 0.9], [0.9, 0.2], 200)
        starts = [Start("running", tuple(held)), Start("stopped", tuple(held))]
        first = mounted.session.initialise(starts, 1800, inputs, outputs)
        return np.concatenate([first.ravel(), mounted.session.advance([0, 1], rows).ravel()])


@pytest.mark.parametrize("defect", [None, "instant-response"])
def test_javascript_is_the_same_over_tcp(defect: str | None) -> None:
    assert shutil.which("node"), "node is needed by the JavaScript engine"
    folder = EXAMPLES / "javascript_engine"
    numbers = [flown(folder / name, defect) for name in ("stand.toml", "tcp.stand.toml")]
    assert len(np.unique(numbers[0])) > 1_000
    assert numbers[0].tobytes() == numbers[1].tobytes()


@pytest.mark.parametrize(
    "words", [["--port"], ["--port", "0"], ["--port", "70000"], ["--defect", "none"], ["fast"]]
)
def test_javascript_refuses_another_command_line(words: list[str]) -> None:
    done = subprocess.run(
        ["node", "main.mjs", *words],
        cwd=EXAMPLES / "javascript_engine",
        capture_output=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 2
    assert b"usage: node main.mjs" in done.stderr


def talk(*lines: str) -> list[dict[str, object]]:
    assert shutil.which("perl"), "perl is needed by the Perl engine"
    done = subprocess.run(
        ["perl", "engine.pl"], cwd=PERL, input="\n".join(lines) + "\n", capture_output=True, text=True, timeout=30,
        check=True,
    )  # fmt: skip
    assert done.stderr == ""
    return [json.loads(line) for line in done.stdout.splitlines()]


def request(number: int, method: str, **params: object) -> str:
    return json.dumps({"id": number, "method": method, "params": params})


HELLO = request(1, "hello", protocols=[1], harness="a test")
START = request(
    2, "initialise", step_ticks=1800, inputs=["throttle"], outputs=["manifold_pressure", "engine_speed"],
    starts=[{"engine": "running", "row": [0]}, {"engine": "stopped", "row": [1]}],
)  # fmt: skip


def test_perl_follows_its_one_lag() -> None:
    replies = talk(
        HELLO,
        START,
        request(3, "advance", lanes=[0], rows=[[[1]]] * 30),
        request(4, "reset"),
        request(5, "close"),
    )
    for reply in replies:
        check(reply, "wire-reply", "reply")
    check(replies[0]["result"], "wire-hello-result", "result")
    rows = replies[1]["result"]["rows"], replies[2]["result"]["rows"]  # type: ignore[index]
    assert rows[0][0][1] == 700.0
    assert rows[0][1] == [29.92126, 0.0], "a stopped engine shows the pressure outside"
    # 1.5 s is one time constant: 1 - 1/e of the way from 700 to 2,400 rpm.
    assert rows[1][-1][0][1] == pytest.approx(700.0 + 1700.0 * (1.0 - np.exp(-1.0)), abs=1e-5)


@pytest.mark.parametrize(
    ("line", "code"),
    [
        (request(7, "hello", protocols=[2]), "version"),
        (request(7, "ignite"), "unknown_method"),
        (request(7, "advance", lanes=[2], rows=[[[0.1]]]), "bad_request"),
        (request(7, "advance", lanes=["x"], rows=[[[0.1]]]), "bad_request"),
        (request(7, "advance", lanes=[0], rows=[[["fast"]]]), "bad_request"),
        (request(7, "advance", lanes=[0, 0], rows=[[[0.1], [0.1]]]), "bad_request"),
        (request(7, "advance", lanes=[0], rows=[[[0.1, 0.2]]]), "bad_request"),
        (request(7, "advance", lanes=[0], rows=[[["NaN"]]]), "bad_request"),
        (request(7, "advance", lanes=[0], rows=[[[1.5]]]), "bad_request"),
        (request(7, "advance", lanes=[0], rows=[]), "bad_request"),
        (request(7, "advance", lanes=[0], rows=[[["0.5"]]]), "bad_request"),
        (request(7, "advance", lanes=[0], rows=[[[True]]]), "bad_request"),
        (request(7, "advance", lanes=["0"], rows=[[[0.5]]]), "bad_request"),
        (request(7, "advance", lanes=[False], rows=[[[0.5]]]), "bad_request"),
        (request(7, "hello", protocols=["1"]), "version"),
        (START.replace("1800", '"1800"'), "bad_request"),
        (START.replace("1800", "7"), "bad_request"),
        (START.replace("stopped", "warm"), "bad_request"),
        (START.replace('"throttle"', '"throtle"'), "bad_request"),
        ("{torn", "bad_request"),
        ("[1]", "bad_request"),
    ],
)  # fmt: skip
def test_perl_refuses_and_changes_nothing(line: str, code: str) -> None:
    step = request(9, "advance", lanes=[0], rows=[[[0.7]]])
    bad = talk(START, line, step)
    good = talk(START, step)
    assert bad[1]["error"]["code"] == code  # type: ignore[index]
    assert bad[2]["result"] == good[1]["result"]


def test_one_child_serves_all_cases(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[int] = []
    begin = Child.__init__

    def counting(self: Child, *words: Any, **changes: Any) -> None:
        begin(self, *words, **changes)
        started.append(self.group)

    monkeypatch.setattr(Child, "__init__", counting)
    cases = ("idle-speed", "stopped-manifold-pressure", "take-off-full-throttle")
    request = RunRequest(stand=str(PERL / "stand.toml"), cases=cases, out=tmp_path / "record")
    assert run_session(request) == 0
    assert len({finding.case for finding in read_record(tmp_path / "record").findings}) >= len(cases)
    assert len(started) == 1


def test_perl_passes_what_applies_and_its_defect_fails_what_it_says(tmp_path: Path) -> None:
    stand = read_stand_file(str(PERL / "stand.toml"))
    for defect, expected in [
        (None, set()),
        *((name, set(entry["fires"])) for name, entry in stand.defects.items()),
    ]:
        out = tmp_path / str(defect)
        code = run_session(RunRequest(stand=str(PERL / "stand.toml"), defect=defect, out=out))
        record = read_record(out)
        required = [f for f in record.findings if f.weight == "required"]
        failed = {f.case for f in required if ENDINGS[f.verdict].passed is False}
        assert (code, failed) == (1 if expected else 0, expected)
        assert sum(ENDINGS[f.verdict].passed is True for f in required) >= 10
