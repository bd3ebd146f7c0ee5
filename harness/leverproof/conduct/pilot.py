"""The pilot flies one program: a generator of blocks that does no input or output."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.forecast import forecast
from leverproof.conduct.hand import Hand, RefusedError, Steps
from leverproof.conduct.looks import AskMeans, AskSteady
from leverproof.conduct.model import PlannedStep, Program
from leverproof.conduct.seek import seek
from leverproof.history import (
    AFTER,
    Mark,
    Reading,
    Steadiness,
    steadiness,
    take_reading,
)
from leverproof.timegrid import TICKS_PER_SECOND

TRIM_LIMIT = 180 * TICKS_PER_SECOND
"""Cylinder heads take a minute or more for two thirds of their way: assumption."""
LONGEST_WAIT = 10.0


@dataclass(frozen=True, slots=True)
class PilotResult:
    """What the pilot hands back; ``ending`` and ``trouble`` as in :class:`leverproof.history.History`."""

    marks: tuple[Mark, ...]
    readings: tuple[Reading, ...]
    ending: str = "completed"
    trouble: str = ""


class Cut(Exception):  # noqa: N818 - not an error of the pilot's: the scheduler ends the run from outside
    """Thrown into a pilot to end its run at ``row``; the pilot returns what it has."""

    def __init__(self, ending: str, trouble: str, row: int) -> None:
        super().__init__(ending)
        self.ending = ending
        self.trouble = trouble
        self.row = row


class _InvalidError(Exception):
    """The run cannot go on; the words say why."""


def pilot(program: Program, inputs: tuple[str, ...], outputs: tuple[str, ...]) -> Steps[PilotResult]:
    """Fly a program. Yields legs and is sent what they showed, as :mod:`leverproof.conduct.hand` says; returns a
    :class:`PilotResult`. Ends at once when :class:`Cut` is thrown in."""
    log = _Log()
    try:
        hand = Hand(program, inputs, outputs)
    except RefusedError as stopped:
        return log.result("invalid", str(stopped))
    try:
        trouble = yield from _whole_program(program, hand, log)
    except Cut as cut:
        log.cut(cut.row)
        return log.result(cut.ending, cut.trouble)
    return log.result("invalid" if trouble else "completed", trouble)


def _whole_program(program: Program, hand: Hand, log: _Log) -> Steps[str]:
    """Trim and all steps; returns why the run could not go on, or ""."""
    trouble = ""
    try:
        watched = _Watched(hand, program.watch)
        yield from _trim(hand, watched, log)
        for step in program.steps:
            log.open(step.do, step.name, hand.row)
            yield from _fly(hand, watched, step, log)
            log.close(hand.row)
    except (RefusedError, _InvalidError) as stopped:
        log.close(hand.row)
        trouble = str(stopped)
    yield from hand.look()
    return trouble


class _Log:
    """Marks and readings of a run as it goes; ``said`` are the fields only a seek fills."""

    __slots__ = ("_kind", "_name", "_row", "marks", "readings", "said")

    def __init__(self) -> None:
        self.marks: list[Mark] = []
        self.readings: list[Reading] = []
        self.said: dict[str, Any] = {}
        self._kind, self._name, self._row = "", "", 0

    def open(self, kind: str, name: str, row: int) -> None:
        self._kind, self._name, self._row = kind, name, row
        self.said = {}

    def close(self, row: int) -> None:
        if self._kind:
            self.marks.append(Mark(self._kind, self._row, max(row, self._row), self._name, **self.said))
            self._kind = ""

    def cut(self, row: int) -> None:
        """The run ends at ``row``: steps planned beyond it were not flown."""
        self.close(max(row, self._row))
        begun = [mark for mark in self.marks if mark.row < row or mark.row == 0]
        self.marks = [mark if mark.end <= row else replace(mark, end=row) for mark in begun]

    def result(self, ending: str, trouble: str) -> PilotResult:
        return PilotResult(tuple(self.marks), tuple(self.readings), ending, trouble)


def _trim(hand: Hand, watched: _Watched, log: _Log) -> Steps[None]:
    """Hold the start inputs until the watched channels are steady."""
    log.open("trim", "start", hand.row)
    unsteady = yield from _wait_steady(hand, watched, hand.grid.rows(TRIM_LIMIT))
    log.close(hand.row)
    if unsteady:
        seen = "; ".join(in_words(name, what) for name, what in unsteady.items())
        raise _InvalidError(f"not steady after {hand.grid.seconds(hand.row):g} s of trim: {seen}")


def _fly(hand: Hand, watched: _Watched, step: PlannedStep, log: _Log) -> Steps[None]:
    """One step of the program."""
    match step.do:
        case "set":
            hand.jump(step.levers)
        case "move":
            _move(hand, step)
        case "hold":
            hand.hold(hand.grid.rows(step.duration))
        case "pause":
            yield from hand.pause(step.duration / TICKS_PER_SECOND)
        case "read":
            yield from _read(hand, watched, step, log)
        case "seek":
            yield from _seek(hand, step, log)
        case "couple":
            hand.couple(step.lead)
        case "uncouple":
            hand.lead = None
        case _:
            raise _InvalidError(f"a lever program has no step {step.do!r}")


def _move(hand: Hand, step: PlannedStep) -> None:
    """Ramp; while coupled with a lead in pieces, because a lever that meets its stop must wait there."""
    rows = hand.grid.rows(step.duration)
    throttle = step.levers.get("throttle")
    if not hand.lead or throttle is None:
        hand.ramp(step.levers, rows)
        return
    hand.placed(step.levers)
    origin = {name: hand.value(name) for name in step.levers if name != "boost"}
    pieces = rows // hand.control
    for piece in range(1, pieces + 1):
        share = piece / pieces
        places = {name: at + (step.levers[name] - at) * share for name, at in origin.items()}
        places |= {name: step.levers[name] for name in origin if CHANNELS[name].states}
        hand.ramp(places, hand.control)


def _seek(hand: Hand, step: PlannedStep, log: _Log) -> Steps[None]:
    """A seek and what its ending means for the run."""
    log.said = {"lever": step.lever, "target": step.value, "channel": step.channel}
    end = yield from seek(hand, step)
    log.said |= {"ending": end.ending, "note": end.note}
    if end.ending != "reached" and end.ending not in step.accept:
        unit = CHANNELS[step.channel].unit
        raise _InvalidError(
            f"{step.lever} sought {step.channel} of {step.value:g} {unit} within {step.within:g} {unit} and "
            f"ended with {end.ending!r}: {end.note}"
        )


def _read(hand: Hand, watched: _Watched, step: PlannedStep, log: _Log) -> Steps[None]:
    """Wait for a stabilised point, at most ``limit``, and read it; the reading itself says what was not
    steady."""
    unsteady = yield from _wait_steady(hand, watched, hand.row + hand.grid.rows(step.limit))
    rows = hand.known_rows()
    at = hand.row - hand.grid.rows(AFTER)
    if unsteady or rows < hand.window:
        taken = take_reading(
            hand.history_window(rows),
            hand.columns,
            hand.grid,
            rows - hand.grid.rows(AFTER),
            name=step.name,
            watch=watched.watch if unsteady else {},
            at=at,
        )
    else:
        # What was found steady in this very window need not be asked again.
        values, scatter = yield from hand.look(AskMeans(hand.columns, hand.window))  # type: ignore[misc]
        taken = Reading(step.name, at, values, scatter)  # type: ignore[arg-type]
    log.readings.append(taken)


def _wait_steady(hand: Hand, watched: _Watched, until: int) -> Steps[dict[str, Steadiness]]:
    """Hold until every watched channel the stand has is steady over a window in which no input moved, or
    until the row ``until``. Returns what was not steady."""
    while hand.row < until:
        short = max(1, hand.still_since) + hand.window - hand.row
        if short > 0:
            wait = short
        else:
            times_over: list[float] = yield from hand.look(watched.ask)  # type: ignore[assignment]
            seconds = watched.wait(times_over)
            if not seconds:
                return {}
            wait = math.ceil(seconds * TICKS_PER_SECOND / hand.grid.step)
        whole = -(-wait // hand.control) * hand.control
        hand.hold(min(whole, until - hand.row))
    yield from hand.look()
    return watched.unsteady()


class _Watched:
    """The watched channels that the stand has, with what steady means for each."""

    __slots__ = ("_columns", "_hand", "_names", "_step", "ask", "watch")

    def __init__(self, hand: Hand, watch: dict[str, float]) -> None:
        self.watch = watch
        self._hand = hand
        self._names = [name for name in watch if name in hand.outputs]
        self._columns = [hand.outputs.index(name) for name in self._names]
        self._step = hand.grid.step / TICKS_PER_SECOND
        self.ask = AskSteady(
            np.array(self._columns, np.intp) + len(hand.inputs),
            [CHANNELS[name].band for name in self._names],
            [watch[name] for name in self._names],
            hand.window,
        )

    def wait(self, times_over: list[float]) -> float:
        """0 when all are steady; else seconds after which the one that is most times over should be."""
        over = max(times_over, default=0.0)
        if over <= 1.0:
            return 0.0
        window = self._hand.outputs_window(self._hand.window)
        samples = window[:, self._columns[times_over.index(over)]].tolist()
        seen = forecast(samples, len(samples) // 3, self._step)
        if seen.lag != seen.lag or not math.isfinite(over):
            return 2.0
        return min(LONGEST_WAIT, max(0.5, seen.lag * math.log(over)))

    def unsteady(self) -> dict[str, Steadiness]:
        """The watched channels that are not steady over the last window."""
        window = self._hand.outputs_window(self._hand.known_rows())
        found = {}
        for index, name in enumerate(self._names):
            seen = steadiness(
                window[:, self._columns[index]].astype(np.float64),
                self._step,
                band=self.ask.bands[index],
                remaining_limit=self.ask.limits[index],
            )
            if seen.kind != "steady":
                found[name] = seen
        return found


def in_words(channel: str, seen: Steadiness) -> str:
    """What an unsteady channel did, for people."""
    unit = CHANNELS[channel].unit
    if seen.kind == "oscillating":
        return f"{channel} oscillates by {seen.amplitude:.4g} {unit} either way every {seen.period:.3g} s"
    if seen.kind == "missing":
        return f"{channel} is not finite"
    return f"{channel} drifts: {seen.spread:.4g} {unit} in 5 s, about {seen.remaining:.4g} {unit} still to come"
