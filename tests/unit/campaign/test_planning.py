"""Plans put together from parts are those that planning from the beginning gives."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache

import pytest

from leverproof.campaign.expand import bound, points
from leverproof.campaign.model import Item, Swept
from leverproof.campaign.planning import Planner, _put, stated
from leverproof.cases.catalogue import Catalogue, load_catalogue
from leverproof.conduct.plan import Ground, plan_case
from leverproof.record.plain import to_plain
from leverproof.sheet.loader import load_sheet
from leverproof.stand.mount import mount
from leverproof.stand.port import StandFile

FREE = {
    "pressure_altitude": (1500.0, 9100.0, 4100.0),
    "temperature_offset": (-8.0, 7.0, 0.0),
    "true_airspeed": (155.0, 90.5, 33.0),
}


@cache
def library() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="module")
def ground() -> Ground:
    from leverproof.engine_stage import ground_of

    stand = StandFile("embedded", "embedded", "reference_engine", "corrie-18-early")
    with mount(stand, defect=None) as mounted:
        return ground_of(load_sheet("corrie-18-early"), mounted, 1)


def test_every_shipped_case_away_from_home(ground: Ground) -> None:
    cases = {case.id: case for case in library().cases}
    planner = Planner(cases, ground)
    seen: Counter[bool] = Counter()
    for case in cases.values():
        free = {name: values for name, values in FREE.items() if not bound(case, name)}
        for k in (0, 1, 2, 0):
            asked = {name: values[k] for name, values in free.items()}
            away = frozenset(name for name, value in asked.items() if value != stated(case, name))
            direct = plan_case(_put(case, asked, away), ground)
            found = planner.plan(Item("0", 0, "s", case.id, asked))
            known = replace(found, case=replace(found.case, surroundings=direct.case.surroundings))
            assert to_plain(known) == to_plain(direct), case.id
            seen[any(p.surroundings.get(n) == v for p in found.points for n, v in asked.items())] += 1
    assert seen[True] > 200


def test_a_case_binds_what_it_sweeps_takes_from_the_sheet_or_moves() -> None:
    cases = {case.id: case for case in library().cases}
    told = {bound(case, "pressure_altitude").split(" pressure")[0] for case in cases.values()}
    assert {"", "sweeps", "takes"} <= told
    assert "in the run" in bound(cases["humid-day"], "relative_humidity")


def test_points_are_every_combination_of_what_is_free() -> None:
    swept = (Swept("pressure_altitude", (0.0, 1.0, 2.0)), Swept("temperature_offset", (0.0, 5.0)))
    cases = {case.id: case for case in library().cases}
    free = next(c for c in cases.values() if not any(bound(c, axis.name) for axis in swept))
    assert len(list(points(free, swept))) == 6
    one = next(c for c in cases.values() if bound(c, "pressure_altitude") and not bound(c, "temperature_offset"))
    assert list(points(one, swept)) == [{"temperature_offset": 0.0}, {"temperature_offset": 5.0}]


def test_what_is_required_ofstated_numbers_is_advisory_away_from_home() -> None:
    case = next(c for c in library().cases if any(j.basis in ("published", "sheet", "practice") for j in c.judgements))
    home = _put(case, {"true_airspeed": 3.0}, frozenset())
    away = _put(case, {"true_airspeed": 3.0}, frozenset({"true_airspeed"}))
    assert home == case
    for before, after in zip(case.judgements, away.judgements, strict=True):
        stays = before.basis in ("standard", "predicted") or (before.basis == "physics" and before.at_least is None)
        assert after.weight == (before.weight if stays else "advisory")


def test_the_size_of_an_effect_was_stated_for_its_own_place_and_its_sign_was_not() -> None:
    away = {
        f"{case.id}/{j.id}": j.weight
        for case in library().cases
        for j in _put(case, {"pressure_altitude": 0.0}, frozenset({"pressure_altitude"})).judgements
    }
    # 0.5 inHg at 17,000 ft; 2 hp for each inHg where that is exercised; what the air itself says
    assert away["back-off-order/deck-pressure"] == "advisory"
    assert away["split-lever-advantage/power"] == "required"
    assert away["stopped-manifold-pressure/manifold-pressure"] == "required"
