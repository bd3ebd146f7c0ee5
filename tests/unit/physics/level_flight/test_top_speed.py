"""Top level speed against points worked by hand, a second solution of the same equations, and its limits."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from leverproof.atmosphere import GRAVITY
from leverproof.physics.level_flight.aeroplane import DATA, Aeroplane, Air, aeroplane, air_at
from leverproof.physics.level_flight.knots import NoLevelSpeedError, speeds, spread_of_difference
from leverproof.physics.level_flight.top_speed import (
    LIFT_LIMIT,
    MACH_LIMIT,
    REASONS,
    TIP_MACH_LIMIT,
    drag,
    level_speed,
)
from leverproof.sheet.loader import load_sheet
from leverproof.sheet.vocabulary import NUMBERS

HP, KT = 745.699871582, 1852.0 / 3600.0
SURVEY = Aeroplane(
    wing_area=132.0, zero_lift_drag=0.026, induced_drag_factor=0.04, mass=40_000.0, engines=4.0,
    diameter=4.0, reduction=0.5, solidity=0.15, section_drag=0.012, induced_factor=1.15,
)  # fmt: skip
HIGH = Air(0.7708, 322.2)
TURNS = 44.0


def power_needed(plane: Aeroplane, speed: float, air: Air, turns: float = TURNS) -> float:
    """Shaft power of each engine for level flight at a speed: the other way round than the solver goes, in SI and
    without coefficients, with the swirl's quadratic in power solved by hand."""
    rotation = 2.0 * math.pi * turns * plane.reduction
    radius = plane.diameter / 2.0
    disc = math.pi * radius**2
    pull = drag(plane, speed, air.density) / plane.engines
    added = math.sqrt(speed**2 / 4.0 + pull / (2.0 * air.density * disc)) - speed / 2.0
    x, weight = np.polynomial.legendre.leggauss(24)
    along = (x + 1.0) / 2.0 * rotation * radius
    strips = float(np.sum(weight / 2.0 * (speed**2 + along**2) ** 1.5))
    blades = 0.5 * air.density * plane.section_drag * plane.solidity * disc * strips
    before_swirl = pull * (speed + plane.induced_factor * added) + blades
    swirl = 1.0 / (rotation**2 * air.density * speed * math.pi * radius**4)
    return (1.0 - math.sqrt(1.0 - 4.0 * swirl * before_swirl)) / (2.0 * swirl)


def second_solution(plane: Aeroplane, power: float, air: Air) -> float:
    low = math.sqrt(2.0 * plane.mass * GRAVITY / (air.density * plane.wing_area * LIFT_LIMIT))
    high = MACH_LIMIT * air.sound
    least = minimize_scalar(lambda v: power_needed(plane, v, air), bounds=(low, high), method="bounded").x
    return float(brentq(lambda v: power_needed(plane, v, air) - power, least, high, xtol=1e-12, rtol=1e-14))


def test_drag_worked_by_hand() -> None:
    """150 m/s, 0.8 kg/m3: q S = 1,188,000 N; CL = 392,266/1,188,000 = 0.330190; CD = 0.026 + 0.04 x 0.109025."""
    assert drag(SURVEY, 150.0, 0.8) == pytest.approx(1_188_000.0 * (0.026 + 0.04 * 0.1090257), rel=1e-6)


def test_a_speed_worked_by_hand() -> None:
    """No induced drag, ideal propeller but for its swirl and thrust loading: eta P = D V with D = q S CD0.

    With rho = 0.8 and S CD0 = 3.6 m2 at 150 m/s: D = 32,400 N, 8,100 N each. Momentum: A = 12.566 m2,
    v = sqrt(75^2 + 8,100/(1.6 x 12.566)) - 75 = 2.63930 m/s, T (V + v) = 1,236,378 W. Swirl: Omega = 138.230, power
    P^2/(19,107.6 x 0.8 x 150 x 50.2655) = 8.6763e-9 P^2. P - 8.6763e-9 P^2 = 1,236,378 gives P = 1,249,934 W.
    """
    plane = replace(
        SURVEY,
        wing_area=90.0,
        zero_lift_drag=0.04,
        induced_drag_factor=0.0,
        section_drag=0.0,
        induced_factor=1.0,
    )
    found = level_speed(plane, 1_249_934.0, TURNS, Air(0.8, 330.0))
    assert float(found.true_airspeed) == pytest.approx(150.0, abs=1e-4)


