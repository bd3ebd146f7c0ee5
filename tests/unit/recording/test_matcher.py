"""The matcher on drawn recordings: what counts as flown, what does not, and what is said of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from leverproof.conduct.matcher import match
from leverproof.conduct.model import PlannedStep, Program
from leverproof.history import History
from leverproof.stand.port import Array
from leverproof.stand.recording import Recording, Stretch
from leverproof.timegrid import TICKS_PER_SECOND, TimeGrid

GRID = TimeGrid(3600)
INPUTS = ("throttle", "boost", "mixture", "pressure_altitude")
OUTPUTS = ("manifold_pressure", "engine_speed", "turbo_speed")
S = TICKS_PER_SECOND


class Flight:
    """A drawn recording: levers along straight lines, readings by simple rules with a lag of 1 s."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, ...]] = []
        self.now = [0.2, 0.0, 2.0, 5000.0]

    def hold(self, seconds: float) -> Flight:
        self.rows += [tuple(self.now)] * round(10 * seconds)
        return self

    def go(self, seconds: float = 0.0, **to: float) -> Flight:
        """Levers to new places in a straight line."""
        origin, steps = list(self.now), max(1, round(10 * seconds))
        for step in range(1, steps + 1):
            for name, place in to.items():
                index = INPUTS.index(name)
                self.now[index] = origin[index] + (place - origin[index]) * step / steps
            self.rows.append(tuple(self.now))
        return self

    def recording(self, **keys: object) -> Recording:
        inputs = np.array(self.rows)
        goal = 15.0 + 25.0 * inputs[:, 0] + 10.0 * inputs[:, 1]
        pressure = np.empty_like(goal)
        pressure[0] = goal[0]
        for row in range(1, goal.size):
            pressure[row] = pressure[row - 1] + 0.1 * (goal[row] - pressure[row - 1])
        turbo = 20000.0 * np.minimum(1.0, inputs[:, 1] * 1.25)
        data = np.column_stack([inputs, pressure, np.full(goal.size, 2000.0), turbo])
        return Recording("drawn", GRID, INPUTS, OUTPUTS, (Stretch(1000.0, data),), **keys)  # type: ignore[arg-type]


def program(*steps: PlannedStep, **start: float) -> Program:
    begin = {"throttle": 0.2, "boost": 0.0, "mixture": 2.0, "pressure_altitude": 5000.0} | start
    watch = {"manifold_pressure": 0.06, "engine_speed": 10.0}
    return Program(("case", 0, "run"), "running", begin, (PlannedStep("set"), *steps), GRID, watch)


def to(seconds: float, **levers: float) -> PlannedStep:
    return PlannedStep("move", name="up", levers=levers, duration=round(seconds * S))


def seek(lever: str, value: float, *accept: str, **guard: float) -> PlannedStep:
    return PlannedStep(
        "seek", name="sought", lever=lever, channel="manifold_pressure", value=value, within=0.02, accept=accept,
        guard=guard, rate=0.1, limit=90 * S,
    )  # fmt: skip


READ = PlannedStep("read", name="settled", limit=40 * S)


def find(recording: Recording, asked: Program) -> History:
    (run,) = match([asked], recording)
    return run.history


def words(recording: Recording, asked: Program) -> str:
    found = find(recording, asked)
    assert found.ending == "not run"
    assert found.data.shape == (0, len(recording.columns))
    return found.trouble


def test_a_move_flown_at_another_rate_and_a_reading() -> None:
    flight = Flight().hold(30).go(9.0, throttle=0.61).hold(30).recording()
    found = find(flight, program(to(5.0, throttle=0.6), READ))
    assert found.ending == "completed"
    mark, reading = found.mark("up"), found.reading("settled")
    assert mark is not None
    assert reading is not None
    assert mark.kind == "move"
    moved = found.column("throttle")[mark.row - 1 : mark.end + 2]
    assert moved[0] == pytest.approx(0.2)
    assert moved[-1] == pytest.approx(0.61)
    assert 8.0 <= found.grid.seconds(mark.end - mark.row) <= 9.5
    assert reading.values["manifold_pressure"] == pytest.approx(15.0 + 25.0 * 0.61, abs=0.05)
    assert not reading.unsteady
    # 0.01 of travel beside its place, and a slope of 25 inHg for all of the travel.
    assert reading.placing["manifold_pressure"] == pytest.approx(0.01 * 25.0, rel=0.1)
    assert math.isclose(found.grid.seconds(found.data.shape[0] - 1), found.grid.seconds(found.marks[-1].end))


