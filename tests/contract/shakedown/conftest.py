"""The faulty models of the kit, shaken down once, and the table of what became of them."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

import leverproof_adapters
from leverproof.stand.port import Deadlines, StandFile
from leverproof.stand.shakedown import Shakedown, shakedown
from leverproof.stand.shakedown.catalogue import ITEMS
from leverproof.stand.stand_file import read_stand_file

TESTS = Path(__file__).resolve().parents[2]
FAULTS = TESTS / "models" / "shakedown_faults.py"
EXAMPLES = Path(leverproof_adapters.__file__).parents[1] / "examples"
HANG = 0.5
Vices = Mapping[str, tuple[str, str]]


class TurnedClock:
    """A clock that goes on only when a model turns it."""

    def __init__(self) -> None:
        self.now = 0.0

    def turn(self, seconds: float) -> None:
        self.now += seconds

    def __call__(self) -> float:
        return self.now


@pytest.fixture(scope="session")
def vices() -> Vices:
    """Every vice, with the item that must catch it and what it does."""
    spec = importlib.util.spec_from_file_location("shakedown_faults", FAULTS)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    found: Vices = module.VICES
    return found


@pytest.fixture(scope="session")
def shaken() -> Callable[..., Shakedown]:
    """Shakes down the engine with a vice (or ``none``) in this process; its slowness is on a clock of its own."""

    def one(vice: str, *, request: float = 5.0, **options: object) -> Shakedown:
        clock = TurnedClock()
        stand = StandFile(
            path=str(FAULTS.with_name("shakedown.stand.toml")),
            title=vice,
            kind="in_process",
            target=f"{FAULTS.name}:make",
            options={"vice": vice, "clock": clock},
            deadlines=Deadlines(request=request),
        )
        return shakedown(stand, clock=clock, sleep=clock.turn, **options)  # type: ignore[arg-type]

    return one


@pytest.fixture(scope="session")
def endings(vices: Vices, shaken: Callable[..., Shakedown]) -> dict[str, Shakedown]:
    """The shakedown of every faulty model."""
    return {vice: shaken(vice, request=HANG if vice.startswith("hangs") else 5.0) for vice in vices}


@pytest.fixture(scope="session")
def table(vices: Vices, endings: dict[str, Shakedown]) -> str:
    """The table of items by faulty models, as the page shows it."""
    names = [item.name for item in ITEMS]
    reach = max(map(len, vices))
    lines = [f"{'':{reach}}  " + " ".join(f"{at:>2}" for at in range(1, len(names) + 1)) + "  exit"]
    marks = {"pass": " .", "fail": " F", "blocked": " b", "not applicable": " -"}
    for vice, found in endings.items():
        row = " ".join(marks[result.ending] for result in found.results)
        lines.append(f"{vice:{reach}}  {row}  {found.exit_code:>4}")
    lines += ["", "F failed, b blocked by an item that failed, . passed, - not applicable", ""]
    lines += [f"{at:>2} {name}" for at, name in enumerate(names, start=1)]
    lines += ["", *(f"{vice:{reach}}  {does}" for vice, (_, does) in vices.items())]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="session")
def honest(tmp_path_factory: pytest.TempPathFactory) -> dict[str, StandFile]:
    """Engines that must pass: both builds of the embedded one, one of curves in Python, one in C as built here,
    one in JavaScript."""
    folder = tmp_path_factory.mktemp("shakedown") / "c_engine"
    shutil.copytree(EXAMPLES / "c_engine", folder)
    built = read_stand_file(str(folder / "stand.toml"))
    subprocess.run(built.build_hint.split(), cwd=folder, check=True, timeout=60)
    embedded = {
        name: StandFile(path="embedded", title=name, kind="reference_engine", target=name)
        for name in ("corrie-18-early", "corrie-18-late")
    }
    return {
        **embedded,
        "second": read_stand_file(str(TESTS / "models" / "second_engine.stand.toml")),
        "c": built,
        "javascript": read_stand_file(str(EXAMPLES / "javascript_engine" / "stand.toml")),
    }
