"""Which runs, channel and instants belong to a finding, and the numbers of a case that its plots are drawn from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from leverproof.cases.model import Judgement, Ref
from leverproof.channels import CHANNELS, READINGS
from leverproof.conduct.model import PlannedCase
from leverproof.conduct.resolve import judged_channels
from leverproof.errors import ReproducibilityError
from leverproof.history import History
from leverproof.judge.model import Finding, PointFinding
from leverproof.judge.words import spoken, unit_of
from leverproof.record.reader import Record
from leverproof.report.html.claim import deciding, is_open
from leverproof.report.html.drawing import Band, Instant, Line
from leverproof.report.html.series import difference, packed, seconds_of, windows
from leverproof.report.wording import visible
from leverproof.timegrid import TICKS_PER_SECOND

Histories = Mapping[tuple[int, str], History]
_AT_VALUE = ("value", "limit")


@dataclass(frozen=True)
class CaseEvidence:
    """What a case left behind: its plan, its findings, its histories, and what is wrong with them if they cannot be
    read."""

    planned: PlannedCase
    findings: tuple[Finding, ...]
    histories: Histories
    trouble: str = ""


def of_case(record: Record, planned: PlannedCase, findings: Sequence[Finding]) -> CaseEvidence:
    """The evidence of a case; a damaged file of histories is told in the guide and stops nothing."""
    try:
        return CaseEvidence(planned, tuple(findings), record.histories(planned.case.id))
    except ReproducibilityError as trouble:
        return CaseEvidence(planned, tuple(findings), {}, str(trouble.message))


def asked(case: CaseEvidence, finding: Finding) -> Judgement | None:
    """The judgement of a finding."""
    return next((j for j in case.planned.case.judgements if j.id == finding.judgement), None)


def channel_of(case: CaseEvidence, finding: Finding) -> str:
    """The channel that shows a finding best: the judged one, else the first that its runs hold; "" without any."""
    judgement = asked(case, finding)
    held = [h for h in case.histories.values() if h.data.shape[0]]
    wanted = [*(judged_channels(judgement) if judgement else ()), *READINGS]
    return next((name for name in wanted if any(h.has(name) for h in held)), "")


def refs(judgement: Judgement) -> tuple[Ref, ...]:
    """The readings that a judgement looks at."""
    single = (judgement.reading, judgement.relative_to, judgement.more)
    return (*(r for r in single if r is not None), *judgement.readings, *judgement.less)


def runs_of(judgement: Judgement | None) -> tuple[str, ...]:
    """The runs that a judgement looks at; empty where it names none."""
    if judgement is None:
        return ()
    named = [*(ref.run for ref in refs(judgement)), judgement.run, *judgement.runs]
    named += [judgement.longer_than, judgement.against]
    return tuple(dict.fromkeys(name for name in named if name))


def point_of(case: CaseEvidence, finding: Finding) -> int:
    """The index of the sweep point that decided a finding; the first where the whole sweep decided."""
    found = deciding(finding)
    label = found.label if found is not None else ""
    return next((p.index for p in case.planned.points if p.label == label), 0)


def point_labels(case: CaseEvidence) -> dict[int, str]:
    """The label of every point that was flown."""
    labels = {p.index: p.label for p in case.planned.points}
    return {index: labels.get(index) or "" for index in dict.fromkeys(index for index, _ in case.histories)}


def instants_of(case: CaseEvidence, finding: Finding, point: int, run: str) -> list[Instant]:
    """The readings of one run that a finding looks at, or all of that run where it names none."""
    history, judgement = case.histories.get((point, run)), asked(case, finding)
    if history is None:
        return []
    named = {ref.reading for ref in refs(judgement) if ref.run == run} if judgement is not None else set()
    step = history.grid.step / TICKS_PER_SECOND
    return [Instant(r.name, r.row * step) for r in history.readings if not named or r.name in named]


def lines_of(case: CaseEvidence, finding: Finding, channel: str) -> list[Line]:
    """The curves of the deciding point: the runs judged, or all where none is named."""
    point, wanted = point_of(case, finding), runs_of(asked(case, finding))
    out = []
    for index, (at, run) in enumerate(case.histories):
        history = case.histories[at, run]
        if at != point or (wanted and run not in wanted) or not history.has(channel):
            continue
        times = seconds_of(history)
        out.append(Line(run, times, history.column(channel), index % max(1, _runs_a_point(case))))
    return out


def read_points(case: CaseEvidence, finding: Finding, lines: Sequence[Line], channel: str) -> list[Line]:
    """The readings of each curve that a finding looks at, as points on it."""
    out, point = [], point_of(case, finding)
    for line in lines:
        named = {instant.name for instant in instants_of(case, finding, point, line.label)}
        history = case.histories[point, line.label]
        step = history.grid.step / TICKS_PER_SECOND
        spots = [(r.row * step, r.values[channel]) for r in history.readings if r.name in named and channel in r.values]
        if spots:
            held = np.array(spots, dtype=np.float64)
            out.append(Line(line.label, held[:, 0], held[:, 1], line.index))
    return out


def _runs_a_point(case: CaseEvidence) -> int:
    return max(1, len({run for _, run in case.histories}))


def swept_lines(case: CaseEvidence, finding: Finding, channel: str) -> list[Line]:
    """What a judgement over a sweep was made of: the channel at each run's reading against the swept variable; empty
    for any other judgement, or where fewer than two points were read."""
    judgement = asked(case, finding)
    if judgement is None or not judgement.over:
        return []
    out = []
    for index, ref in enumerate(dict.fromkeys(refs(judgement))):
        found = []
        for point in case.planned.points:
            history = case.histories.get((point.index, ref.run))
            reading = history.reading(ref.reading) if history is not None else None
            if reading is not None and channel in reading.values and math.isfinite(point.variable):
                found.append((point.variable, reading.values[channel]))
        if len(found) > 1:
            held = np.array(sorted(found), dtype=np.float64)
            out.append(Line(str(ref), held[:, 0], held[:, 1], index))
    return out


def swept_words(case: CaseEvidence) -> str:
    """The swept variable with its unit."""
    sweep = case.planned.case.sweep
    if sweep is None:
        return ""
    unit = sweep.points[0].unit if sweep.points else "1"
    return spoken(sweep.name) if unit == "1" else f"{spoken(sweep.name)}, {unit}"


def difference_lines(lines: Sequence[Line], channel: str) -> list[Line]:
    """Each curve less the first, at equal time since the start; empty for a single one or for states."""
    if len(lines) < 2 or (channel in CHANNELS and CHANNELS[channel].states):
        return []
    first = lines[0]
    timed = (first.times, first.values)
    return [
        Line(f"{line.label} less {first.label}", *difference((line.times, line.values), timed), line.index)
        for line in lines[1:]
        if line.times.size and first.times.size
    ]


def reference_line(case: CaseEvidence, finding: Finding, lines: Sequence[Line], channel: str) -> Line | None:
    """The stored curve that a history was held against, laid on its run as it was judged: by increments from the
    stabilised start, from the movement of the lever on. None for any other judgement."""
    judgement = asked(case, finding)
    if judgement is None or judgement.curve is None or not lines:
        return None
    history = case.histories[point_of(case, finding), lines[0].label]
    mark = next((m for m in history.marks if m.name == judgement.since), None)
    start = history.reading(judgement.between[0]) if judgement.between else None
    if mark is None or start is None or channel not in start.values:
        return None
    seconds, values = np.array(judgement.curve.seconds), np.array(judgement.curve.values)
    since = mark.row * history.grid.step / TICKS_PER_SECOND
    return Line("reference", since + seconds, start.values[channel] + values - values[0], len(lines))


def band_of(finding: Finding, channel: str) -> Band | None:
    """What the channel itself was expected to be; None where something made of it was judged."""
    found = deciding(finding)
    return _band(finding, found, channel) if found is not None else None


def _band(finding: Finding, found: PointFinding, channel: str) -> Band | None:
    direct = finding.what in _AT_VALUE and found.unit == unit_of(channel) and found.expected is not None
    if not direct or found.expected is None or not math.isfinite(found.expected):
        return None
    return Band(found.expected, found.limit if math.isfinite(found.limit) else 0.0)


def plot_data(case: CaseEvidence) -> dict[str, Any]:
    """Everything the page's script draws a case from: runs with their channels, readings, points and expectations."""
    keep = _judged_rows(case)
    labels = point_labels(case)
    held = [(key, h) for key, h in case.histories.items() if h.data.shape[0]]
    names = list(dict.fromkeys(name for _, h in held for name in h.columns))
    return {
        "points": [[index, visible(label)] for index, label in labels.items()],
        "channels": {name: _described(name) for name in names},
        "runs": [
            {
                "point": point,
                "run": visible(run),
                "readings": [[visible(r.name), r.row * h.grid.step / TICKS_PER_SECOND] for r in h.readings],
                **packed(h, windows(h, keep.get((point, run), ()))),
            }
            for (point, run), h in held
        ],
        "expected": _expectations(case),
    }


