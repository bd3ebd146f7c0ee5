"""A flight-test card as data: the same case that is driven, planned for a person. Rendering is the report's work."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from leverproof import atmosphere
from leverproof.cases.model import Judgement, Ref, ReferenceCase
from leverproof.channels import CHANNELS, LEVERS, SURROUNDINGS
from leverproof.conduct.airframe import AIRSPEED
from leverproof.conduct.by_hand import (
    POWER,
    by_numbers,
    ending_row,
    level_flown,
    noted_channels,
    plan_by_hand,
    shown,
    unflyable,
)
from leverproof.conduct.card_sight import (
    LevelSpeed,
    Sight,
    divisions_asked,
    effect_of,
    level_speed_sight,
    sights,
)
from leverproof.conduct.matcher_tolerances import of_seek
from leverproof.conduct.model import PlannedCase, PlannedStep, Program
from leverproof.judge.trust import FLAT_DIRECTIONS
from leverproof.physics.relations.airspeed import calibrated_airspeed
from leverproof.quantities import UNITS, convert
from leverproof.sheet.model import EngineSheet

KT = UNITS["kt"].scale
HEIGHT, DAY = "pressure_altitude", "temperature_offset"
THERMOMETER = "ambient_temperature"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a run is flown at one point: pressure altitude in ft, offset from standard in K, outside air temperature
    in degC, static pressure in inHg, relative humidity 0 to 1, true airspeed and what an airspeed indicator without
    error shows, kt (NaN where the speed is not set)."""

    label: str
    altitude: float
    offset: float
    temperature: float
    pressure: float
    humidity: float
    true_airspeed: float
    indicated: float


@dataclass(frozen=True, slots=True)
class CardStep:
    """One step at every point (``steps``, in the order of the points), with the indicated airspeed in kt where it
    sets a true one (else NaN), how near a sought value has to come, and whether a row of the table is filled here."""

    steps: tuple[PlannedStep, ...]
    indicated: tuple[float, ...]
    near: float = 0.0
    written: bool = False


