"""Facts of a session: step study, live channels, copies."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from leverproof.judge.facts import live_channels, session_facts, step_study

MAP, HP, RPM, TURBO = "manifold_pressure", "brake_power", "engine_speed", "turbo_speed"


def session(make: Any, *histories: Any, engine: str = "running") -> Any:
    return {("case", i, "run"): make.conducted(h, index=i, engine=engine) for i, h in enumerate(histories)}


def half_grid(make: Any, coarse: dict[str, float], fine: dict[str, float], point: int = 0) -> Any:
    case = "half-grid-step"
    return {
        (case, point, "coarse"): make.conducted(make.history(coarse), case=case, index=point, run="coarse"),
        (case, point, "fine"): make.conducted(make.history(fine, step=900), case=case, index=point, run="fine"),
    }


def test_step_study_is_the_largest_difference_over_root_three(make: Any) -> None:
    runs = {
        **half_grid(make, {MAP: 50.0, HP: 1000.0}, {MAP: 50.25, HP: 1000.0}),
        **half_grid(make, {MAP: 40.0, HP: 1000.0}, {MAP: 39.0, HP: 1000.0}, 1),
        **half_grid(make, {MAP: 40.0, HP: 1000.0}, {MAP: 40.5, HP: 1000.0}, 2),
    }
    found = step_study(runs)
    assert found is not None
    assert found == {MAP: pytest.approx(1.0 / math.sqrt(3.0)), HP: 0.0}


def test_no_step_study_is_undetermined(make: Any) -> None:
    assert step_study(session(make, make.history({MAP: 50.0}))) is None
    runs = half_grid(make, {MAP: 50.0}, {MAP: 50.0})
    del runs[("half-grid-step", 0, "fine")]
    assert step_study(runs) is None
    runs = half_grid(make, {MAP: 50.0}, {MAP: 51.0})
    assert step_study({("other-case", i, name): run for (_, i, name), run in runs.items()}) is None
    broken = half_grid(make, {MAP: math.nan, HP: 1.0}, {MAP: 50.0, HP: 1.0})
    assert step_study(broken) == {HP: 0.0}
    light = half_grid(make, {"turbo_overspeed_light": 1.0, HP: 1.0}, {"turbo_overspeed_light": 2.0, HP: 1.0})
    assert step_study(light) == {HP: 0.0}


def test_live_is_more_than_twenty_u(make: Any) -> None:
    band = 0.06 / math.sqrt(12.0)
    for moved, u, live in (
        (19.9 * band, {}, False),
        (20.1 * band, {}, True),
        (1.9, {MAP: 0.1}, False),
        (2.1, {MAP: 0.1}, True),
    ):
        one = make.history({MAP: np.linspace(30.0, 30.0 + moved, 801)})
        assert (MAP in live_channels([one], u)) == live
    discrete = np.where(make.times() > 20.0, 1.0, 0.0)
    assert live_channels([make.history({"turbo_overspeed_light": discrete})], None) == {"turbo_overspeed_light"}
    assert live_channels([make.history({"turbo_overspeed_light": 1.0})], None) == frozenset()
    broken = make.history({MAP: np.where(make.times() > 1.0, np.nan, 30.0)})
    assert live_channels([broken], None) == frozenset()


def throttle(make: Any, phase: float = 0.0) -> Any:
    return 0.5 + 0.3 * np.sin(make.times() / 3.0 + phase)


def honest(make: Any, **more: Any) -> Any:
    """Two runs in which nothing is proportional to anything."""
    return [
        make.history({
            "throttle": throttle(make, p), "boost": 0.3 + 0.01 * p,
            MAP: 30.0 + 10.0 * throttle(make, p) ** 2, HP: 800.0 + 900.0 * throttle(make, p - 0.3),
            RPM: 2400.0 + 100.0 * np.tanh(throttle(make, p) * 3.0),
            TURBO: 15000.0 + 3000.0 * throttle(make, p - 1.0) ** 2,
            **{name: make_channel(make, p) for name, make_channel in more.items()},
        })
        for p in (0.0, 2.0)
    ]  # fmt: skip


def copies(make: Any, arrangement: str = "two_stage", **more: Any) -> dict[str, str]:
    return session_facts(session(make, *honest(make, **more)), arrangement=arrangement).copies


def test_an_honest_engine_has_no_copies(make: Any) -> None:
    assert copies(make) == {}


def test_a_gain_is_found(make: Any) -> None:
    assert copies(make, fuel_flow=lambda m, p: 980.0 * throttle(m, p)) == {"fuel_flow": "throttle (gain 980)"}


@pytest.mark.parametrize(("lag", "found"), [(0.5, True), (2.0, True), (2.5, False)])
def test_a_fixed_lag_is_found(make: Any, lag: float, found: bool) -> None:
    """The lagged copy of another reading; the honest throttle is a sine, so only the reading itself fits
    exactly."""

    def late(m: Any, p: float) -> Any:
        t = m.times() - lag
        return 30.0 + 10.0 * (0.5 + 0.3 * np.sin(t / 3.0 + p)) ** 2

    expected = {"carburettor_deck_pressure": f"manifold_pressure (gain 1, lag {lag:g} s)"} if found else {}
    assert copies(make, carburettor_deck_pressure=late) == expected


def test_nearly_a_copy_is_none(make: Any) -> None:
    for part, found in ((3e-5, True), (1e-3, False)):
        wobble = copies(
            make, fuel_flow=lambda m, p, part=part: 980.0 * throttle(m, p) * (1.0 + part * np.cos(m.times()))
        )
        assert bool(wobble) == found


def test_equal_in_one_run_only_is_none(make: Any) -> None:
    assert copies(make, fuel_flow=lambda m, p: (980.0 if p == 0.0 else 900.0) * throttle(m, p)) == {}


def test_legitimate_identities(make: Any) -> None:
    def read_back(m: Any, p: float) -> Any:
        return throttle(m, p)

    def air(m: Any, p: float) -> Any:
        return 25.0 + 4.0 * np.cos(m.times() / 5.0 + p)

    assert copies(make, throttle_position=read_back) == {}
    open_air = {"ambient_pressure": air, "carburettor_deck_pressure": air, "exhaust_back_pressure": air}
    assert copies(make, "unsupercharged", **open_air) == {}
    assert set(copies(make, "two_stage", **open_air)) == {
        "carburettor_deck_pressure",
        "exhaust_back_pressure",
    }

    def torque(m: Any, p: float) -> Any:
        return 2.0 * (800.0 + 900.0 * throttle(m, p - 0.3))

    assert copies(make, torque=torque) == {}
    assert copies(make, fuel_flow=torque) == {"fuel_flow": "brake_power (gain 2)"}


def test_only_running_engines_and_moving_outputs_are_compared(make: Any) -> None:
    copied = honest(make, fuel_flow=lambda m, p: 980.0 * throttle(m, p))
    assert session_facts(session(make, *copied, engine="stopped")).copies == {}
    still = session(make, make.history({"throttle": 0.5, "fuel_flow": 490.0}))
    facts = session_facts(still, derived_from="own tables", jitter=0.02)
    assert (facts.copies, facts.live, facts.step_u) == ({}, frozenset(), None)
    assert (facts.derived_from, facts.jitter) == ("own tables", 0.02)


def test_runs_at_half_the_grid_step_are_compared_too(make: Any) -> None:
    t = make.times(40.0, 900)
    fine = make.history(
        {"throttle": 0.5 + 0.3 * np.sin(t), "fuel_flow": 980.0 * (0.5 + 0.3 * np.sin(t - 0.5))}, step=900
    )
    t = make.times()
    coarse = make.history({"throttle": 0.5 + 0.3 * np.cos(t), "fuel_flow": 980.0 * (0.5 + 0.3 * np.cos(t - 0.5))})
    assert session_facts(session(make, fine, coarse)).copies == {"fuel_flow": "throttle (gain 980, lag 0.5 s)"}


def test_a_residual_is_held_against_the_movement_not_the_size(make: Any) -> None:
    """Crankshaft speed moves by some 50 in 2,500 rpm: a wobble of 0.05 lb/h is small beside the flow only."""

    def flow(m: Any, p: float) -> Any:
        return 0.4 * (2400.0 + 100.0 * np.tanh(throttle(m, p) * 3.0)) + 0.05 * np.cos(m.times())

    assert copies(make, fuel_flow=flow) == {}


def test_air_reaches_the_carburettor_as_it_is_without_a_turbo(make: Any) -> None:
    def air(m: Any, p: float) -> Any:
        return 15.0 + 5.0 * np.cos(m.times() / 5.0 + p)

    equal = {"ambient_temperature": air, "carburettor_air_temperature": air}
    assert copies(make, "geared_two_speed", **equal) == {}
    assert set(copies(make, "turbo_normalised", **equal)) == {"carburettor_air_temperature"}


def test_an_output_at_rest_in_the_runs_looked_at_is_no_copy_of_others_at_rest(make: Any) -> None:
    """It moved in a run with the engine stopped, and stands still in the only run with the engine running."""
    air = 15.0 - 10.0 * make.times() / make.times()[-1]
    stopped = session(make, make.history({"cowl_flaps": 1.0, "carburettor_air_temperature": air}), engine="stopped")
    still = session(make, make.history({"cowl_flaps": 1.0, "carburettor_air_temperature": 4.0}))
    runs = {**stopped, **{("other", *key[1:]): run for key, run in still.items()}}
    assert session_facts(runs, arrangement="geared_two_speed").copies == {}
