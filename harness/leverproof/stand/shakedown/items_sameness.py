"""Items about the same run giving the same numbers, to the last bit, however it is asked for."""

from __future__ import annotations

import numpy as np

from leverproof.channels import CHANNELS, LEVERS
from leverproof.stand.port import Array, Start
from leverproof.stand.shakedown.bench import Bench, difference
from leverproof.stand.shakedown.model import Outcome, failed, not_applicable, passed
from leverproof.stand.shakedown.programs import Program, cruise
from leverproof.timegrid import CONTROL_TICKS

_SINGLES = 24
_LANES = 4
_SILENCE = 0.5
"""Seconds of wall time: many frames of any loop that runs by itself (assumption)."""


def _same(bench: Bench, first: Array, second: Array, what: str, mend: str) -> Outcome:
    apart = difference(first, second, bench.outputs)
    if apart is None:
        return passed(f"{what}: all {first.size} numbers the same to the last bit", numbers=float(first.size))
    return failed(f"{what}: {apart.words}", mend, largest_difference_of_range=apart.share)


def repeat(bench: Bench) -> Outcome:
    """One run, and at once the same run again."""
    program = bench.draw()
    return _same(
        bench,
        bench.fly(program),
        bench.fly(program),
        "the same run twice in one process",
        "take no time of day, no address and no random number; let initialise set every variable, seeds too",
    )


def reopened(bench: Bench) -> Outcome:
    """The same run in two openings of the model."""
    program = bench.draw()
    first = bench.fly(program)
    bench.reopen()
    return _same(
        bench,
        first,
        bench.fly(program),
        "the same run in two openings",
        "seed nothing from the clock, the process id or the order of a hash table; write no file that the next "
        "start reads",
    )


def _rough(bench: Bench) -> None:
    """A run that leaves traces where a model keeps any: every lever at its end, high, hot, cut off at last, in
    another number of lanes and on another grid step."""
    full = {name: 1.0 for name in bench.inputs if name in LEVERS and not CHANNELS[name].states}
    row = cruise(bench.inputs, bench.states, pressure_altitude=18_000.0, temperature_offset=25.0, **full)
    cut = list(row)
    if "mixture" in bench.inputs and "cut_off" in bench.states["mixture"]:
        cut[bench.inputs.index("mixture")] = 0.0
    lanes = min(2, bench.mounted.capabilities.lanes)
    rows = np.tile(np.array([row] * 200 + [cut] * 40)[:, None], (1, lanes, 1))
    starts = (Start("running", tuple(row)), Start("stopped", tuple(row)))[:lanes]
    double = 2 * bench.step
    bench.fly(Program(bench.inputs, starts, rows), step=bench.step if CONTROL_TICKS % double else double)


def again(bench: Bench) -> Outcome:
    """Initialised after another run, the model is as fresh as the first time."""
    program = bench.draw()
    first = bench.fly(program)
    _rough(bench)
    return _same(
        bench,
        first,
        bench.fly(program),
        "a run fresh and after another run and initialise",
        "let initialise build the whole state anew: rotor speeds, temperatures, filters, integrators, timers",
    )


def reset(bench: Bench) -> Outcome:
    """Reset after another run, the model is as fresh as the first time."""
    if not bench.mounted.capabilities.reset:
        return not_applicable("the model declares that it cannot be reset")
    program = bench.draw()
    first = bench.fly(program)
    _rough(bench)
    bench.session.reset()
    return _same(
        bench,
        first,
        bench.fly(program),
        "a run fresh and after another run and reset",
        "let reset forget every lane and every trace of it, or declare reset = false in hello",
    )


def singles(bench: Bench) -> Outcome:
    """A batch of n rows is n single rows."""
    program = bench.draw(rows=_SINGLES)
    return _same(
        bench,
        bench.fly(program),
        bench.fly(program, cuts=range(1, _SINGLES)),
        f"{_SINGLES} rows in one batch and one by one",
        "apply row i from t_i to t_i+1 and answer with the outputs at t_i+1; carry nothing over but the state",
    )


