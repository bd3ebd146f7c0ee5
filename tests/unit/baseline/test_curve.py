"""Curves kept as few points: never further from their samples than a third of a tolerance, or it is told how far."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leverproof.baseline.curve import FIDELITY, points, thinned
from leverproof.baseline.layout import BLOCKS, POINTS


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(1, 3_000),
    rough=st.floats(0.0, 0.3),
    tolerance=st.sampled_from((0.01, 0.06, 1.0, 6.0, 60.0)),
    scale=st.floats(0.1, 300.0),
)
def test_samples_lie_near_the_lines(seed: int, count: int, rough: float, tolerance: float, scale: float) -> None:
    random = np.random.default_rng(seed)
    bends = np.cumsum(random.normal(size=max(2, count // 200)))
    smooth = np.interp(np.linspace(0.0, 1.0, count), np.linspace(0.0, 1.0, bends.size), bends)
    samples = (scale * tolerance * smooth + rough * tolerance * random.normal(size=count)).astype(np.float32)
    blocks, loss = thinned(samples.astype(np.float64), tolerance)
    rows, values = points(blocks)
    assert 1 <= len(blocks) <= BLOCKS and all(1 <= len(block.rows) <= POINTS for block in blocks)
    assert rows[0] == 0 and rows[-1] < count and all(a < b for a, b in pairwise(rows))
    apart = np.abs(np.interp(np.arange(count), rows, values) - samples)
    assert apart.max() <= loss + 1e-12
    assert loss <= FIDELITY * tolerance or rows.size == POINTS * BLOCKS


def test_a_resting_channel_is_one_point_and_a_state_is_exact() -> None:
    blocks, loss = thinned(np.full(5_000, 29.92), 0.06)
    assert [block.rows for block in blocks] == [(0,)] and loss < 0.02
    states = np.zeros(2_000)
    states[700:1_300] = 2.0
    blocks, loss = thinned(states, 0.0)
    assert loss == 0.0 and blocks[0].rows == (0, 699, 700, 1_299, 1_300, 1_999)
    assert blocks[0].values == (0, 0, 2, 2, 0, 0)


def test_what_needs_more_points_than_there_are_tells_how_far_off_it_is() -> None:
    samples = 50.0 * np.sin(np.arange(20_000) * 0.9)
    blocks, loss = thinned(samples, 0.06)
    assert len(blocks) == BLOCKS and loss > 1.0
    rows, values = points(blocks)
    assert np.abs(np.interp(np.arange(20_000), rows, values) - samples).max() == pytest.approx(loss)


def test_a_long_busy_curve_is_several_blocks() -> None:
    samples = np.sin(np.linspace(0.0, 300.0, 12_000))
    blocks, loss = thinned(samples, 0.3)
    assert 2 <= len(blocks) < BLOCKS and loss <= 0.1
    assert len(blocks[0].rows) == POINTS and blocks[0].rows[-1] < blocks[1].rows[0]


def test_nothing_is_nothing() -> None:
    assert thinned(np.empty(0), 1.0) == ((), 0.0)
