"""Seek: every ending, every difficulty, and that it settles on the steady value."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plants import LIMIT, Kind, PlantStand, boost_seek, program, read

from leverproof.conduct.scheduler import conduct
from leverproof.history import History, Mark

QUIET = {"turbo_speed": 20.0}


def flown(kind, step, **options):
    return conduct([program(step, read(), **options)], PlantStand(kind))[0].history


def mark(history: History) -> Mark:
    found = history.mark("up")
    assert found is not None
    return found


def seconds(history: History) -> float:
    return (mark(history).end - mark(history).row) * 0.05


def settled(history: History) -> float:
    reading = history.reading("settled")
    assert reading is not None
    return reading.values["manifold_pressure"]


def assert_held(history: History, value: float, within: float) -> None:
    """Reached: in the last 2 s before the end the channel was inside and no lever moved."""
    end = mark(history).end
    last = slice(end - 39, end + 1)
    assert abs(history.column("manifold_pressure")[last] - value).max() <= within + 1e-5
    assert len(set(history.column("boost")[end - 40 : end].tolist())) == 1


@pytest.mark.parametrize("lag", [0.2, 0.5, 1.0, 2.0, 4.0, 8.0])
@pytest.mark.parametrize("dead", [0.0, 0.2, 1.0])
@pytest.mark.parametrize("second", [0.0, 0.6])
def test_reaches_through_lags_and_dead_time(lag, dead, second):
    history = flown(Kind(lag=lag, second=second * lag, dead=dead), boost_seek(45.3))
    assert mark(history).ending == "reached"
    assert_held(history, 45.3, 0.02)
    assert settled(history) == pytest.approx(45.3, abs=0.03)
    # The lever itself is where the settled value is: not a crossing on the way.
    assert history.column("boost")[-1] == pytest.approx(20.8 / 30.0, abs=0.02 / 30.0)


def test_a_turbo_like_seek_takes_less_than_a_minute():
    def law(row):
        return 25.0 + 35.0 * row[1] ** 1.5, 6000.0 + 18_000.0 * row[1]

    history = flown(Kind(law=law, lag=4.0, second=0.5), boost_seek(52.0), start={"boost": 0.0})
    assert mark(history).ending == "reached"
    assert seconds(history) < 60.0


@settings(deadline=None, max_examples=60)
@given(
    lag=st.floats(0.2, 8.0),
    dead=st.floats(0.0, 1.0),
    gain=st.floats(8.0, 60.0),
    sign=st.sampled_from([1.0, -1.0]),
    begin=st.floats(0.0, 1.0),
    aim=st.floats(0.05, 0.95),
    bend=st.floats(0.7, 2.0),
)
def test_reaches_whatever_is_within_the_lever(lag, dead, gain, sign, begin, aim, bend):
    def law(row):
        return 35.0 + sign * gain * row[1] ** bend, 9000.0

    target = law((0.0, aim))[0]
    history = flown(Kind(law=law, lag=lag, dead=dead), boost_seek(target), start={"boost": begin})
    assert mark(history).ending == "reached"
    assert_held(history, target, 0.02)
    end = law((0.0, float(history.column("boost")[-1])))[0]
    assert end == pytest.approx(target, abs=0.0205)


@settings(deadline=None, max_examples=40)
@given(lag=st.floats(0.2, 5.0), rate=st.floats(0.02, 0.5), target=st.floats(27.0, 52.0))
def test_never_faster_than_the_rate(lag, rate, target):
    history = flown(Kind(lag=lag), boost_seek(target, rate=rate))
    at = mark(history)
    moved = abs(history.column("boost")[at.row + 1 : at.end] - history.column("boost")[at.row : at.end - 1])
    assert moved.max() <= rate * 0.05 * 1.001 + 1e-6


@pytest.mark.parametrize(("quantum", "within"), [(0.05, 0.05), (0.1, 0.06), (0.25, 0.15)])
def test_reaches_on_a_coarse_gauge(quantum, within):
    history = flown(Kind(quantum=quantum, lag=3.0), boost_seek(45.25, within=within))
    assert mark(history).ending == "reached"
    assert_held(history, 45.25, within)


@pytest.mark.parametrize(("quantum", "within", "target"), [(0.1, 0.02, 45.25), (1.0, 0.3, 45.5)])
@pytest.mark.parametrize("lag", [0.5, 2.0])
def test_a_gauge_coarser_than_the_tolerance_is_sought_to_half_its_step(quantum, within, target, lag):
    history = flown(Kind(quantum=quantum, lag=lag), boost_seek(target, within=within))
    assert mark(history).ending == "reached"
    assert_held(history, target, 0.505 * quantum)


def test_a_gauge_finer_than_the_tolerance_widens_nothing():
    history = flown(Kind(quantum=0.01, lag=2.0), boost_seek(45.25, within=0.02))
    assert mark(history).ending == "reached"
    assert_held(history, 45.25, 0.02)


@settings(deadline=None, max_examples=25)
@given(lag=st.floats(0.3, 5.0), noise=st.floats(0.001, 0.012), target=st.floats(30.0, 50.0))
def test_reaches_in_noise_smaller_than_the_tolerance(lag, noise, target):
    history = flown(Kind(lag=lag, noise=noise), boost_seek(target))
    assert mark(history).ending == "reached"
    assert 24.5 + 30.0 * history.column("boost")[-1] == pytest.approx(target, abs=0.02 + noise)


def test_noise_larger_than_the_tolerance_is_not_reached():
    history = flown(Kind(noise=0.2), boost_seek(45.3), watch=QUIET)
    assert mark(history).ending == "not reached"
    assert seconds(history) == pytest.approx(180.0)


@pytest.mark.parametrize(("cycle", "period"), [(0.3, 4.0), (0.1, 1.5), (2.0, 9.0), (0.05, 0.7)])
def test_a_limit_cycle_is_not_reached(cycle, period):
    history = flown(Kind(cycle=cycle, period=period), boost_seek(45.3), watch=QUIET)
    assert mark(history).ending == "not reached"


def test_a_limit_cycle_does_not_look_like_a_stop_or_a_dead_lever():
    for kind, value in (
        (Kind(cycle=1.0), 60.0),
        (Kind(cycle=1.0, law=lambda row: (30.0, 9000.0)), 45.0),
    ):
        assert mark(flown(kind, boost_seek(value), watch=QUIET)).ending == "not reached"


def test_reversed_sign():
    history = flown(Kind(law=lambda row: (60.0 - 30.0 * row[1], 9000.0)), boost_seek(45.3))
    assert mark(history).ending == "reached"
    assert history.column("boost")[-1] == pytest.approx(0.49, abs=0.001)


def test_target_below():
    history = flown(Kind(lag=3.0), boost_seek(31.0), start={"boost": 0.9})
    assert mark(history).ending == "reached"


def test_already_there_moves_nothing():
    history = flown(Kind(), boost_seek(30.5))
    assert mark(history).ending == "reached"
    assert set(history.column("boost").tolist()) == {float(history.column("boost")[0])}


def test_a_dead_lever_has_no_response_after_its_whole_travel():
    history = flown(Kind(law=lambda row: (30.0, 9000.0)), boost_seek(45.3))
    assert mark(history).ending == "no response"
    assert history.column("boost").min() == 0.0
    assert history.column("boost").max() == 1.0


def test_a_lever_dead_over_half_its_travel_is_not_called_dead():
    def law(row):
        return 30.0 + 40.0 * max(0.0, row[1] - 0.5), 9000.0

    assert mark(flown(Kind(law=law), boost_seek(45.3), start={"boost": 0.0})).ending == "reached"


def test_saturating_response_is_reached_or_stops_short():
    def law(row):
        return 30.0 + 20.0 * math.tanh(3.0 * row[1]), 9000.0

    assert mark(flown(Kind(law=law), boost_seek(49.0))).ending == "reached"
    short = flown(Kind(law=law), boost_seek(52.0))
    assert mark(short).ending == "stop"
    assert short.column("boost")[-1] == 1.0


@pytest.mark.parametrize(("target", "stop"), [(60.0, 1.0), (10.0, 0.0)])
def test_stop_is_called_at_the_stop_with_a_steady_channel(target, stop):
    history = flown(Kind(lag=4.0), boost_seek(target))
    end = mark(history).end
    assert mark(history).ending == "stop"
    assert set(history.column("boost")[end - 40 : end].tolist()) == {stop}
    last = history.column("manifold_pressure")[end - 40 : end]
    assert last.max() - last.min() <= 0.06


def test_a_response_that_turns_is_not_monotone():
    def law(row):
        return 40.0 - 30.0 * (row[1] - 0.6) ** 2, 9000.0

    assert mark(flown(Kind(law=law), boost_seek(45.0))).ending == "not monotone"
    assert mark(flown(Kind(law=law), boost_seek(39.5))).ending == "reached"


def dipping(row):
    """The first 5 % of the boost lever's travel takes 1 inHg away, the rest gives 28.5 inHg."""
    return 30.0 - 20.0 * min(row[1], 0.05) + 30.0 * max(0.0, row[1] - 0.05), 9000.0


