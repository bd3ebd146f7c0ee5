"""The pilot flies one program: a generator of blocks that does no input or output."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from leverproof.channels import CHANNELS
from leverproof.conduct.forecast import forecast
from leverproof.conduct.hand import Hand, RefusedError, Steps
from leverproof.conduct.model import PlannedStep, Program
from leverproof.conduct.seek import seek
from leverproof.history import AFTER, Mark, Reading, Steadiness, steadiness, take_reading
from leverproof.timegrid import TICKS_PER_SECOND

TRIM_LIMIT = 60 * TICKS_PER_SECOND
LONGEST_WAIT = 5.0


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
        yield from _trim(hand, program, log)
        for step in program.steps:
            log.open(step.do, step.name, hand.row)
            yield from _fly(hand, program, step, log)
            log.close(hand.row)
    except (RefusedError, _InvalidError) as stopped:
        log.close(hand.row if log.marks else 0)
        return log.result("invalid", str(stopped))
    except Cut as cut:
        log.close(cut.row)
        return log.result(cut.ending, cut.trouble)
    return log.result("completed", "")


class _Log:
    """Marks and readings of a run as it goes."""

    __slots__ = ("marks", "opened", "readings")

    def __init__(self) -> None:
        self.marks: list[Mark] = []
        self.readings: list[Reading] = []
        self.opened = False

    def open(self, kind: str, name: str, row: int) -> None:
        self.marks.append(Mark(kind, row, row, name))
        self.opened = True

    def close(self, row: int) -> None:
        if self.opened:
            self.marks[-1] = replace(self.marks[-1], end=max(row, self.marks[-1].row))
            self.opened = False

    def result(self, ending: str, trouble: str) -> PilotResult:
        return PilotResult(tuple(self.marks), tuple(self.readings), ending, trouble)


def _trim(hand: Hand, program: Program, log: _Log) -> Steps[None]:
    """Hold the start inputs until the watched channels are steady."""
    log.open("trim", "start", hand.row)
    unsteady = yield from _wait_steady(hand, program.watch, hand.grid.rows(TRIM_LIMIT))
    log.close(hand.row)
    if unsteady:
        seen = "; ".join(in_words(name, what) for name, what in unsteady.items())
        raise _InvalidError(f"not steady after {hand.grid.seconds(hand.row):g} s of trim: {seen}")


def _fly(hand: Hand, program: Program, step: PlannedStep, log: _Log) -> Steps[None]:
    """One step of the program."""
    match step.do:
        case "set":
            hand.jump(step.levers)
        case "move":
            yield from _move(hand, step)
        case "hold":
            yield from hand.hold(hand.grid.rows(step.duration))
        case "read":
            yield from _read(hand, program, step, log)
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
    log.marks[-1] = replace(log.marks[-1], lever=step.lever, target=step.value, channel=step.channel)
    end = yield from seek(hand, step)
    log.marks[-1] = replace(log.marks[-1], ending=end.ending, note=end.note)
    if end.ending != "reached" and end.ending not in step.accept:
        unit = CHANNELS[step.channel].unit
        raise _InvalidError(
            f"{step.lever} sought {step.channel} of {step.value:g} {unit} within {step.within:g} {unit} and "
            f"ended with {end.ending!r}: {end.note}"
        )


def _read(hand: Hand, program: Program, step: PlannedStep, log: _Log) -> Steps[None]:
    """Wait for a stabilised point, at most ``limit``, and read it; the reading itself says what was not
    steady."""
    yield from _wait_steady(hand, program.watch, hand.row + hand.grid.rows(step.limit))
    rows = hand.known_rows()
    taken = take_reading(
        hand.history_window(rows),
        hand.inputs + hand.outputs,
        hand.grid,
        rows - hand.grid.rows(AFTER),
        name=step.name,
        watch=program.watch,
    )
    log.readings.append(replace(taken, row=hand.row - hand.grid.rows(AFTER)))


def _wait_steady(hand: Hand, watch: Mapping[str, float], until: int) -> Steps[dict[str, Steadiness]]:
    """Hold until every watched channel the stand has is steady over a window in which no input moved, or
    until the row ``until``. Returns what was not steady."""
    columns = {name: hand.outputs.index(name) for name in watch if name in hand.outputs}
    while True:
        since = max(1, hand.still_since)
        short = max(0, since + hand.window - hand.row)
        if short or hand.known_rows() < hand.window:
            whole = -(-max(1, short) // hand.control) * hand.control
            if hand.row >= until:
                return _unsteady(hand, columns, watch)
            yield from hand.hold(min(whole, until - hand.row))
            continue
        wait = _rough_wait(hand, columns)
        if not wait or hand.row >= until:
            unsteady = _unsteady(hand, columns, watch)
            if not unsteady or hand.row >= until:
                return unsteady
            wait = 1.0
        steps = max(1, math.ceil(wait * TICKS_PER_SECOND / (hand.control * hand.grid.step)))
        yield from hand.hold(min(steps * hand.control, until - hand.row))


def _rough_wait(hand: Hand, columns: Mapping[str, int]) -> float:
    """0 when every spread is inside its band; else seconds after which the widest one should be."""
    if not columns:
        return 0.0
    window = hand.outputs_window(hand.window)[:, list(columns.values())]
    spreads = (window.max(axis=0) - window.min(axis=0)).tolist()
    wait = 0.0
    for index, (name, spread) in enumerate(zip(columns, spreads, strict=True)):
        band = CHANNELS[name].band
        if spread <= band:
            continue
        seen = forecast(window[:, index].tolist(), hand.window // 3, hand.grid.step / TICKS_PER_SECOND)
        needed = seen.lag * math.log(spread / band) if seen.lag == seen.lag and band else 2.0
        wait = max(wait, min(LONGEST_WAIT, needed, 1e3) if math.isfinite(needed) else LONGEST_WAIT)
    return wait


def _unsteady(hand: Hand, columns: Mapping[str, int], watch: Mapping[str, float]) -> dict[str, Steadiness]:
    """The watched channels that are not steady over the last window."""
    window = hand.outputs_window(min(hand.window, hand.known_rows())).astype(float)
    step = hand.grid.step / TICKS_PER_SECOND
    found = {}
    for name, column in columns.items():
        seen = steadiness(window[:, column], step, band=CHANNELS[name].band, remaining_limit=watch[name])
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
