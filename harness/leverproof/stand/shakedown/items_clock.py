"""Items about a model that runs on its own clock: the clock, its stamps, its answers, and how sure an instant is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.stand.own_clock import JUMP, SLOWEST
from leverproof.stand.port import Array, Start
from leverproof.stand.shakedown.bench import Bench
from leverproof.stand.shakedown.model import Outcome, failed, not_applicable, passed
from leverproof.stand.shakedown.programs import Program, cruise, ramped

_WATCHED = 20.0
_POLL_EVERY = 0.05
_LONGEST_PAUSE = 0.05
_MOVED_EVERY = 2.0
_RATE_OFF = 0.25
"""Seconds of the model's time a clock is watched and between two polls; seconds of ours between two at most; seconds
of the model's from move to move; a rate further from the declared one than a quarter is another (harness choices)."""


@dataclass(frozen=True, slots=True)
class Looks:
    """Polls one after the other: ``walls`` by our clock and ``stamps`` (s), ``rows`` the outputs, shape (polls,
    outputs), in the model's units; ``told`` whether something was told just before each; ``stood`` how long the clock
    stood still at the end, when it did."""

    walls: Array
    stamps: Array
    rows: Array
    told: NDArray[np.bool_]
    stood: float = 0.0

    def rate(self) -> float:
        """Seconds of the model's clock in one of ours, by the middle one of many stretches: a jump moves it little."""
        cuts = np.unique(np.linspace(0, self.walls.size - 1, 21).astype(int))
        walls, stamps = np.diff(self.walls[cuts]), np.diff(self.stamps[cuts])
        good = walls > 0.0
        return float(np.median(stamps[good] / walls[good])) if good.any() else 0.0


def _look(bench: Bench, seconds: float, places: Sequence[Mapping[str, float]] = ()) -> Looks:
    """Polls until the stamps have gone forward by ``seconds`` in all, or stood still for the request deadline; tells
    one of ``places`` after the other every 2 s."""
    model, patience = bench.free_running.model, bench.mounted.stand.deadlines.request
    names = [signal.name for signal in bench.mounted.hello.outputs]
    walls: list[float] = []
    stamps: list[float] = []
    rows: list[list[float]] = []
    told: list[bool] = []
    moves, mark = 0, 0.0
    gone, moved, rate = 0.0, bench.clock(), bench.mounted.capabilities.rate or 1.0
    while gone < seconds:
        told.append(bool(places) and gone >= _MOVED_EVERY * moves)
        if told[-1]:
            model.tell(places[moves % len(places)])
            moves += 1
        polled = model.poll()
        now = bench.clock()
        step = polled.time - stamps[-1] if stamps else 0.0
        walls.append(now)
        stamps.append(polled.time)
        rows.append([polled.values[name] for name in names])
        gone += max(step, 0.0)
        if gone - mark >= patience * min(SLOWEST, 0.5 * rate) or len(stamps) == 1:
            moved, mark = now, gone
        elif now - moved > patience:
            break
        bench.sleep(min(_LONGEST_PAUSE, _POLL_EVERY / rate))
    stood = bench.clock() - moved if gone < seconds else 0.0
    return Looks(np.array(walls), np.array(stamps), np.array(rows), np.array(told, np.bool_), stood)


def _cruising(bench: Bench, throttle: float = 0.5) -> dict[str, float]:
    """Begins at an ordinary cruise; the inputs told, by the model's names."""
    row = cruise(bench.inputs, bench.states, throttle=throttle)
    bench.begin(Program(bench.inputs, (Start("running", tuple(row)),), np.array(row)[None, None]))
    return bench.free_running.told


def own_clock(bench: Bench) -> Outcome:
    """The model's clock goes on by itself, and as fast as it declares."""
    _cruising(bench)
    looks = _look(bench, _WATCHED)
    if looks.stood:
        return failed(
            f"the clock stood still at {looks.stamps[-1]:g} s for {looks.stood:.3g} s",
            "let the equations run on whether or not anybody asks, and stamp replies with the time they have reached",
            stands_still_at_s=float(looks.stamps[-1]),
        )
    rate, declared = looks.rate(), bench.mounted.capabilities.rate
    words = f"{rate:.3g} s of its time in one second"
    if declared is None:
        return passed(f"{words}; it declares no rate", rate=rate)
    if not abs(rate / declared - 1.0) <= _RATE_OFF:
        return failed(
            f"{words}, it declares {declared:g}",
            "declare the rate the equations run at, as rate in the capabilities of hello, or none where it varies",
            rate=rate,
            declared=declared,
        )
    return passed(f"{words}, as declared", rate=rate, declared=declared)


_JUMP = 0.5


def stamps(bench: Bench) -> Outcome:
    """Stamps never run back nor jump, and two replies of one stamp are the same unless something was told between them,
    while the throttle goes from one place to another and back."""
    places = [_cruising(bench, place) for place in (0.65, 0.35)]
    looks = _look(bench, _WATCHED, places)
    steps, rate = np.diff(looks.stamps), looks.rate()
    back = np.flatnonzero(steps < 0.0)
    if back.size:
        at = int(back[0])
        return failed(
            f"the clock ran back from {looks.stamps[at]:g} s to {looks.stamps[at + 1]:g} s",
            "stamp every reply with one clock that only the equations move",
        )
    new = np.flatnonzero(np.concatenate(([True], steps > 0.0)))
    went, took = np.diff(looks.stamps[new]), np.diff(looks.walls[new])
    ahead = np.flatnonzero(went > JUMP * rate * took + _JUMP)
    if ahead.size:
        at = int(ahead[0])
        return failed(
            f"the clock went on by {went[at]:.3g} s between two stamps {took[at]:.3g} s apart, at {rate:.3g} s in one "
            "second elsewhere",
            "do not let the clock skip time the equations have not been through",
        )
    same = (steps == 0.0) & ~looks.told[1:]
    other = np.flatnonzero(same & (looks.rows[1:] != looks.rows[:-1]).any(axis=1) & _numbers(looks.rows))
    if other.size:
        return failed(
            f"two replies stamped {looks.stamps[other[0]]:g} s differ, with nothing told between them",
            "stamp every reply with the time the equations have reached, not with that of a picture drawn",
        )
    return passed(
        f"{looks.stamps.size} stamps from {looks.stamps[0]:g} s to {looks.stamps[-1]:g} s, none back, none ahead",
        stamps=float(looks.stamps.size),
    )