@pytest.mark.parametrize("stands", [False, True])
def test_what_a_lever_does_to_a_running_engine_says_nothing_of_one_that_stands(stands: bool) -> None:
    drawn = Flight().hold(30).go(9.0, throttle=0.61).hold(30).recording()
    data = drawn.stretches[0].data.copy()
    data[:300, INPUTS.index("throttle")] = 0.21
    speed = len(INPUTS) + OUTPUTS.index("engine_speed")
    data[:, speed] = 20.0 * data[:, speed - 1]
    if stands:
        data[:300, speed] = 0.0
    flown = replace(drawn, stretches=(replace(drawn.stretches[0], data=data),))
    asked = replace(program(READ), engine="stopped" if stands else "running")
    reading = find(flown, asked).reading("settled")
    assert reading is not None
    assert reading.placing["engine_speed"] == pytest.approx(math.nan if stands else 5.0, rel=0.2, nan_ok=True)


@pytest.mark.parametrize("seconds", [1.0, 1.8, 2.5])
def test_a_slam_must_be_one(seconds: float) -> None:
    flight = Flight().hold(30).go(seconds, throttle=0.6).hold(30).recording()
    asked = program(to(1.0, throttle=0.6), READ)
    if seconds < 2.0:
        assert find(flight, asked).ending == "completed"
    else:
        assert "at most 2 s" in words(flight, asked)


@pytest.mark.parametrize(
    ("start", "said"),
    [
        ({"throttle": 0.24}, "throttle 0.2 for 0.24"),
        ({"mixture": 1.0}, "mixture auto_rich for auto_lean"),
        ({"pressure_altitude": 5200.0}, "pressure_altitude 5,000 ft for 5,200 ft"),
        ({"boost": 0.02, "throttle": 0.5}, "throttle 0.2 for 0.5"),
    ],
)
def test_another_start_is_not_flown(start: dict[str, float], said: str) -> None:
    flight = Flight().hold(30).go(5.0, throttle=0.2).hold(30).recording()
    told = words(flight, program(to(5.0, throttle=0.6), READ, **start))
    assert told.startswith("not flown: the start could not be found: nearest at 100")
    assert said in told


def test_a_start_within_tolerance_is_flown() -> None:
    flight = Flight().hold(30).go(5.0, throttle=0.6).hold(30).recording()
    near = program(to(5.0, throttle=0.6), READ, throttle=0.225, pressure_altitude=5140.0)
    assert find(flight, near).ending == "completed"


def test_a_hold_cut_short_is_not_flown() -> None:
    asked = program(to(5.0, throttle=0.6), PlannedStep("hold", duration=20 * S), to(5.0, throttle=0.2))
    long = Flight().hold(30).go(5.0, throttle=0.6).hold(25).go(5.0, throttle=0.2).hold(5).recording()
    short = Flight().hold(30).go(5.0, throttle=0.6).hold(12).go(5.0, throttle=0.2).hold(5).recording()
    assert find(long, asked).ending == "completed"
    told = words(short, asked)
    assert "step 3 of 4 (hold) could not be found: held for 12" in told
    assert "then throttle moved" in told


def test_another_lever_moved_on_the_way_is_not_flown() -> None:
    flight = Flight().hold(30).go(5.0, throttle=0.6, boost=0.3).hold(30).recording()
    assert "boost was moved" in words(flight, program(to(5.0, throttle=0.6), READ))


def test_a_lever_taken_back_and_forth_is_not_the_move() -> None:
    flight = Flight().hold(30).go(2.0, throttle=0.4).go(2.0, throttle=0.3).go(2.0, throttle=0.6).hold(30).recording()
    assert "back and forth" in words(flight, program(to(5.0, throttle=0.6), READ))


def test_a_seek_by_hand_with_a_pause_on_the_way() -> None:
    flight = Flight().hold(30).go(4.0, throttle=0.5).hold(6).go(2.0, throttle=0.608).hold(30).recording()
    found = find(flight, program(seek("throttle", 30.0), READ))
    mark = found.mark("sought")
    assert mark is not None
    assert (mark.ending, mark.target, mark.lever) == ("reached", 30.0, "throttle")
    reading = found.reading("settled")
    assert reading is not None
    assert reading.values["throttle"] == pytest.approx(0.608)
    assert reading.placing == {}


def test_a_seek_not_reached_is_not_flown_and_the_nearest_is_told() -> None:
    flight = Flight().hold(30).go(4.0, throttle=0.5).hold(30).recording()
    told = words(flight, program(seek("throttle", 30.0), READ))
    assert "within 0.3 inHg of 30 inHg for 2 s was not seen" in told
    assert "the nearest was 27.5 inHg" in told


