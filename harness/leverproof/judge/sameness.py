"""Judgements ``same`` (bit for bit), ``grid_step`` (a coarse run against one at half its grid step) and ``unmoved`` (a
run against one in which another engine's levers move)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from leverproof.channels import CHANNELS, OTHER_LEVERS
from leverproof.history import History, Mark, Reading
from leverproof.judge.decision import plain, within
from leverproof.judge.evidence import Evidence, WithheldError, early_end, history_of
from leverproof.judge.facts import live_channels
from leverproof.judge.model import PointFinding
from leverproof.judge.result import measured, withheld, worded, worst
from leverproof.judge.trust import PASSED
from leverproof.judge.value import allowed
from leverproof.judge.words import amount, number, spoken, state_word, unit_of
from leverproof.timegrid import CONTROL_TICKS, TICKS_PER_SECOND

DECIDED = ("seek", "read")


def _two(evidence: Evidence) -> tuple[History, History]:
    if len(evidence.judgement.runs) != 2:
        raise WithheldError("error", "the judgement does not name two runs")
    first, second = (history_of(evidence, run) for run in evidence.judgement.runs)
    return first, second


def same(evidence: Evidence) -> PointFinding:
    """Whether two runs are equal in every bit of every sample, in their steps and in their endings."""
    first, second = _two(evidence)
    found = first_difference(first, second)
    if not found:
        for history in (first, second):
            if history.ending != "completed":
                verdict, note = early_end(history)
                raise WithheldError(verdict, f"a run ended early: {note}")
        if not np.isfinite(first.data).all():
            raise WithheldError("invalid run", "a value is not a finite number")
        _exercised(first, second)
    runs = " and ".join(evidence.judgement.runs)
    return worded(
        evidence.point.label,
        plain(not found),
        found_text=found or f"{first.data.size} values equal in every bit",
        expected_text=f"{runs} equal in every bit",
    )


def first_difference(first: History, second: History) -> str:
    """The first difference in words (channel, time, both values), or nothing."""
    if first.columns != second.columns:
        return "the runs hold different channels"
    if first.grid != second.grid:
        return "the runs have different grid steps"
    rows = min(first.data.shape[0], second.data.shape[0])
    bits = [np.ascontiguousarray(h.data[:rows], dtype=np.float32).view(np.uint32) for h in (first, second)]
    apart = np.argwhere(bits[0] != bits[1])
    if apart.size:
        row, column = (int(i) for i in apart[0])
        values = " and ".join(repr(float(h.data[row, column])) for h in (first, second))
        return f"{spoken(first.columns[column])} at {amount(first.grid.seconds(row), 's')}: {values}"
    if first.data.shape != second.data.shape:
        return f"one run has {first.data.shape[0]} rows, the other {second.data.shape[0]}"
    if (first.ending, _shape(first.marks)) != (second.ending, _shape(second.marks)):
        return "the steps of the runs began, ended or turned out differently"
    return ""


def _shape(marks: tuple[Mark, ...]) -> list[tuple[object, ...]]:
    """What the steps did; a pause does nothing, and is what one of two runs may have more than the other."""
    return [(m.kind, m.row, m.end, m.name, m.lever, m.ending) for m in marks if m.kind != "pause"]


def grid_step(evidence: Evidence) -> PointFinding:
    """Readings of a coarse and a fine run within tolerance (commonly percent of range), and their steps
    lasting equally long: the worst of all comparisons decides."""
    coarse, fine = _two(evidence)
    for history in (coarse, fine):
        if history.ending != "completed":
            verdict, note = early_end(history)
            raise WithheldError(verdict, f"a run ended early: {note}")
    if coarse.grid.step <= fine.grid.step:
        raise WithheldError("error", "the second run was not made at a finer grid step")
    points = [*_readings(evidence, coarse, fine), *_durations(evidence, coarse, fine)]
    decided = worst(points)
    if decided is None:
        raise WithheldError("invalid run", "the runs hold no reading to compare")
    if decided.verdict in PASSED:
        _exercised(coarse, fine)
    return decided


def _exercised(*histories: History) -> None:
    """Refuses a pass in which nothing could have been different: no reading moved, however the levers did."""
    moved = live_channels(list(histories), None)
    if not any(channel in CHANNELS and CHANNELS[channel].kind == "reading" for channel in moved):
        raise WithheldError("not applicable", "not exercised: no reading moved in these runs, so nothing could differ")


def unmoved(evidence: Evidence) -> PointFinding:
    """Every sample of every reading of the second run within tolerance of the first, discrete ones equal; the worst
    channel decides. Both runs fly one program for this engine, so nothing but the other engines' levers, which the
    second run moves, can set them apart."""
    still, moved = _two(evidence)
    for history in (still, moved):
        if history.ending != "completed":
            verdict, note = early_end(history)
            raise WithheldError(verdict, f"a run ended early: {note}")
    if not any(moved.has(name) and np.ptp(moved.column(name)) > 0.0 for name in OTHER_LEVERS.values()):
        raise WithheldError("error", "no lever of another engine was moved")
    names = [c for c in still.columns if moved.has(c) and c in CHANNELS and CHANNELS[c].kind == "reading"]
    if not names:
        raise WithheldError("invalid run", "the runs hold no reading to compare")
    points = [_felt(evidence, still, moved, name) for name in names]
    decided = max(points, key=_apart)
    if decided.verdict == "pass" and not decided.excess:
        return replace(decided, found_text=f"{len(points)} readings, none apart anywhere", expected_text="none apart")
    return decided


def _apart(point: PointFinding) -> tuple[bool, float, bool]:
    """What makes one reading tell more than another: it fails, it is farther out, it has a number."""
    return point.verdict == "fail", (point.excess or 0.0) / (point.limit or 1.0), point.found is not None


def _felt(evidence: Evidence, still: History, moved: History, channel: str) -> PointFinding:
    """How far one reading is from what it is with the other engines held: at the sample where it is farthest.

    Runs of a wait for steadiness may differ in length; what both have is compared."""
    rows = min(still.data.shape[0], moved.data.shape[0])
    one, other = still.column(channel)[:rows], moved.column(channel)[:rows]
    unit = unit_of(channel)
    if CHANNELS[channel].states:
        apart = np.flatnonzero(one != other)
        row = int(apart[0]) if apart.size else 0
        here, there = (state_word(channel, float(samples[row])) for samples in (one, other))
        return worded(
            evidence.point.label,
            plain(not apart.size),
            found_text=f"{spoken(channel)} {there} at {amount(still.grid.seconds(row), 's')}",
            expected_text=f"{here} with the other engines held",
        )
    row = int(np.abs(one - other).argmax())
    a, b = float(one[row]), float(other[row])
    tolerance = allowed(evidence, unit=unit, expected=a, channel=channel)
    return measured(
        evidence.point.label,
        within(b, a, tolerance.value, (), unit=unit),
        found=b,
        expected=a,
        unit=unit,
        tolerance=tolerance.text,
        found_text=f"{spoken(channel)} {amount(b, unit)} at {amount(still.grid.seconds(row), 's')}",
        expected_text=f"{amount(a, unit)} with the other engines held",
    )


def _readings(evidence: Evidence, coarse: History, fine: History) -> list[PointFinding]:
    names = [c for c in coarse.columns if c in CHANNELS and CHANNELS[c].kind == "reading" and not CHANNELS[c].states]
    points: list[PointFinding] = []
    for one in coarse.readings:
        other = fine.reading(one.name)
        if other is None:
            raise WithheldError("invalid run", f"the finer run has no reading {one.name!r}")
        points.extend(_compared(evidence, one, other, channel) for channel in names)
    return points


def _compared(evidence: Evidence, one: Reading, other: Reading, channel: str) -> PointFinding:
    a, b = one.values.get(channel, math.nan), other.values.get(channel, math.nan)
    unit = unit_of(channel)
    tolerance = allowed(evidence, unit=unit, expected=b, channel=channel)
    # No jitter part: both runs fly the same program, so a slow drift common to both is no doubt in their difference.
    return measured(
        evidence.point.label,
        within(a, b, tolerance.value, (), unit=unit),
        found=a,
        expected=b,
        unit=unit,
        tolerance=tolerance.text,
        found_text=f"{spoken(channel)} {amount(a, unit)} at {one.name}",
        expected_text=f"{amount(b, unit)} at half the grid step",
    )


def _durations(evidence: Evidence, coarse: History, fine: History) -> list[PointFinding]:
    """Steps of both runs last equally long within the percentage, or one coarse step; a step that ends by a
    decision may also end one control step (0.5 s) apart, because decisions fall on that grid only."""
    share = evidence.judgement.time_tolerance
    if share is None:
        return []
    label = evidence.point.label
    if [(m.kind, m.name, m.ending) for m in coarse.marks] != [(m.kind, m.name, m.ending) for m in fine.marks]:
        return [withheld(label, "fail", "the steps of the two runs did not end alike")]
    points: list[PointFinding] = []
    for one, other in zip(coarse.marks, fine.marks, strict=True):
        lasted = (one.end - one.row) * coarse.grid.step / TICKS_PER_SECOND
        finer = (other.end - other.row) * fine.grid.step / TICKS_PER_SECOND
        least = CONTROL_TICKS if one.kind in DECIDED else coarse.grid.step
        limit = max(share / 100.0 * finer, least / TICKS_PER_SECOND)
        name = one.name or one.kind
        points.append(
            measured(
                label,
                within(lasted, finer, limit * (1.0 + 1e-9), (), unit="s"),
                found=lasted,
                expected=finer,
                unit="s",
                tolerance=f"{number(share)} % or one step, the less restrictive: {amount(limit, 's')}",
                found_text=f"{name} lasted {amount(lasted, 's')}",
                expected_text=f"{amount(finer, 's')} at half the grid step",
            )
        )
    return points