@dataclass(frozen=True, slots=True)
class CardRun:
    """One run: where, where every lever stands that the first step does not name, and the steps."""

    name: str
    places: tuple[Place, ...]
    others: Mapping[str, float]
    steps: tuple[CardStep, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table to fill in: point (index, label, value of what is swept), run and reading; ``sought``
    whether the flyer has to say how the last seek ended."""

    index: int
    label: str
    variable: float
    run: str
    reading: str
    sought: bool


ELSEWHERE = Row(-1, "", math.nan, "(elsewhere)", "any other setting", False)
"""All gauges once more at quite another setting: a gauge that never moves may not be connected. The brackets keep its
name apart from that of any run."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A limit at which the flyer stops: ``hard`` where the program itself stops there, so that a point beyond it does
    not count."""

    channel: str
    value: float
    hard: bool


@dataclass(frozen=True)
class Card:
    """All of a card. ``refused`` says why the case cannot be flown by hand, and then nothing else holds. ``divisions``
    are those the gauges have to be read to; ``readings`` the channels to write down, ``kept`` the conditions written
    beside them; ``mass`` is the sheet's aeroplane in lb, None without one; ``asked`` the words by which case and sheet
    are found again."""

    case: ReferenceCase
    sheet: EngineSheet
    seed: int
    planned: PlannedCase
    refused: str = ""
    sights: tuple[Sight, ...] = ()
    level_speed: LevelSpeed = field(default_factory=LevelSpeed)
    divisions: Mapping[str, float] | None = None
    readings: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    runs: tuple[CardRun, ...] = ()
    rows: tuple[Row, ...] = ()
    stops: tuple[Stop, ...] = ()
    minutes: float | None = None
    mass: float | None = None
    airborne: bool = False
    asked: tuple[str, ...] = ()


def card_of(
    case: ReferenceCase, sheet: EngineSheet, *, seed: int = 1, torque: bool = False, asked: tuple[str, ...] = ()
) -> Card:
    """The card of a case for the engine of a sheet. ``torque`` tells that the cockpit has a torque gauge, from which
    power follows; ``asked`` the options by which the sheet and further cases were found."""
    gauges = shown(sheet) | ({"torque", "brake_power"} if torque else set())
    planned = plan_by_hand(case, sheet, gauges, seed=seed)
    refused = unflyable(planned)
    refused = refused or _too_slow(planned, sheet)
    if refused and planned.inapplicable is not None and planned.inapplicable.missing in NO_POWER:
        refused = _power_only(case, sheet, seed)
    if refused:
        return Card(case, sheet, seed, planned, refused)
    divisions = divisions_asked(planned, sheet)
    return Card(
        case,
        sheet,
        seed,
        planned,
        sights=sights(planned, divisions, sheet),
        level_speed=level_speed_sight(planned, sheet),
        divisions=divisions,
        readings=_readings(planned),
        kept=_kept(planned),
        runs=tuple(_runs(planned)),
        rows=tuple(rows_of(planned)),
        stops=tuple(_stops(planned, sheet)),
        minutes=_number(sheet, "takeoff.minutes"),
        mass=_number(sheet, "airframe.mass"),
        airborne=level_flown(case),
        asked=asked or ("--sheet", sheet.id),
    )


NO_POWER = ("no brake power is read", "no torque is read")


def _power_only(case: ReferenceCase, sheet: EngineSheet, seed: int) -> str:
    """Why a case that judges nothing but power cannot be judged by hand, with what level speed could tell of it."""
    known = plan_by_hand(case, sheet, shown(sheet) | POWER, seed=seed)
    if known.inapplicable is not None:
        return known.inapplicable.missing
    effects = [effect for j in known.judgements if (effect := effect_of(j, known)) is not None]
    told = level_speed_sight(known, sheet)
    words = "it judges power only, and no gauge shows power"
    if told.reason:
        words += f"; what level speed could tell of it is not known: {told.reason}"
    else:
        words += f"; two level speeds flown and read by hand tell {told.sees:.0f} hp of each engine apart"
        asked = f", and the least effect asked here is {min(effects):.3g} hp" if effects else ""
        words += f"{asked}, but the case sets its own airspeed, so level speed cannot stand in"
    return f"{words}. With a torque gauge power follows from torque and engine speed: ask for the card with --torque"


MOST_LIFT = 2.5
"""Lift coefficient that no aeroplane with flaps of its time much exceeds (from memory; assumption)."""


def _too_slow(planned: PlannedCase, sheet: EngineSheet) -> str:
    """Why the sheet's aeroplane cannot fly as slowly as a case asks, in words; "" where it can or nothing is known.

    Level flight at the least speed: m g = rho/2 V^2 S CL (textbook)."""
    mass, area = sheet.number("airframe.mass"), sheet.number("airframe.wing_area")
    if mass is None or area is None:
        return ""
    weight = convert(float(mass.value), mass.unit, "kg") * atmosphere.GRAVITY
    surface = convert(float(area.value), area.unit, "m2")
    for program in planned.programs:
        start = program.start
        speed = start.get(AIRSPEED, 0.0)
        density = float(atmosphere.density_at_feet(start[HEIGHT], start[DAY]))
        least = math.sqrt(2.0 * weight / (density * surface * MOST_LIFT)) / KT
        if 0.0 < speed < least:
            return (
                f"it flies at {speed:.0f} kt, and the sheet's aeroplane cannot fly more slowly than some {least:.0f} kt"
            )
    return ""


def _number(sheet: EngineSheet, path: str) -> float | None:
    datum = sheet.number(path)
    return None if datum is None else float(datum.value)


def _readings(planned: PlannedCase) -> tuple[str, ...]:
    """Columns of the table beside those of the conditions; where power follows from a torque gauge, that."""
    names = noted_channels(planned)
    if "brake_power" in names:
        names = tuple(n for n in CHANNELS if n in {*names, "torque", "engine_speed"} and n != "brake_power")
    return names


def _kept(planned: PlannedCase) -> tuple[str, ...]:
    """Conditions to write down beside the readings: height and speed where the aeroplane flies, the air's temperature
    where the case does not judge it."""
    flying = any(p.start.get(AIRSPEED, 1.0) > 0.0 for p in planned.programs)
    judged = noted_channels(planned)
    names = (HEIGHT, AIRSPEED) if flying else (HEIGHT,)
    return tuple(n for n in (*names, THERMOMETER) if n not in judged)


def rows_of(planned: PlannedCase) -> Iterator[Row]:
    """The lines of the table: every reading that a judgement looks at which numbers written down can answer."""
    wanted = {ref for judgement in by_numbers(planned) for ref in refs(judgement)}
    wanted |= {ref for j in by_numbers(planned) if (ref := ending_row(j, planned.case)) is not None}
    labels = {point.index: (point.label, point.variable) for point in planned.points}
    for program in planned.programs:
        _, index, run = program.key
        sought = False
        for step in program.steps:
            sought = step.do == "seek" or (sought and step.do not in ("set", "move"))
            if step.do == "read" and Ref(run, step.name) in wanted:
                yield Row(index, *labels[index], run, step.name, sought)
    if wanted and any(map(_flat, by_numbers(planned))):
        yield ELSEWHERE


def _flat(judgement: Judgement) -> bool:
    """Whether a gauge that never moves could satisfy a judgement: then a row elsewhere has to show that it does."""
    if judgement.what == "trend":
        return judgement.direction in FLAT_DIRECTIONS
    return (judgement.what == "difference" and judgement.tolerance is not None) or judgement.relative_to is not None


def refs(judgement: Judgement) -> Iterator[Ref]:
    """The readings a judgement looks at, with those its corrections and conditions need. How a seek ended is told by
    any reading after it."""
    named = [judgement.reading, judgement.relative_to, judgement.more, *judgement.less, *judgement.readings]
    if judgement.at_reading:
        named.append(Ref(judgement.run, judgement.at_reading))
    if judgement.exercised is not None:
        named += [judgement.exercised.more, judgement.exercised.less]
    for ref in named:
        if ref is not None:
            yield ref
            if judgement.at_equal is not None:
                yield Ref(ref.run, judgement.at_equal.slope)


def _runs(planned: PlannedCase) -> Iterator[CardRun]:
    written = {(row.run, row.reading) for row in rows_of(planned)}
    for run in planned.case.runs:
        programs = [p for p in planned.programs if p.key[2] == run.name]
        labels = {point.index: point.label for point in planned.points}
        first = programs[0]
        named = first.steps[0].levers
        others = {n: first.start[n] for n in LEVERS if n in first.start and n not in named}
        places = tuple(_place(labels[p.key[1]], p.start) for p in programs)
        yield CardRun(run.name, places, others, tuple(_steps(programs, written)))


def _steps(programs: list[Program], written: set[tuple[str, str]]) -> Iterator[CardStep]:
    held = [dict(program.start) for program in programs]
    for together in zip(*(program.steps for program in programs), strict=True):
        for now, step in zip(held, together, strict=True):
            now.update({k: v for k, v in step.levers.items() if k in SURROUNDINGS})
        speeds = tuple(
            indicated(now[AIRSPEED], now[HEIGHT], now[DAY]) if AIRSPEED in step.levers else math.nan
            for now, step in zip(held, together, strict=True)
        )
        first = together[0]
        near = of_seek(first.channel, first.within, 0.0) if first.do == "seek" else 0.0
        filled = first.do == "read" and (programs[0].key[2], first.name) in written
        yield CardStep(together, speeds, near, filled)


def _place(label: str, start: Mapping[str, float]) -> Place:
    altitude, offset = start[HEIGHT], start[DAY]
    speed = start.get(AIRSPEED, math.nan)
    return Place(
        label,
        altitude,
        offset,
        convert(float(atmosphere.temperature_at_feet(altitude, offset)), "K", "degC"),
        convert(float(atmosphere.pressure_at_feet(altitude)), "Pa", "inHg"),
        start.get("relative_humidity", 0.0),
        speed,
        indicated(speed, altitude, offset),
    )


def indicated(true_airspeed: float, altitude: float, offset: float) -> float:
    """What an airspeed indicator shows in kt at a true airspeed in kt, taken to show calibrated airspeed (assumption:
    no error of instrument or position)."""
    return float(calibrated_airspeed(true_airspeed * KT, altitude, offset)) / KT


def _stops(planned: PlannedCase, sheet: EngineSheet) -> Iterator[Stop]:
    """Guards of the program, then the sheet's other limits that a gauge shows."""
    guarded: dict[str, float] = {}
    for step in (step for program in planned.programs for step in program.steps):
        guarded.update(step.guard)
    for name, value in guarded.items():
        yield Stop(name, value, True)
    for name in ("turbo_speed", "carburettor_air_temperature"):
        limit = _number(sheet, f"limits.{name}")
        if limit is not None and name not in guarded:
            yield Stop(name, limit, False)