@pytest.mark.parametrize("lag", [0.5, 2.0, 4.0])
@pytest.mark.parametrize("target", [31.0, 35.0, 45.0, 57.0])
def test_a_lever_that_acts_the_other_way_at_first_still_reaches_from_the_stop(lag, target):
    history = flown(Kind(law=dipping, lag=lag), boost_seek(target), start={"boost": 0.0})
    assert mark(history).ending == "reached"
    assert_held(history, target, 0.02)
    assert history.column("boost")[-1] == pytest.approx(0.05 + (target - 29.0) / 30.0, abs=0.001)


@pytest.mark.parametrize("lag", [0.5, 2.0, 4.0])
@pytest.mark.parametrize("target", [20.0, 29.0])
def test_a_target_below_what_the_stop_gives_ends_there_with_the_lever_back(lag, target):
    def law(row):
        return 30.0 + 30.0 * row[1], 9000.0

    history = flown(Kind(law=law, lag=lag), boost_seek(target), start={"boost": 0.0})
    end = mark(history).end
    assert mark(history).ending == "stop"
    boost = history.column("boost")
    # It looked away from the stop before it called the stop the end, and came back.
    assert boost.max() >= 0.1
    assert set(boost[end - 40 : end].tolist()) == {0.0}
    assert settled(history) == pytest.approx(30.0, abs=0.06)


