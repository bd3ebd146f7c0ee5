"""Measures of one time history against another: pure functions over arrays.

Histories are increments from the stabilised start of the movement, never raw values: with a gauge that begins at 30
and should go to 36, a model stuck at 30 has raw scores that look good (Theil 0.067) although it did nothing, while its
increments give the worst there is (1.0). The judgement subtracts the start; the functions here take what they are
given. ``model`` is what is judged and ``reference`` what it is held against; arrays of one shape hold samples at equal
steps unless their times are given.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from leverproof.history import Samples


@dataclass(frozen=True, slots=True)
class Comparison:
    """A comparison error with its doubt: ``error`` = model - reference, ``u`` the validation uncertainty, and the
    interval ``low`` to ``high`` in which the model's own error lies."""

    error: float
    u: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SpragueGeers:
    """``magnitude`` (positive: the model is the larger), ``phase`` (0 in step, 1 opposed) and their root sum of
    squares, ``combined``; all without unit."""

    magnitude: float
    phase: float
    combined: float


@dataclass(frozen=True, slots=True)
class Theil:
    """The inequality coefficient (0 equal, 1 worst) and the shares of the mean square error that are ``bias`` (an
    offset), ``variance`` (a gain) and ``covariance`` (timing and shape); the shares add up to 1, or are all 0 where
    there is no error."""

    inequality: float
    bias: float
    variance: float
    covariance: float


def comparison(model: float, reference: float, parts: Iterable[float], *, coverage: float = 2.0) -> Comparison:
    """The comparison error and the interval of the model's own error, error +/- coverage x u, with u the root sum of
    squares of the standard uncertainties ``parts`` (numerical, input, reference). All in one unit.

    Source: ASME V&V 20-2009 (from memory for the interval)."""
    error = model - reference
    u = math.sqrt(sum(part * part for part in parts))
    return Comparison(error, u, error - coverage * u, error + coverage * u)


def probability_inside(error: float, tolerance: float, u: float) -> float:
    """Probability that the true error lies within +/- ``tolerance`` when ``error`` was measured with standard
    uncertainty ``u``, normal. 1 or 0 where there is no doubt.

    Source: the specific risk of ILAC-G8:09/2019, decision rules."""
    if u <= 0.0:
        return 1.0 if abs(error) <= tolerance else 0.0
    root = u * math.sqrt(2.0)
    return 0.5 * (math.erf((tolerance - error) / root) + math.erf((tolerance + error) / root))


def sprague_geers(model: Samples, reference: Samples) -> SpragueGeers:
    """Magnitude and phase error of a history against a reference of the same shape.

    With psi_cc, psi_mm and psi_mc the sums of model squared, reference squared and their product:
    M = sqrt(psi_cc / psi_mm) - 1, P = arccos(psi_mc / sqrt(psi_mm psi_cc)) / pi. A model that does not move has no
    phase: it counts as uncorrelated, 0.5 (harness choice). ValueError where the reference does not move.

    Source: Sprague and Geers, Int. J. Numer. Meth. Engng 60 (2004) 2467-2499 (from memory)."""
    return from_sums(float(reference @ reference), float(model @ model), float(reference @ model))


def from_sums(reference_squared: float, model_squared: float, product: float) -> SpragueGeers:
    """The same from the three sums."""
    if not reference_squared > 0.0:
        raise ValueError("the reference does not move: nothing to compare with")
    magnitude = math.sqrt(model_squared / reference_squared) - 1.0
    phase = 0.5
    if model_squared > 0.0:
        cosine = product / (math.sqrt(reference_squared) * math.sqrt(model_squared))
        phase = math.acos(min(1.0, max(-1.0, cosine))) / math.pi
    return SpragueGeers(magnitude, phase, math.hypot(magnitude, phase))


