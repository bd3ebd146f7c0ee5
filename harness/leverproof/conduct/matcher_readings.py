"""Finding where a program may begin, and the readings: the first steady window after a step."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from leverproof.channels import CHANNELS, state_index
from leverproof.conduct.matcher_placing import offsets
from leverproof.conduct.matcher_state import Search, State
from leverproof.conduct.matcher_tolerances import RUNNING, STOPPED, of_input
from leverproof.conduct.matcher_track import WINDOW, Mask, Track, runs
from leverproof.conduct.model import PlannedStep, Program
from leverproof.conduct.pilot import in_words
from leverproof.history import AFTER, Mark, Reading, Steadiness, take_reading
from leverproof.timegrid import CONTROL_TICKS, TICKS_PER_SECOND

BEFORE_START = 2 * WINDOW
SEARCHED = 60 * TICKS_PER_SECOND


def read(search: Search, depth: int, step: PlannedStep, state: State) -> Iterator[State]:
    """The first steady window that ends at or after this step, levers untouched. A window that is not steady is read
    all the same where the levers were left alone for as long as the step waits, or where the model gave no number or
    oscillates: that is the model's doing, and judging says so."""
    track = search.track
    off, which = track.leaves(state.places, state.row, state.lead)
    off = min(off, track.last)
    first = max(state.row, max(state.begin, state.moved) + track.window)
    seen: dict[str, Steadiness] = {}
    waited, end = 0, 0
    for end in _ends(track, first, off):
        if not track.hands_off(end):
            waited = 0
            continue
        seen = track.unsteady(search.program.watch, end)
        if not seen or waited >= track.grid.rows(step.limit):
            yield _taken(track, step, state, end, seen)
            return
        waited += track.grid.rows(CONTROL_TICKS)
    if any(what.kind in ("oscillating", "missing") for what in seen.values()):
        yield _taken(track, step, state, end, seen)
        return
    why = "; ".join(in_words(name, what) for name, what in seen.items()) or "levers were not left alone for 5 s"
    until = f"{which} was moved" if which else "the stretch ended"
    search.miss(depth, f"not steady before {until} at {track.time(off):.1f} s: {why}")


def _ends(track: Track, first: int, last: int) -> Iterator[int]:
    """Rows on which a window may end, every 0.5 s, and the last of all."""
    every = track.grid.rows(CONTROL_TICKS)
    yield from range(first, last + 1, every)
    if last > first and (last - first) % every:
        yield last


def _taken(track: Track, step: PlannedStep, state: State, end: int, seen: dict[str, Steadiness]) -> State:
    row = end - track.grid.rows(AFTER)
    taken = take_reading(track.rows(), track.columns, track.grid, row, name=step.name, watch={})
    kept = replace(taken, row=row - state.begin, unsteady=seen, gauge=dict(track.resolution))
    after = state.after("read", state.row, end, name=step.name)
    readings: tuple[Reading, ...] = (*after.readings, kept)
    beside = offsets(track, state.places, end - track.window, end)
    return replace(after, readings=readings, offsets=(*after.offsets, beside))


def starts(search: Search) -> Iterator[State]:
    """Every place where all inputs are held where the program begins until the watched channels are steady."""
    track, program = search.track, search.program
    held = list(runs(_at_start(track, program), 0, track.last))
    if held and all(last - first < track.window for first, last in held):
        first, last = max(held, key=lambda run: run[1] - run[0])
        took = track.grid.seconds(last - first)
        search.miss(-1, f"it was held for only {took:.1f} s at {track.time(first):.1f} s")
    for first, last in held:
        if last - first < track.window:
            continue
        why = _engine_is_not(track, program, first)
        if why:
            search.miss(-1, f"{why} at {track.time(first):.1f} s")
            continue
        yield from _trimmed(search, first, last)


def _at_start(track: Track, program: Program) -> Mask:
    """Rows at which every input is where the program begins."""
    found = np.ones(track.last + 1, dtype=np.bool_)
    for name, place in program.start.items():
        found &= track.near(name, place)
    return found