@pytest.mark.parametrize("seed", range(8))
def test_a_second_solution_of_the_same_equations(seed: int) -> None:
    random = np.random.default_rng(seed)
    low = [90.0, 0.018, 0.03, 25_000.0, 1.0, 3.3, 0.42, 0.08, 0.008, 1.0]
    high = [180.0, 0.035, 0.06, 45_000.0, 1.0, 3.9, 0.48, 0.2, 0.02, 1.4]
    values = random.uniform(low, high)
    values[4] = 4.0
    plane = Aeroplane(*map(float, values))
    air = air_at(float(random.uniform(0.0, 25_000.0)), float(random.uniform(-20.0, 20.0)))
    power = random.uniform(900.0, 1700.0, 6) * HP
    found = level_speed(plane, power, TURNS, air)
    solved = found.reason == 0
    assert solved.sum() >= 3
    for watts, speed in zip(power[solved], found.true_airspeed[solved], strict=True):
        assert speed == pytest.approx(second_solution(plane, watts, air), rel=1e-8)
    assert (found.residual[solved] <= 1e-9).all()


def test_more_power_is_more_speed_and_the_slope_is_its_derivative() -> None:
    power = np.linspace(950.0, 2300.0, 33) * HP
    found = level_speed(SURVEY, power, TURNS, HIGH)
    assert (found.reason == 0).all() and (np.diff(found.true_airspeed) > 0.0).all()
    step = 1e-4 * power
    above, below = (level_speed(SURVEY, power + s, TURNS, HIGH).true_airspeed for s in (step, -step))
    assert found.slope == pytest.approx((above - below) / (2.0 * step), rel=1e-5)


def test_the_fastest_of_the_two_speeds_is_found() -> None:
    """Just above the least power there are two; below it none."""
    slow = replace(SURVEY, induced_drag_factor=0.07)
    least = minimize_scalar(lambda v: power_needed(slow, v, HIGH), bounds=(75.0, 150.0), method="bounded")
    short = level_speed(slow, 0.9999 * least.fun, TURNS, HIGH)
    assert "does not carry" in REASONS[int(short.reason)]
    for margin in (1.0001, 1.003):
        found = level_speed(slow, margin * least.fun, TURNS, HIGH)
        speed = float(found.true_airspeed)
        assert speed > least.x and power_needed(slow, speed, HIGH) == pytest.approx(
            margin * least.fun, rel=1e-8
        )


def test_a_point_does_not_depend_on_its_neighbours() -> None:
    power = np.array([400.0, 1500.0, np.nan, 2000.0, 9000.0]) * HP
    together = level_speed(SURVEY, power, TURNS, HIGH).true_airspeed
    alone = [float(level_speed(SURVEY, p, TURNS, HIGH).true_airspeed) for p in power]
    np.testing.assert_array_equal(together, alone)


@pytest.mark.parametrize(
    ("power", "turns", "air", "words"),
    [
        (math.nan, TURNS, HIGH, "finite and above zero"),
        (0.0, TURNS, HIGH, "finite and above zero"),
        (-100.0, TURNS, HIGH, "finite and above zero"),
        (1500.0, math.inf, HIGH, "finite and above zero"),
        (300.0, TURNS, HIGH, "does not carry the aeroplane"),
        (9000.0, 35.0, HIGH, "drag polar"),
        (4000.0, TURNS, HIGH, "blade tips pass"),
        (1500.0, 60.0, HIGH, "the air limits leave no speed"),
        (1500.0, TURNS, Air(0.1, 295.0), "the air limits leave no speed"),
    ],
)
def test_where_there_is_no_speed_it_says_why(power: float, turns: float, air: Air, words: str) -> None:
    found = level_speed(SURVEY, power * HP, turns, air)
    assert words in REASONS[int(found.reason)]
    assert np.isnan(found.true_airspeed) and np.isnan(found.slope)