@pytest.mark.parametrize("backlash", [0.01, 0.04, 0.1])
@pytest.mark.parametrize("target", [45.3, 27.0])
def test_backlash(backlash, target):
    history = flown(Kind(backlash=backlash, lag=1.0), boost_seek(target))
    assert mark(history).ending == "reached"
    assert_held(history, target, 0.02)


def test_time_limit():
    history = flown(Kind(lag=8.0), boost_seek(45.3, limit=12.0))
    assert mark(history).ending == "not reached"
    assert seconds(history) == pytest.approx(12.0)


@pytest.mark.parametrize("target", [45.3, 39.1])
def test_time_that_runs_out_while_the_channel_rests_inside_is_reached(target):
    history = flown(Kind(second=1.0), boost_seek(target, limit=35.0))
    assert seconds(history) == pytest.approx(35.0)
    assert mark(history).ending == "reached"
    assert_held(history, target, 0.02)


LAWS = {
    "straight": lambda row: (25.0 + 35.0 * row[1], 6000.0 + 18_000.0 * row[1]),
    "early": lambda row: (25.0 + 35.0 * row[1], 8000.0 + 16_000.0 * math.sqrt(row[1])),
    "late": lambda row: (25.0 + 35.0 * row[1], 8000.0 + 16_000.0 * row[1] ** 2),
}


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("lag", [1.0, 4.0])
def test_a_guard_stops_the_lever_near_its_limit(law, lag):
    history = flown(Kind(law=LAWS[law], lag=lag), boost_seek(59.9, guard={"turbo_speed": LIMIT}))
    assert mark(history).ending == "turbo_speed limit"
    assert history.ending == "completed"
    reading = history.reading("settled")
    assert reading is not None
    assert 0.985 * LIMIT <= reading.values["turbo_speed"] <= 1.01 * LIMIT
    highest = history.column("turbo_speed").max()
    if highest > 1.0002 * LIMIT or highest < 0.9998 * LIMIT:
        assert ("its limit of 22000 rpm by" in mark(history).note) == (highest > LIMIT)