def _trimmed(search: Search, first: int, last: int) -> Iterator[State]:
    track = search.track
    seen: dict[str, Steadiness] = {}
    for end in _ends(track, first + track.window, last):
        if track.hands_off(end):
            seen = track.unsteady(search.program.watch, end)
            if not seen:
                yield _begun(search, first, end)
                return
    why = "; ".join(in_words(name, what) for name, what in seen.items()) or "the levers were not left alone"
    search.miss(-1, f"held from {track.time(first):.1f} s to {track.time(last):.1f} s and not steady: {why}")


def _begun(search: Search, first: int, end: int) -> State:
    track = search.track
    begin = max(first, end - track.grid.rows(BEFORE_START))
    mark = Mark("trim", 0, end - begin, "start")
    return State(begin, end, dict(search.program.start), None, (mark,))


def never_trimmed(search: Search) -> tuple[int, int, str] | None:
    """Rows and words of a start held for as long as any engine is given to become steady, that never did."""
    track, program = search.track, search.program
    limit = track.grid.rows(SEARCHED)
    for first, last in runs(_at_start(track, program), 0, track.last):
        if last - first < limit or _engine_is_not(track, program, first):
            continue
        ends = [end for end in _ends(track, first + track.window, last) if track.hands_off(end)]
        seen = [track.unsteady(program.watch, end) for end in ends]
        if seen and all(seen):
            words = "; ".join(in_words(name, what) for name, what in seen[-1].items())
            return first, last, f"not steady after {track.grid.seconds(last - first):.0f} s of trim: {words}"
    return None


def _engine_is_not(track: Track, program: Program, row: int) -> str:
    """Why the engine is not as the program wants it at a row, or "". An engine runs when it has turned since its
    mixture was last cut off: one that then dies by itself is the model's doing and belongs to the case."""
    if "engine_speed" not in track.outputs:
        return "" if program.engine == "running" else "nothing tells whether the engine was stopped"
    speed = track.column("engine_speed")
    if program.engine == "stopped":
        turning = speed[row] > STOPPED
        return f"the engine turned at {speed[row]:.0f} rpm and was not stopped" if turning else ""
    since = 0
    if "mixture" in track.inputs:
        off = np.flatnonzero(track.column("mixture")[: row + 1] == state_index("mixture", "cut_off"))
        # A program may itself begin with the mixture cut off; then the engine must have run before.
        since = int(off[-1]) + 1 if off.size and off[-1] < row else 0
    ran = bool((speed[since : row + track.window] > RUNNING).any())
    return "" if ran else "the engine had not been started"


def nearest_start(track: Track, program: Program) -> tuple[float, str]:
    """How many times over the nearest row of a stretch misses the start, and in what, in words."""
    every = slice(None, None, track.grid.rows(CONTROL_TICKS))
    names = [n for n in program.start if n in track.inputs]
    off = np.stack(
        [np.abs(track.column(n)[every] - program.start[n]) / max(of_input(n, program.start[n]), 1e-9) for n in names]
    )
    worst = np.minimum(off, 1e6).max(axis=0)
    best = int(worst.argmin())
    row = best * track.grid.rows(CONTROL_TICKS)
    far = [n for i, n in enumerate(names) if off[i, best] > 1.0]
    words = ", ".join(f"{n} {spoken(n, track.column(n)[row])} for {spoken(n, program.start[n])}" for n in far)
    return float(worst[best]), f"nearest at {track.time(row):.1f} s: {words or 'all at the start'}"


def spoken(name: str, value: float) -> str:
    """A number of a channel in words."""
    ours = CHANNELS[name]
    if ours.states:
        index = int(value) if value == value and 0 <= value < len(ours.states) else -1
        return ours.states[index] if index >= 0 else "nothing"
    return f"{value:,.4g}{'' if ours.unit == '1' else ' ' + ours.unit}"