def cuts(bench: Bench) -> Outcome:
    """A run cut into batches at random places is the run in one."""
    program = bench.draw(rows=61)
    whole = bench.fly(program)
    worst = None
    for _ in range(4):
        places = np.sort(bench.rng.choice(np.arange(2, 60), size=5, replace=False)).tolist()
        outcome = _same(
            bench,
            whole,
            bench.fly(program, cuts=places),
            f"61 rows in one batch and cut before rows {', '.join(map(str, places))}",
            "let nothing depend on how many rows a message holds",
        )
        if outcome.ending == "fail":
            return outcome
        worst = outcome
    assert worst is not None
    return passed("61 rows in one batch and in four random cuts: the same to the last bit", **worst.measures)


def paused(bench: Bench) -> Outcome:
    """A run in whose middle nothing was asked for a while is the run without."""
    program = bench.draw(rows=60)
    whole = bench.fly(program)
    first = bench.begin(program)
    before = bench.session.advance([0], program.rows[:30])
    bench.sleep(_SILENCE)
    after = bench.session.advance([0], program.rows[30:])
    return _same(
        bench,
        whole,
        np.concatenate([first[None], before, after]),
        f"a run in one and with {_SILENCE:g} s of silence in its middle",
        "advance only by the rows of a request; take no time from the clock on the wall, and let no thread or frame "
        "loop go on between two requests",
    )


def columns(bench: Bench) -> Outcome:
    """Columns asked for in another order are the same numbers in that order."""
    program = bench.draw()
    first = bench.fly(program)
    taken = bench.rng.permutation(len(bench.inputs))
    given = bench.rng.permutation(len(bench.outputs))
    if len(given) > 1 and np.array_equal(given, np.arange(len(given))):
        given = given[::-1]
    if len(taken) > 1 and np.array_equal(taken, np.arange(len(taken))):
        taken = taken[::-1]
    inputs = [bench.inputs[index] for index in taken]
    outputs = [bench.outputs[index] for index in given]
    starts = [Start(start.engine, tuple(np.array(start.row)[taken])) for start in program.starts]
    begin = bench.session.initialise(starts, bench.step, inputs, outputs)
    rest = bench.session.advance(range(len(starts)), program.rows[:, :, taken])
    second = np.empty_like(first)
    second[:, :, given] = np.concatenate([begin[None], rest])
    return _same(
        bench,
        first,
        second,
        f"columns in hello's order and in the order {', '.join(inputs[:3])}, ... to {', '.join(outputs[:3])}, ...",
        "keep the lists inputs and outputs of initialise and find each column by its place there",
    )


def _lanes(bench: Bench) -> int:
    return min(_LANES, bench.mounted.capabilities.lanes)


def lanes(bench: Bench) -> Outcome:
    """A lane's numbers are those of the same run alone."""
    count = _lanes(bench)
    if count < 2:
        return not_applicable("the model runs one lane")
    program = bench.draw(lanes=count)
    together = bench.fly(program)
    alone = np.concatenate([bench.fly(program.lane(lane)) for lane in range(count)], axis=1)
    return _same(
        bench,
        together,
        alone,
        f"{count} lanes together and each alone",
        "keep the state of each lane to itself: no shared work arrays, no loop that ends for all lanes when the "
        "slowest has converged",
    )


def some_lanes(bench: Bench) -> Outcome:
    """Lanes that are not named stand still; those named advance, in the order named."""
    count = _lanes(bench)
    if count < 2:
        return not_applicable("the model runs one lane")
    program = bench.draw(lanes=count, rows=30)
    together = bench.fly(program)
    second = np.empty_like(together)
    second[0] = bench.begin(program)
    order = bench.rng.permutation(count).tolist()
    if order == sorted(order):
        order.reverse()
    for named in (order[: count // 2], order[count // 2 :]):
        second[1:11, named] = bench.session.advance(named, program.rows[:10, named])
    second[11:, order] = bench.session.advance(order, program.rows[10:, order])
    return _same(
        bench,
        together,
        second,
        f"all lanes at once, and lanes {order[: count // 2]} before lanes {order[count // 2 :]}",
        "advance only the lanes named in lanes; column k of a row belongs to the k-th lane named, whatever its number",
    )