def test_a_seek_that_ends_at_the_stop_or_at_a_limit() -> None:
    stop = Flight().hold(30).go(8.0, throttle=1.0).hold(30).recording()
    mark = find(stop, program(seek("throttle", 52.0, "stop"), READ)).mark("sought")
    assert mark is not None
    assert mark.ending == "stop"
    assert "not seen" in words(stop, program(seek("throttle", 52.0), READ))
    limit = Flight().hold(30).go(8.0, boost=0.799).hold(30).recording()
    asked = program(seek("boost", 52.0, "stop", "turbo_speed limit", turbo_speed=20000.0), READ)
    mark = find(limit, asked).mark("sought")
    assert mark is not None
    assert mark.ending == "turbo_speed limit"


def test_levers_moved_together() -> None:
    both = program(PlannedStep("couple"), seek("throttle", 30.2), READ, boost=0.2)
    flight = Flight().go(boost=0.2).hold(30).go(6.0, throttle=0.43, boost=0.44).hold(30).recording()
    found = find(flight, both)
    assert found.ending == "completed"
    reading = found.reading("settled")
    assert reading is not None
    assert reading.values["manifold_pressure"] == pytest.approx(30.15, abs=0.05)
    apart = Flight().go(boost=0.2).hold(30).go(6.0, throttle=0.6, boost=0.35).hold(30).recording()
    assert find(apart, both).ending == "not run"


def test_the_second_attempt_counts_when_the_first_was_broken_off() -> None:
    flight = Flight().hold(30).go(5.0, throttle=0.6).hold(3).go(5.0, throttle=0.2).hold(30)
    flight.go(5.0, throttle=0.6).hold(30)
    found = find(flight.recording(), program(to(5.0, throttle=0.6), READ))
    assert found.ending == "completed"
    assert found.data.shape[0] < 600


def test_what_the_model_answers_never_aligns() -> None:
    """The same levers with quite other readings are found in the same rows."""
    flight = Flight().hold(30).go(5.0, throttle=0.6).hold(30).recording()
    other: Array = flight.stretches[0].data.copy()
    other[:, 4] = 20.0
    asked = program(to(5.0, throttle=0.6), PlannedStep("hold", duration=10 * S))
    a, b = find(flight, asked), find(replace(flight, stretches=(Stretch(1000.0, other),)), asked)
    assert a.mark("up") == b.mark("up")
    assert b.ending == "completed"


def test_a_model_that_gives_no_number_ends_invalid() -> None:
    flight = Flight().hold(30).go(5.0, throttle=0.6).hold(30).recording()
    flight.stretches[0].data[330, 6] = np.nan
    found = find(flight, program(to(5.0, throttle=0.6), READ))
    assert found.ending == "invalid"
    assert "turbo_speed is not a finite number at 1033.0 s" in found.trouble


def test_a_model_that_hunts_all_the_time_ends_invalid() -> None:
    flight = Flight().hold(90).go(5.0, throttle=0.6).hold(30).recording()
    data = flight.stretches[0].data
    data[:, 5] += 40.0 * np.sin(np.arange(data.shape[0]) / 3.0)
    found = find(flight, program(to(5.0, throttle=0.6), READ))
    assert found.ending == "invalid"
    assert "engine_speed oscillates" in found.trouble


def test_whether_the_engine_runs() -> None:
    flight = Flight().hold(30).go(5.0, throttle=0.6).hold(30).recording()
    asked = program(to(5.0, throttle=0.6), READ)
    assert "was not stopped" in words(flight, replace(asked, engine="stopped"))
    flight.stretches[0].data[:, 5] = 0.0
    assert "had not been started" in words(flight, asked)
    assert find(flight, replace(asked, engine="stopped")).ending == "completed"


def test_a_hand_at_rest_does_not_move_the_lever() -> None:
    """Noise of the potentiometer is taken out of a resting lever, so that windows after the last move exist."""
    flight = Flight().hold(30).go(5.0, throttle=0.6).hold(30).recording()
    noise = np.random.default_rng(2).uniform(-0.003, 0.003, flight.stretches[0].data.shape[0])
    flight.stretches[0].data[:, 0] += noise
    found = find(flight, program(to(5.0, throttle=0.6), READ))
    mark = found.mark("up")
    assert mark is not None
    after = found.column("throttle")[mark.end + 15 :]
    assert np.ptp(after) == 0.0
    assert after[0] == pytest.approx(0.6, abs=0.002)


def test_gauges_go_into_the_reading() -> None:
    flight = Flight().hold(30).go(5.0, throttle=0.6).hold(30).recording(resolution={"manifold_pressure": 0.5})
    reading = find(flight, program(to(5.0, throttle=0.6), READ)).reading("settled")
    assert reading is not None
    assert reading.gauge == {"manifold_pressure": 0.5}
