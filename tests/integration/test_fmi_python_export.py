"""A unit that a tool of the registry exported from Python: its interpreter runs inside the unit, and it prints."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from leverproof.errors import InputError
from leverproof.stand.mount import mount
from leverproof.stand.port import Start
from leverproof.stand.stand_file import parse_stand_file
from leverproof_adapters import fmi

MODEL = Path(__file__).resolve().parents[1] / "models" / "fmi_python_engine.py"
STAND = """format = 1
title = "exported from Python"
kind = "fmi"
target = "PythonEngine.fmu"
[channels.manifold_pressure]
name = "map"
unit = "inHg"
[channels.turbo_overspeed_light]
name = "lamp"
[options]
parameters = { lag = 1.0 }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("export")
    argv = [sys.executable, "-m", "pythonfmu", "build", "-f", str(MODEL), "-d", str(place)]
    subprocess.run(argv, check=True, timeout=60, cwd=place)
    return place


def test_an_exported_unit_runs_and_what_it_lacks_is_a_warning(folder: Path) -> None:
    stand = parse_stand_file(
        f'{STAND}\n[channels.engine_speed]\nunit = "rpm"\n', str(folder / "stand.toml"), kinds=["fmi"]
    )
    with mount(stand, defect=None, adapters={"fmi": fmi.open_stand}) as mounted:
        warnings = mounted.facts()["warnings"]
        assert any("InitialUnknowns" in text for text in warnings)
        assert "the unit needs the program it was exported from on this computer" in warnings
        outputs = ("manifold_pressure", "engine_speed", "turbo_overspeed_light")
        starts = [Start("running", (0.3,)), Start("running", (0.6,))]
        first = mounted.session.initialise(starts, 1800, ("throttle",), outputs)
        reply = mounted.session.advance([0, 1], np.full((60, 2, 1), 1.0))
    np.testing.assert_allclose(first[:, 0], [16.0, 22.0], rtol=1e-12)
    remaining = (1.0 - 0.05 / 1.05) ** np.arange(1, 61)
    np.testing.assert_allclose(reply[:, 0, 0], 30.0 - 14.0 * remaining, rtol=1e-9)
    np.testing.assert_allclose(reply[:, 1, 1], 40.0 * (30.0 - 8.0 * remaining), rtol=1e-9)
    assert set(reply[:, 0, 2].tolist()) == {0.0, 2.0}


FACTORY = """import importlib.util
import numpy as np
from leverproof.stand.port import Capabilities, Hello, Signal

spec = importlib.util.spec_from_file_location("exported_engine", {model!r})
exported = importlib.util.module_from_spec(spec)
spec.loader.exec_module(exported)


class Plain:
    lanes = ()

    def hello(self):
        outputs = (Signal("map", "inHg"), Signal("engine_speed", "rpm"))
        return Hello("exported engine", "1", (Signal("throttle", "1"),), outputs, Capabilities(lanes=8))

    def initialise(self, starts, step_ticks, inputs, outputs):
        self.step, self.outputs, self.lanes = step_ticks / 36000.0, outputs, []
        for start in starts:
            engine = exported.PythonEngine(instance_name="one", resources="")
            engine.lag, engine.throttle = 1.0, start.row[0]
            engine.exit_initialization_mode()
            self.lanes.append(engine)
        return np.array([self.seen(engine) for engine in self.lanes])

    def seen(self, engine):
        return [getattr(engine, name) for name in self.outputs]

    def advance(self, lanes, rows):
        reply = np.empty((len(rows), len(lanes), len(self.outputs)))
        for i, row in enumerate(rows):
            for k, lane in enumerate(lanes):
                self.lanes[lane].throttle = row[k, 0]
                self.lanes[lane].do_step(0.0, self.step)
                reply[i, k] = self.seen(self.lanes[lane])
        return reply

    def reset(self):
        self.lanes = ()

    def close(self):
        pass


def factory(options, defect):
    return Plain()
"""


def test_the_exported_unit_and_the_same_equations_mounted_as_an_object_agree(folder: Path) -> None:
    (folder / "plain.py").write_text(FACTORY.format(model=str(MODEL)), "utf-8")
    pressure = '[channels.manifold_pressure]\nname = "map"\n'
    plain = f'format = 1\ntitle = "plain"\nkind = "in_process"\ntarget = "plain.py:factory"\n{pressure}'
    rows = np.random.default_rng(5).uniform(0.0, 1.0, (400, 2, 1))
    starts = [Start("running", (0.3,)), Start("running", (0.6,))]
    seen = []
    for text in (f'{STAND}\n[channels.engine_speed]\nunit = "rpm"\n', plain):
        stand = parse_stand_file(text, str(folder / "stand.toml"))
        with mount(stand, defect=None) as mounted:
            first = mounted.session.initialise(starts, 1800, ("throttle",), ("manifold_pressure", "engine_speed"))
            seen.append(np.concatenate([first[None], mounted.session.advance([0, 1], rows)]))
    np.testing.assert_allclose(seen[0], seen[1], rtol=1e-9)
    assert np.ptp(seen[0][:, 0, 0]) > 1.0


def test_a_reading_without_a_unit_of_measure_is_asked_for(folder: Path) -> None:
    stand = parse_stand_file(STAND, str(folder / "stand.toml"), kinds=["fmi"])
    with pytest.raises(InputError, match="'engine_speed' for engine_speed declares no unit"):
        fmi.open_stand(stand, defect=None)
