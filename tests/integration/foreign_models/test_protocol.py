"""The wire protocol as the example engines speak it, the bad requests included."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from leverproof.channels import CHANNELS
from leverproof.schema import check
from leverproof.stand.mount import mount
from leverproof.stand.port import Start
from leverproof.stand.stand_file import read_stand_file
from leverproof_adapters.stdio import open_stand

if TYPE_CHECKING:
    from .conftest import Model

HELLO = json.dumps({"id": 1, "method": "hello", "params": {"protocols": [1], "harness": "leverproof test"}})


def test_hello_fits_the_schema_and_uses_the_trades_units(model: Model) -> None:
    check(model.hello, "wire-hello-result", "hello")
    for signal in model.hello["inputs"] + model.hello["outputs"]:
        assert signal["unit"] == CHANNELS[signal["name"]].unit
        assert tuple(signal.get("states", ())) == CHANNELS[signal["name"]].states
    assert model.hello["derived_from"]
    assert model.hello["capabilities"]["lanes"] >= 64


@pytest.mark.parametrize(
    "line",
    [
        "not json",
        '{"id":1,"method":"advance","params":{"lanes":[0],"rows":[[[0.5]]}',
        "[]",
        '{"id":7,"method":"dance","params":{}}',
        '{"id":7,"params":{}}',
        '{"id":7,"method":"hello","params":{"protocols":[2],"harness":"x"}}',
        '{"id":7,"method":"advance","params":{"lanes":[5],"rows":[[[0.3]]]}}',
        '{"id":7,"method":"advance","params":{"lanes":[0,0],"rows":[[[0.3],[0.3]]]}}',
        '{"id":7,"method":"advance","params":{"lanes":[0],"rows":[]}}',
        '{"id":7,"method":"advance","params":{"lanes":[0],"rows":[[["NaN"]]]}}',
        '{"id":7,"method":"advance","params":{"lanes":[0],"rows":[[[true]]]}}',
        '{"id":7,"method":"advance","params":{"lanes":[0],"rows":[[[0.3,0.4]]]}}',
        '{"id":7,"method":"advance","params":{"lanes":[0],"rows":[[[7]]]}}',
        '{"id":7,"method":"advance","params":{"lanes":[0],"rows":[[[0.3]],[[0.3],[0.3]]]}}',
        '{"id":7,"method":"initialise","params":{"step_ticks":7000,"inputs":["throttle"],'
        '"outputs":["engine_speed"],"starts":[{"engine":"running","row":[0.3]}]}}',
        '{"id":7,"method":"initialise","params":{"step_ticks":1800,"inputs":["flaps"],'
        '"outputs":["engine_speed"],"starts":[{"engine":"running","row":[0.3]}]}}',
        '{"id":7,"method":"initialise","params":{"step_ticks":1800,"inputs":["throttle"],'
        '"outputs":["engine_speed"],"starts":[{"engine":"asleep","row":[0.3]}]}}',
    ],
)
def test_a_bad_request_is_refused_and_changes_nothing(model: Model, line: str) -> None:
    start = {"step_ticks": 1800, "inputs": ["throttle"], "outputs": ["engine_speed"]}
    rows = {"lanes": [0], "rows": [[[0.6]]] * 5}
    model.ask("initialise", starts=[{"engine": "running", "row": [0.3]}], **start)
    untroubled = model.ask("advance", **rows)
    model.ask("initialise", starts=[{"engine": "running", "row": [0.3]}], **start)
    refusal = model.exchange(line)
    assert "result" not in refusal
    assert refusal["error"]["code"] and refusal["error"]["message"]
    assert model.ask("advance", **rows) == untroubled


def test_it_ends_well_on_close_and_at_the_end_of_input(programs: dict[str, list[str]], name: str) -> None:
    close = json.dumps({"id": 2, "method": "close", "params": {}})
    for text in (f"{HELLO}\n{close}\n", f"{HELLO}\n", ""):
        done = subprocess.run(
            programs[name], input=text.encode(), capture_output=True, check=True, timeout=10
        )
        assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == [1, 2][: text.count("\n")]


def test_an_unknown_defect_is_refused(programs: dict[str, list[str]], name: str) -> None:
    done = subprocess.run([*programs[name], "--defect", "rust"], input=b"", capture_output=True, timeout=10)
    assert (done.returncode, done.stdout) == (2, b"")


def test_lanes_batches_and_reset_give_the_same_numbers(model: Model) -> None:
    starts = [{"throttle": 0.2 + 0.06 * i, "pressure_altitude": 1000.0 * i} for i in range(8)]
    rows = [model.row(**(start | {"throttle": 0.7})) for start in starts]
    alone = []
    for start, row in zip(starts, rows, strict=True):
        model.start(start)
        alone.append([model.ask("advance", lanes=[0], rows=[[row]])["rows"][0][0] for _ in range(20)])
    model.ask("reset")
    model.start(*starts)
    odd = model.ask("advance", lanes=[7, 1, 3, 5], rows=[[rows[i] for i in (7, 1, 3, 5)]] * 20)["rows"]
    even = model.ask("advance", lanes=[0, 2, 4, 6], rows=[[rows[i] for i in (0, 2, 4, 6)]] * 20)["rows"]
    for k, lane in enumerate((7, 1, 3, 5)):
        assert [row[k] for row in odd] == alone[lane]
    for k, lane in enumerate((0, 2, 4, 6)):
        assert [row[k] for row in even] == alone[lane]


def test_the_harness_mounts_it(folders: dict[str, Path], name: str) -> None:
    stand = read_stand_file(str(folders[name] / "stand.toml"))
    with mount(stand, defect=None, adapters={"stdio": open_stand}) as mounted:
        row = (0.3, 1.0, 2.0)
        columns = (("throttle", "propeller", "mixture"), ("manifold_pressure", "engine_speed"))
        first = mounted.session.initialise([Start("running", row)], 1800, *columns)
    assert first.shape == (1, 2)
    assert 8.0 < first[0, 0] < 45.0