def _numbers(rows: Array) -> NDArray[np.bool_]:
    """Whether two rows one after the other hold numbers alone."""
    good = np.array(np.isfinite(rows).all(axis=1), np.bool_)
    both: NDArray[np.bool_] = good[1:] & good[:-1]
    return both


_ASKED = 60


def reply_time(bench: Bench) -> Outcome:
    """The slowest of many polls and tells takes at most half of the request deadline."""
    _cruising(bench)
    model, told = bench.free_running.model, bench.free_running.told
    name = next(iter(told))
    taken = []
    for index in range(_ASKED):
        begin = bench.clock()
        if index % 4:
            model.poll()
        else:
            model.tell({name: told[name]})
        taken.append(bench.clock() - begin)
    median, high, most = (float(q) for q in np.quantile(taken, (0.5, 0.95, 1.0)))
    allowed = bench.mounted.stand.deadlines.request
    seen = (
        f"{_ASKED} polls and tells take {_ms(median)} (median), {_ms(high)} (95 %), {_ms(most)} (slowest); "
        f"the deadline is {_ms(allowed)}"
    )
    numbers = {"median_s": median, "high_s": high, "slowest_s": most, "deadline_s": allowed}
    if most > 0.5 * allowed:
        return failed(
            seen,
            "answer from the state that is there, without waiting for the next step or picture",
            **numbers,
        )
    return passed(seen, **numbers)


def _ms(seconds: float) -> str:
    return f"{seconds:.3g} s" if seconds >= 0.9995 else f"{1000.0 * seconds:.3g} ms"


_FLOWN = 30.0
_MOST_JITTER = 0.5
"""Seconds: decisions fall on a grid of half a second, and published limits of response leave a quarter (harness
choice)."""


def poll_jitter(bench: Bench) -> Outcome:
    """With a lever moving all the time, no instant is further off than half a second of the model's time."""
    if "throttle" not in bench.inputs:
        return not_applicable("there is no throttle to move")
    low, high = (cruise(bench.inputs, bench.states, throttle=place) for place in (0.35, 0.65))
    rows = ramped((low, high), (bench.rows(1.0), bench.rows(_FLOWN - 2.0), bench.rows(1.0)))
    bench.fly(Program(bench.inputs, (Start("running", tuple(rows[0])),), rows[:, None]))
    found = bench.mounted.clock_seen()
    if found is None:
        return failed("nothing was seen of the clock", "answer poll with the time of the model's own clock")
    seen = (
        f"an instant is sure to {found.jitter:.3g} s of the model's time: {found.gap:.3g} s between two polls at most, "
        f"a lever late by {found.late:.3g} s at most, at {found.rate:.3g} s in one second"
    )
    numbers = {"jitter_s": found.jitter, "gap_s": found.gap, "late_s": found.late, "rate": found.rate}
    if not found.jitter <= _MOST_JITTER:
        return failed(
            seen,
            "answer polls and tells sooner, stamp finer, or let the model run slower: what is timed is this doubtful",
            **numbers,
        )
    return passed(seen, **numbers)


_REST, _LATEST = 15.0, 1.0
"""Seconds at rest before the throttle is told, and until a reading has begun to move (assumption: linkages and
manifolds answer sooner)."""


def tell(bench: Bench) -> Outcome:
    """A throttle told to another place begins to move a reading within a second of the stamp of the tell."""
    if "throttle" not in bench.inputs:
        return not_applicable("there is no throttle to move")
    ends = [cruise(bench.inputs, bench.states, throttle=place) for place in (0.35, 0.65)]
    before, after = bench.rows(_REST), bench.rows(10.0)
    rows = ramped((ends[0], ends[1]), (before, 0, after))
    out = bench.fly(Program(bench.inputs, (Start("running", tuple(rows[0])),), rows[:, None]))[:, 0]
    found = bench.mounted.clock_seen()
    late = found.late if found is not None else 0.0
    rest = out[before - bench.rows(3.0) : before]
    bands = np.array([CHANNELS[name].band for name in bench.outputs])
    width = 3.0 * np.maximum(np.ptp(rest, axis=0), bands)
    # A lever read back is no evidence of an engine behind it.
    asked = [at for at, n in enumerate(bench.outputs) if bands[at] > 0.0 and not n.endswith("_position")]
    moved = (np.abs(out[before:] - rest.mean(axis=0)) > width)[:, asked]
    first = np.flatnonzero(moved.any(axis=1))
    if not first.size:
        return failed(
            "no reading moved in the 10 s after the throttle was told from 0.35 to 0.65",
            "let tell set the input that the equations read, and answer only then",
        )
    seconds = float(first[0]) * 10.0 / after
    name = bench.outputs[asked[int(moved[first[0]].argmax())]]
    seen = f"{name} began to move {max(0.0, seconds - late):.3g} s after the throttle was told"
    if seconds - late > _LATEST:
        return failed(
            seen,
            "let tell take effect at once; the time it answers with is that from which the new values hold",
            begins_after_s=seconds - late,
        )
    return passed(seen, begins_after_s=max(0.0, seconds - late))
