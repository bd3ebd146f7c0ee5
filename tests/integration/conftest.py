"""Stand files that several tests of whole sessions mount."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

MODELS = Path(__file__).resolve().parents[1] / "models"
SHEET = MODELS / "second_engine.sheet.toml"
Stands = Callable[..., Path]


@pytest.fixture
def in_process(tmp_path: Path) -> Stands:
    """A stand file for a factory in a Python file under tests/models, or in one written by the test."""

    def write(target: Path = MODELS / "second_engine.py", factory: str = "factory", extra: str = "") -> Path:
        path = tmp_path / "in_process.stand.toml"
        path.write_text(
            'format = 1\ntitle = "in process"\nkind = "in_process"\n'
            f"target = {json.dumps(f'{target}:{factory}')}\nsheet = {json.dumps(str(SHEET))}\n"
            f'deadlines = {{ start = "30 s", request = "10 s", row = "0.05 s" }}\n{extra}'
        )
        return path

    return write


@pytest.fixture(scope="session")
def plans() -> ModuleType:
    """What writes a small campaign into a folder."""
    spec = importlib.util.spec_from_file_location("campaign_plans", MODELS / "campaign_plans.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
