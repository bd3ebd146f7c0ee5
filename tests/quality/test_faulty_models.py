"""Every registered faulty model, through the whole of ``leverproof run``: the right ending, and nothing left behind."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

MODELS = Path(__file__).resolve().parents[1] / "models"
LONGEST = 45.0
"""Seconds after which a run counts as hung, far above what any row takes on a busy machine."""


def module(name: str) -> ModuleType:
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, MODELS / f"{name}.py")
        assert spec is not None and spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


RUNS = module("fault_runs")
FAULTS = RUNS.registered().FAULTS


@pytest.fixture(scope="module")
def observed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Any], Any]:
    """What a run with a fault ended in; each is run once."""
    seen: dict[str, Any] = {}

    def observe(fault: Any) -> Any:
        if fault.name not in seen:
            seen[fault.name] = RUNS.observe(fault, tmp_path_factory.mktemp("fault") / "it")
        return seen[fault.name]

    return observe


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_each_ends_as_registered(fault: Any, observed: Callable[[Any], Any]) -> None:
    seen = observed(fault)
    assert RUNS.wrong(fault, seen) == []
    assert seen.seconds < LONGEST


def test_names_are_unique() -> None:
    names = [fault.name for fault in FAULTS]
    assert len(names) == len(set(names))


def test_the_page_shows_the_table(observed: Callable[[Any], Any]) -> None:
    made = RUNS.table([(fault, observed(fault)) for fault in FAULTS])
    assert RUNS.BLOCK.findall(RUNS.PAGE.read_text("utf-8")) == [made]


def test_what_is_left_behind_is_seen(tmp_path: Path) -> None:
    """The look for processes finds one that left its group and whose parent is gone."""
    import os
    import signal
    import subprocess

    mark = "0f5c-left-behind"
    spawn = "import subprocess, sys; subprocess.Popen(['sleep', '60'], start_new_session=True)"
    subprocess.run([sys.executable, "-c", spawn], env={**os.environ, RUNS.MARK: mark}, check=True)
    (left,) = RUNS.marked(mark)
    os.kill(left, signal.SIGKILL)
