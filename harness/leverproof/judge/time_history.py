"""Judgement ``history``: a whole time history against a reference, a run of the same case or a stored curve.

Both begin at the same lever movement, which alone sets them beside one another: a response moved in time to fit would
lose the lag that is asked about. Increments from the stabilised start are compared, never raw values. The longer of
the two is looked at; the shorter keeps its last value, because both end stabilised.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from leverproof.cases.history_demands import history_unit
from leverproof.cases.model import TIMES, Judgement
from leverproof.history import Samples
from leverproof.judge.decision import within
from leverproof.judge.evidence import Evidence, WithheldError
from leverproof.judge.measures import (
    area_metric,
    comparison,
    outside_tube,
    overshoot,
    probability_inside,
    settling_time,
    sprague_geers,
    theil,
)
from leverproof.judge.model import Doubt, PointFinding
from leverproof.judge.response import FRACTIONS, RESOLVED, any_change_of, standard
from leverproof.judge.result import measured
from leverproof.judge.timing import first_crossing, grid_doubt
from leverproof.judge.tolerance import Allowance
from leverproof.judge.value import allowed
from leverproof.judge.window import longest
from leverproof.judge.words import amount, number, unit_of
from leverproof.timegrid import TICKS_PER_SECOND

TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Trace:
    """Increments of one history from its stabilised start: ``times`` (s) from the lever movement, ``values`` and the
    whole ``change`` in the channel's unit, and the doubt of the values in it."""

    times: Samples
    values: Samples
    change: float
    doubts: tuple[Doubt, ...]


Measure = Callable[[Judgement, Trace, Trace], tuple[float, float]]
"""Number found and number expected; both traces on the same times except for ``area`` and ``tube``."""


def time_history(evidence: Evidence) -> PointFinding:
    """The measure asked for, against the reference, with the numbers that always belong beside it."""
    judgement = evidence.judgement
    model = _of_run(evidence, judgement.run)
    reference = _of_run(evidence, judgement.against) if judgement.against else _of_curve(evidence)
    _resolved(evidence, reference)
    model, reference = _same_length(model, reference)
    measure = _MEASURES.get(judgement.measure)
    if measure is None:
        raise WithheldError("error", f"no such measure: {judgement.measure!r}")
    if judgement.measure in (*TIMES, "overshoot") and abs(model.change) < RESOLVED * standard(model.doubts) + TINY:
        own, moved = (amount(t.change, unit_of(judgement.channel)) for t in (model, reference))
        raise WithheldError("fail", f"changes by {own}, which is nothing, where the reference changes by {moved}")
    found, wanted = measure(judgement, model, reference)
    unit = history_unit(judgement)
    doubts = _doubts(evidence, measure, model, reference)
    timed = judgement.measure in TIMES
    whole, words = (wanted, "the reference's") if timed else (abs(reference.change), "the reference's change of")
    tolerance = allowed(evidence, unit=unit, expected=whole, channel=judgement.channel, expected_words=words)
    ruling = within(found, wanted, tolerance.value, doubts, unit=unit)
    return measured(
        evidence.point.label,
        ruling,
        found=found,
        expected=wanted,
        unit=unit,
        doubts=doubts,
        notes=(*_own_notes(judgement, model, reference, tolerance.value, doubts), beside(judgement, model, reference)),
        found_text=f"{_NAMES[judgement.measure]} {amount(found, unit)}",
        expected_text=_wanted_words(judgement, model, wanted, unit),
        tolerance=_tolerance_words(judgement, model, tolerance),
    )


def _of_run(evidence: Evidence, run: str) -> Trace:
    """A run from the lever movement to its second reading. Where the reference is the model itself the step study is
    no doubt: what the grid step does is then what is asked."""
    judgement = evidence.judgement
    change = any_change_of(evidence, run)
    values = change.samples[change.since :] - change.a
    doubts = tuple(d for d in change.doubts if not judgement.against or d.part != "step study")
    times = _spaced(values.size, change.history.grid.step / TICKS_PER_SECOND)
    return Trace(times, values, change.b - change.a, doubts)


def _spaced(count: int, step: float) -> Samples:
    return np.arange(count, dtype=np.float64) * np.float64(step)


def _of_curve(evidence: Evidence) -> Trace:
    curve = evidence.judgement.curve
    if curve is None:
        raise WithheldError("error", "the judgement names no reference")
    values = np.array(curve.values)
    u = None if curve.doubt is None else curve.doubt / 2.0
    doubt = Doubt("reference reading", u, evidence.judgement.source)
    return Trace(np.array(curve.seconds), values - values[0], float(values[-1] - values[0]), (doubt,))


