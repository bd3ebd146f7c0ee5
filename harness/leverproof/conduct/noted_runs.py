"""Numbers written down, as the runs that judging takes: readings without a history, with the doubt of hand and eye."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from leverproof import atmosphere
from leverproof.channels import CHANNELS
from leverproof.conduct.airframe import AIRSPEED, HAND_READING
from leverproof.conduct.card import DAY, HEIGHT, KT, THERMOMETER, Card, Row, rows_of
from leverproof.conduct.card_sight import HP
from leverproof.conduct.matcher_tolerances import AT_LIMIT, SURROUNDINGS, of_seek
from leverproof.conduct.model import ConductedRun, PlannedCase, PlannedStep, Program
from leverproof.conduct.noted_load import Noted, Table
from leverproof.history import History, Mark, Reading
from leverproof.judge.words import amount, spoken
from leverproof.physics.relations.airspeed import true_airspeed
from leverproof.quantities import convert

AGAIN = "fly this one again"
EACH = 100
"""Rows that a reading is given on an empty grid, so that marks fall before it."""
CONDITIONS = (HEIGHT, AIRSPEED, THERMOMETER)
POSSIBLE = 3.0
"""A number beyond three times a channel's normal range, or below nothing, cannot have stood on a gauge (assumption)."""
COLDEST = -90.0
"""degC, colder than any air that was measured (from memory)."""


@dataclass(frozen=True, slots=True)
class Invalid:
    """A row that does not count, and why, in words."""

    row: Row
    reason: str
    path: str
    line: int


@dataclass(frozen=True)
class NotedRuns:
    """The runs by program key, the rows that do not count, and the division of each gauge, the coarsest of any
    table."""

    runs: Mapping[tuple[str, int, str], ConductedRun]
    invalid: tuple[Invalid, ...]
    divisions: Mapping[str, float]


def runs_of(planned: PlannedCase, tables: Sequence[Table], card: Card) -> NotedRuns:
    """One run for each program of the plan, from one table or those of several flyers."""
    divisions = {
        name: max(t.divisions[name] for t in tables if name in t.divisions)
        for name in dict.fromkeys(name for table in tables for name in table.divisions)
    }
    if "torque" in divisions:
        divisions["brake_power"] = math.nan
    needed = tuple(rows_of(planned))
    invalid: list[Invalid] = []
    runs = {}
    for program in planned.programs:
        taken = [(table, noted) for table in tables for noted in table.rows if _of(noted.row, program)]
        good: list[tuple[int, Noted]] = []
        for table, noted in taken:
            reason = wrong(noted, program, table, card)
            if reason:
                invalid.append(Invalid(noted.row, reason, table.path, noted.line))
            else:
                good.append((tables.index(table), _completed(noted, program, table)))
        lost = {noted.row.reading: reason.reason for noted, reason in _lost(taken, invalid)}
        runs[program.key] = ConductedRun(program, _history(program, good, lost, divisions, card, needed))
    return NotedRuns(runs, tuple(invalid), divisions)


def _of(row: Row, program: Program) -> bool:
    return (row.index, row.run) == (program.key[1], program.key[2])


def _lost(taken: Sequence[tuple[Table, Noted]], invalid: Sequence[Invalid]) -> Iterator[tuple[Noted, Invalid]]:
    for table, noted in taken:
        for one in invalid:
            if (one.path, one.line) == (table.path, noted.line):
                yield noted, one


def wrong(noted: Noted, program: Program, table: Table, card: Card) -> str:
    """Why a row does not count, in words; "" where it does."""
    if not noted.steady:
        return "not steady, by the flyer's own note"
    for name, value in noted.values.items():
        words = _impossible(name, value)
        if words:
            return words
    told = _completed(noted, program, table)
    return (
        _off_conditions(told, program, table, card)
        or _beyond_guard(noted, program, table)
        or _not_there(noted, program, table)
    )


def _impossible(name: str, value: float) -> str:
    item = CHANNELS[name]
    if item.states or name == HEIGHT:
        return ""
    low = COLDEST if item.unit == "degC" else 0.0
    high = POSSIBLE * item.span if item.kind == "reading" else 700.0
    if low <= value <= high:
        return ""
    bounds = f"below {amount(low, item.unit)} or above {amount(high, item.unit)}"
    return f"{spoken(name)} {amount(value, item.unit)} is impossible: nothing {bounds} stands on a gauge"


