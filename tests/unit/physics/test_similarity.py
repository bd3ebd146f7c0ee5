"""Similarity maps of a stage: the design point keeps its efficiency, one summit in flow, less beyond the Mach knee."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof.physics.relations import compression, similarity


@pytest.mark.parametrize("curvature", [0.2, 0.6, 1.0])
@pytest.mark.parametrize("best", [0.85, 1.0, 1.15])
def test_the_design_point_keeps_its_efficiency(curvature: float, best: float) -> None:
    found = similarity.stage_efficiency(0.68, 1.0, 1.0, curvature=curvature, best=best, penalty=1.5)
    assert float(found) == pytest.approx(0.68, rel=1e-15)


@pytest.mark.parametrize("best", [0.85, 1.15])
def test_efficiency_has_one_summit_with_the_curvature_it_was_given(best: float) -> None:
    flow = np.linspace(0.0, 4.0, 4_001)
    ratio = np.asarray(similarity.efficiency_over_flow(flow, curvature=0.8, best=best))
    assert flow[ratio.argmax()] == pytest.approx(best, abs=1e-3)
    assert np.sum(np.diff(np.sign(np.diff(ratio))) != 0) == 1
    assert np.all(ratio > 0.0)
    top, step = float(ratio.max()), 1e-3
    around = np.asarray(similarity.efficiency_over_flow(best + np.array([-step, 0.0, step]), curvature=0.8, best=best))
    assert (around[0] - 2.0 * around[1] + around[2]) / step**2 / top == pytest.approx(-1.6, rel=1e-4)


def test_the_loss_30_per_cent_off_is_what_the_coefficients_are_said_to_give() -> None:
    for curvature, loss in ((0.2, 0.018), (1.0, 0.083)):
        for flow in (0.7, 1.3):
            assert 1.0 - float(similarity.efficiency_over_flow(flow, curvature=curvature)) == pytest.approx(
                loss, abs=5e-4
            )


def test_efficiency_falls_above_1_300_ft_a_second_only() -> None:
    # NACA Technical Note 794: falls markedly above 1,300 ft/s; at 288.15 K
    tip = np.array([200.0, 396.2, 396.3, 450.0])
    mach = similarity.tip_mach_number(tip, 288.15)
    ratio = np.asarray(similarity.efficiency_over_tip_mach(mach, penalty=1.0))
    assert ratio[:2].tolist() == [1.0, 1.0] and ratio[2] < 1.0 and ratio[3] < ratio[2]
    assert ratio[3] == pytest.approx(1.0 / (450.0 / 396.24), rel=1e-9)


def test_colder_air_raises_the_mach_number_and_similar_stages_share_their_numbers() -> None:
    assert similarity.tip_mach_number(300.0, 230.0) > similarity.tip_mach_number(300.0, 290.0)
    small = similarity.flow_coefficient(0.5, 288.0, 1e5, 300.0, diameter=0.1)
    large = similarity.flow_coefficient(2.0, 288.0, 1e5, 300.0, diameter=0.2)
    assert float(small) == pytest.approx(float(large), rel=1e-14)
    density = 1e5 / (287.05 * 288.0)
    assert float(small) == pytest.approx(0.5 / (density * 300.0 * 0.01), rel=1e-4)


def test_head_work_and_efficiency_are_one_triangle() -> None:
    efficiency, work, tip, inlet = 0.66, 0.89, 330.0, 262.0
    head = similarity.stage_head_coefficient(work, efficiency)
    ratio = compression.pressure_ratio_of_head(head, inlet, tip)
    outlet = inlet + compression.work_temperature_rise(work, tip)
    assert float(compression.adiabatic_efficiency(inlet, outlet, ratio)) == pytest.approx(efficiency)


def test_head_falls_off_at_either_side_of_the_best_flow_and_grows_with_speed() -> None:
    def ratio(flow: float, tip: float) -> float:
        mach = similarity.tip_mach_number(tip, 250.0)
        efficiency = similarity.stage_efficiency(0.68, flow, mach, curvature=0.6, penalty=1.5)
        head = similarity.stage_head_coefficient(0.89, efficiency)
        return float(compression.pressure_ratio_of_head(head, 250.0, tip))

    assert ratio(0.6, 300.0) < ratio(1.0, 300.0) > ratio(1.4, 300.0)
    assert ratio(1.0, 300.0) < ratio(1.0, 380.0) < ratio(1.0, 440.0) < ratio(1.0, 500.0)