def _resolved(evidence: Evidence, reference: Trace) -> None:
    """A reference that changes by less than five times its own doubt scores nothing but noise (harness choice)."""
    u = standard(reference.doubts)
    if reference.change == 0.0 or abs(reference.change) < RESOLVED * u:
        unit = unit_of(evidence.judgement.channel)
        raise WithheldError(
            "inconclusive",
            f"the reference changes by {amount(reference.change, unit)}, less than {number(RESOLVED)} times its "
            f"standard doubt of {amount(u, unit)}: nothing to score",
        )


def _same_length(model: Trace, reference: Trace) -> tuple[Trace, Trace]:
    """Both to the end of the longer, each keeping its last value."""
    end = max(float(model.times[-1]), float(reference.times[-1]))
    step = float(model.times[1] - model.times[0]) if model.times.size > 1 else end
    times = _spaced(math.ceil(end / step - 1e-9) + 1, step)
    ours = replace(model, times=times, values=np.interp(times, model.times, model.values))
    if reference.times[-1] < times[-1]:
        more = np.append(reference.times, times[-1]), np.append(reference.values, reference.values[-1])
        reference = replace(reference, times=more[0], values=more[1])
    return ours, reference


def _sampled(reference: Trace, times: Samples) -> Samples:
    found: Samples = np.interp(times, reference.times, reference.values)
    return found


