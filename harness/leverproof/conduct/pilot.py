"""The pilot flies one program: a generator of blocks that does no input or output."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.forecast import forecast
from leverproof.conduct.hand import Hand, RefusedError, Steps
from leverproof.conduct.model import PlannedStep, Program
from leverproof.conduct.seek import seek
from leverproof.history import (
    AFTER,
    Mark,
    Reading,
    Samples,
    Steadiness,
    drift,
    steadiness,
    take_reading,
    unsteadiness,
)
from leverproof.timegrid import TICKS_PER_SECOND

TRIM_LIMIT = 60 * TICKS_PER_SECOND
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
    """Fly a program. Yields blocks, is sent each block's output rows, shape (rows, outputs), float32; returns
    a :class:`PilotResult`. Ends at once when :class:`Cut` is thrown in."""
    log = _Log()
    try:
        hand = Hand(program, inputs, outputs)
    except RefusedError as stopped:
        return log.result("invalid", str(stopped))
    try:
        watched = _Watched(hand, program.watch)
        yield from _trim(hand, watched, log)
        for step in program.steps:
            log.open(step.do, step.name, hand.row)
            yield from _fly(hand, watched, step, log)
            log.close(hand.row)
    except (RefusedError, _InvalidError) as stopped:
        log.close(hand.row)
        return log.result("invalid", str(stopped))
    except Cut as cut:
        log.close(cut.row)
        return log.result(cut.ending, cut.trouble)
    return log.result("completed", "")


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
            yield from _move(hand, step)
        case "hold":
            yield from hand.hold(hand.grid.rows(step.duration))
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


def _move(hand: Hand, step: PlannedStep) -> Steps[None]:
    """Ramp; while coupled with a lead in pieces, because a lever that meets its stop must wait there."""
    rows = hand.grid.rows(step.duration)
    throttle = step.levers.get("throttle")
    if not hand.lead or throttle is None:
        yield from hand.ramp(step.levers, rows)
        return
    hand.placed(step.levers)
    origin = {name: hand.value(name) for name in step.levers if name != "boost"}
    pieces = rows // hand.control
    for piece in range(1, pieces + 1):
        share = piece / pieces
        places = {name: at + (step.levers[name] - at) * share for name, at in origin.items()}
        places |= {name: step.levers[name] for name in origin if CHANNELS[name].states}
        yield from hand.ramp(places, hand.control)


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
    taken = take_reading(
        hand.history_window(rows),
        hand.inputs + hand.outputs,
        hand.grid,
        rows - hand.grid.rows(AFTER),
        name=step.name,
        # What was found steady in this very window need not be asked again.
        watch=watched.watch if unsteady else {},
        at=hand.row - hand.grid.rows(AFTER),
    )
    log.readings.append(taken)


def _wait_steady(hand: Hand, watched: _Watched, until: int) -> Steps[dict[str, Steadiness]]:
    """Hold until every watched channel the stand has is steady over a window in which no input moved, or
    until the row ``until``. Returns what was not steady."""
    while hand.row < until:
        short = max(1, hand.still_since) + hand.window - hand.row
        if short > 0:
            wait = short
        else:
            seconds = watched.wait()
            if not seconds:
                return {}
            wait = math.ceil(seconds * TICKS_PER_SECOND / hand.grid.step)
        whole = -(-wait // hand.control) * hand.control
        yield from hand.hold(min(whole, until - hand.row))
    return watched.unsteady()


class _Watched:
    """The watched channels that the stand has, with what steady means for each."""

    __slots__ = ("_bands", "_columns", "_hand", "_limits", "_names", "_step", "_take", "_widest", "watch")

    def __init__(self, hand: Hand, watch: dict[str, float]) -> None:
        self.watch = watch
        self._hand = hand
        self._names = [name for name in watch if name in hand.outputs]
        self._columns = [hand.outputs.index(name) for name in self._names]
        self._take = np.array(self._columns, np.intp)
        self._bands = [CHANNELS[name].band for name in self._names]
        self._limits = [watch[name] for name in self._names]
        self._step = hand.grid.step / TICKS_PER_SECOND
        self._widest = -1

    def _window(self) -> Samples:
        """The last window of the watched channels, shape (channels, rows), contiguous."""
        rows = self._hand.outputs_window(self._hand.known_rows())
        return np.ascontiguousarray(rows.T.take(self._take, axis=0), dtype=np.float64)

    def wait(self) -> float:
        """0 when all are steady; else seconds after which the widest should be. The channel that was widest before
        is looked at first: while it is not steady the others need no looking at."""
        if not self._columns:
            return 0.0
        if self._widest >= 0:
            samples = self._hand.tail(self._columns[self._widest], self._hand.known_rows() + 1)[:-1]
            over = drift(samples, self._bands[self._widest], self._limits[self._widest])
            if over > 1.0:
                return self._until_steady(samples, over)
        window = self._window()
        times_over = unsteadiness(window, self._bands, self._limits)
        over = max(times_over)
        if over <= 1.0:
            return 0.0
        self._widest = times_over.index(over)
        return self._until_steady(window[self._widest].tolist(), over)

    def _until_steady(self, samples: list[float], over: float) -> float:
        """Seconds after which a channel ``over`` times beyond being steady should be steady."""
        seen = forecast(samples, len(samples) // 3, self._step)
        if seen.lag != seen.lag or not math.isfinite(over):
            return 2.0
        return min(LONGEST_WAIT, max(0.5, seen.lag * math.log(over)))

    def unsteady(self) -> dict[str, Steadiness]:
        """The watched channels that are not steady over the last window."""
        window = self._window()
        found = {}
        for index, name in enumerate(self._names):
            seen = steadiness(
                window[index],
                self._step,
                band=self._bands[index],
                remaining_limit=self._limits[index],
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
    return (
        f"{channel} drifts: {seen.spread:.4g} {unit} in 5 s, about {seen.remaining:.4g} {unit} still to come"
    )
