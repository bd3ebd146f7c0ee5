"""Items about bad input and about the end: a model must say no, never make numbers up, and go when told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.errors import StandError
from leverproof.stand.shakedown.bench import Bench, difference
from leverproof.stand.shakedown.model import Outcome, failed, not_applicable, passed
from leverproof.stand.shakedown.programs import Program, cruise
from leverproof.stand.shakedown.talk import LineTalk, Numbers, RefusedError, Talk, open_talk

_GOOD, _BAD = 10, 6
_NAN_MEND = (
    "test the inputs for NaN: refuse the row (an error in the reply, an exception in Python) or let NaN run through "
    "the equations into the readings. Beware of min, max and comparisons, which drop NaN in many languages"
)


def nan(bench: Bench) -> Outcome:
    """NaN on an input is refused or seen in the readings; numbers that look right would hide it."""
    asked: list[str] = [n for n in ("throttle", "pressure_altitude") if n in bench.inputs]
    asked = asked or [n for n in bench.inputs if not CHANNELS[n].states][:1]
    if not asked:
        return not_applicable("every input is discrete")
    seen = []
    for name in asked:
        try:
            outcome = _one_nan(bench, name)
        except StandError as error:
            if error.code == "hang" or not (error.code == "refused" or bench.in_the_process):
                raise
            if name != asked[-1]:
                bench.reopen()
            outcome = passed(f"NaN on {name} refused: {error.message}")
        if outcome.ending == "fail":
            return outcome
        seen.append(outcome.seen)
    return passed("; ".join(seen))


def _one_nan(bench: Bench, name: str) -> Outcome:
    lanes = min(2, bench.mounted.capabilities.lanes)
    clean = bench.draw(lanes=lanes, rows=_GOOD + _BAD)
    first = bench.fly(clean)
    rows = clean.rows.copy()
    rows[_GOOD:, -1, bench.inputs.index(name)] = np.nan
    out = bench.fly(Program(clean.inputs, clean.starts, rows))
    ill = out[1 + _GOOD :, -1]
    if np.isfinite(ill).all():
        still = bool(np.all(ill == ill[0]))
        words = "readings that stand still" if still else "readings that go on moving"
        return failed(f"{_BAD} rows with NaN on {name} were answered with {words}, all finite", _NAN_MEND)
    deterministic = bench.mounted.capabilities.deterministic
    if lanes > 1 and deterministic and (apart := difference(first[:, :1], out[:, :1], bench.outputs)):
        return failed(f"NaN on {name} of lane 1 changed lane 0: {apart.words}", _NAN_MEND)
    if deterministic and (apart := difference(first, bench.fly(clean), bench.outputs)):
        return failed(
            f"after NaN on {name} a fresh run is not what it was: {apart.words}",
            "let initialise set every variable, so that no NaN is left behind",
        )
    where = [bench.outputs[i] for i in np.flatnonzero(~np.isfinite(ill).all(axis=0))]
    return passed(f"NaN on {name} seen in {len(where)} readings, {where[0]} first", readings=len(where))


@dataclass(frozen=True, slots=True)
class Conversation:
    """A good conversation that bad requests are made from, in the model's own names and units."""

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    step: int
    row: Numbers
    discrete: tuple[int, ...] = ()
    """Columns of inputs that hold the number of a state."""

    def good(self, talk: Talk) -> Numbers:
        """A start and a few rows; the numbers answered."""
        first = talk.initialise([("running", self.row)], self.step, self.inputs, self.outputs)
        return [first, talk.advance([0], [[self.row]] * 4)]


Request = Callable[[Talk, Conversation], object]


def _begin(
    talk: Talk,
    c: Conversation,
    *,
    inputs: Sequence[str] = (),
    outputs: Sequence[str] = (),
    step: int | None = None,
    row: Numbers | None = None,
    engine: str = "running",
) -> object:
    start = (engine, c.row if row is None else row)
    return talk.initialise([start], c.step if step is None else step, inputs or c.inputs, outputs or c.outputs)


_REQUESTS: tuple[tuple[str, Request], ...] = (
    ("an unknown input column", lambda t, c: _begin(t, c, inputs=(*c.inputs[:-1], "no_such_input"))),
    ("an unknown output column", lambda t, c: _begin(t, c, outputs=(*c.outputs[:-1], "no_such_output"))),
    ("a start row one short", lambda t, c: _begin(t, c, row=c.row[:-1])),
    ("a start row one long", lambda t, c: _begin(t, c, row=[*c.row, 0.0])),
    ("a grid step of 0 ticks", lambda t, c: _begin(t, c, step=0)),
    ("a negative grid step", lambda t, c: _begin(t, c, step=-c.step)),
    ("an engine that is 'flying'", lambda t, c: _begin(t, c, engine="flying")),
    ("a row one short", lambda t, c: t.advance([0], [[c.row[:-1]]])),
    ("a row one long", lambda t, c: t.advance([0], [[[*c.row, 0.0]]])),
    ("lane -1", lambda t, c: t.advance([-1], [[c.row]])),
    ("a lane that was not started", lambda t, c: t.advance([1], [[c.row]])),
)
_OF_STATES: tuple[tuple[str, Request], ...] = (
    ("a state beyond the last", lambda t, c: t.advance([0], [[_with_state(c, 99.0)]])),
    ("half a state", lambda t, c: t.advance([0], [[_with_state(c, 0.5)]])),
)
_ON_THE_WIRE: tuple[tuple[str, Request], ...] = (
    ("a word for a number", lambda t, c: t.advance([0], [[["fast", *c.row[1:]]]])),
    ("a number in quotes", lambda t, c: t.advance([0], [[[str(c.row[0]), *c.row[1:]]]])),
    ("true for a number", lambda t, c: t.advance([0], [[[True, *c.row[1:]]]])),
    (
        "an input column named twice",
        lambda t, c: _begin(t, c, inputs=(*c.inputs, c.inputs[0]), row=[*c.row, c.row[0]]),
    ),
    ("a lane named twice", lambda t, c: t.advance([0, 0], [[c.row, c.row]])),
    ("an unknown method", lambda t, c: t.ask("taxi", {}, 5.0) if isinstance(t, LineTalk) else None),
)


