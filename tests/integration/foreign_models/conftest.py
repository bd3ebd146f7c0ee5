"""The two example engines in C and JavaScript as real processes, for the tests beside this file.

Nothing here is skipped: an example that cannot be built or started is a failure.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import leverproof_adapters
from leverproof.sheet.loader import load_sheet
from leverproof.sheet.model import EngineSheet
from leverproof.stand.stand_file import read_stand_file

EXAMPLES = Path(leverproof_adapters.__file__).parents[1] / "examples"
FOLDERS = {"corrie": "c_engine", "rill": "javascript_engine"}
SHEETS = {"corrie": "corrie-16.sheet.toml", "rill": "rill-6.sheet.toml"}
NEUTRAL = {"propeller": 1.0, "mixture": 2.0, "intercooler_shutter": 1.0}
HELLO = {"id": 1, "method": "hello", "params": {"protocols": [1], "harness": "leverproof test"}}
Reading = dict[str, float]


class Model:
    """One process of an example and the rows it is given, by channel name."""

    def __init__(self, argv: list[str]) -> None:
        self.process = subprocess.Popen(argv, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.id = 1
        self.hello: dict[str, Any] = self.exchange(json.dumps(HELLO))["result"]
        self.inputs = [signal["name"] for signal in self.hello["inputs"]]
        self.outputs = [signal["name"] for signal in self.hello["outputs"]]
        self.step = 0.05

    def exchange(self, line: str) -> dict[str, Any]:
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(line.encode() + b"\n")
        self.process.stdin.flush()
        reply: dict[str, Any] = json.loads(self.process.stdout.readline())
        return reply

    def ask(self, method: str, **params: object) -> dict[str, Any]:
        self.id += 1
        reply = self.exchange(json.dumps({"id": self.id, "method": method, "params": params}))
        assert reply["id"] == self.id
        assert "error" not in reply, reply
        result: dict[str, Any] = reply["result"]
        return result

    def row(self, **given: float) -> list[float]:
        return [float(given.get(name, NEUTRAL.get(name, 0.0))) for name in self.inputs]

    def start(self, *rows: dict[str, float], engine: str = "running", ticks: int = 1800) -> list[Reading]:
        starts = [{"engine": engine, "row": self.row(**row)} for row in rows]
        self.step = ticks / 36000.0
        columns = {"inputs": self.inputs, "outputs": self.outputs}
        result = self.ask("initialise", step_ticks=ticks, starts=starts, **columns)
        return [dict(zip(self.outputs, row, strict=True)) for row in result["rows"]]

    def run(self, seconds: float, levers: Callable[[float], dict[str, float]]) -> list[Reading]:
        """One lane's readings; ``levers`` gives the inputs at a time."""
        count, history = round(seconds / self.step), []
        for first in range(0, count, 1000):
            rows = [[self.row(**levers(i * self.step))] for i in range(first, min(first + 1000, count))]
            for row in self.ask("advance", lanes=[0], rows=rows)["rows"]:
                history.append(dict(zip(self.outputs, row[0], strict=True)))
        return history

    def seek(self, levers: tuple[str, ...], inches: float, **given: float) -> Reading:
        """Settled readings where the levers, moved alike, give that manifold pressure."""
        low, high = 0.0, 1.0
        for _ in range(16):
            middle = (low + high) / 2.0
            reading = self.start(given | dict.fromkeys(levers, middle))[0]
            low, high = (low, middle) if reading["manifold_pressure"] > inches else (middle, high)
        assert reading["manifold_pressure"] == pytest.approx(inches, abs=0.05)
        return reading

    def close(self) -> None:
        self.process.kill()
        self.process.communicate()


@pytest.fixture(scope="session")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Copies of both examples, the C one built as its stand file says."""
    found = {}
    for name, folder in FOLDERS.items():
        found[name] = tmp_path_factory.mktemp("foreign") / folder
        shutil.copytree(EXAMPLES / folder, found[name])
    for tool in ("cc", "node"):
        assert shutil.which(tool), f"{tool} is needed to prove the example engines"
    build = read_stand_file(str(found["corrie"] / "stand.toml")).build_hint.split()
    subprocess.run(
        [*build, "-Wall", "-Wextra", "-Werror", "-pedantic"], cwd=found["corrie"], check=True, timeout=60
    )
    return found


@pytest.fixture(scope="session")
def programs(folders: dict[str, Path]) -> dict[str, list[str]]:
    corrie, rill = folders["corrie"] / "corrie_c", folders["rill"] / "main.mjs"
    return {"corrie": [str(corrie)], "rill": ["node", str(rill)]}


@pytest.fixture(scope="session")
def models(programs: dict[str, list[str]]) -> Iterator[dict[str, Model]]:
    running = {name: Model(argv) for name, argv in programs.items()}
    yield running
    for model in running.values():
        model.close()


@pytest.fixture(params=sorted(FOLDERS))
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def model(models: dict[str, Model], name: str) -> Model:
    return models[name]


@pytest.fixture
def corrie(models: dict[str, Model]) -> Model:
    return models["corrie"]


@pytest.fixture
def rill(models: dict[str, Model]) -> Model:
    return models["rill"]


@pytest.fixture(scope="module")
def sheets(folders: dict[str, Path]) -> dict[str, EngineSheet]:
    return {name: load_sheet(str(folders[name] / file)) for name, file in SHEETS.items()}


@pytest.fixture
def sheet(sheets: dict[str, EngineSheet], name: str) -> EngineSheet:
    return sheets[name]


@pytest.fixture
def spoilt(programs: dict[str, list[str]]) -> Iterator[Callable[[str, str], Model]]:
    """Starts an example with a seeded defect built in, and ends it after the test."""
    running: list[Model] = []

    def begin(name: str, defect: str) -> Model:
        running.append(Model([*programs[name], "--defect", defect]))
        return running[-1]

    yield begin
    for model in running:
        model.close()
