"""What passes between planner, pilot, scheduler and judge. Plain data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from leverproof.cases.model import Judgement, ReferenceCase
from leverproof.history import History
from leverproof.timegrid import TimeGrid

Row = NDArray[np.float64]


class Block(NamedTuple):
    """``rows`` rows during which inputs ramp from ``start`` to ``end`` (inputs in column order, canonical units).

    Row ``i`` holds ``start + (end - start) * (i + 0.5) / rows``, so that the mean over the block does not depend on
    the grid step. Discrete channels do not ramp: ``start`` holds their end state already. A block that moves nothing
    has one array as ``start`` and ``end``."""

    start: Row
    end: Row
    rows: int


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """A step with every value resolved to canonical units. Fields as in :class:`leverproof.cases.model.Step`."""

    do: str
    name: str = ""
    levers: dict[str, float] = field(default_factory=dict)
    duration: int = 0
    lever: str = ""
    channel: str = ""
    value: float = 0.0
    within: float = 0.0
    accept: tuple[str, ...] = ()
    guard: dict[str, float] = field(default_factory=dict)
    rate: float = 0.0
    limit: int = 0
    lead: float = 0.0


@dataclass(frozen=True, slots=True)
class Program:
    """One lane's work. ``key`` is (case id, point index, run name). ``start`` holds every input at t_0 (canonical
    units); ``watch`` the channels that readings and the trim need steady, with the remaining change allowed."""

    key: tuple[str, int, str]
    engine: str
    start: dict[str, float]
    steps: tuple[PlannedStep, ...]
    grid: TimeGrid
    watch: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Expected:
    """A resolved expected value in the judged channel's canonical unit. ``doubt`` is U95 or None when nobody has
    stated it; ``from_model`` when the datum was obtained from the model under test."""

    value: float
    doubt: float | None = 0.0
    source: str = ""
    from_model: bool = False


@dataclass(frozen=True, slots=True)
class Point:
    """One point of a sweep (one only when nothing is swept): ``label`` such as ``15,000 ft``, the resolved
    surroundings, and per judgement id the resolved values by field name (``expected``, ``at_most``, ``at_least``,
    ``at``, ``least_step``, ``at_equal``, ``exercised``, ``tolerance_of``, ``low``, ``high``, ``event:<name>``)."""

    index: int
    label: str
    off_point: bool
    variable: float
    surroundings: dict[str, float]
    resolved: dict[str, dict[str, Expected]]


@dataclass(frozen=True, slots=True)
class NotApplicable:
    """Why a case or judgement does not apply: ``missing`` (channel, lever, datum or capability), what is ``lost``, and
    what to ``supply`` for it to apply, "" where nothing can be."""

    missing: str
    lost: str
    supply: str = ""


@dataclass(frozen=True)
class PlannedCase:
    """A case ready to be conducted, or why not."""

    case: ReferenceCase
    points: tuple[Point, ...]
    programs: tuple[Program, ...]
    judgements: tuple[Judgement, ...]
    inapplicable: NotApplicable | None = None
    inapplicable_judgements: dict[str, NotApplicable] = field(default_factory=dict)


@dataclass(frozen=True)
class ConductedRun:
    """What one program left behind."""

    program: Program
    history: History
