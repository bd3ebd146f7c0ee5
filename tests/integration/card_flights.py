"""A person in the cockpit: flies a case on the embedded engine, reads the gauges and fills the table."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from functools import cache

import numpy as np

from leverproof.cases.catalogue import load_catalogue
from leverproof.channels import CHANNELS
from leverproof.conduct.airframe import AIRSPEED, aeroplane_data, air_of, resolved_level_speed
from leverproof.conduct.card import ELSEWHERE, Card, card_of, indicated
from leverproof.conduct.model import ConductedRun
from leverproof.conduct.noted_table import DIVISION, Column, columns_of
from leverproof.physics.level_flight.knots import speeds
from leverproof.report.card_table import template
from leverproof.sheet.loader import load_sheet

from .recording_flights import SHEET, flown


@cache
def printed(case: str, *, torque: bool = False) -> Card:
    found = load_catalogue().case(case)
    return card_of(found, load_sheet(SHEET), torque=torque)


@cache
def flights(case: str, defect: str | None) -> dict[tuple[int, str], ConductedRun]:
    return {(run.program.key[1], run.program.key[2]): run for run in flown([case], defect=defect)}


def shown(card: Card, run: ConductedRun, reading: str) -> dict[str, float]:
    """What every gauge would show without divisions."""
    taken = run.history.reading(reading)
    assert taken is not None, (run.program.key, run.history.trouble)
    values = dict(taken.values)
    height, day = values["pressure_altitude"], values["temperature_offset"]
    values["ambient_temperature"] = 15.0 - 0.0019812 * height + day
    if card.airborne:
        surroundings = {"pressure_altitude": height, "temperature_offset": day}
        judgement = card.case.judgements[0]
        data, _ = aeroplane_data(resolved_level_speed(judgement, card.sheet, surroundings, flies=False))
        found = speeds(data, values["brake_power"], values["engine_speed"], air_of(surroundings))
        values[AIRSPEED] = float(found.true_airspeed)
    values[AIRSPEED] = indicated(values[AIRSPEED], height, day)
    return values


def ended(run: ConductedRun, reading: str) -> str:
    """How the last seek before a reading ended, in the words of a table."""
    taken = run.history.reading(reading)
    assert taken is not None
    seeks = [m for m in run.history.marks if m.kind == "seek" and m.row < taken.row]
    last = seeks[-1].ending if seeks else ""
    return "limit" if last.endswith(" limit") else last if last in ("reached", "stop") else ""


def table(
    card: Card,
    *,
    defect: str | None = None,
    divisions: Mapping[str, float] | None = None,
    nudge: Mapping[str, float] | None = None,
    hand: int | None = None,
) -> list[list[str]]:
    """The filled table: every reading rounded to the gauge's division. ``nudge`` is added to what a gauge shows;
    ``hand`` seeds a person's own error of up to half a division."""
    random = np.random.default_rng(hand) if hand is not None else None
    usual = {"pressure_altitude": 20.0, AIRSPEED: 2.0, "ambient_temperature": 0.5}
    asked = {**usual, **(card.divisions or {}), **(divisions or {})}
    rows = list(csv.reader(line for line in io.StringIO(template(card, command="x")) if not line.startswith("#")))
    columns = columns_of(card)
    for row in rows[1:]:
        for at, column in enumerate(columns):
            if row[0] == DIVISION and column.channel and column.unit:
                row[at] = f"{asked[column.channel]:g}"
        if row[0] == DIVISION:
            continue
        if row[0] == ELSEWHERE.run:
            _fill_elsewhere(row, columns)
            continue
        point = next(r for r in card.rows if (r.run, r.reading) == (row[0], row[1]) and _at(card, r.variable, row))
        run = flights(card.case.id, defect)[point.index, point.run]
        values = shown(card, run, point.reading)
        if any(values.get(stop.channel, 0.0) > stop.value for stop in card.stops if stop.hard):
            continue  # the card says stop
        for at, column in enumerate(columns):
            if column.kind == "ended":
                row[at] = ended(run, point.reading)
            elif column.channel and CHANNELS[column.channel].states:
                row[at] = CHANNELS[column.channel].states[round(values[column.channel])]
            elif column.channel:
                division = asked[column.channel]
                value = values[column.channel] + (nudge or {}).get(column.channel, 0.0)
                value += division * float(random.uniform(-0.5, 0.5)) if random is not None else 0.0
                row[at] = f"{round(value / division) * division:.6g}"
    return rows


def _fill_elsewhere(row: list[str], columns: tuple[Column, ...]) -> None:
    """An engine stopped on the ground: zero of every gauge, no condition."""
    for at, column in enumerate(columns):
        if column.channel and CHANNELS[column.channel].kind == "reading" and not CHANNELS[column.channel].states:
            row[at] = "0"


def _at(card: Card, variable: float, row: list[str]) -> bool:
    return card.case.sweep is None or abs(float(row[2]) - variable) < 1e-9


def text(rows: list[list[str]], separator: str = ",") -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(rows)
    return out.getvalue()
