"""Curves against altitude from the readings that the records hold, with what their references allow."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from leverproof.cases.model import Judgement
from leverproof.channels import CHANNELS
from leverproof.conduct.model import ConductedRun, PlannedCase
from leverproof.judge.model import Finding
from leverproof.record.reader import Record
from leverproof.report.comparison.model import Band, Curve, Panel
from leverproof.report.wording import channel_words

WANTED = ("brake_power", "manifold_pressure", "turbo_speed")
MOST = 2
"""Panels of one channel: the cases that show most of it."""

Key = tuple[str, str, str, str]
Points = tuple[tuple[float, float], ...]
Triples = tuple[tuple[float, float, float], ...]
_Allowed = tuple[str, Triples, Triples]


@dataclass
class Seen:
    """What readings show against altitude: by case, run, reading and channel, the points of each model."""

    readings: dict[Key, dict[int, Points]] = field(default_factory=dict)


def look(seen: Seen, model: int, planned: PlannedCase, runs: Sequence[ConductedRun]) -> None:
    """Adds one case of one model, with its engine running. A reading that was not steady is no point of a curve."""
    heights = {p.index: p.surroundings.get("pressure_altitude") for p in planned.points}
    if planned.case.engine != "running" or len({h for h in heights.values() if h is not None}) < 2:
        return
    found: dict[Key, dict[float, float]] = {}
    for run in runs:
        height = heights.get(run.program.key[1])
        if height is None or run.history.ending != "completed":
            continue
        for reading in run.history.readings:
            for channel in WANTED:
                value = reading.values.get(channel, math.nan)
                if math.isfinite(value) and channel not in reading.unsteady:
                    key = (planned.case.id, run.program.key[2], reading.name, channel)
                    found.setdefault(key, {})[height] = value
    for key, points in found.items():
        if len(points) > 1:
            seen.readings.setdefault(key, {})[model] = tuple(sorted(points.items()))


def panels(seen: Seen, records: Sequence[Record], letters: Sequence[str]) -> list[Panel]:
    """For each channel the cases that show most models at most heights; then every lever advantage."""
    out = []
    for channel in WANTED:
        found = sorted(
            (key for key in seen.readings if key[3] == channel),
            key=lambda key: (-len(seen.readings[key]), -max(map(len, seen.readings[key].values()))),
        )
        cases: list[str] = []
        for key in found:
            if key[0] not in cases and len(cases) < MOST:
                cases.append(key[0])
                out.append(_panel(key, seen.readings[key], records, letters))
    return [*out, *_advantages(records, letters)]


def _panel(key: Key, models: Mapping[int, Points], records: Sequence[Record], letters: Sequence[str]) -> Panel:
    case, run, reading, channel = key
    return Panel(
        f"{channel_words(channel).capitalize()}: {case}, {run}, {reading}",
        channel,
        CHANNELS[channel].unit,
        tuple(Curve(model, points) for model, points in sorted(models.items())),
        tuple(_bands(records, case, lambda j: j.channel == channel and str(j.reading) == f"{run}.{reading}")),
        tuple(_without(case, models, records, letters)),
    )


def _without(
    case: str, there: Mapping[int, object], records: Sequence[Record], letters: Sequence[str], judgement: str = ""
) -> Iterator[str]:
    for model, record in enumerate(records):
        if model in there:
            continue
        planned = record.planned(case)
        if planned is None:
            yield f"{letters[model]}: its record does not hold the case"
        elif planned.inapplicable is not None:
            yield f"{letters[model]}: untestable, {planned.inapplicable.missing}"
        elif judgement:
            finding = next((f for f in record.findings if (f.case, f.judgement) == (case, judgement)), None)
            yield f"{letters[model]}: " + (f"{finding.verdict}, {finding.note}" if finding is not None else "not run")
        else:
            yield f"{letters[model]}: no steady readings at two heights"


def _advantages(records: Sequence[Record], letters: Sequence[str]) -> Iterator[Panel]:
    """What is gained in power by one way of moving the levers over another, as judged."""
    keys = dict.fromkeys(
        (planned.case.id, judgement.id)
        for record in records
        for planned in record.expectations
        for judgement in planned.case.judgements
        if _is_advantage(judgement)
    )
    drawn: set[str] = set()
    for case, judgement in keys:
        models = {m: points for m, record in enumerate(records) if (points := _found(record, case, judgement))}
        bands = tuple(_bands(records, case, _is_advantage))
        if case in drawn or not models or not (bands or any(len(points) > 1 for points in models.values())):
            continue
        drawn.add(case)
        yield Panel(
            f"Lever advantage: {case}, {judgement}",
            "brake_power",
            CHANNELS["brake_power"].unit,
            tuple(Curve(model, points) for model, points in models.items()),
            bands,
            tuple(_without(case, models, records, letters, judgement)),
        )


def _is_advantage(judgement: Judgement) -> bool:
    """Power of one run against that of another, at one engine setting: the size of what the levers do."""
    return (
        judgement.what == "difference"
        and judgement.channel == "brake_power"
        and judgement.more is not None
        and any(less.run != judgement.more.run for less in judgement.less)
        and "lever" in " ".join((judgement.more.run, *(less.run for less in judgement.less)))
    )


def _found(record: Record, case: str, judgement: str) -> Points:
    finding = next((f for f in record.findings if (f.case, f.judgement) == (case, judgement)), None)
    planned = record.planned(case)
    if finding is None or planned is None:
        return ()
    heights = {p.label: p.surroundings.get("pressure_altitude") for p in planned.points}
    found = {
        height: point.found
        for point in finding.points
        if (height := heights.get(point.label)) is not None and point.found is not None and math.isfinite(point.found)
    }
    return tuple(sorted(found.items()))


def _bands(records: Sequence[Record], case: str, wanted: Callable[[Judgement], bool]) -> Iterator[Band]:
    """What the references of the judgements ``wanted`` allow, each once, with the models that have it."""
    held: dict[_Allowed, list[int]] = {}
    for model, record in enumerate(records):
        planned = record.planned(case)
        if planned is None:
            continue
        findings = {f.judgement: f for f in record.findings if f.case == case}
        for judgement in planned.case.judgements:
            finding = findings.get(judgement.id)
            if finding is not None and wanted(judgement):
                for band in _of(planned, judgement, finding):
                    held.setdefault(band, []).append(model)
    for (words, values, heights), models in held.items():
        yield Band(words, tuple(models), values, heights)


def _of(planned: PlannedCase, judgement: Judgement, finding: Finding) -> Iterator[_Allowed]:
    words = f"{judgement.basis}: {judgement.id}"
    if judgement.what == "crossing":
        for point in finding.points:
            at = [p.resolved.get(judgement.id, {}).get("at") for p in planned.points]
            if point.expected is not None and at and at[0] is not None and math.isfinite(point.limit):
                # Where a difference passes a value, no curve of the channel does.
                mark = (point.expected - point.limit, point.expected + point.limit, at[0].value)
                yield words, (), () if judgement.less else (mark,)
        return
    heights = {p.label: p.surroundings.get("pressure_altitude") for p in planned.points}
    values = tuple(
        sorted(
            (height, point.expected - point.limit, point.expected + point.limit)
            for point in finding.points
            if (height := heights.get(point.label)) is not None
            and judgement.expected is not None
            and point.expected is not None
            and math.isfinite(point.limit)
        )
    )
    if values:
        yield words, values, ()
