"""Finding the steps in which a person moves a lever at will or leaves all alone: set, move, hold, couple."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.hand import held
from leverproof.conduct.matcher_state import Search, State
from leverproof.conduct.matcher_tolerances import LEVER, QUICK, QUICK_ALLOWANCE, REST_TIME, of_input
from leverproof.conduct.matcher_track import Track, runs
from leverproof.conduct.model import PlannedStep

MOST_ARRIVALS = 5


def moved(search: Search, depth: int, step: PlannedStep, state: State) -> Iterator[State]:
    """Levers taken from where they are to where the step wants them, each in one direction."""
    track = search.track
    target = _target(step, state)
    changed = [n for n, to in target.items() if abs(to - state.places[n]) > of_input(n, to)]
    if not changed:
        if step.do == "move":
            yield from _waited(search, depth, step, replace(state, places=state.places | target))
        else:
            yield state.after(step.do, state.row, state.row, name=step.name, places=target)
        return
    others = {n: at for n, at in state.places.items() if n not in changed}
    horizon, left = track.leaves(others, state.row, state.lead)
    begin = _departure(track, changed, state, horizon)
    if begin is None:
        still = f"{_all(changed)} stood still from {track.time(state.row):.1f} s on"
        search.miss(depth, f"{left} was moved first, at {track.time(horizon):.1f} s" if left else still)
        return
    there = np.ones(horizon, dtype=np.bool_)
    for name in changed:
        there &= track.near(name, target[name])[:horizon]
    if state.lead is not None and "boost" in state.places:
        there &= track.coupled(state.lead)[:horizon]
    tried = 0
    for first, last in runs(there, begin, horizon):
        end = _arrival(track, changed, first, last)
        why = _not_as_asked(track, step, changed, begin, end)
        if why:
            search.miss(depth, why)
            break
        after = state.after(step.do, begin, end, name=step.name, places=target, note=_took(track, begin, end))
        yield replace(after, moved=end)
        tried += 1
        if tried == MOST_ARRIVALS:
            return
    if not tried:
        what = f"; {left} was moved at {track.time(horizon):.1f} s" if left else ""
        search.miss(depth, f"{_nearest(track, changed, target, begin, horizon)}{what}")


def _target(step: PlannedStep, state: State) -> dict[str, float]:
    target = {n: held(n, to) for n, to in step.levers.items() if n in state.places}
    if state.lead is not None and "throttle" in target and "boost" in state.places:
        target["boost"] = held("boost", target["throttle"] + state.lead)
    return target


def _departure(track: Track, changed: list[str], state: State, horizon: int) -> int | None:
    """The row at which the first of the levers begins to move: the last one at which all of them still rest."""
    left, _ = track.leaves({n: state.places[n] for n in changed}, state.row, None)
    if left >= horizon:
        return None
    if all(CHANNELS[name].states for name in changed):
        return left
    resting = np.ones(left + 1 - state.row, dtype=np.bool_)
    for name in changed:
        resting &= track.still(name)[state.row : left + 1]
        if CHANNELS[name].kind != "lever":
            resting &= track.near(name, state.places[name])[state.row : left + 1]
    found = np.flatnonzero(resting)
    return state.row + int(found[-1]) if found.size else left


def _arrival(track: Track, changed: list[str], first: int, last: int) -> int:
    """The row of [first, last) at which the levers have come to rest, or ``first`` when they do not rest there."""
    still = np.ones(last - first, dtype=np.bool_)
    for name in changed:
        still &= track.still(name)[first:last]
    rested = np.flatnonzero(still)
    return max(first, first + int(rested[0]) - track.grid.rows(REST_TIME)) if rested.size else first


def _not_as_asked(track: Track, step: PlannedStep, changed: list[str], begin: int, end: int) -> str:
    """Why what was flown in [begin, end] is not the step, or ""."""
    if 0 < step.duration <= QUICK and step.do == "move":
        most = track.grid.rows(step.duration + QUICK_ALLOWANCE)
        if end - begin > most:
            took, allowed = track.grid.seconds(end - begin), track.grid.seconds(most)
            return f"{_all(changed)} took {took:.1f} s at {track.time(begin):.1f} s, at most {allowed:g} s"
    for name in changed:
        path = track.column(name)[begin : end + 1]
        way = path * (1.0 if path[-1] >= path[0] else -1.0)
        if float((np.maximum.accumulate(way) - way).max()) > of_input(name, math.nan):
            return f"{name} went back and forth after {track.time(begin):.1f} s"
    return ""


def _took(track: Track, begin: int, end: int) -> str:
    return f"flown from {track.time(begin):.1f} s to {track.time(end):.1f} s of the recording"


def _nearest(track: Track, changed: list[str], target: dict[str, float], begin: int, end: int) -> str:
    words = []
    for name in changed:
        part = track.column(name)[begin:end]
        row = int(np.abs(part - target[name]).argmin())
        words.append(f"{name} came to {part[row]:.4g}, not to {target[name]:.4g}, at {track.time(begin + row):.1f} s")
    return ", ".join(words)


def _all(names: list[str]) -> str:
    return " and ".join(names)


def waited(search: Search, depth: int, step: PlannedStep, state: State) -> Iterator[State]:
    """Everything left where it is for at least as long as asked."""
    yield from _waited(search, depth, step, state)


def _waited(search: Search, depth: int, step: PlannedStep, state: State) -> Iterator[State]:
    track = search.track
    end = state.row + track.grid.rows(step.duration)
    off, which = track.leaves(state.places, state.row, state.lead)
    if end >= min(off, track.last + 1):
        kept = track.grid.seconds(min(off, track.last) - state.row)
        why = f"{which} moved" if which else "the stretch ended"
        search.miss(depth, f"held for {kept:.1f} s from {track.time(state.row):.1f} s on, then {why}")
        return
    yield state.after(step.do, state.row, end, name=step.name)


def coupled(search: Search, depth: int, step: PlannedStep, state: State) -> Iterator[State]:
    """Throttle and boost side by side."""
    track = search.track
    apart = track.column("boost")[state.row] - track.column("throttle")[state.row] - step.lead
    if abs(apart) > LEVER:
        search.miss(depth, f"throttle and boost are {abs(apart):.2f} apart at {track.time(state.row):.1f} s")
        return
    yield replace(state.after(step.do, state.row, state.row, name=step.name), lead=step.lead)


def uncoupled(search: Search, step: PlannedStep, state: State) -> Iterator[State]:
    """From now on boost stays where it is."""
    boost = {"boost": float(search.track.column("boost")[state.row])}
    yield replace(state.after(step.do, state.row, state.row, name=step.name, places=boost), lead=None)
