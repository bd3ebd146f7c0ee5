"""The same short cases as a campaign and as pytest items, for ``bench_campaign.py`` and ``bench_memory.py``.

One case of some 600 steps at as many combinations of height, temperature and airspeed as asked. Three ways beside the
campaign: a bare loop, pytest items written by hand on the model alone, and pytest items that plan, fly and judge
through the harness's own functions.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from short_model import INPUTS, LAWS

from leverproof.cases.catalogue import load_catalogue
from leverproof.cases.model import Value
from leverproof.conduct.plan import Ground, plan_case
from leverproof.conduct.scheduler import conduct
from leverproof.judge.case import judge_case
from leverproof.judge.facts import session_facts
from leverproof.quantities import Quantity
from leverproof.sheet.loader import find_sheet, parse_sheet
from leverproof.stand.mount import mount
from leverproof.stand.port import Session, Start
from leverproof.stand.stand_file import read_stand_file
from leverproof.timegrid import TimeGrid

HERE = Path(__file__).resolve().parent
HEIGHTS, OFFSETS = 100, 10
TRIM, MOVE, REST = 110, 240, 240
"""Rows before the lever moves, while it does, and after."""

Factory = Callable[[dict[str, Any], str | None], Session]

CASE = """\
format = 1
id = "short-pull"
subject = "throttle"
title = "A short pull"
question = "Does manifold pressure follow the throttle?"
consequence = "The lever does nothing."
caution = "A statement about a simulated engine; never a power setting or a procedure for a real one."
applies = { channels = ["manifold_pressure"], lost = "whether manifold pressure follows the throttle" }
start = { engine = "running" }

[surroundings]
pressure_altitude = "0 ft"
temperature_offset = "0 K"
relative_humidity = 0
true_airspeed = "100 kt"

[[run]]
name = "pull"
steps = [
  { do = "set", throttle = 0.3 },
  { do = "read", name = "before", limit = "30 s" },
  { do = "move", throttle = 0.7, over = "12 s" },
  { do = "hold", for = "12 s" },
  { do = "read", name = "after", limit = "30 s" },
]

[[judgement]]
id = "follows"
what = "difference"
asked = "manifold pressure after the throttle was opened, above that before"
channel = "manifold_pressure"
more = "pull.after"
less = "pull.before"
at_least = "0 inHg"
basis = "physics"
source = "an open throttle lets more air in"
weight = "required"
"""

STAND = """\
format = 1
title = "short, {way}"
kind = "in_process"
target = "short_model.py:{way}"
sheet = "rill-6"
"""

PLAN = """\
format = 1
title = "short cases, {way}"

[[model]]
stand = "{way}.stand.toml"

[cases]
folders = ["cases"]
select = ["short-pull"]

[surroundings]
pressure_altitude = {heights}
temperature_offset = {offsets}
true_airspeed = {airspeeds}
"""

BY_HAND = """\
import pytest
import short_model
import short_work

LEVER = short_work.lever()


@pytest.mark.parametrize("altitude, offset, airspeed", short_work.points({whole})[:{count}])
def test_follows(altitude, offset, airspeed):
    short_work.check(short_work.flown(short_model.{way}, altitude, offset, airspeed, LEVER))
"""

THROUGH_HARNESS = """\
from pathlib import Path

import pytest
import short_work


@pytest.fixture(scope="module")
def bench():
    with short_work.Bench(Path(__file__).parent, "{way}") as one:
        yield one


@pytest.mark.parametrize("altitude, offset, airspeed", short_work.points({whole})[:{count}])
def test_follows(bench, altitude, offset, airspeed):
    assert bench.verdicts(altitude, offset, airspeed) <= {{"pass", "conditional pass"}}