def _off_conditions(told: Noted, program: Program, table: Table, card: Card) -> str:
    """Height, speed and day must be those asked, as near as of a recording."""
    for name in CONDITIONS:
        if name not in told.values or (name == THERMOMETER and name in card.readings):
            continue
        channel = DAY if name == THERMOMETER else name
        held = _held(program, told.row.reading)
        if channel not in held:
            continue
        off = _standard_offset(told) if name == THERMOMETER else told.values[name]
        allowed = SURROUNDINGS[channel] + table.divisions.get(name, 0.0) / 2.0
        if abs(off - held[channel]) > allowed:
            unit = CHANNELS[channel].unit
            found = f"{spoken(channel)} {amount(off, unit)} is not the {amount(held[channel], unit)} asked"
            return f"{found}, {amount(allowed, unit)} is allowed"
    return ""


def _standard_offset(told: Noted) -> float:
    height = told.values.get(HEIGHT, 0.0)
    return told.values[THERMOMETER] - convert(float(atmosphere.temperature_at_feet(height)), "K", "degC")


def _held(program: Program, reading: str) -> dict[str, float]:
    """What every input is at a reading of the program, as far as the program says."""
    held = dict(program.start)
    for step in program.steps:
        held.update(step.levers)
        if step.do == "read" and step.name == reading:
            break
    return held


def _before(program: Program, reading: str) -> list[PlannedStep]:
    names = [step.name if step.do == "read" else None for step in program.steps]
    return list(program.steps[: names.index(reading)])


def _beyond_guard(noted: Noted, program: Program, table: Table) -> str:
    for step in _before(program, noted.row.reading):
        for name, limit in step.guard.items():
            value = noted.values.get(name)
            slack = max(table.divisions.get(name, 0.0), AT_LIMIT * limit)
            if value is not None and value > limit + slack:
                unit = CHANNELS[name].unit
                return f"{spoken(name)} {amount(value, unit)} is beyond {amount(limit, unit)}, where the card says stop"
    return ""


def _seeks(program: Program, reading: str) -> list[PlannedStep]:
    """The seeks before a reading since a lever was last moved otherwise: what they brought to its place is still
    there."""
    seeks: list[PlannedStep] = []
    for step in _before(program, reading):
        if step.do in ("set", "move"):
            seeks = []
        if step.do == "seek":
            seeks.append(step)
    return seeks


def _near(noted: Noted, step: PlannedStep, table: Table) -> bool:
    value = noted.values.get(step.channel)
    allowed = of_seek(step.channel, step.within, table.divisions.get(step.channel, 0.0))
    return value is not None and abs(value - step.value) <= allowed * (1.0 + 1e-9)


def _not_there(noted: Noted, program: Program, table: Table) -> str:
    seeks = _seeks(program, noted.row.reading)
    if not seeks:
        return ""
    step = seeks[-1]
    unit = CHANNELS[step.channel].unit
    if noted.ended in ("", "reached"):
        if _near(noted, step, table):
            return ""
        if step.channel not in noted.values:
            return f"nothing says what {spoken(step.channel)} was, nor how the search for it ended"
        found = (
            f"{spoken(step.channel)} {amount(noted.values[step.channel], unit)} is not the {amount(step.value, unit)}"
        )
        return f"{found} asked, and nothing says that a stop or a limit came first"
    if noted.ended == "stop" and "stop" not in step.accept:
        return f"the {spoken(step.lever)} lever met its stop, where the card needs {spoken(step.channel)}"
    if noted.ended == "limit" and not step.guard:
        return "it ended at a limit, and the card has none there"
    return ""


def _completed(noted: Noted, program: Program, table: Table) -> Noted:
    """The row with true airspeed in place of indicated, and with power where torque and engine speed were read."""
    values = dict(noted.values)
    held = _held(program, noted.row.reading)
    height, day = values.get(HEIGHT, held.get(HEIGHT, 0.0)), held.get(DAY, 0.0)
    if AIRSPEED in values and table.indicated:
        values[AIRSPEED] = float(true_airspeed(values[AIRSPEED] * KT, height, day)) / KT
    if "torque" in values and "engine_speed" in values:
        values["brake_power"] = values["torque"] * values["engine_speed"] * HP
    return Noted(noted.row, noted.line, values, noted.ended, noted.steady, noted.remark)


