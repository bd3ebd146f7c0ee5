"""Numbers over versions: a slope that is sure, how long until it is out, and where a series begins anew."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from leverproof.baseline.accept import Wish, accept
from leverproof.baseline.drift import Spot, drift_of, drifting, past
from leverproof.baseline.store import read_baseline, read_versions

from .invented import Change, Flight, Samples, write


def spots(values: list[float], low: float | None = 38.0, high: float | None = 42.0) -> list[Spot]:
    return [Spot(index + 1, value, low, high) for index, value in enumerate(values)]


def test_a_slow_drift_is_seen_and_counted_before_it_fails() -> None:
    found = drift_of(spots([40.0, 40.2, 40.4, 40.6, 40.8, 41.0]), 2.0)
    assert found is not None
    assert found.slope == pytest.approx(0.2) and found.tolerances == pytest.approx(0.1)
    assert found.versions == 6 and found.left == 5
    down = drift_of(spots([40.0, 39.7, 39.4]), 2.0)
    assert down is not None and down.left == 5 and down.slope == pytest.approx(-0.3)


@pytest.mark.parametrize(
    "values",
    [
        [40.0, 40.5],
        [40.0, 40.0, 40.0, 40.0],
        [40.0, 40.6, 39.8, 40.3, 40.1, 40.2],
        [40.0, 40.01, 40.02, 40.03, 40.04],
        [40.0, 41.5, 40.0, 41.5, 40.0, 41.5],
    ],
)
def test_too_few_still_and_wandering_numbers_do_not_drift(values: list[float]) -> None:
    assert drift_of(spots(values), 2.0) is None


def test_away_from_the_only_edge_nothing_is_left_to_count() -> None:
    away = drift_of(spots([1.0, 2.0, 3.0], low=0.5, high=None), None)
    assert away is not None and away.left is None and away.tolerances is None
    towards = drift_of(spots([5.0, 4.0, 3.0], low=0.5, high=None), None)
    assert towards is not None and towards.left == 3


def test_out_already_has_none_left() -> None:
    found = drift_of(spots([41.0, 42.0, 43.0]), 2.0)
    assert found is not None and found.left == 0


def test_the_noise_of_a_slope_decides() -> None:
    """Noise alone, a thousand times: at least seven in eight times no drift is called (three points are few)."""
    random = np.random.default_rng(7)
    called = sum(drift_of(spots(list(40.0 + 0.3 * random.normal(size=8))), 2.0) is not None for _ in range(1_000))
    assert called < 125


def richer(step: int) -> Change:
    def change(run: str, data: dict[str, Samples]) -> None:
        data["manifold_pressure"] += 0.05 * step

    return change


def test_six_versions_each_inside_tolerance_and_one_headline(tmp_path: Path) -> None:
    """Each version passes the check against the one before, and still the history says where that leads."""
    from leverproof.baseline.check import check

    for step in range(6):
        record = write(tmp_path / str(step), Flight(change=richer(step), date=f"2026-03-0{step + 1}T00:00:00+00:00"))
        if step:
            assert check(record, read_baseline(tmp_path / "held")).standing == "within tolerance"
        accept(record, tmp_path / "held", Wish("Ann", f"version {step} of the manifold"))
    kept = read_baseline(tmp_path / "held")
    found = past(kept, read_versions(kept))
    moving = drifting(found)
    judged = [series for series in moving if series.kind == "judged"]
    assert [series.key for series in judged] == ["boost-up/pressure/"]
    drift = judged[0].drift
    assert drift is not None and drift.slope == pytest.approx(0.05, rel=1e-3)
    assert drift.left == 16 and len(judged[0].spots) == 6
    assert judged[0].uses == ("boost-up/00/up/settled/manifold_pressure",)
    readings = [series for series in moving if series.kind == "reading"]
    assert [series.channel for series in readings] == ["manifold_pressure"]
    assert readings[0].drift is not None and readings[0].drift.left == 0


def test_a_case_asked_otherwise_begins_a_new_series(tmp_path: Path) -> None:
    for step in range(6):
        flight = Flight(change=richer(4 * step), tolerance=5.0 if step < 3 else 4.0)
        accept(write(tmp_path / str(step), flight), tmp_path / "held", Wish("Ann", f"version {step}"))
    kept = read_baseline(tmp_path / "held")
    (series,) = [s for s in past(kept, read_versions(kept)).judged if s.name == "pressure"]
    assert [spot.version for spot in series.earlier] == [1, 2, 3]
    assert [spot.version for spot in series.spots] == [4, 5, 6]
    assert series.drift is not None and series.drift.versions == 3
