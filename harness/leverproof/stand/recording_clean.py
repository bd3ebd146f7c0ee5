"""The clock and the values of a recorded file, mended where that is honest and refused where it is not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from leverproof.channels import CHANNELS
from leverproof.errors import InputError
from leverproof.stand.port import Array

MOST_MENDED = 0.05
MOST_STEPS_BACK = 0.01
LEAST_SECONDS = 5.0
OUTSIDE = 0.02
"""Harness choices: at most 5 % of the rows may lack a time or repeat one, at most 1 % may step back; less than one
steadiness window is no recording; a lever may read 2 % of its travel beyond its stops."""


@dataclass(frozen=True)
class Samples:
    """What was recorded: ``times`` (s, rising between cuts), values by channel (canonical unit; NaN where nothing was
    recorded, infinite where the model gave no number); row i begins a new part of the clock where ``cuts`` says so."""

    times: Array
    values: Mapping[str, Array]
    cuts: NDArray[np.bool_]
    warnings: tuple[str, ...]


def clean(times: Array, values: Mapping[str, Array], where: str) -> Samples:
    """The samples with a usable clock. Raises :class:`InputError` when too much is wrong with it, when there are too
    few rows and when a lever lies outside its travel."""
    warnings: list[str] = []
    if times.size < 2:
        raise _refused(f"{times.size} rows are too few", where, "record at least some minutes of flying")
    keep = _timed(times, where, warnings)
    times, values = times[keep], {name: column[keep] for name, column in values.items()}
    keep = _once(times, where, warnings)
    times, values = times[keep], {name: column[keep] for name, column in values.items()}
    back = np.flatnonzero(np.diff(times) < 0.0) + 1
    if back.size > max(3, MOST_STEPS_BACK * times.size):
        raise _refused(f"the time runs back {back.size} times in {times.size} rows", where, "sort the rows by time")
    if back.size:
        warnings.append(
            f"the time runs back {back.size} times, first at {times[back[0]]:g} s: the recording is cut there"
        )
    cuts = np.zeros(times.size, dtype=np.bool_)
    cuts[back] = True
    for name, column in values.items():
        _in_range(name, column, where)
    if times.size < 2 or not np.any(np.diff(times) > 0.0):
        raise _refused(f"{times.size} rows with a time of their own are too few", where, "record some minutes")
    return Samples(times, values, cuts, tuple(warnings))


def _timed(times: Array, where: str, warnings: list[str]) -> NDArray[np.bool_]:
    good: NDArray[np.bool_] = np.isfinite(times)
    lost = int(times.size - good.sum())
    if lost > MOST_MENDED * times.size:
        raise _refused(f"{lost} of {times.size} rows have no time", where, "name the column that holds the time")
    if lost:
        warnings.append(f"{lost} rows without a time were left out")
    return good


def _once(times: Array, where: str, warnings: list[str]) -> NDArray[np.bool_]:
    """Of rows with one time the last is kept."""
    good = np.ones(times.size, dtype=np.bool_)
    good[:-1] = np.diff(times) != 0.0
    lost = int(times.size - good.sum())
    if lost > MOST_MENDED * times.size:
        raise _refused(
            f"{lost} of {times.size} rows repeat the time of the row before",
            where,
            "record a finer clock, or name another time column",
        )
    if lost:
        warnings.append(f"{lost} rows repeat the time of the row after them and were left out")
    return good


def _in_range(name: str, column: Array, where: str) -> None:
    ours = CHANNELS[name]
    if np.isnan(column).all():
        raise _refused(f"the column for {name} holds no value", where, "leave the channel out of the stand file")
    if ours.kind == "reading":
        return
    if np.isinf(column).any():
        raise _refused(f"{name} is not a finite number in row {int(np.flatnonzero(np.isinf(column))[0]) + 1}", where)
    if not ours.states and ours.unit == "1":
        low, high = float(np.nanmin(column)), float(np.nanmax(column))
        if low < -OUTSIDE or high > 1.0 + OUTSIDE:
            raise _refused(
                f"{name} goes from {low:g} to {high:g}; it should stay between 0 and 1",
                where,
                "say unit = '%' for a percentage, or give scale and offset",
            )


def _refused(words: str, where: str, hint: str = "") -> InputError:
    return InputError(words, where, hint, "recording")
