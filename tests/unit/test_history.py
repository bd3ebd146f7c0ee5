"""Histories: the one steadiness rule, and readings that do not depend on where their rows lie in memory."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leverproof.history import History, Mark, steadiness, take_reading
from leverproof.timegrid import TimeGrid

GRID = TimeGrid(1800)
TIME = np.arange(100) * 0.05
BAND, LIMIT = 0.06, 0.02


def seen(samples, band=BAND, limit=LIMIT):
    return steadiness(np.asarray(samples, dtype=np.float64), 0.05, band=band, remaining_limit=limit)


def test_constant_is_steady():
    assert seen(np.full(100, 30.0)).kind == "steady"
    assert seen(np.full(100, 30.0)).remaining == 0.0


@settings(deadline=None, max_examples=200)
@given(lag=st.floats(0.3, 12.0), size=st.floats(1e-3, 5.0), level=st.floats(-50.0, 3000.0))
def test_what_remains_of_an_exponential(lag, size, level):
    samples = level + size * np.exp(-TIME / lag)
    wanted = max(abs(samples.mean() - level), 0.0)
    assert seen(samples).remaining == pytest.approx(wanted, rel=0.15, abs=2e-6 * abs(level) + 0.03 * size)


@settings(deadline=None, max_examples=200)
@given(lag=st.floats(0.5, 60.0), size=st.floats(0.03, 5.0))
def test_called_steady_means_that_a_reading_is_near_the_end(lag, size):
    samples = np.float32(40.0 + size * np.exp(-TIME / lag)).astype(np.float64)
    found = seen(samples)
    if found.kind == "steady":
        assert abs(samples.mean() - 40.0) <= 1.35 * LIMIT


@pytest.mark.parametrize("slope", [0.005, -0.005, 0.02])
def test_a_straight_drift_inside_the_band_is_not_steady(slope):
    found = seen(30.0 + slope * TIME)
    assert found.kind == "drifting"
    assert found.remaining > LIMIT


def test_noise_inside_the_band_is_steady_for_any_seed():
    for seed in range(300):
        noise = np.random.default_rng(seed).uniform(-0.025, 0.025, 100)
        found = seen(30.0 + noise, limit=0.01)
        assert found.kind == "steady", (seed, found)


def test_noise_does_not_hide_a_drift():
    noise = np.random.default_rng(4).uniform(-0.005, 0.005, 100)
    assert seen(30.0 + 0.01 * TIME + noise).kind == "drifting"


@pytest.mark.parametrize("period", [0.4, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("amplitude", [0.05, 1.0])
def test_an_oscillation_with_its_amplitude_and_period(period, amplitude):
    found = seen(30.0 + amplitude * np.sin(2.0 * math.pi * TIME / period) + 0.002 * TIME)
    assert found.kind == "oscillating"
    assert found.amplitude == pytest.approx(amplitude, rel=0.25)
    assert found.period == pytest.approx(period, rel=0.3)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_missing_values_are_never_steady(bad):
    samples = np.full(100, 30.0)
    samples[40] = bad
    assert seen(samples).kind == "missing"
    assert seen([]).kind == "missing"


def test_a_spread_beyond_the_band_is_not_steady():
    samples = np.full(100, 30.0)
    samples[50:] += 0.1
    assert seen(samples, limit=1e9).kind != "steady"


def make(rows=300, order="C"):
    data = np.random.default_rng(1).normal(30.0, 0.001, (rows, 3)).astype(np.float32)
    return np.asarray(data, order=order)


COLUMNS = ("throttle", "manifold_pressure", "turbo_speed")


def taken(data, row=150):
    return take_reading(
        data, COLUMNS, GRID, row, name="r", watch={"manifold_pressure": 0.05, "fuel_flow": 1.0}
    )


def test_a_reading_is_the_mean_from_4_s_before_to_1_s_after():
    data = make()
    data[:70] = 1e6
    data[170:] = -1e6
    found = taken(data)
    window = data[70:170].astype(np.float64)
    assert found.row == 150
    assert found.values["turbo_speed"] == pytest.approx(window[:, 2].mean(), rel=1e-12)
    assert found.scatter["turbo_speed"] == pytest.approx(np.ptp(window[:, 2]) / 2.0)
    assert found.unsteady == {}


def test_bits_of_a_reading_do_not_depend_on_memory_order():
    assert taken(make()) == taken(make(order="F")) == taken(make()[:, ::-1].copy()[:, ::-1])


def test_an_unsteady_channel_is_named_with_what_was_seen():
    data = make()
    data[:, 1] += np.float32(0.01) * np.arange(300, dtype=np.float32)
    found = taken(data)
    assert list(found.unsteady) == ["manifold_pressure"]
    assert found.unsteady["manifold_pressure"].kind == "drifting"


def test_a_history_by_name():
    data = make(10)
    mark = Mark("hold", 0, 10, "wait")
    history = History(GRID, COLUMNS, data, (mark,), (taken(make()),))
    assert history.has("throttle")
    assert not history.has("boost")
    assert history.column("turbo_speed").dtype == np.float64
    assert history.seconds()[-1] == pytest.approx(0.45)
    assert history.mark("wait") is mark
    assert history.mark("other") is None
    assert history.reading("r") is history.readings[0]
    assert history.reading("other") is None
    with pytest.raises(KeyError):
        history.column("boost")
