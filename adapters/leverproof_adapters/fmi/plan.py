"""What the harness tells the process that runs a unit: everything decided beforehand, as one JSON file.

The process reads no description and knows no channels: it is told value references, types and values.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

FILE = "plan.json"


@dataclass(frozen=True, slots=True)
class Wire:
    """A variable as a signal of the port. ``states`` are those of a discrete channel and ``values`` what the unit
    calls them; empty when the number goes over as it is."""

    name: str
    unit: str
    reference: int
    type: str
    states: tuple[str, ...] = ()
    values: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Setting:
    """A start value: of a parameter or another variable whose start may be set."""

    name: str
    reference: int
    type: str
    value: float | int | bool | str


@dataclass(frozen=True, slots=True)
class Plan:
    """How a unit is run.

    ``settings`` hold for every start, ``running`` and ``stopped`` beside them for one; ``stopped`` is None when
    nobody said how the unit begins with the engine still. ``renewal`` is ``fresh`` (each start a fresh instance) or
    ``reset``. ``set_channels`` are the harness's names of the inputs. ``inner_step`` is the unit's own step in
    seconds, if it has a fixed one. ``formatter`` is a library that writes out the formats in messages of FMI 2.0,
    empty where the reader brings none for this computer.
    """

    major: int
    token: str
    library: str
    model: str
    version: str
    origin: str
    lanes: int
    renewal: str
    inner_step: float | None
    formatter: str
    inputs: tuple[Wire, ...]
    outputs: tuple[Wire, ...]
    set_channels: tuple[str, ...]
    settings: tuple[Setting, ...]
    running: tuple[Setting, ...]
    stopped: tuple[Setting, ...] | None
    warnings: tuple[str, ...]


def write_plan(plan: Plan, folder: Path) -> None:
    """Leaves ``plan`` in the folder of the unpacked unit."""
    (folder / FILE).write_text(json.dumps(asdict(plan)), encoding="utf-8")


def read_plan(folder: Path) -> Plan:
    """The plan in the folder of an unpacked unit."""
    held = json.loads((folder / FILE).read_text("utf-8"))
    for key in ("inputs", "outputs"):
        held[key] = tuple(_wire(entry) for entry in held[key])
    for key in ("settings", "running", "stopped"):
        held[key] = None if held[key] is None else tuple(Setting(**entry) for entry in held[key])
    return Plan(**{**held, **{key: tuple(held[key]) for key in ("set_channels", "warnings")}})


def _wire(entry: dict[str, Any]) -> Wire:
    return Wire(**{**entry, "states": tuple(entry["states"]), "values": tuple(entry["values"])})
