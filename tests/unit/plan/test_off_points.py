"""Off-points: drawn by the seed and the case alone, inside the interval, never a stated point."""

from collections.abc import Callable

import pytest

from leverproof.cases.model import ReferenceCase
from leverproof.conduct.model import Point
from leverproof.conduct.plan import Ground, plan_case

Cases = Callable[..., ReferenceCase]
Grounds = Callable[..., Ground]
SWEEP = '[sweep.altitude]\npoints = ["0 ft", "5000 ft", "10000 ft"]\nbetween = [{low}, {high}]\noff_points = {n}\n'


def drawn(case: ReferenceCase, ground: Ground) -> list[Point]:
    return [point for point in plan_case(case, ground).points if point.off_point]


@pytest.fixture
def swept(case_of: Cases) -> Callable[..., ReferenceCase]:
    def make(
        case_id: str = "made-up", low: str = '"1000 ft"', high: str = '"9000 ft"', n: int = 3
    ) -> ReferenceCase:
        sweep = SWEEP.format(low=low, high=high, n=n)
        return case_of(case_id=case_id, sweep=sweep, altitude='{ sweep = "altitude" }')

    return make


def test_same_seed_same_points_and_other_seed_others(swept: Cases, ground_of: Grounds) -> None:
    first = [p.variable for p in drawn(swept(), ground_of(seed=7))]
    assert len(first) == 3
    assert first == [p.variable for p in drawn(swept(), ground_of(seed=7))]
    assert not set(first) & {p.variable for p in drawn(swept(), ground_of(seed=8))}


def test_other_cases_draw_other_points_and_change_none(swept: Cases, ground_of: Grounds) -> None:
    alone = [p.variable for p in drawn(swept("one-case"), ground_of())]
    beside = {name: drawn(swept(name), ground_of()) for name in ("another-case", "one-case")}
    assert alone == [p.variable for p in beside["one-case"]]
    assert not set(alone) & {p.variable for p in beside["another-case"]}


@pytest.mark.parametrize("seed", range(40))
def test_points_lie_inside_and_are_new(seed: int, swept: Cases, ground_of: Grounds) -> None:
    case = swept(low='"4996.3 ft"', high='"5003.7 ft"', n=8)
    points = plan_case(case, ground_of(seed=seed)).points
    found = [p.variable for p in points if p.off_point]
    assert len(set(found)) == len(found) == 8
    assert all(4996.3 <= v <= 5003.7 and v != 5000.0 for v in found)
    assert [p.variable for p in points] == sorted(p.variable for p in points)
    assert [p.index for p in points] == list(range(11))


def test_points_reach_surroundings_and_label(swept: Cases, ground_of: Grounds) -> None:
    for point in drawn(swept(), ground_of()):
        assert point.surroundings["pressure_altitude"] == point.variable
        assert point.variable == round(point.variable, -1)
        assert point.label == f"altitude {point.variable:,.0f} ft"


def test_programs_are_made_for_every_point_and_run(swept: Cases, ground_of: Grounds) -> None:
    planned = plan_case(swept(), ground_of())
    assert [program.key for program in planned.programs] == [("made-up", i, "one") for i in range(6)]
    starts = [program.start["pressure_altitude"] for program in planned.programs]
    assert starts == [point.variable for point in planned.points]