def _described(name: str) -> dict[str, Any]:
    known = CHANNELS.get(name)
    unit = unit_of(name)
    return {
        "name": visible(spoken(name)),
        "unit": "" if unit == "1" else unit,
        "states": [spoken(s) for s in known.states] if known else [],
    }


def _judged_rows(case: CaseEvidence) -> dict[tuple[int, str], list[int]]:
    """The rows of judged instants of open findings, by point and run."""
    out: dict[tuple[int, str], list[int]] = {}
    for finding in filter(is_open, case.findings):
        judgement = asked(case, finding)
        wanted = runs_of(judgement)
        named = {str(ref) for ref in refs(judgement)} if judgement is not None else set()
        bad = {p.label for p in finding.points if p.verdict not in ("pass", "not applicable")}
        points = {p.index for p in case.planned.points if p.label in bad} or set(point_labels(case))
        for (point, run), history in case.histories.items():
            if point in points and (not wanted or run in wanted):
                rows = [r.row for r in history.readings if not named or f"{run}.{r.name}" in named]
                out.setdefault((point, run), []).extend(rows)
    return out


def _expectations(case: CaseEvidence) -> list[dict[str, Any]]:
    """What channels were expected to be, by point: value and tolerance."""
    labels = {p.label: p.index for p in case.planned.points}
    out = []
    for finding in case.findings:
        judgement = asked(case, finding)
        channel = judgement.channel if judgement is not None else ""
        for point in finding.points:
            band = _band(finding, point, channel)
            if band is not None and point.label in labels and judgement is not None and not judgement.change_from:
                out.append(
                    {"channel": channel, "point": labels[point.label], "value": band.value,
                     "tolerance": band.tolerance}
                )  # fmt: skip
    return out
