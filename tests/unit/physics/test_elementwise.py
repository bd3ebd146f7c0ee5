"""Every relation gives one lane the same number whatever its neighbours are, bit for bit."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from leverproof import atmosphere
from leverproof.physics.relations import (
    altitude_power,
    breathing,
    compression,
    corrections,
    flow,
    gas,
    output,
    propeller,
    similarity,
)

Relation = Callable[..., object]
# Each relation with the ranges of its positional arguments.
CASES: dict[str, tuple[Relation, tuple[tuple[float, float], ...]]] = {
    "temperature": (atmosphere.temperature, ((-1_000, 20_000), (-30, 30))),
    "pressure": (atmosphere.pressure, ((-1_000, 20_000),)),
    "density": (atmosphere.density, ((-1_000, 20_000), (-30, 30))),
    "pressure altitude": (atmosphere.pressure_altitude, ((6_000, 110_000),)),
    "speed of sound": (atmosphere.speed_of_sound, ((200, 330),)),
    "vapour": (atmosphere.saturation_vapour_pressure, ((240, 330),)),
    "gas density": (gas.density_of, ((1e4, 2e5), (220, 400))),
    "rise": (lambda t, r: compression.compression_rise(t, r, efficiency=0.7), ((220, 400), (1, 5))),
    "efficiency": (compression.adiabatic_efficiency, ((220, 300), (310, 500), (1.1, 4))),
    "head": (compression.head_coefficient, ((1, 5), (220, 400), (50, 450))),
    "ratio of head": (compression.pressure_ratio_of_head, ((0.1, 0.8), (220, 400), (50, 450))),
    "blower": (compression.fixed_speed_pressure_coefficient, ((220, 400), (1, 7))),
    "stage flow": (
        similarity.flow_coefficient,
        ((0.1, 5), (220, 400), (2e4, 2e5), (1e-6, 450)),
    ),
    "tip mach": (similarity.tip_mach_number, ((0, 600), (220, 400))),
    "stage efficiency": (
        lambda x, m: similarity.stage_efficiency(0.7, x, m, curvature=0.6, best=1.1, penalty=1.0),
        ((0, 5), (0, 2)),
    ),
    "drop": (lambda t, r: compression.expansion_drop(t, r, efficiency=0.7), ((600, 1_300), (1, 4))),
    "jet": (compression.jet_speed, ((600, 1_300), (1, 4))),
    "flow function": (lambda r: flow.flow_function(r, linear_within=0.02), ((0, 1.1),)),
    "orifice": (
        lambda a, p, t, q: flow.orifice_flow(a, p, t, q, linear_within=0.02),
        ((1e-4, 1e-2), (2e4, 2e5), (220, 1_300), (2e4, 2e5)),
    ),
    "ram": (lambda m: flow.ram_pressure_ratio(m, recovery=0.72), ((0, 0.7),)),
    "clearance": (lambda r: breathing.clearance_factor(r, compression_ratio=6.7), ((0.3, 1.3),)),
    "charge": (
        lambda p, t, n: breathing.charge_flow(p, t, n, displacement=0.048, volumetric_efficiency=0.85),
        ((2e4, 2e5), (260, 400), (50, 300)),
    ),
    "humidity": (breathing.humidity_power_ratio, ((5e4, 1e5), (0, 1), (260, 310))),
    "full throttle": (altitude_power.full_throttle_power_ratio, ((0.2, 1.1),)),
    "charge temperature": (corrections.temperature_power_ratio, ((250, 350), (250, 350))),
    "iso": (corrections.iso_3046_indicated_ratio, ((5e4, 1e5), (260, 330), (270, 330))),
    "j1349": (corrections.j1349_factor, ((5e4, 1e5), (260, 330))),
    "j607": (corrections.j607_factor, ((5e4, 1e5), (260, 330))),
    "mean pressure": (
        lambda p, n: output.mean_effective_pressure(p, n, displacement=0.048),
        ((1e4, 1.6e6), (60, 290)),
    ),
    "power coefficient": (
        lambda p, n: propeller.power_coefficient(p, n, density=1.1, diameter=4.0),
        ((1e4, 1.6e6), (5, 25)),
    ),
    "induced": (
        lambda t, v: propeller.induced_speed(t, v, density=1.1, diameter=4.0),
        ((0, 3e4), (0, 200)),
    ),
}


@pytest.mark.parametrize("name", list(CASES))
def test_a_lane_does_not_feel_its_neighbours(name: str) -> None:
    relation, ranges = CASES[name]
    generator = np.random.default_rng(1976)
    lanes = [generator.uniform(low, high, 37) for low, high in ranges]
    together = np.asarray(relation(*lanes))
    assert together.shape == (37,) and together.dtype == np.float64 and np.all(np.isfinite(together))
    for lane in range(37):
        alone = relation(*(values[lane : lane + 1] for values in lanes))
        assert np.asarray(alone)[0] == together[lane]
        scalar = relation(*(float(values[lane]) for values in lanes))
        assert isinstance(scalar, float) and scalar == together[lane]


@pytest.mark.parametrize("name", list(CASES))
def test_shapes_are_kept_and_inputs_left_alone(name: str) -> None:
    relation, ranges = CASES[name]
    generator = np.random.default_rng(33)
    grid = [generator.uniform(low, high, (3, 4)) for low, high in ranges]
    before = [values.copy() for values in grid]
    assert np.asarray(relation(*grid)).shape == (3, 4)
    assert all(np.array_equal(a, b) for a, b in zip(grid, before, strict=True))