def _with_state(c: Conversation, state: float) -> Numbers:
    at = c.discrete[0]
    return [*c.row[:at], state, *c.row[at + 1 :]]


def refusal(bench: Bench) -> Outcome:
    """Requests that make no sense are refused, and the model answers good ones afterwards as before."""
    stand = bench.mounted.stand
    with bench.watch.within(stand.deadlines.start, "a new start"):
        talk = open_talk(stand, bench.mounted.adapter)
    if talk is None:
        return not_applicable(f"a stand of kind {stand.kind!r} lets no bad request through to the model")
    links = bench.mounted.links
    good = Conversation(
        tuple(links.inputs[n].signal.name for n in bench.inputs),
        tuple(links.outputs[n].signal.name for n in bench.outputs),
        bench.step,
        _theirs(bench),
        tuple(at for at, name in enumerate(bench.inputs) if CHANNELS[name].states),
    )
    requests = _REQUESTS + (_ON_THE_WIRE if isinstance(talk, LineTalk) else ())
    requests += _OF_STATES if good.discrete and isinstance(talk, LineTalk) else ()
    try:
        return _refusals(bench, talk, good, requests)
    finally:
        talk.end() if isinstance(talk, LineTalk) else talk.close()


def _refusals(bench: Bench, talk: Talk, good: Conversation, requests: Sequence[tuple[str, Request]]) -> Outcome:
    allowed = 2.0 * bench.mounted.stand.deadlines.request + 1.0
    with bench.watch.within(allowed, "good requests"):
        before = good.good(talk)
    answered, changed, words = [], [], ""
    for name, request in requests:
        with bench.watch.within(2.0 * allowed, name):
            try:
                request(talk, good)
                answered.append(name)
            except RefusedError as error:
                words = words or f"; {name}: {str(error)[:80]}"
            except StandError as error:
                return failed(
                    f"{name}: {error.message}",
                    "answer what cannot be done with an error and go on: a refusal must change nothing",
                )
            try:
                after = good.good(talk)
            except RefusedError as error:
                return failed(f"after {name} good requests are refused: {error}", "a refusal must change nothing")
        if bench.mounted.capabilities.deterministic and after != before:
            changed.append(name)
    if answered:
        return failed(
            f"not refused: {', '.join(answered)}",
            "check names, widths, lane numbers and the grid step of each request and answer with an error (raise in "
            "Python); never guess what was meant. A number in quotes is a word, and so is true",
        )
    if changed:
        return failed(f"other numbers after {', '.join(changed)}", "a refusal must change nothing")
    return passed(f"{len(requests)} bad requests refused, good ones answered after each{words}", tried=len(requests))


def _theirs(bench: Bench) -> Numbers:
    """A cruise in the model's own units and state order."""
    out = []
    for name, value in zip(bench.inputs, cruise(bench.inputs, bench.states), strict=True):
        link = bench.mounted.links.inputs[name]
        if link.to_model:
            index = link.to_model[int(value)]
            out.append(float(0 if index is None else index))
        else:
            out.append((value - link.offset) / link.scale)
    return out


def _start(talk: Talk, bench: Bench) -> None:
    links = bench.mounted.links
    talk.initialise(
        [("running", _theirs(bench))],
        bench.step,
        [links.inputs[n].signal.name for n in bench.inputs],
        [links.outputs[n].signal.name for n in bench.outputs],
    )


def clean_end(bench: Bench) -> Outcome:
    """Told to close, the model ends by itself; told twice, no harm is done."""
    stand = bench.mounted.stand
    # A model that has nothing to give back has nothing to do wrong.
    bench.begin(bench.draw())
    bench.session.close()
    bench.session.close()
    with bench.watch.within(stand.deadlines.start, "a new start"):
        talk = open_talk(stand, bench.mounted.adapter)
    if talk is None:
        if bench.mounted.farewell:
            return failed(bench.mounted.farewell, "free everything once and end without a crash when told to close")
        return passed("close came back, twice")
    with bench.watch.within(2.0 * stand.deadlines.request + 4.0, "close"):
        if not bench.paced:
            _start(talk, bench)
        wrong = talk.close()
    if wrong:
        return failed(
            wrong,
            "answer close with an empty result, flush it, end every thread and child, and leave with code 0; a "
            "second close in Python does nothing",
        )
    what = "closed twice" if bench.in_the_process else "ended by itself with code 0, no process left"
    return passed(what)