def test_limits_are_kept() -> None:
    found = level_speed(SURVEY, np.linspace(500.0, 9000.0, 40) * HP, np.array([[35.0], [44.0]]), HIGH)
    good = found.reason == 0
    assert good.any() and not good.all()
    assert (found.mach[good] <= MACH_LIMIT).all() and (found.tip_mach[good] <= TIP_MACH_LIMIT).all()
    assert (found.lift_coefficient[good] <= LIFT_LIMIT).all() and (found.efficiency[good] < 1.0).all()


def test_the_sheets_vocabulary_and_the_aeroplanes_agree() -> None:
    sections = {f"{s}.{k}": unit for s in ("airframe", "propeller") for k, unit in NUMBERS[s].items()}
    assert {path: theirs for path, (theirs, _) in DATA.items()} == sections


def sheet_data() -> tuple[dict[str, float], dict[str, float | None]]:
    sheet = load_sheet("corrie-18-early")
    found = {path: sheet.data[path] for path in DATA}
    return {p: float(d.value) for p, d in found.items()}, {p: d.doubt for p, d in found.items()}


@pytest.mark.parametrize("name", ["corrie-18-early", "corrie-18-late"])
def test_by_hand_level_speed_sees_three_hundred_horsepower_and_not_thirty(name: str) -> None:
    """Two speeds read to 3 kt: 4.24 kt. What that is in power is worked here by solving twice, not by the slope."""
    sheet = load_sheet(name)
    data = {path: float(sheet.data[path].value) for path in DATA}
    power, turns = (float(sheet.data[f"takeoff.{key}"].value) for key in ("brake_power", "engine_speed"))
    lost = [
        float(speeds(data, p, turns, air_at(15_000.0)).true_airspeed)
        for p in (power, power - 30, power - 300)
    ]
    seen = math.sqrt(2.0) * 3.0
    assert lost[0] - lost[1] < 0.6 * seen < 2.0 * seen < lost[0] - lost[2]


def test_speeds_names_the_power_that_holds_none() -> None:
    data, _ = sheet_data()
    with pytest.raises(NoLevelSpeedError, match=r"300 hp of each engine: the power does not carry"):
        speeds(data, np.array([2000.0, 300.0]), 2640.0, air_at(15_000.0))


def test_doubt_in_the_aeroplane_cancels_in_a_difference() -> None:
    data, doubts = sheet_data()
    air = air_at(15_000.0)
    widths = spread_of_difference(data, doubts, (2100.0, 2640.0), (2000.0, 2640.0), air)
    assert set(widths) == {path for path in DATA if doubts[path] != 0.0}
    path = "airframe.zero_lift_drag"
    apart, alone = [], []
    for sign in (1.0, -1.0):
        moved = {**data, path: data[path] + sign * (doubts[path] or 0.0)}
        pair = speeds(moved, np.array([2100.0, 2000.0]), 2640.0, air).true_airspeed
        apart.append(pair[0] - pair[1])
        alone.append(pair[0])
    assert widths[path] == pytest.approx(abs(apart[0] - apart[1]) / 2.0, rel=1e-9)
    assert (widths[path] or math.inf) < 0.05 * abs(alone[0] - alone[1])


def test_a_doubt_nobody_stated_is_not_determined() -> None:
    data, doubts = sheet_data()
    widths = spread_of_difference(
        data, {**doubts, "airframe.mass": None}, (2100.0, 2640.0), (2000.0, 2640.0), HIGH
    )
    assert widths["airframe.mass"] is None and widths["airframe.zero_lift_drag"] is not None
    nobody = dict.fromkeys(DATA)
    assert spread_of_difference(data, nobody, (2100.0, 2640.0), (2000.0, 2640.0), HIGH) == nobody


def test_units_of_the_sheet() -> None:
    plane = aeroplane(sheet_data()[0])
    assert plane.wing_area == pytest.approx(1600.0 * 0.3048**2)
    assert plane.mass == pytest.approx(95_000.0 * 0.45359237)
    assert plane.diameter == pytest.approx(157.5 * 0.0254)
    found = speeds(sheet_data()[0], 2000.0, 2640.0, HIGH)
    metric = level_speed(plane, 2000.0 * HP, TURNS, HIGH)
    assert float(found.true_airspeed) == pytest.approx(float(metric.true_airspeed) / KT, rel=1e-9)
    assert float(found.slope) == pytest.approx(float(metric.slope) * HP / KT, rel=1e-9)
