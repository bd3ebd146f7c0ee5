"""Gauges: their smallest step, needles that stay within a division, read-backs that come late."""

from __future__ import annotations

import numpy as np
import pytest

from leverproof.conduct.matcher_track import gauged
from leverproof.stand.recording_gauges import lateness, smallest_step


def test_a_ladder_of_equal_steps_is_a_gauge() -> None:
    true = 30.0 + 5.0 * np.sin(np.arange(2000) / 200.0)
    assert smallest_step(np.round(true / 0.1) * 0.1) == pytest.approx(0.1)
    assert smallest_step(np.round(true / 0.25) * 0.25) == pytest.approx(0.25)
    assert smallest_step(true) < 0.01
    random = np.random.default_rng(3)
    assert smallest_step(random.normal(size=500)) < 1e-3


def test_too_few_levels_tell_nothing() -> None:
    assert smallest_step(np.array([10.0, 20.0] * 50)) == 0.0
    assert smallest_step(np.full(100, 7.0)) == 0.0


def test_a_needle_within_one_division_is_steady() -> None:
    flicker = np.where(np.arange(100) % 3 == 0, 30.0, 30.1)
    assert gauged(flicker, 0.05, "manifold_pressure", 0.01, 0.0).kind != "steady"
    assert gauged(flicker, 0.05, "manifold_pressure", 0.01, 0.1).kind == "steady"
    climbing = np.round(np.linspace(30.0, 31.0, 100), 1)
    assert gauged(climbing, 0.05, "manifold_pressure", 0.01, 0.1).kind != "steady"
    flicker[50] = np.nan
    assert gauged(flicker, 0.05, "manifold_pressure", 0.01, 0.1).kind == "missing"


def test_a_late_read_back_is_seen_from_the_lever_alone() -> None:
    lever = np.clip((np.arange(1000) - 300) / 100.0, 0.0, 1.0)
    back = np.concatenate([np.zeros(8), lever[:-8]])
    assert lateness(lever, back, 0.05) == pytest.approx(0.4)
    assert lateness(lever, lever, 0.05) == 0.0
    assert lateness(np.full(1000, 0.5), back, 0.05) is None
