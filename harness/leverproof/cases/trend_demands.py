"""What a trend must say, and over how many points."""

from __future__ import annotations

from leverproof.cases.model import Judgement, ReferenceCase
from leverproof.errors import InputError

LEAST_POINTS = 3


def check_trend(judgement: Judgement, case: ReferenceCase, where: str) -> None:
    """Raises :class:`InputError` for a trend that could not fail, or that could never be judged."""
    by_sweep = judgement.reading is not None and bool(judgement.over)
    stray = bool(judgement.readings) and (judgement.reading is not None or bool(judgement.over))
    if by_sweep == bool(judgement.readings) or stray:
        raise InputError(
            "a trend is over a sweep (reading, over) or over readings",
            where,
            "give reading and over, or readings alone",
            "demand",
        )
    if judgement.span is not None and not by_sweep:
        raise InputError("a span is part of a sweep", f"{where}.span", "give reading and over", "demand")
    if by_sweep and case.sweep is not None and _points_judged(judgement, case) < LEAST_POINTS:
        raise InputError(
            "a trend needs at least three points",
            where,
            "add points to the sweep, or widen the span",
            "demand",
        )
    if judgement.direction == "constant":
        if judgement.tolerance is None:
            raise InputError("a constant trend needs a tolerance", where, "add tolerance, with its reason", "demand")
        return
    if judgement.least_step is None:
        raise InputError(
            "a trend declares its least step",
            f"{where}.least_step",
            "say what a step must be at least, such as least_step = '1 hp'",
            "demand",
        )
    stated = judgement.least_step.quantity
    if stated is not None and stated.value <= 0.0:
        raise InputError(
            "a least step must be above zero",
            f"{where}.least_step",
            "say what a step must be at least, such as '1 hp'; direction says which way",
            "range",
        )


def _points_judged(judgement: Judgement, case: ReferenceCase) -> int:
    """Points of the sweep inside the span, with the off-points that are sure to fall there."""
    sweep = case.sweep
    if sweep is None:
        return 0
    low, high = -float("inf"), float("inf")
    if judgement.span is not None:
        low, high = (bound.quantity.value for bound in judgement.span if bound.quantity is not None)
    inside = sum(low <= point.value <= high for point in sweep.points)
    if sweep.low is not None and sweep.high is not None and low <= sweep.low.value and sweep.high.value <= high:
        inside += sweep.off_points
    return inside
