"""Fastest level speed by quadrature, polynomial roots and brentq, against the solver of the harness."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import asdict, replace
from functools import cache
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from leverproof.physics.level_flight.aeroplane import Aeroplane, air_at
from leverproof.physics.level_flight.top_speed import level_speed

from . import independent_flight as own
from .independent_gas import FOOT, HORSEPOWER, INCH, KNOT

TOLERANCE, SEED, TRIES = 1e-6, 4, 66
PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "level-flight.md"
SHIPPED = own.Craft(
    wing=1600.0 * FOOT**2, parasitic=0.028, induced=0.040, mass=95_000.0 * 0.45359237, engines=4.0,
    diameter=157.5 * INCH, reduction=0.5, solidity=0.15, section_drag=0.012, induced_factor=1.15,
)  # fmt: skip
Flight = tuple[own.Craft, float, float, float, float]


def flights() -> Iterator[Flight]:
    """Craft, power of each engine (W), crankshaft turns a second, pressure altitude (ft), offset (K)."""
    rng = np.random.default_rng(SEED)
    u = rng.uniform
    for _ in range(TRIES):
        mass, engines = u(1_500.0, 45_000.0), float(rng.integers(1, 5))
        craft = own.Craft(
            wing=mass / u(90.0, 320.0), parasitic=u(0.018, 0.04), induced=u(0.035, 0.06), mass=mass, engines=engines,
            diameter=u(2.5, 4.1), reduction=u(0.4, 0.6), solidity=u(0.08, 0.18), section_drag=u(0.008, 0.016),
            induced_factor=u(1.0, 1.3),
        )  # fmt: skip
        yield craft, mass * u(8.0, 30.0) * 9.8 / engines, u(28.0, 44.0), u(0.0, 25_000.0), u(-20.0, 25.0)


NAMES = {"wing": "wing_area", "parasitic": "zero_lift_drag", "induced": "induced_drag_factor"}


@cache
def harness(flight: Flight) -> float:
    """The harness's speed in m/s, NaN where it gives none."""
    craft, power, turns, altitude, offset = flight
    plane = Aeroplane(**{NAMES.get(k, k): v for k, v in asdict(craft).items()})
    return float(level_speed(plane, power, turns, air_at(altitude, offset)).true_airspeed)


@cache
def exact(flight: Flight) -> float:
    """The independent speed without a slip."""
    return ours(flight)


def ours(flight: Flight, slip: dict[str, float] | None = None) -> float:
    """The independent speed, NaN where there is none."""
    craft, power, turns, altitude, offset = flight
    found = own.level_speed(craft, power, turns, own.sky(altitude, offset), slip or {})
    return np.nan if found is None else found


def test_fifty_random_level_speeds() -> None:
    pairs = np.array([(exact(f), harness(f)) for f in flights()])
    assert np.array_equal(np.isnan(pairs[:, 0]), np.isnan(pairs[:, 1]))
    solved = pairs[~np.isnan(pairs[:, 0])]
    worst = np.max(np.abs(solved[:, 0] / solved[:, 1] - 1.0))
    print(f"{len(solved)} speeds, {TRIES - len(solved)} refused by both, worst {worst:.1e}")
    assert len(solved) >= 50
    assert worst < TOLERANCE


def solved_flights(count: int) -> list[Flight]:
    """The first flights for which the harness has a speed."""
    return list(islice((f for f in flights() if not np.isnan(harness(f))), count))


RELATIONS = ["parasitic", "induced", "weight", "blade drag", "swirl", "induced factor", "momentum"]


@pytest.mark.parametrize("relation", RELATIONS)
def test_a_slip_of_an_equation_is_seen(relation: str) -> None:
    some = solved_flights(3)
    seen = [abs(ours(f, {relation: 1.1}) / harness(f) - 1.0) for f in some]
    assert np.nanmax(seen) > 10.0 * TOLERANCE


@pytest.mark.parametrize(
    "field", ["wing", "parasitic", "mass", "diameter", "solidity", "section_drag", "induced_factor"]
)
def test_a_slip_of_a_datum_of_the_harness_is_seen(field: str) -> None:
    some = solved_flights(3)
    moved = [harness((replace(f[0], **{field: 1.1 * getattr(f[0], field)}), *f[1:])) for f in some]
    seen = [abs(exact(f) / m - 1.0) for f, m in zip(some, moved, strict=True)]
    assert np.nanmax(seen) > 10.0 * TOLERANCE


def test_the_tables_of_the_page() -> None:
    text = PAGE.read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([\d,]+) \| (\d{3}) \| (\d\d\.\d) \|$", text, re.MULTILINE)
    assert len(rows) == 5
    for height, speed, slope in rows:
        air = own.sky(float(height.replace(",", "")), 0.0)
        low, mid, high = (
            own.level_speed(SHIPPED, (2090.0 + d) * HORSEPOWER, 44.0, air) or np.nan for d in (-5.0, 0.0, 5.0)
        )
        assert mid / KNOT == pytest.approx(float(speed), abs=0.51)
        assert 10.0 / ((high - low) / KNOT) == pytest.approx(float(slope), abs=0.06)
    assert own.level_speed(SHIPPED, 2090.0 * HORSEPOWER, 44.0, own.sky(25_000.0, 0.0)) is None
