"""Writes a small campaign into a folder: plan, stand, model and case."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
HEIGHTS = "{ from = '0 ft', to = '9500 ft', step = '500 ft' }"


def write_plan(
    folder: Path,
    *,
    factory: str = "make",
    options: Mapping[str, Any] | None = None,
    heights: str = HEIGHTS,
    more: str = "",
    stand: str = "",
    top: str = "",
) -> Path:
    """The path of the plan; ``more`` is added under its model, ``top`` before it, ``stand`` to the stand file."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(HERE / "campaign_engine.py", folder)
    shutil.copytree(HERE / "campaign_cases", folder / "cases", dirs_exist_ok=True)
    told = "".join(f"{name} = {json.dumps(value)}\n" for name, value in (options or {}).items())
    (folder / "stand.toml").write_text(
        f'format = 1\ntitle = "campaign engine"\nkind = "in_process"\ntarget = "campaign_engine.py:{factory}"\n'
        f'sheet = "corrie-18-early"\n{stand}\n[coefficients]\ngain = 1.0\nlag = 0.8\n[options]\n{told}'
    )
    plan = folder / "plan.toml"
    plan.write_text(
        f'format = 1\ntitle = "steps over height"\n{top}\n[[model]]\nstand = "stand.toml"\n{more}\n'
        f'[cases]\nfolders = ["cases"]\nselect = ["throttle-step"]\n'
        f"[surroundings]\npressure_altitude = {heights}\n"
    )
    return plan
