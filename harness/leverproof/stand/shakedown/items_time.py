"""Items about time: how long a step takes, whether model time goes on, and how much the grid step matters."""

from __future__ import annotations

import numpy as np

from leverproof.channels import CHANNELS
from leverproof.stand.port import Array, Start
from leverproof.stand.shakedown.bench import Bench
from leverproof.stand.shakedown.model import Outcome, failed, not_applicable, passed
from leverproof.stand.shakedown.programs import Program, cruise, ramped
from leverproof.timegrid import CONTROL_TICKS

_BATCHES, _BATCH, _STEPS = 20, 25, 120


def timing(bench: Bench) -> Outcome:
    """A row takes, at its 95th percentile, at most half of the row deadline."""
    program = bench.draw(rows=_BATCH)
    bench.begin(program)
    taken = []
    for _ in range(_BATCHES):
        begin = bench.clock()
        bench.session.advance([0], program.rows)
        taken.append((bench.clock() - begin) / _BATCH)
    median, high = (float(q) for q in np.quantile(taken, (0.5, 0.95)))
    allowed = bench.mounted.stand.deadlines.row
    seen = f"a row takes {_ms(median)} (median), {_ms(high)} (95 %), the deadline is {_ms(allowed)}"
    numbers = {"median_s": median, "high_s": high, "deadline_s": allowed}
    if high > 0.5 * allowed:
        return failed(
            seen,
            f'make the step quicker, or write row = "{_above(4.0 * high):g} s" under deadlines of the stand file',
            **numbers,
        )
    return passed(seen, **numbers)


def jitter(bench: Bench) -> Outcome:
    """The slowest of many single steps stays under half of its deadline."""
    program = bench.draw(rows=_STEPS)
    bench.begin(program)
    taken = []
    for row in program.rows:
        begin = bench.clock()
        bench.session.advance([0], row[None])
        taken.append(bench.clock() - begin)
    median, high, most = (float(q) for q in np.quantile(taken, (0.5, 0.95, 1.0)))
    deadlines = bench.mounted.stand.deadlines
    allowed = deadlines.request + deadlines.row
    seen = (
        f"{_STEPS} single steps take {_ms(median)} (median), {_ms(high)} (95 %), {_ms(most)} (slowest), "
        f"jitter {_ms(high - median)}; the deadline is {_ms(allowed)}"
    )
    numbers = {"median_s": median, "high_s": high, "slowest_s": most, "deadline_s": allowed}
    if most > 0.5 * allowed:
        return failed(
            seen,
            "find what a step waits for now and then (a file, a lock, a collector, another process), or write "
            f'request = "{_above(4.0 * most):g} s" under deadlines of the stand file',
            **numbers,
        )
    return passed(seen, **numbers)


def _ms(seconds: float) -> str:
    return f"{seconds:.3g} s" if seconds >= 0.9995 else f"{1000.0 * seconds:.3g} ms"


def _above(seconds: float) -> float:
    """Rounded up to two figures, so that the advice is a plain number."""
    return float(f"{1.05 * seconds:.1e}")


_LONG, _WINDOW, _SWING = 80.0, 10.0, (0.35, 0.65)


def clock(bench: Bench) -> Outcome:
    """Model time goes on as long as it is asked to, and as fast as the grid step says."""
    if "throttle" not in bench.inputs:
        return not_applicable("there is no throttle to move")
    stuck = _standstill(bench)
    if stuck is not None:
        return failed(
            f"with the throttle moving no reading moves any more from {stuck:g} s on",
            "look for a counter, table or schedule that ends, and for a time that is added up in too few digits",
            stands_still_from_s=stuck,
        )
    words = f"readings follow the throttle through {_LONG:g} s"
    if not bench.mounted.capabilities.deterministic or bench.step % 2:
        return passed(words)
    name, share = _pace(bench)
    numbers = {"transient_difference": share}
    if share > _PACE:
        return failed(
            f"at equal times {name} differs by {100.0 * share:.0f} % of its move between the grid step and half of it",
            "advance by step_ticks / 36000 s for each row, not by a step of your own and not by one row as such",
            **numbers,
        )
    return passed(
        f"{words}; a transient differs by {100.0 * share:.2g} % between the grid step and half of it",
        **numbers,
    )