def _tube(judgement: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
    return float(_beyond(judgement, model, reference).max()), 0.0


def _beyond(judgement: Judgement, model: Trace, reference: Trace) -> Samples:
    width = _early_late(judgement, model)
    return outside_tube(model.times, model.values, reference.times, reference.values, early_late=width)


def _early_late(judgement: Judgement, model: Trace) -> float:
    """The stated width in time. Against another run of the model at least one step of the grid flown: a lever ramp is a
    staircase on it, and within a step the run cannot say when anything happened."""
    stated = judgement.time_within.absolute if judgement.time_within is not None else None
    if stated is None:
        raise WithheldError("error", "the judgement states no width of its tube in time")
    width = stated.to("s", "time_tolerance")
    if not judgement.against or model.times.size < 2:
        return width
    return max(width, float(model.times[1] - model.times[0]))


def _end(_: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
    return model.change - reference.change, 0.0


def _area(_: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
    return area_metric(model.values, _sampled(reference, model.times)), 0.0


def _score(part: str) -> Measure:
    def score(_: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
        return float(getattr(sprague_geers(model.values, _sampled(reference, model.times)), part)), 0.0

    return score


def _inequality(_: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
    return theil(model.values, _sampled(reference, model.times)).inequality, 0.0


def _time(measure: str) -> Measure:
    def time(_: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
        found, wanted = (reached(trace, FRACTIONS[measure]) for trace in (model, reference))
        share = f"{number(100.0 * FRACTIONS[measure])} % of its change"
        return _both(found, wanted, f"never goes through {share}")

    return time


def reached(trace: Trace, fraction: float) -> float | None:
    """Seconds from the lever movement to ``fraction`` of the trace's own change; None when it is never reached."""
    row = first_crossing(trace.values, fraction * trace.change, rising=trace.change > 0.0)
    if row is None:
        return None
    return float(np.interp(row, np.arange(trace.times.size), trace.times))


def _overshoot(_: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
    return overshoot(model.values, model.change), overshoot(reference.values, reference.change)


def _settling(judgement: Judgement, model: Trace, reference: Trace) -> tuple[float, float]:
    if judgement.band is None:
        raise WithheldError("error", "the judgement does not say what settled is")
    ours, theirs = (
        settling_time(trace.times, trace.values, trace.change, band=judgement.band)
        for trace in (model, replace(reference, times=model.times, values=_sampled(reference, model.times)))
    )
    return _both(ours, theirs, f"is never within {number(100.0 * judgement.band)} % of its end to stay")


def _both(found: float | None, wanted: float | None, words: str) -> tuple[float, float]:
    if wanted is None:
        raise WithheldError("error", f"the reference {words}")
    if found is None:
        raise WithheldError("fail", f"the model {words}")
    return found, wanted


_MEASURES: dict[str, Measure] = {
    "tube": _tube,
    "end": _end,
    "area": _area,
    "magnitude": _score("magnitude"),
    "phase": _score("phase"),
    "combined": _score("combined"),
    "inequality": _inequality,
    "t10": _time("t10"),
    "t90": _time("t90"),
    "overshoot": _overshoot,
    "settling": _settling,
}
_NAMES = {
    "tube": "farthest from the reference",
    "end": "end off by",
    "area": "area between distributions",
    "magnitude": "Sprague-Geers magnitude",
    "phase": "Sprague-Geers phase",
    "combined": "Sprague-Geers combined",
    "inequality": "Theil inequality",
    "t10": "t10",
    "t90": "t90",
    "overshoot": "overshoot",
    "settling": "settles after",
}


def _doubts(evidence: Evidence, measure: Measure, model: Trace, reference: Trace) -> tuple[Doubt, ...]:
    """Each part of the doubt of either history, as what it is worth in the measure: the larger change of the measure
    when all values are shifted by it up or down (finite differences in the manner of JCGM 100:2008, 5.1.3). An instant
    adds the grid step."""
    judgement = evidence.judgement
    found, wanted = measure(judgement, model, reference)

    def worth(doubt: Doubt, *, of_model: bool) -> Doubt:
        if not doubt.u or judgement.measure == "end":
            return doubt
        changes = []
        for shift in (doubt.u, -doubt.u):
            ours = replace(model, values=model.values + shift) if of_model else model
            theirs = reference if of_model else replace(reference, values=reference.values + shift)
            try:
                one, other = measure(judgement, ours, theirs)
            except WithheldError:
                # Shifted by its doubt it is never reached at all: how much later cannot be said.
                return Doubt(doubt.part, None, f"{doubt.how}: large enough that nothing is reached")
            changes.append(abs((one - other) - (found - wanted)))
        return Doubt(doubt.part, max(changes), doubt.how)

    parts = [worth(d, of_model=True) for d in model.doubts] + [worth(d, of_model=False) for d in reference.doubts]
    if judgement.measure in TIMES:
        for run in filter(None, (judgement.run, judgement.against)):
            parts += grid_doubt(evidence, run)
    return tuple(parts)


def _wanted_words(judgement: Judgement, model: Trace, wanted: float, unit: str) -> str:
    whose = f"the run {judgement.against}" if judgement.against else "the curve"
    if judgement.measure == "tube":
        return f"as {whose}, at most {amount(_early_late(judgement, model), 's')} early or late"
    return f"{amount(wanted, unit)} in {whose}" if wanted else f"as {whose}"


def _tolerance_words(judgement: Judgement, model: Trace, tolerance: Allowance) -> str:
    within_time = judgement.time_within
    if within_time is None:
        return tolerance.text
    return f"{tolerance.text}; in time {amount(_early_late(judgement, model), 's')} ({within_time.reason})"


def _own_notes(
    judgement: Judgement, model: Trace, reference: Trace, tolerance: float, doubts: tuple[Doubt, ...]
) -> tuple[str, ...]:
    """What a measure says beside its number: where it left the tube, what kind of error it is, how likely."""
    unit = unit_of(judgement.channel)
    if judgement.measure == "tube":
        out = _beyond(judgement, model, reference)
        worst = amount(float(model.times[int(out.argmax())]), "s")
        share, step = number(100.0 * float((out > tolerance).mean())), float(model.times[1] - model.times[0])
        excursion = amount(longest(out > tolerance) * step, "s")
        return (f"farthest {worst} after the lever; {share} % of samples outside, at longest for {excursion}",)
    if judgement.measure == "inequality":
        split = theil(model.values, _sampled(reference, model.times))
        shares = {
            "bias (offset)": split.bias,
            "variance (gain)": split.variance,
            "covariance (timing)": split.covariance,
        }
        return ("mean square error: " + ", ".join(f"{name} {number(100.0 * s)} %" for name, s in shares.items()),)
    if judgement.measure == "end":
        known = [d.u for d in doubts if d.u is not None]
        seen = comparison(model.change, reference.change, known)
        likely = number(100.0 * probability_inside(seen.error, tolerance, seen.u))
        return (
            f"the model's own error lies between {number(seen.low)} and {amount(seen.high, unit)}; inside the "
            f"tolerance with a probability of {likely} %",
        )
    return ()


def beside(judgement: Judgement, model: Trace, reference: Trace) -> str:
    """End and times of both histories: no score stands without them."""
    unit = unit_of(judgement.channel)
    parts = [f"change {number(model.change)} for {amount(reference.change, unit)}"]
    for name, fraction in FRACTIONS.items():
        ours, theirs = (reached(trace, fraction) for trace in (model, reference))
        told = ["never" if t is None else number(t) for t in (ours, theirs)]
        parts.append(f"{name} {told[0]} for {told[1]} s")
    return ", ".join(parts)