"""


@dataclass(frozen=True, slots=True)
class Grid:
    """Every combination of these is a case; ``airspeeds`` as many as the number of cases needs."""

    heights: tuple[float, ...]
    offsets: tuple[float, ...]
    airspeeds: tuple[float, ...]


def grid(count: int) -> Grid:
    """``count`` cases, in whole thousands, or up to 100."""
    if count <= HEIGHTS:
        return Grid(_spread(0.0, 9_900.0, count), (0.0,), (100.0,))
    rest, left = divmod(count, HEIGHTS * OFFSETS)
    if left:
        raise ValueError(f"{count} cases: at most {HEIGHTS}, or whole thousands")
    return Grid(_spread(0.0, 9_900.0, HEIGHTS), _spread(-9.0, 9.0, OFFSETS), _spread(60.0, 160.0, rest))


def _spread(low: float, high: float, count: int) -> tuple[float, ...]:
    return tuple(round(low + (high - low) * i / max(1, count - 1), 3) for i in range(count))


def points(count: int) -> list[tuple[float, float, float]]:
    """Height in ft, temperature offset in K and airspeed in kt of every case."""
    own = grid(count)
    return [
        (height, offset, speed) for height in own.heights for offset in own.offsets for speed in own.airspeeds
    ]


def lever() -> list[float]:
    """The throttle in every row, as the pilot moves it."""
    moved = [0.3 + 0.4 * (i + 0.5) / MOVE for i in range(MOVE)]
    return [0.3] * TRIM + moved + [0.7] * REST


def check(pressures: list[float]) -> None:
    """What the case judges: the mean of five seconds before and after."""
    before, after = pressures[TRIM - 100 : TRIM], pressures[-100:]
    assert sum(after) / 100.0 - sum(before) / 100.0 > 0.0


def flown(
    make: Factory, altitude: float, offset: float, airspeed: float, throttle: list[float]
) -> list[float]:
    """Manifold pressure in every row, by the model alone; of several lanes one is flown, as an item on its own must."""
    engine = make({}, None)
    rows = np.array([[(place, altitude, offset, airspeed)] for place in throttle])
    engine.initialise([Start("running", tuple(rows[0, 0]))], 1800, tuple(INPUTS), tuple(LAWS))
    found: list[float] = engine.advance([0], rows)[:, 0, 0].tolist()
    return found


class Bench:
    """The stand mounted once, and one case after another planned, flown and judged through the harness's own
    functions, as a test author who has no campaign would call them. No step study beside them: less than a campaign
    does."""

    def __init__(self, folder: Path, way: str) -> None:
        self.mounted = mount(read_stand_file(str(folder / f"{way}.stand.toml")), defect=None)
        catalogue = load_catalogue([str(folder / "cases")])
        self.case = next(case for case in catalogue.cases if case.id == "short-pull")
        self.ground = Ground(
            parse_sheet(*find_sheet("rill-6")),
            frozenset(self.mounted.available_inputs), frozenset(self.mounted.available_outputs),
            frozenset({"stepped", "deterministic", "settable_surroundings", "reset"}), TimeGrid(1800), 1,
        )  # fmt: skip

    def __enter__(self) -> Bench:
        return self

    def __exit__(self, *_: object) -> None:
        self.mounted.close()

    def verdicts(self, altitude: float, offset: float, airspeed: float) -> set[str]:
        """What the case finds there."""
        there = {
            "pressure_altitude": (altitude, "ft"),
            "temperature_offset": (offset, "K"),
            "true_airspeed": (airspeed, "kt"),
        }
        values = {name: Value(quantity=Quantity(*one)) for name, one in there.items()}
        planned = plan_case(replace(self.case, surroundings=self.case.surroundings | values), self.ground)
        runs = {run.program.key: run for run in conduct(planned.programs, self.mounted)}
        facts = session_facts(runs, arrangement="unsupercharged")
        own = {(key[1], key[2]): run for key, run in runs.items()}
        return {finding.verdict for finding in judge_case(planned, own, facts)}


def folder_of(place: Path, way: str, count: int) -> Path:
    """A folder with the plan, its stand, model and case, and the tests that do the same."""
    place.mkdir(parents=True)
    (place / "cases").mkdir()
    (place / "cases" / "short-pull.toml").write_text(CASE, "utf-8")
    (place / f"{way}.stand.toml").write_text(STAND.format(way=way), "utf-8")
    shutil.copy(HERE / "short_model.py", place)
    own = grid(count)
    words = {
        "heights": _listed(own.heights, "ft"),
        "offsets": _listed(own.offsets, "K"),
        "airspeeds": _listed(own.airspeeds, "kt"),
    }
    (place / "plan.toml").write_text(PLAN.format(way=way, **words), "utf-8")
    return place


def _listed(values: tuple[float, ...], unit: str) -> str:
    return "[" + ", ".join(f'"{value:g} {unit}"' for value in values) + "]"


def pytest_words(place: Path, name: str, text: str) -> list[str]:
    """A command that runs the test file of that text, written into ``place``."""
    (place / f"test_{name}.py").write_text(text, "utf-8")
    return [sys.executable, "-m", "pytest", "-q", f"test_{name}.py"]


def plain_environment() -> Mapping[str, str]:
    """Everything as it comes, and our files on the path."""
    return dict(os.environ) | {"PYTHONPATH": str(HERE)}
