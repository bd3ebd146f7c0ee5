"""Finding a seek that a person flew: the lever moved until the channel stood where it was wanted, or could go no
further. Which rows belong to it is decided by the levers; the channel says only how it ended."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.conduct.matcher_state import Search, State
from leverproof.conduct.matcher_tolerances import AT_LIMIT, AT_STOP, LEVER, REST_TIME, SETTLED_TIME, of_seek
from leverproof.conduct.matcher_track import Track, runs
from leverproof.conduct.model import PlannedStep
from leverproof.history import Samples


@dataclass(frozen=True)
class _Rest:
    """The lever at rest in rows [first, last), at ``place``; the channel over them."""

    first: int
    last: int
    place: float
    channel: Samples


def sought(search: Search, depth: int, step: PlannedStep, state: State) -> Iterator[State]:
    """Every way in which the seek may have ended, the best first: reached, at a guarded limit, at the lever's stop,
    short of it where the case takes that too."""
    track = search.track
    free = {step.lever, "boost"} if step.lever == "throttle" and state.lead is not None else {step.lever}
    others = {n: at for n, at in state.places.items() if n not in free}
    horizon, left = track.leaves(others, state.row, state.lead)
    rests = list(_rests(track, step, state, min(horizon, track.last)))
    allowed = of_seek(step.channel, step.within, track.resolution.get(step.channel, 0.0))
    found = 0
    for ended in (_reached, _at_limit, _at_stop, _short):
        for state_after in ended(track, step, state, rests, allowed):
            found += 1
            yield state_after
    if not found:
        search.miss(depth, _seen(track, step, rests, allowed, left, horizon))


def _rests(track: Track, step: PlannedStep, state: State, horizon: int) -> Iterator[_Rest]:
    still = track.still(step.lever)[:horizon]
    if state.lead is not None and step.lever == "throttle":
        still = still & track.coupled(state.lead)[:horizon]
    settled = track.grid.rows(SETTLED_TIME)
    # A lever that need not be moved has been where it should be since before this step.
    earliest = max(state.begin, state.moved, state.row - settled)
    for first, last in runs(still, earliest, horizon):
        begin = max(earliest, first - track.grid.rows(REST_TIME))
        if last - begin >= settled and last > state.row:
            place = float(np.median(track.column(step.lever)[first:last]))
            yield _Rest(begin, last, place, track.column(step.channel)[begin:last])


def _after(track: Track, step: PlannedStep, state: State, end: int, rest: _Rest, ending: str, note: str) -> State:
    places = {step.lever: rest.place}
    if step.lever == "throttle" and state.lead is not None:
        places["boost"] = float(np.median(track.column("boost")[rest.first : rest.last]))
    return state.after(
        "seek",
        state.row,
        end,
        name=step.name,
        places=places,
        lever=step.lever,
        ending=ending,
        target=step.value,
        channel=step.channel,
        note=note,
    )


def _reached(track: Track, step: PlannedStep, state: State, rests: list[_Rest], allowed: float) -> Iterator[State]:
    settled = track.grid.rows(SETTLED_TIME)
    for rest in rests:
        near = np.abs(rest.channel - step.value) <= allowed
        for first, last in runs(near, 0, near.size):
            if last - first >= settled:
                note = f"flown by hand to within {allowed:g} {CHANNELS[step.channel].unit}"
                end = max(state.row, rest.first + first + settled)
                yield _after(track, step, state, end, rest, "reached", note)
                break


def _at_limit(track: Track, step: PlannedStep, state: State, rests: list[_Rest], allowed: float) -> Iterator[State]:
    settled = track.grid.rows(SETTLED_TIME)
    for name, limit in step.guard.items():
        if name not in track.outputs or f"{name} limit" not in step.accept:
            continue
        floor = limit * (1.0 - AT_LIMIT) - track.resolution.get(name, 0.0)
        for rest in rests:
            high = track.column(name)[rest.first : rest.last] >= floor
            first = next((a for a, b in runs(high, 0, high.size) if b - a >= settled), None)
            if first is not None:
                note = f"{name} stood at its limit of {limit:g} {CHANNELS[name].unit}"
                yield _after(track, step, state, rest.first + first + settled, rest, f"{name} limit", note)


def _at_stop(track: Track, step: PlannedStep, state: State, rests: list[_Rest], allowed: float) -> Iterator[State]:
    if "stop" not in step.accept:
        return
    for rest in rests:
        went = rest.place - state.places[step.lever]
        at_end = rest.place >= 1.0 - AT_STOP if went > LEVER else rest.place <= AT_STOP and went < -LEVER
        settled = track.grid.rows(SETTLED_TIME)
        if at_end and (quiet := _quiet(track, step, rest, settled)) is not None:
            stop = "full" if went > 0.0 else "closed"
            value = float(rest.channel[quiet - 1])
            note = f"{step.lever} {stop}, {step.channel} {value:.4g} {CHANNELS[step.channel].unit}"
            yield _after(track, step, state, rest.first + quiet, rest, "stop", note)


def _quiet(track: Track, step: PlannedStep, rest: _Rest, settled: int) -> int | None:
    """Rows after the beginning of a rest at which the channel has stayed within twice its band for 2 s."""
    allowed = 2.0 * CHANNELS[step.channel].band + track.resolution.get(step.channel, 0.0)
    every = max(1, settled // 4)
    for end in range(settled, rest.channel.size + 1, every):
        if float(np.ptp(rest.channel[end - settled : end])) <= allowed:
            return end
    return None


def _short(track: Track, step: PlannedStep, state: State, rests: list[_Rest], allowed: float) -> Iterator[State]:
    """At rest after the channel went towards its target, where the case takes a seek that was not reached."""
    if "not reached" not in step.accept:
        return
    origin = float(track.column(step.channel)[state.row])
    band = CHANNELS[step.channel].band + track.resolution.get(step.channel, 0.0)
    for rest in rests:
        settled = track.grid.rows(SETTLED_TIME)
        nearer = abs(origin - step.value) - abs(float(rest.channel[-1]) - step.value)
        if nearer > band and rest.channel.size >= settled and rest.first > state.row:
            note = f"{step.channel} came to {float(rest.channel[-1]):.4g} {CHANNELS[step.channel].unit}"
            yield _after(track, step, state, rest.first + settled, rest, "not reached", note)


def _seen(track: Track, step: PlannedStep, rests: list[_Rest], allowed: float, left: str, horizon: int) -> str:
    unit = CHANNELS[step.channel].unit
    wanted = f"{step.channel} within {allowed:g} {unit} of {step.value:.4g} {unit}"
    until = f" before {left} was moved at {track.time(horizon):.1f} s" if left else ""
    if not rests:
        return f"{step.lever} was not at rest for 2 s{until}"
    best = min(rests, key=lambda r: float(np.abs(r.channel - step.value).min()))
    row = int(np.abs(best.channel - step.value).argmin())
    at = track.time(best.first + row)
    return f"{wanted} for 2 s was not seen{until}; the nearest was {best.channel[row]:.4g} {unit} at {at:.1f} s"
