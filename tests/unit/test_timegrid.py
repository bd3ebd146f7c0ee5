"""Ticks, durations and grids."""

from __future__ import annotations

import pytest

from leverproof.errors import InputError
from leverproof.timegrid import CONTROL_TICKS, TICKS_PER_SECOND, TimeGrid, ticks

DIVISORS = [n for n in range(1, CONTROL_TICKS + 1) if CONTROL_TICKS % n == 0]


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("0.5 s", 18_000),
        ("90 s", 3_240_000),
        ("1.5 min", 3_240_000),
        ("5 min", 10_800_000),
        ("1 h", 129_600_000),
        ("12.5 s", 450_000),
        ("0.1 min", 216_000),
    ],
)
def test_durations_become_whole_ticks(text: str, whole: int) -> None:
    assert ticks(text) == whole


@pytest.mark.parametrize("text", ["0 s", "-5 s", "0.25 s", "0.7 s", "1e-9 s", "0.50001 s", "90.4999999 s"])
def test_durations_off_the_half_second_are_refused(text: str) -> None:
    with pytest.raises(InputError) as caught:
        ticks(text, "case.toml: limit")
    assert caught.value.code == "duration" and caught.value.where == "case.toml: limit"


@pytest.mark.parametrize("text", ["90 ft", "90", 90, True, "nan s", "inf s", "90 seconds", "1e308 h", None])
def test_things_that_are_no_duration_are_refused(text: object) -> None:
    with pytest.raises(InputError):
        ticks(text)


def test_every_half_second_up_to_an_hour_is_exact() -> None:
    for halves in range(1, 7_201, 7):
        assert ticks(f"{halves / 2} s") == halves * CONTROL_TICKS


@pytest.mark.parametrize("step", DIVISORS)
def test_every_divisor_of_the_control_step_is_a_grid(step: int) -> None:
    grid = TimeGrid(step)
    assert grid.rows_per_control * step == CONTROL_TICKS
    assert grid.rows(ticks("90 s")) == 180 * grid.rows_per_control
    assert grid.seconds(grid.rows(ticks("90 s"))) == 90.0


@pytest.mark.parametrize("step", [0, -1, -1_800, 7, 17_999, 18_001, 36_000])
def test_other_steps_are_refused(step: int) -> None:
    with pytest.raises(InputError) as caught:
        TimeGrid(step)
    assert caught.value.code == "grid"


@pytest.mark.parametrize(
    ("text", "step"), [("0.05 s", 1_800), ("0.025 s", 900), ("0.02 s", 720), ("0.5 s", 18_000)]
)
def test_grids_are_read_as_written(text: str, step: int) -> None:
    assert TimeGrid.parse(text).step == step


@pytest.mark.parametrize(
    "text", ["0.03333 s", "0.3 s", "1 s", "0 s", "-0.05 s", "20 rpm", "0.05", "1e308 h", True]
)
def test_other_grids_are_refused(text: object) -> None:
    with pytest.raises(InputError):
        TimeGrid.parse(text, "stand.toml")


def test_a_refused_grid_names_its_file() -> None:
    with pytest.raises(InputError) as caught:
        TimeGrid.parse("0.3 s", "stand.toml: grid_step")
    assert caught.value.where == "stand.toml: grid_step"


def test_seconds_are_computed_and_never_summed() -> None:
    grid = TimeGrid(720)
    assert grid.seconds(3_600_000) == 72_000.0
    assert [grid.seconds(row) for row in range(0, 100, 50)] == [0.0, 1.0]
    assert TICKS_PER_SECOND == 2 * CONTROL_TICKS