def _swung(bench: Bench) -> Array:
    """Rows with the throttle going from one place to the other every window, shape (n, inputs)."""
    low, high = (cruise(bench.inputs, bench.states, throttle=place) for place in _SWING)
    moving = bench.rows(2.0)
    parts = (0, moving, bench.rows(_WINDOW) - moving)
    count = round(_LONG / _WINDOW)
    return np.concatenate([ramped((low, high) if i % 2 == 0 else (high, low), parts) for i in range(count)])


def _standstill(bench: Bench) -> float | None:
    """Seconds from which nothing moves any more, None when something moves in every window."""
    rows = _swung(bench)
    out = bench.fly(Program(bench.inputs, (Start("running", tuple(rows[0])),), rows[:, None]))[1:, 0]
    bands = np.array([CHANNELS[name].band for name in bench.outputs])
    # A lever read back is no evidence that the engine behind it goes on.
    asked = [i for i, name in enumerate(bench.outputs) if not name.endswith("_position")]
    windows = out.reshape(-1, bench.rows(_WINDOW), out.shape[1])[:, :, asked]
    alive = np.any(np.ptp(windows, axis=1) > bands[asked], axis=1)
    dead = np.flatnonzero(~alive)
    return None if dead.size == 0 else float(dead[0] * _WINDOW)


_PACE = 0.15
"""A model that takes each row for the same time differs by about half of the move; an honest one by the step over
its quickest lag, a few percent (assumption)."""


def _throttle_step(bench: Bench, step: int, seconds: tuple[float, float, float]) -> Array:
    """Outputs (rows, outputs) of a throttle move on a grid of ``step`` ticks, the start first."""
    ends = [cruise(bench.inputs, bench.states, throttle=place) for place in _SWING]
    per_second = bench.rows(1.0) * bench.step / step
    before, between, after = (round(part * per_second) for part in seconds)
    rows = ramped(ends, (before, between, after))
    # Held over the coarse step, so that both grids see the same inputs and only the model's own step differs.
    rows = np.repeat(rows[:: bench.step // step], bench.step // step, axis=0)
    return bench.fly(Program(bench.inputs, (Start("running", tuple(ends[0])),), rows[:, None]), step=step)[:, 0]


def _pace(bench: Bench) -> tuple[str, float]:
    """The reading whose transient differs most between the grid step and half of it, as a share of its move."""
    seconds = (3.0, 1.0, 6.0)
    coarse = _throttle_step(bench, bench.step, seconds)
    fine = _throttle_step(bench, bench.step // 2, seconds)[::2]
    begin = bench.rows(seconds[0])
    bands = np.array([CHANNELS[name].band for name in bench.outputs])
    moves = np.ptp(coarse[begin:], axis=0)
    shares = np.max(np.abs(coarse - fine), axis=0) / np.maximum(moves, 1e-12)
    shares[(moves < 20.0 * bands) | (bands == 0.0)] = 0.0
    worst = int(np.argmax(shares))
    return bench.outputs[worst], float(shares[worst])


_OF_RANGE = 0.002
"""Of a channel's range: what the harness asks of end values between a grid and the grid of half its step."""


def grid_step(bench: Bench) -> Outcome:
    """Halving the grid step leaves settled values where they were, to 0.2 % of range."""
    half = bench.step // 2
    if bench.step % 2 or CONTROL_TICKS % half or "throttle" not in bench.inputs:
        return not_applicable("half the grid step is no whole number of ticks, or there is no throttle to move")
    seconds = (4.0, 2.0, 24.0)
    coarse, fine = (_throttle_step(bench, step, seconds) for step in (bench.step, half))
    spans = np.array([CHANNELS[name].span for name in bench.outputs])
    apart = np.abs(coarse[-1] - fine[-1]) / spans
    worst = int(np.argmax(apart))
    name, share = bench.outputs[worst], float(apart[worst])
    unit = CHANNELS[name].unit
    seen = (
        f"end values differ by at most {100.0 * share:.2g} % of range, in {name}: {coarse[-1, worst]:.6g} {unit} on "
        f"the grid step, {fine[-1, worst]:.6g} {unit} on half of it; on the way there by at most "
        f"{100.0 * float(np.max(np.abs(coarse - fine[::2]) / spans)):.2g} %"
    )
    if not share <= _OF_RANGE:
        return failed(
            seen,
            "take smaller steps inside (several to a row), or scale every rate and filter with the step",
            end_difference_of_range=share,
        )
    return passed(seen, end_difference_of_range=share)
