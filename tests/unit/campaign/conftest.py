"""Small campaigns in folders of their own."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

MODELS = Path(__file__).resolve().parents[2] / "models"


def _loaded(folder: Path, name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, folder / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def plans() -> ModuleType:
    """What writes a small campaign into a folder."""
    return _loaded(MODELS, "campaign_plans")


@pytest.fixture(scope="session")
def mutants() -> ModuleType:
    """Ways to spoil a file that people write."""
    return _loaded(MODELS.parent / "quality", "mutants")
