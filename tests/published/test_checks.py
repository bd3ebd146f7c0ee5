"""The published checks themselves: spread over many documents, well formed, and each able to fail."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from types import ModuleType

import pytest

from leverproof import atmosphere
from leverproof.physics.relations import (
    altitude_power,
    breathing,
    compression,
    corrections,
    flow,
    output,
    propeller,
)

from . import (
    test_altitude_power,
    test_atmosphere,
    test_compression,
    test_corrections,
    test_models,
    test_output,
)
from .checks import ENGINE, FIGURE, PREDICTOR, PRINTED, Check, disagreement, flaw

TABLES = (
    *test_atmosphere.CHECKS,
    *test_compression.CHECKS,
    *test_altitude_power.CHECKS,
    *test_corrections.CHECKS,
    *test_output.CHECKS,
)
NAMES = [f"{number}-{check.name}" for number, check in enumerate(TABLES)]
MOST_FROM_ONE_DOCUMENT = 10
LEAST_IN_ALL = 60
LARGEST_SHARE = 0.065
"""Largest tolerance as a share of the number: the widest source speaks of 'about half'."""

RELATIONS: tuple[tuple[ModuleType, str], ...] = (
    (atmosphere, "temperature"),
    (atmosphere, "pressure"),
    (atmosphere, "density"),
    (atmosphere, "pressure_altitude"),
    (atmosphere, "speed_of_sound"),
    (breathing, "saturation_vapour_pressure"),
    (breathing, "dry_pressure"),
    (breathing, "pumping_mean_effective_pressure"),
    (compression, "compression_rise"),
    (compression, "adiabatic_efficiency"),
    (compression, "compressor_power"),
    (compression, "head_coefficient"),
    (compression, "pressure_ratio_of_head"),
    (compression, "fixed_speed_pressure_coefficient"),
    (flow, "critical_pressure_ratio"),
    (flow, "flow_function"),
    (flow, "orifice_flow"),
    (altitude_power, "full_throttle_power_ratio"),
    (altitude_power, "full_throttle_density_ratio"),
    (altitude_power, "part_throttle_power"),
    (corrections, "temperature_power_ratio"),
    (corrections, "iso_3046_indicated_ratio"),
    (corrections, "iso_3046_adjustment"),
    (corrections, "j1349_factor"),
    (corrections, "j607_factor"),
    (output, "mean_effective_pressure"),
    (output, "plan_power"),
    (propeller, "thrust_of_power"),
)


def test_no_document_carries_the_rest() -> None:
    rows = (*TABLES, *test_models.BOUNDS)
    by_document, by_status, by_whom = (
        Counter(getattr(row, key) for row in rows) for key in ("document", "status", "by")
    )
    for counted in (by_document, by_status, by_whom):
        for name, count in counted.most_common():
            print(f"{count:3d}  {name}")
    assert max(by_document.values()) <= MOST_FROM_ONE_DOCUMENT
    assert len(rows) >= LEAST_IN_ALL
    assert by_status[PRINTED] + by_status[FIGURE] >= LEAST_IN_ALL
    assert min(by_whom[ENGINE], by_whom[PREDICTOR]) >= 7


def test_nothing_rests_on_memory() -> None:
    assert not any("memory" in row.status for row in (*TABLES, *test_models.BOUNDS))


@pytest.mark.parametrize("check", TABLES, ids=NAMES)
def test_the_check_is_well_formed(check: Check) -> None:
    assert flaw(check, largest_share=LARGEST_SHARE) == ""


@pytest.mark.parametrize("check", TABLES, ids=NAMES)
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_the_check_fails_when_its_number_is_moved_beyond_the_tolerance(check: Check, side: float) -> None:
    moved = replace(check, expected=check.expected + side * 2.001 * check.tolerance)
    assert disagreement(moved) != ""


@pytest.mark.parametrize(("module", "name"), RELATIONS, ids=[name for _, name in RELATIONS])
def test_a_relation_seven_per_cent_out_is_noticed(
    module: ModuleType, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest = getattr(module, name)
    monkeypatch.setattr(module, name, lambda *values, **named: honest(*values, **named) * 1.07)
    assert any(disagreement(check) for check in TABLES)


def test_a_number_that_is_not_a_number_disagrees() -> None:
    assert disagreement(replace(TABLES[0], compute=lambda: float("nan"))) != ""