def _history(
    program: Program,
    good: Sequence[tuple[int, Noted]],
    lost: Mapping[str, str],
    divisions: Mapping[str, float],
    card: Card,
    needed: Sequence[Row],
) -> History:
    readings: list[Reading] = []
    marks: list[Mark] = []
    for number, name in enumerate((s.name for s in program.steps if s.do == "read"), start=1):
        rows = [(flyer, noted) for flyer, noted in good if noted.row.reading == name]
        if rows:
            row = number * EACH
            readings.append(_reading(name, row, rows, divisions, program, card))
            marks += _marks(program, name, row, rows)
    empty = np.empty((0, 0), np.float32)
    ending, trouble = "completed", ""
    wanted = [row.reading for row in needed if _of(row, program)]
    missing = [name for name in wanted if name not in {r.name for r in readings}]
    if any(name in lost for name in missing):
        told = next(name for name in missing if name in lost)
        ending, trouble = "invalid", f"{lost[told]}: {AGAIN}"
    elif missing:
        ending, trouble = "not run", "nothing is written down"
    return History(program.grid, (), empty, tuple(marks), tuple(readings), ending, trouble, noted=True)


def _reading(
    name: str,
    row: int,
    rows: Sequence[tuple[int, Noted]],
    divisions: Mapping[str, float],
    program: Program,
    card: Card,
) -> Reading:
    """Mean over flyers of each one's mean; what repeats and flyers differ by is doubt, a rectangular half-width each
    (JCGM 100:2008, 4.3.7). A gauge that some row has and this one has not is a number lost."""
    values: dict[str, float] = {}
    repeat: dict[str, float] = {}
    flyers: dict[str, float] = {}
    names = dict.fromkeys(n for _, noted in rows for n in noted.values)
    for channel in names:
        by_flyer: dict[int, list[float]] = {}
        for flyer, noted in rows:
            if channel in noted.values:
                by_flyer.setdefault(flyer, []).append(noted.values[channel])
        means = [sum(own) / len(own) for own in by_flyer.values()]
        values[channel] = sum(means) / len(means)
        if any(len(own) > 1 for own in by_flyer.values()):
            repeat[channel] = max(max(own) - min(own) for own in by_flyer.values()) / 2.0 / math.sqrt(3.0)
        if len(means) > 1:
            flyers[channel] = (max(means) - min(means)) / 2.0 / math.sqrt(3.0)
    if THERMOMETER in values and THERMOMETER not in card.readings:
        values[DAY] = _standard_offset(Noted(rows[0][1].row, 0, values))
    parts = {part: us for part, us in (("reading repeat", repeat), ("two flyers", flyers)) if us}
    if card.airborne and AIRSPEED in values:
        parts["level flight by hand"] = {AIRSPEED: HAND_READING / 2.0}
    gauge = {n: d for n, d in divisions.items() if math.isfinite(d)}
    if "brake_power" in values and "torque" in gauge:
        torque, turns = (values[n] for n in ("torque", "engine_speed"))
        gauge["brake_power"] = HP * math.hypot(turns * gauge["torque"], torque * gauge.get("engine_speed", 0.0))
    lost = {n: f"no number is written down: {AGAIN}" for n in card.readings if n in divisions and n not in values}
    placing = dict.fromkeys(values, math.nan) if _placed_by_hand(program, name) else {}
    return Reading(name, row, values, {}, {}, gauge, placing, parts, lost)


def _placed_by_hand(program: Program, reading: str) -> bool:
    """Whether a lever was set between its stops by eye, or by what a gauge showed before other levers moved on."""
    free: dict[str, bool] = {}
    steps = _before(program, reading)
    sought = {step.lever for step in steps if step.do == "seek"}
    if sought - {step.lever for step in _seeks(program, reading)}:
        return True
    for step in steps:
        for name, place in step.levers.items():
            lever = CHANNELS[name]
            free[name] = lever.kind == "lever" and not lever.states and place not in (0.0, 1.0)
        if step.do == "seek":
            free[step.lever] = False
        if step.do == "couple":
            free["boost"] = False
    return any(free.values())


def _marks(program: Program, reading: str, row: int, rows: Sequence[tuple[int, Noted]]) -> Iterator[Mark]:
    """The seeks before a reading. The last ended as the flyer says; of an earlier one only that its channel still
    stands where it was brought is known."""
    seeks = _seeks(program, reading)
    for index, step in enumerate(seeks):
        values = [noted.values[step.channel] for _, noted in rows if step.channel in noted.values]
        value = sum(values) / len(values) if values else math.nan
        near = abs(value - step.value) <= of_seek(step.channel, step.within, 0.0)
        ended = "reached" if near else ""
        if index == len(seeks) - 1:
            said = next((noted.ended for _, noted in rows if noted.ended), "") or "reached"
            ended = f"{next(iter(step.guard), '')} limit" if said == "limit" else said
        elif any(later.channel == step.channel for later in seeks[index + 1 :]):
            continue
        if ended:
            first = row - EACH // 2 + index
            yield Mark("seek", first, first + 1, step.name, step.lever, ended, step.value, step.channel)
