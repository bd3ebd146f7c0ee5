"""Reference cases as data: conditions, lever programs, judgements. No input or output here.

A value in a case is not always a number: it may name a sheet datum, a sweep variable or the standard atmosphere at
the run's own surroundings. It stays a :class:`Value` until the planner resolves it, before the run.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from leverproof.quantities import Quantity
from leverproof.sheet.applicability import Applies as Applies

BASES = ("standard", "published", "sheet", "physics", "practice", "predicted", "baseline")
WHATS = (
    "value", "limit", "difference", "trend", "order", "state", "response", "ending", "crossing", "exponent",
    "identity", "same", "grid_step", "unmoved", "level_speed", "history",
)  # fmt: skip
TIERS = ("validation", "simulation", "regression")
TIMES = ("t10", "t90", "settling")
SCORES = ("magnitude", "phase", "combined", "inequality", "overshoot")
AMOUNTS = ("tube", "end", "area")
"""Measures of a history against a reference: in seconds, without unit, and in the unit of the channel."""


@dataclass(frozen=True, slots=True)
class Value:
    """A value to be resolved: exactly one of ``quantity``, ``sheet`` (datum path such as
    ``takeoff.manifold_pressure``, then times ``times`` and plus ``plus``), ``predicted`` (name of a prediction at the
    run's surroundings, of which ``part`` is taken, then times and plus), ``sweep`` (variable name),
    ``standard`` (``ambient_pressure``, ``ambient_temperature`` or ``unsupercharged_power_ratio`` at the run's
    surroundings) or ``word`` (a named
    lever position or state)."""

    quantity: Quantity | None = None
    sheet: str = ""
    times: float = 1.0
    plus: Quantity | None = None
    sweep: str = ""
    standard: str = ""
    word: str = ""
    predicted: str = ""
    part: str = "median"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """``absolute`` and/or ``percent`` of ``of`` (``expected``, ``range`` or a Value). Where both are given the less
    restrictive applies, and the finding says which. ``reason`` says why this wide. ``tier`` is what the expected value
    comes from: ``validation`` (a measurement or a document), ``simulation`` (another simulation: 40 % of what is stated
    applies), ``regression`` (the model itself), "" where it is not stated, which is as validation. A user may make
    it ``times`` as wide; ``loosened`` then tells who and why."""

    absolute: Quantity | None = None
    percent: float | None = None
    of: Value | Literal["expected", "range"] = "expected"
    reason: str = ""
    tier: str = ""
    times: float = 1.0
    loosened: str = ""


SIMULATION_SHARE = 0.4
"""The part of a tolerance that applies where the reference is another simulation. Source: 14 CFR Part 60, Appendix A,
attachment 2, paragraph 11."""


def applied_share(tolerance: Tolerance) -> float:
    """What a stated tolerance is multiplied by: for its tier, and for being loosened."""
    return tolerance.times * (SIMULATION_SHARE if tolerance.tier == "simulation" else 1.0)


@dataclass(frozen=True, slots=True)
class Curve:
    """A stored reference history: ``seconds`` from the lever movement, rising from 0, and ``values`` in the channel's
    canonical unit, the first being the stabilised start. Linear between its points. ``doubt`` is U95, None when
    nobody has stated it."""

    seconds: tuple[float, ...]
    values: tuple[float, ...]
    doubt: float | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a lever program.

    ``do``: ``set`` (``levers``: jump), ``move`` (``levers`` ramped over ``duration`` ticks), ``hold`` (``duration``),
    ``pause`` (nothing is asked of the model for ``duration`` of wall time; its own time stands still),
    ``seek`` (``lever`` until ``channel`` holds ``value`` within ``within``; ``accept`` lists endings beside
    ``reached`` that let the run go on: ``stop``, ``"<channel> limit"``; ``rate`` lever travel per second or None for
    the sheet's; ``limit`` ticks), ``couple`` (boost follows throttle at ``lead``), ``uncouple``, ``read``
    (``name``, ``limit`` ticks to wait for steadiness). ``levers`` may also name surroundings. ``name`` marks the
    step. ``guard`` of a seek: channels kept below a Value; reaching one ends the seek with ``"<channel> limit"``.
    """

    do: str
    name: str = ""
    levers: dict[str, Value] = field(default_factory=dict)
    duration: int = 0
    lever: str = ""
    channel: str = ""
    value: Value | None = None
    within: Quantity | None = None
    accept: tuple[str, ...] = ()
    guard: dict[str, Value] = field(default_factory=dict)
    rate: Quantity | None = None
    limit: int = 0
    lead: float = 0.0


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a case. ``grid`` divides the stand's grid step (1 as it is, 2 half). ``surroundings`` overrides
    the case's for this run."""

    name: str
    steps: tuple[Step, ...]
    grid: int = 1
    surroundings: dict[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ref:
    """A reading of a run, written ``"run.reading"``. Names hold letters, digits, spaces and hyphens."""

    run: str
    reading: str

    def __str__(self) -> str:
        return f"{self.run}.{self.reading}"


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens in a run: ``channel`` ``crosses`` a Value (``direction`` rising or falling), or passes
    ``fraction`` of its change between two readings (``between``), or becomes ``state``."""

    name: str
    channel: str
    direction: str = ""
    crosses: Value | None = None
    fraction: float | None = None
    between: tuple[str, str] | None = None
    state: str = ""


@dataclass(frozen=True, slots=True)
class AtEqual:
    """Equal-condition comparison: both readings are corrected to ``channel`` = ``value`` with the slope measured
    between each run's reading and its ``slope`` reading (a second reading name in the same run, taken at a nearby
    value of ``channel``)."""

    channel: str
    value: Value
    slope: str


@dataclass(frozen=True, slots=True)
class Exercised:
    """A point counts only where ``channel`` is at least ``by`` higher in ``more`` than in ``less``."""

    channel: str
    by: Value
    more: Ref
    less: Ref


@dataclass(frozen=True, slots=True)
class Per:
    """A least difference that grows with another: ``rate`` times the difference of ``channel``."""

    channel: str
    rate: Quantity


@dataclass(frozen=True, slots=True)
class Judgement:
    """One thing asked of the runs. Which fields are used depends on ``what``; docs/reference/cases.md has the table.

    value       reading, channel, expected, tolerance, [relative_to: Ref -> ratio of the channel to that reading]
    limit       run, channel, at_most | at_least, tolerance, [window], [once_settled], [include_seek],
                [change_from: reading name -> increment]
    difference  channel, more, less (several refs in less: the largest of them), at_least | expected+tolerance,
                [at_equal], [exercised], [per]
    trend       channel, reading, [less: one ref subtracted], over (sweep variable) | readings (refs in order),
                direction, least_step, [tolerance for constant], [span: low/high of the sweep variable],
                [while_ending]
    order       run, events (first to last), least_gap
    state       run, channel, at (reading name)+expected word | table (sheet light table) | seen (word) in window
    response    run, channel, since (step name), between (two reading names), measure t10|t90|monotone,
                at_most | at_least | longer_than (run) with least_gap, tolerance
    ending      run, seek (step name), endings
    crossing    channel, reading, [less: one ref subtracted], over, at (Value), expected, tolerance
    exponent    channel, by (channel), reading, over, expected, tolerance
    identity    reading, tolerance: brake_power / (torque * engine_speed) = 1
    same        runs (two run names): bit for bit
    grid_step   runs (coarse, fine): end values within tolerance (percent of range), times within time_tolerance
                percent or one coarse step
    unmoved     runs (as it is, with levers of the other engines moved): every sample of every reading of the second
                within tolerance (percent of range) of the first
    level_speed how much faster the aeroplane flies level at ``more`` than at the fastest of ``less``: at_least, or
                expected+tolerance, in kt, or worth (speed that this much power of each engine is worth at the
                sheet's take-off power; with tolerance both ways), [at_equal], [exercised]; channel is brake_power
    history     run, channel, since, between, against (run) | curve, measure (one of TIMES, SCORES, AMOUNTS), tolerance
                with its tier, [time_within of a tube], [band of settling]: increments from between[0]
    """

    id: str
    what: str
    asked: str
    weight: Literal["required", "advisory"]
    basis: str
    source: str
    why: str = ""
    applies: Applies = field(default_factory=Applies)
    channel: str = ""
    by: str = ""
    run: str = ""
    runs: tuple[str, ...] = ()
    reading: Ref | None = None
    readings: tuple[Ref, ...] = ()
    relative_to: Ref | None = None
    more: Ref | None = None
    less: tuple[Ref, ...] = ()
    expected: Value | None = None
    at_most: Value | None = None
    at_least: Value | None = None
    at: Value | None = None
    at_reading: str = ""
    tolerance: Tolerance | None = None
    time_tolerance: float | None = None
    window: tuple[str, str] | None = None
    once_settled: bool = False
    include_seek: bool = False
    change_from: str = ""
    at_equal: AtEqual | None = None
    exercised: Exercised | None = None
    per: Per | None = None
    one_charge_temperature: bool = False
    over: str = ""
    direction: str = ""
    least_step: Value | None = None
    span: tuple[Value, Value] | None = None
    while_ending: tuple[str, ...] = ()
    events: tuple[Event, ...] = ()
    least_gap: Quantity | None = None
    table: str = ""
    seen: str = ""
    since: str = ""
    between: tuple[str, str] | None = None
    measure: str = ""
    longer_than: str = ""
    seek: str = ""
    endings: tuple[str, ...] = ()
    resolves: str = ""
    worth: Quantity | None = None
    against: str = ""
    curve: Curve | None = None
    time_within: Tolerance | None = None
    band: float | None = None


@dataclass(frozen=True, slots=True)
class Sweep:
    """A sweep variable: its stated points, and an interval from which ``off_points`` more are drawn by the seed."""

    name: str
    points: tuple[Quantity, ...]
    low: Quantity | None = None
    high: Quantity | None = None
    off_points: int = 0


@dataclass(frozen=True, slots=True)
class ReferenceCase:
    """One reference case as loaded; ``path`` is where it was read, ``suite`` the version of the suite it was
    written for ("" where it does not say)."""

    id: str
    subject: str
    title: str
    question: str
    caution: str
    engine: Literal["running", "stopped"]
    applies: Applies
    surroundings: dict[str, Value]
    runs: tuple[Run, ...]
    judgements: tuple[Judgement, ...]
    sweep: Sweep | None = None
    path: str = ""
    consequence: str = ""
    suite: str = ""