def test_a_guard_out_of_the_way_changes_nothing():
    plain = flown(Kind(law=LAWS["straight"]), boost_seek(45.3))
    guarded = flown(Kind(law=LAWS["straight"]), boost_seek(45.3, guard={"turbo_speed": LIMIT}))
    assert (plain.data == guarded.data).all()


def test_a_guard_already_passed_lets_the_lever_come_back_and_not_go_on():
    kind, guard = Kind(law=LAWS["straight"], lag=3.0), {"turbo_speed": LIMIT}
    back = flown(kind, boost_seek(50.0, guard=guard), start={"boost": 0.9})
    assert mark(back).ending == "reached"
    on = flown(kind, boost_seek(59.0, guard=guard), start={"boost": 0.9})
    assert mark(on).ending == "turbo_speed limit"
    assert "passed its limit of 22000 rpm by" in mark(on).note
    assert on.column("boost")[-1] < 0.95


@pytest.mark.parametrize("dead", [0.0, 0.5])
@pytest.mark.parametrize("lag", [2.0, 4.0])
@pytest.mark.parametrize("target", [45.0, 50.0])
def test_a_limit_that_lag_carries_past_does_not_stop_a_lever_on_its_way_back(target, lag, dead):
    def steep(row):
        share = 1.0 / (1.0 + math.exp(-14.0 * (row[1] - 0.5)))
        return 20.0 + 60.0 * share, 3000.0 + 26_000.0 * share

    kind = Kind(law=steep, lag=lag, second=0.5 * lag, dead=dead)
    history = flown(kind, boost_seek(target, guard={"turbo_speed": 18_000.0}), start={"boost": 0.2})
    assert history.column("turbo_speed").max() > 18_000.0
    assert mark(history).ending == "reached"
    assert_held(history, target, 0.02)


def test_an_ending_that_is_not_accepted_ends_the_run():
    history = flown(Kind(), boost_seek(60.0, accept=("turbo_speed limit",)))
    assert history.ending == "invalid"
    assert "boost sought manifold_pressure of 60 inHg within 0.02 inHg and ended with 'stop'" in history.trouble
    assert history.readings == ()


def test_the_mark_of_a_seek_says_what_was_sought():
    found = mark(flown(Kind(), boost_seek(45.3)))
    assert (found.kind, found.lever, found.channel, found.target) == (
        "seek", "boost", "manifold_pressure", 45.3,
    )  # fmt: skip


def test_what_cannot_be_sought_is_refused():
    from leverproof.conduct.model import PlannedStep

    good = {"lever": "boost", "channel": "manifold_pressure", "value": 40.0, "within": 0.1, "rate": 0.1,
            "limit": 36_000}  # fmt: skip
    for spoilt, words in (
        ({"rate": 0.0}, "no rate"),
        ({"lever": "mixture"}, "not a continuous lever"),
        ({"channel": "fuel_flow"}, "no reading fuel_flow"),
        ({"lever": "cowl_flaps"}, "no input cowl_flaps"),
        ({"within": 0.0}, "positive tolerance"),
    ):
        history = flown(Kind(), PlannedStep("seek", **(good | spoilt)))
        assert history.ending == "invalid"
        assert words in history.trouble