def theil(model: Samples, reference: Samples) -> Theil:
    """Theil's inequality coefficient U = rms(model - reference) / (rms model + rms reference), and the split of the
    mean square error: (difference of means)^2, (difference of standard deviations)^2 and
    2 (product of standard deviations - covariance), each over the whole.

    Source: Theil, Applied Economic Forecasting (1966) (from memory)."""
    error = model - reference
    square = float(np.mean(error * error))
    if square == 0.0:
        return Theil(0.0, 0.0, 0.0, 0.0)
    scale = math.sqrt(float(np.mean(model * model))) + math.sqrt(float(np.mean(reference * reference)))
    bias = float(model.mean() - reference.mean()) ** 2
    deviations = float(model.std()), float(reference.std())
    variance = (deviations[0] - deviations[1]) ** 2
    shared = float(np.mean((model - model.mean()) * (reference - reference.mean())))
    covariance = 2.0 * (deviations[0] * deviations[1] - shared)
    whole = bias + variance + covariance
    shares = (part / whole for part in (bias, variance, covariance)) if whole > 0.0 else (0.0, 0.0, 0.0)
    return Theil(math.sqrt(square) / scale, *shares)


def area_metric(model: Samples, reference: Samples) -> float:
    """Area between the distribution functions of two sets of values, in their unit: the integral of
    |F_model(x) - F_reference(x)| dx. The sets may differ in size; neither order nor time matters.

    Source: the area validation metric as in Advances in Mechanical Engineering 11 (2019),
    doi 10.1177/1687814019847411 (the integral from memory)."""
    places = np.sort(np.concatenate((model, reference)))
    ours, theirs = (
        np.searchsorted(np.sort(values), places[:-1], side="right") / values.size for values in (model, reference)
    )
    return float(np.sum(np.abs(ours - theirs) * np.diff(places)))


def outside_tube(
    times: Samples, model: Samples, reference_times: Samples, reference: Samples, *, early_late: float
) -> Samples:
    """How far each sample of ``model`` lies beyond the reference widened in time: 0 where some instant within
    ``early_late`` seconds has that value, else the distance to the nearest value the reference takes there.

    The reference is linear between its points and keeps its first and last value before and after them. Allowing for
    time as well as value keeps a short delay on a steep edge from counting as a wrong value. (Common practice for
    time histories in flight-simulator objective testing; the swept form is our own.)"""
    first = np.searchsorted(reference_times, times - early_late, side="left")
    last = np.searchsorted(reference_times, times + early_late, side="right")
    lowest, highest = (_over(reference, first, last, upper=upper) for upper in (False, True))
    for edge in (times - early_late, times + early_late):
        value = np.interp(edge, reference_times, reference)
        lowest, highest = np.minimum(lowest, value), np.maximum(highest, value)
    beyond: Samples = np.maximum(np.maximum(lowest - model, model - highest), 0.0)
    return beyond


def _over(values: Samples, first: np.ndarray, last: np.ndarray, *, upper: bool) -> Samples:
    """Largest or smallest of ``values[first:last]`` for each pair; minus or plus infinity where that is empty."""
    nothing = -math.inf if upper else math.inf
    reduced = (np.maximum if upper else np.minimum).reduceat(
        np.append(values, nothing), np.column_stack((first, last)).ravel()
    )[::2]
    found: Samples = np.where(first < last, reduced, nothing)
    return found


def overshoot(model: Samples, change: float) -> float:
    """How far the samples go beyond the end of their change, as a share of it; 0 when they never do. ``change`` is
    the increment at the end, of either sign. ValueError where there is none."""
    if change == 0.0:
        raise ValueError("no change: nothing to overshoot")
    return max(0.0, float((model / change).max()) - 1.0)


def settling_time(times: Samples, model: Samples, change: float, *, band: float) -> float | None:
    """Time after which the samples stay within ``band`` (a share of the change) of the end of their change; None when
    the last sample is still outside. ValueError where there is no change."""
    if change == 0.0:
        raise ValueError("no change: nothing to settle")
    out = np.flatnonzero(np.abs(model / change - 1.0) > band)
    if out.size == 0:
        return float(times[0])
    last = int(out[-1])
    return float(times[last + 1]) if last + 1 < times.size else None
