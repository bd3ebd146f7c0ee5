"""Surfaces: which numbers fall on one cell, and where engine speed counts as swept."""

from __future__ import annotations

import math
import random

import pytest

from leverproof.campaign.surfaces import CELLS, Grid, Key, levels, speed_of, surfaces

KEY: Key = ("Corrie", "sheet", "case", "reading", "run", "brake_power", "hp")
ALTITUDES = (0.0, 5000.0, 10000.0)


def test_readings_at_several_engine_speeds_make_one_surface() -> None:
    grid = Grid()
    for altitude in ALTITUDES:
        for speed in (2000.0, 2300.0, 2600.0):
            grid.add(speed - altitude / 10, altitude, speed + 2.0, name=f"at {speed:.0f}")
    (one,) = surfaces(KEY, grid)
    assert one.altitudes == ALTITUDES and one.speeds == (2002.0, 2302.0, 2602.0)
    assert {(c.altitude, c.speed): c.mean for c in one.cells}[1, 2] == 2100.0
    assert one.name == "run" and len(one.cells) == 9


def test_readings_at_one_engine_speed_are_curves_of_their_own() -> None:
    grid = Grid()
    for altitude in ALTITUDES:
        grid.add(1.0, altitude, 2600.0, name="together")
        grid.add(2.0, altitude, 2600.0, name="throttle first")
    told = surfaces(KEY, grid)
    assert [(s.name, s.speeds, {c.mean for c in s.cells}) for s in told] == [
        ("run/throttle first", (), {2.0}), ("run/together", (), {1.0})
    ]  # fmt: skip


def test_engine_speed_that_follows_altitude_is_not_swept() -> None:
    grid = Grid()
    for i, altitude in enumerate(ALTITUDES):
        grid.add(1.0, altitude, 2600.0 - 200.0 * i, name="settled")
    (one,) = surfaces(KEY, grid)
    assert one.speeds == () and len(one.cells) == 3 and one.name == "run/settled"


def test_one_altitude_or_unknown_speeds() -> None:
    grid = Grid()
    grid.add(1.0, 0.0, 2600.0)
    assert surfaces(KEY, grid) == []
    grid.add(3.0, 8000.0, None)
    (one,) = surfaces(KEY, grid)
    assert one.speeds == () and [c.mean for c in one.cells] == [1.0, 3.0]


def test_a_cell_tells_mean_spread_and_what_does_not_pass() -> None:
    grid = Grid()
    for value, failing in ((1.0, False), (2.0, True), (6.0, False)):
        grid.add(value, 0.0, None, failing=failing)
    grid.add(9.0, 5000.0, None)
    cell = surfaces(KEY, grid)[0].cells[0]
    assert (cell.mean, cell.low, cell.high, cell.count, cell.failing) == (3.0, 1.0, 6.0, 3, 1)


def test_many_places_widen_the_cells_and_order_changes_nothing() -> None:
    drawn = random.Random(2)
    places = [(drawn.random(), drawn.uniform(0, 30000), drawn.uniform(1500, 2700)) for _ in range(20000)]
    one, other = Grid(), Grid()
    for place in places:
        one.add(*place)
    drawn.shuffle(places)
    for place in places:
        other.add(*place)
    assert one.cells == other.cells and len(one.cells) <= CELLS
    (surface,) = surfaces(KEY, one)
    assert surface == surfaces(KEY, other)[0]
    assert len(surface.altitudes) <= 24 and 2 <= len(surface.speeds) <= 12
    assert sum(c.count for c in surface.cells) == 20000


def test_levels_hold_what_is_close_and_part_what_is_not() -> None:
    assert levels([10000.0, 10100.0, 9950.0, 15000.0], 250.0, 24) == pytest.approx((10016.67, 15000.0), abs=0.01)
    assert len(levels([float(i) for i in range(1000)], 1.0, 24)) <= 24
    assert levels([], 1.0, 24) == ()


def test_the_speed_of_a_point_is_one_on_which_its_readings_agree() -> None:
    assert speed_of({"run/a": {"engine_speed": 2600.0}, "run/b": {"engine_speed": 2610.0}}) == 2605.0
    assert speed_of({"run/a": {"engine_speed": 2600.0}, "run/b": {"engine_speed": 2400.0}}) is None
    assert speed_of({"run/a": {"engine_speed": 2600.0}, "run/b": {}}) is None
    assert speed_of({"run/a": {"engine_speed": math.nan}}) is None
    assert speed_of({}) is None
