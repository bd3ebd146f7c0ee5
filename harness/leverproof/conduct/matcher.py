"""The matcher: finds in a recording what the lever program of a case asks for, and yields the history a driven run
would have left. Alignment is by levers and surroundings only, never by what the model answered."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from leverproof.conduct.matcher_moves import coupled, moved, uncoupled, waited
from leverproof.conduct.matcher_placing import placed
from leverproof.conduct.matcher_readings import nearest_start, never_trimmed, read, starts
from leverproof.conduct.matcher_seek import sought
from leverproof.conduct.matcher_state import Search, State
from leverproof.conduct.matcher_track import Track
from leverproof.conduct.model import ConductedRun, PlannedStep, Program
from leverproof.history import History, Mark
from leverproof.stand.recording import Recording

MOST_LOOKS = 2000
NOT_FLOWN = "not flown: "

Progress = Callable[[float, float], None]


def match(
    programs: Sequence[Program],
    recording: Recording,
    *,
    on_finished: Callable[[ConductedRun], None] | None = None,
    progress: Progress | None = None,
) -> list[ConductedRun]:
    """One run for each program, in the order given. A program that was not flown leaves a history without rows, with
    ending ``not run`` and in words the step that could not be found and the nearest thing seen."""
    tracks = [Track(recording, stretch) for stretch in recording.stretches]
    found = []
    for index, program in enumerate(programs):
        run = ConductedRun(program, find(program, tracks, recording))
        found.append(run)
        if on_finished is not None:
            on_finished(run)
        if progress is not None:
            progress(float(index + 1), float(len(programs)))
    return found


def find(program: Program, tracks: Sequence[Track], recording: Recording) -> History:
    """The first place where the whole program was flown, as a history."""
    searches = []
    for track in tracks:
        search = Search(track, program)
        searches.append(search)
        for start in starts(search):
            end = _explore(search, 0, start)
            if end is not None:
                return _history(track, end)
            if search.looks > MOST_LOOKS:
                break
    for search in searches:
        unsteady = never_trimmed(search) if search.depth == -1 else None
        if unsteady is not None:
            begin, end_row, words = unsteady
            mark = Mark("trim", 0, end_row - begin, "start")
            state = State(begin, end_row, {}, None, (mark,))
            return replace(_history(search.track, state), ending="invalid", trouble=words)
    data = np.empty((0, len(recording.columns)), np.float32)
    words = _why(program, searches)
    return History(recording.grid, recording.columns, data, ending="not run", trouble=NOT_FLOWN + words)


def was_flown(run: ConductedRun) -> bool:
    """Whether the program of a run was found in the recording."""
    return run.history.ending != "not run"


def _explore(search: Search, depth: int, state: State) -> State | None:
    """The end of the program from a state before its step ``depth``: depth first, the first complete way."""
    if depth == len(search.program.steps):
        return state
    search.looks += 1
    if search.looks > MOST_LOOKS:
        return None
    for after in _candidates(search, depth, search.program.steps[depth], state):
        end = _explore(search, depth + 1, after)
        if end is not None:
            return end
    return None


def _candidates(search: Search, depth: int, step: PlannedStep, state: State) -> Iterator[State]:
    match step.do:
        case "set" | "move":
            return moved(search, depth, step, state)
        case "hold":
            return waited(search, depth, step, state)
        case "read":
            return read(search, depth, step, state)
        case "seek":
            return sought(search, depth, step, state)
        case "couple":
            return coupled(search, depth, step, state)
        case "uncouple":
            return uncoupled(search, step, state)
    raise ValueError(f"a lever program has no step {step.do!r}")


def _history(track: Track, state: State) -> History:
    """The flown rows, the last one being the end of the program. Where the model gave no number the run is invalid, as
    it is when driven."""
    data = np.array(track.rows()[state.begin : state.row + 1])
    span = state.begin, state.row + 1
    pairs = zip(state.readings, state.offsets, strict=True)
    readings = tuple(placed(track, reading, off, *span) for reading, off in pairs)
    history = History(track.grid, track.columns, data, state.marks, readings)
    lost = np.argwhere(~np.isfinite(data))
    if not lost.size:
        return history
    row, column = (int(index) for index in lost[0])
    words = f"{track.columns[column]} is not a finite number at {track.time(state.begin + row):.1f} s"
    return replace(history, ending="invalid", trouble=words)


def _why(program: Program, searches: Sequence[Search]) -> str:
    """The step that was missing furthest into the program, and the nearest thing seen."""
    best = max(searches, key=lambda s: s.depth)
    if best.depth >= 0:
        step = program.steps[best.depth]
        return f"step {best.depth + 1} of {len(program.steps)} ({_called(step)}) could not be found: {best.words}"
    if best.depth == -1:
        return f"the start could not be found: {best.words}"
    _, words = min((nearest_start(s.track, program) for s in searches), key=lambda found: found[0])
    return f"the start could not be found: {words}"


def _called(step: PlannedStep) -> str:
    name = f" {step.name!r}" if step.name else ""
    if step.do == "seek":
        return f"seek{name}, {step.lever} until {step.channel} is {step.value:.4g}"
    if step.levers:
        return f"{step.do}{name}, {', '.join(f'{n} to {v:.4g}' for n, v in step.levers.items())}"
    return f"{step.do}{name}"
